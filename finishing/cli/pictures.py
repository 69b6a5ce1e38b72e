"""Commands on single pictures: mask, compare."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishing.cli.looks import AS_JSON
from finishing.cli.points import SUBJECT, subject_from
from finishing.cli.reporting import Steps, finish, print_json, tell_failed, tells_problems
from finishing.cli.valued import ValuedCommand
from finishing.errors import Problem

if TYPE_CHECKING:
    from finishing.recipes.recipe import Recipe

EXPECTED_SHARES = "in fractions of the frame, or each in percent"


def _shares(text: str, count: int, option: str, example: str) -> tuple[float, ...]:
    """Numbers with commas between them; a % behind one divides it by 100. Raises Problem."""
    from finishing.documents.fields import parse_number

    try:
        parts = [part.strip() for part in text.split(",")]
        shares = tuple(parse_number(part.rstrip("%")) / (100 if part.endswith("%") else 1) for part in parts)
        if len(shares) != count:
            raise ValueError
    except ValueError:
        raise Problem(
            f"what stands after {option} cannot be read",
            got=text,
            expected=f"{count} numbers with commas between them, {EXPECTED_SHARES}",
            remedy=f"write {option} {example}, for example",
        ) from None
    return shares


def _points(texts: tuple[str, ...], option: str) -> list[tuple[float, float]]:
    return [(x, y) for x, y in (_shares(text, 2, option, "0.45,0.60") for text in texts)]


@click.command(cls=ValuedCommand)
@click.argument("frame", type=click.Path(path_type=Path))
@click.option("--box", required=True, metavar="X0,Y0,X1,Y1", help="Left, top, right, bottom: fractions or percent.")
@click.option("--name", default="subject", show_default=True, help="What recipes call the mask.")
@click.option("--inside", multiple=True, metavar="X,Y", help="A place that belongs to it; repeatable.")
@click.option("--outside", multiple=True, metavar="X,Y", help="A place that does not; repeatable.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="PNG", help="masks/FRAME-NAME.png beside the session unless said."
)
@click.option("--again", is_flag=True, help="Overwrite a mask that exists.")
@AS_JSON
@tells_problems
def mask(
    frame: Path,
    box: str,
    name: str,
    inside: tuple[str, ...],
    outside: tuple[str, ...],
    out: Path | None,
    again: bool,
    as_json: bool,
) -> None:
    """Make a soft mask of what stands in a box of a frame, for looks that keep to it.

    FRAME is a file, or the name of a frame in the session of this folder. Prints the line that names the mask in
    session.yaml, under per_frame.
    """
    from finishing.batch.pictures.cutting_out import cut_out, wanted_mask
    from finishing.documents.flow import flow

    left, top, right, bottom = _shares(box, 4, "--box", "0.30,0.15,0.70,0.95")
    wanted = wanted_mask(
        frame,
        (left, top, right, bottom),
        name=name,
        out=out,
        inside=_points(inside, "--inside"),
        outside=_points(outside, "--outside"),
        again=again,
    )
    made = cut_out(wanted)
    if as_json:
        print_json(made.as_json())
        return
    for notice in made.notices:
        click.echo(f"{wanted.frame.name}: {notice}", err=True)
    click.echo(f"{wanted.target}: {made.width} × {made.height} pixels, {100 * made.share:.1f} % of the frame")
    if made.entry is not None:
        where = "in session.yaml, under per_frame, " if wanted.session else "in a session beside it, under per_frame, "
        click.echo(where + ("in place of this frame's entry:" if made.there_already else "write:"))
        click.echo(f"  {flow({frame.stem: made.entry})[1:-1]}")


@click.command(cls=ValuedCommand)
@click.argument("first", metavar="RECIPE")
@click.argument("second", metavar="RECIPE|original")
@click.argument("images", metavar="IMAGE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@SUBJECT
@click.option("--map", "folder", type=click.Path(path_type=Path), metavar="DIR", help="Draw each image's map there.")
@click.option("--full", is_flag=True, help="At full size; at a long edge of 1000 pixels unless said.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Images worked on at a time; all cores unless said.")
@click.option("--again", is_flag=True, help="Overwrite maps that exist.")
@AS_JSON
@tells_problems
def compare(
    first: str,
    second: str,
    images: tuple[Path, ...],
    subject: str | None,
    folder: Path | None,
    full: bool,
    jobs: int | None,
    again: bool,
    as_json: bool,
) -> None:
    """Say how far two looks lie apart on images: CIEDE2000, mean, 95th percentile and maximum.

    Two versions of one look, two looks, or a look and the word original for the image as it was. 1 is about what is
    just seen, 5 plainly another colour.
    """
    from finishing.batch.pictures.comparing import LONG_EDGE, ORIGINAL
    from finishing.batch.pictures.comparing import compare as compare_looks
    from finishing.batch.work.looks import look_called
    from finishing.documents.names import did_you_mean

    def look(name: str) -> "Recipe | None":
        if name == ORIGINAL:
            return None
        try:
            return look_called(name)
        except Problem as problem:
            meant = did_you_mean(name, [ORIGINAL]) if problem.what.startswith("unknown look") else None
            raise Problem(problem.what, where=problem.where, got=problem.got, expected=problem.expected,
                          remedy=meant or problem.remedy) from problem  # fmt: skip

    looks, place = (look(first), look(second)), subject_from(subject)
    with Steps("comparing", quiet=as_json) as steps:
        steps.begin(len(images))

        def progress(image: Path, problem: Problem | None) -> None:
            steps.step(f"{image.name}: {'failed' if problem else 'done'}")

        report = compare_looks(
            *looks,
            list(images),
            folder,
            subject=place,
            long_edge=None if full else LONG_EDGE,
            jobs=jobs,
            again=again,
            progress=progress,
        )
    if as_json:
        print_json(report.as_json())
        finish(report.failed)
    for name, notices in report.notices.items():
        click.echo(f"{name}: {'; '.join(notices)}", err=True)
    tell_failed(report.failed)
    if report.found:
        click.echo(report.heading)
        for name, found in report.found.items():
            click.echo(f"{name}: {found}")
        if len(report.found) > 1:
            click.echo(f"all {len(report.found)} images: {report.overall}")
    for path in report.maps.values():
        click.echo(path)
    finish(report.failed)
