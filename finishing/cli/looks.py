"""Commands on looks: apply, looks, operations, regions, explain."""

from pathlib import Path
from typing import Any, Literal

import click

from finishing.cli.listed import Listed, ListedCommand
from finishing.cli.points import SUBJECT, subject_from
from finishing.cli.reporting import (
    Steps,
    files,
    finish,
    print_json,
    settings_from,
    tell_cleared,
    tell_failed,
    tell_files,
    tells_problems,
)
from finishing.cli.valued import ValuedCommand
from finishing.errors import Problem

#: Keeps a setting and its value in one line.
NO_BREAK = "\u00a0"

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
WITH = click.option(
    "--with", "settings", multiple=True, metavar="NAME=VALUE", help="Change one of the recipe's settings; repeatable."
)


def _read(recipe: str, settings: tuple[str, ...] = ()) -> Any:
    """RECIPE as every command takes it: a path, or a look's name, here, in recipes/ here, or in the library."""
    from finishing.batch.work.looks import look_called

    return look_called(recipe, settings_from(settings))


@click.command(cls=ValuedCommand)
@click.argument("recipe")
@click.argument("images", metavar="IMAGE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Output folder; beside each original unless said.")
@click.option(
    "--format",
    "kind",
    type=click.Choice(["jpeg", "png", "tiff", "webp", "avif"]),
    default="jpeg",
    show_default=True,
)
@click.option("--quality", type=click.IntRange(1, 100), default=92, show_default=True, help="Of JPEG, WebP and AVIF.")
@click.option("--bits", type=click.Choice(["8", "16"]), default="8", show_default=True, help="16: PNG and TIFF only.")
@SUBJECT
@WITH
@click.option("--jobs", type=click.IntRange(1, 256), help="Images worked on at a time; all cores unless said.")
@click.option("--again", is_flag=True, help="Overwrite outputs that exist.")
@AS_JSON
@tells_problems
def apply(
    recipe: str,
    images: tuple[Path, ...],
    out: Path | None,
    kind: Literal["jpeg", "png", "tiff", "webp", "avif"],
    quality: int,
    bits: str,
    subject: str | None,
    settings: tuple[str, ...],
    jobs: int | None,
    again: bool,
    as_json: bool,
) -> None:
    """Put one look on loose images, at full size, in sRGB."""
    from finishing.batch.delivery.apply import apply as apply_look

    look, place = _read(recipe, settings), subject_from(subject)
    with Steps("finishing", quiet=as_json) as steps:
        steps.begin(len(images))

        def progress(image: Path, problem: Problem | None) -> None:
            steps.step(f"{image.name}: {'failed' if problem else 'done'}")

        report = apply_look(
            look,
            list(images),
            out,
            subject=place,
            kind=kind,
            quality=quality,
            bits=int(bits),
            jobs=jobs,
            again=again,
            progress=progress,
        )
    if as_json:
        print_json(report.as_json())
        finish(report.failed)
    for name, notices in report.notices.items():
        click.echo(f"{name}: {'; '.join(notices)}", err=True)
    tell_cleared(report.cleared)
    tell_failed(report.failed)
    click.echo(f"{files(len(report.written))} written" + (f", {len(report.failed)} failed" if report.failed else ""))
    finish(report.failed)


def _book(book: Path, frames: tuple[Path, ...], paper: str, as_json: bool) -> None:
    """Every look of the library on the user's frames, or on the sample's."""
    from contextlib import nullcontext

    from finishing.batch.paper.look_book import make_book, sample_frames

    with nullcontext(dict.fromkeys(frames)) if frames else sample_frames() as shown:
        report = make_book(shown, book, paper=paper)
    tell_files(report, as_json=as_json)


@click.command(cls=ListedCommand)
@click.option(
    "--book", type=click.Path(path_type=Path), metavar="FILE", help="Print every look on frames: a .png or a .pdf."
)
@click.option(
    "--frames",
    "frames",
    cls=Listed,
    type=click.Path(path_type=Path),
    metavar="IMAGE…",
    help="The book's frames, at most 12; the sample's unless said.",
)
@click.option("--paper", default="a4", show_default=True, help="Of the book: a4, letter, or millimetres.")
@AS_JSON
@tells_problems
def looks(book: Path | None, frames: tuple[Path, ...], paper: str, as_json: bool) -> None:
    """List the library of looks, or print it as a look book."""
    from finishing.batch.work.looks import library
    from finishing.recipes.recipe import brief

    if book is not None:
        _book(book, frames, paper, as_json)
        return
    if frames:
        raise Problem("frames are for a look book", remedy="name its file: --book looks.pdf")
    found = library()
    if as_json:
        print_json(
            [
                {
                    "name": look.name,
                    "look": look.title,
                    "about": look.about,
                    "version": look.version,
                    "hash": look.hash,
                    "settings": dict(look.settings),
                    "steps": [step.describe() for step in look.steps],
                    "file": str(look.path),
                }
                for look in found
            ]
        )
        return
    for look in found:
        click.echo(f"{look.name}  ({look.title}, version {look.version})")
        if look.about:
            click.echo(click.wrap_text(look.about, 78, "    ", "    "))
        if look.settings:
            told = (f"{key}: {brief(value)}".replace(" ", NO_BREAK) for key, value in look.settings.items())
            lines = click.wrap_text(f"settings: {', '.join(told)}", 78, "    ", "      ")
            click.echo(lines.replace(NO_BREAK, " "))


@click.command(cls=ValuedCommand)
@click.argument("name", required=False)
@AS_JSON
@tells_problems
def operations(name: str | None, as_json: bool) -> None:
    """The reference of operations: what each does, its parameters with units, ranges and defaults."""
    from finishing.batch.texts.reference import operation_facts, operation_lines

    facts = operation_facts(name)
    if as_json:
        print_json(facts if name is None else facts[0])
        return
    for line in operation_lines(facts, whole=name is not None):
        click.echo(line)


@click.command(cls=ValuedCommand)
@click.argument("name", required=False)
@AS_JSON
@tells_problems
def regions(name: str | None, as_json: bool) -> None:
    """The reference of regions: where in the frame a step may act, and how soft its edge is."""
    from finishing.batch.texts.reference import region_facts, region_lines

    facts = region_facts(name)
    if as_json:
        print_json(facts if name is None else facts[0])
        return
    for line in region_lines(facts, whole=name is not None):
        click.echo(line)


@click.command(cls=ValuedCommand)
@click.argument("recipe")
@click.option("--size", metavar="WxH", default="6000x4000", show_default=True, help="Of the frame, in pixels.")
@WITH
@AS_JSON
@tells_problems
def explain(recipe: str, size: str, settings: tuple[str, ...], as_json: bool) -> None:
    """Say what the engine will do with a recipe: steps, conversions, what runs together, how far it reaches."""
    from finishing.batch.texts.explaining import explain as explain_look
    from finishing.batch.texts.explaining import explain_lines

    width, cross, height = size.lower().replace("×", "x").partition("x")
    if not (cross and width.isdigit() and height.isdigit() and 0 < int(width) <= 10**5 and 0 < int(height) <= 10**5):
        raise Problem(
            "the size cannot be read", got=size, expected="width x height in pixels", remedy="write 6000x4000"
        )
    told = explain_look(_read(recipe, settings), int(width), int(height))
    if as_json:
        print_json(told)
        return
    for line in explain_lines(told):
        click.echo(line)
