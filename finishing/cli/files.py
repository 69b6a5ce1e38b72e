"""Commands on single files: inspect, again, export."""

import sys
from pathlib import Path
from shutil import get_terminal_size
from typing import Literal

import click

from finishing.cli.looks import WITH
from finishing.cli.points import point
from finishing.cli.reporting import WRONG_REQUEST, finish, print_json, settings_from, tell_failed, tells_problems
from finishing.cli.valued import ValuedCommand
from finishing.errors import Problem

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
LEDGER = click.option(
    "--ledger", type=click.Path(path_type=Path, file_okay=False), help="The output folder it was taken from."
)


@click.command(cls=ValuedCommand)
@click.argument("paths", metavar="FILE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--at", metavar="X,Y", help="Also tell the colour at this place, in fractions of width and height.")
@LEDGER
@AS_JSON
@tells_problems
def inspect(paths: tuple[Path, ...], at: str | None, ledger: Path | None, as_json: bool) -> None:
    """Tell how a finished file was made, or what is seen of a frame.

    Of a finished file: look, recipe, frame, set-up, light, corrections, rights, and whether its frame is still there
    and the ledger knows it as it is. Of any other picture: size, profile, exposure, time, rights, and what is broken.
    With --at also the colour at a place, in the numbers that looks take (hue, chroma, lightness).
    """
    from finishing.batch.memory.inspecting import inspect as inspect_file
    from finishing.batch.pictures.colour_at import colour_at

    place = None if at is None else point(at, "--at")
    found, colours, failed = [], {}, {}
    for path in paths:
        try:
            found.append(inspect_file(path, ledger=ledger))
            if place is not None:
                colours[path] = colour_at(path, place)
        except Problem as problem:
            failed[str(path)] = problem
    if as_json:
        print_json(
            [
                one.as_json() | ({"colour_at": colours[one.path].as_json()} if one.path in colours else {})
                for one in found
            ]
            + [{"file": name, "problem": p.as_dict()} for name, p in failed.items()]
        )
    else:
        columns = get_terminal_size().columns if sys.stdout.isatty() else None
        for one in found:
            for line in one.lines(columns):
                click.echo(line)
            for line in colours[one.path].lines() if one.path in colours else ():
                click.echo(f"    {line}")
        tell_failed(failed)
    if failed and not found:
        sys.exit(WRONG_REQUEST)
    finish(failed)


@click.command(cls=ValuedCommand)
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write it elsewhere; at its own place unless said.")
@click.option("--source", type=click.Path(path_type=Path, exists=True), help="Its frame, or the session's folder.")
@LEDGER
@click.option("--overwrite", is_flag=True, help="Also over a file that is another one, or was changed since.")
@AS_JSON
@tells_problems
def again(
    file: Path, out: Path | None, source: Path | None, ledger: Path | None, overwrite: bool, as_json: bool
) -> None:
    """Make one finished file once more, from its frame and the recipe as it was then.

    The recipe and all else that went into it stand in the ledger beside it, whatever has become of the recipe's file
    and of session.yaml since. FILE may be missing.
    """
    from finishing.batch.memory.making_again import make_again

    made = make_again(file, out=out, source=source, ledger=ledger, overwrite=overwrite)
    if as_json:
        print_json(made.as_json())
        return
    for notice in made.notices:
        click.echo(f"to know: {notice}", err=True)
    same = "the same bytes as the first time" if made.same else "not the bytes of the first time"
    click.echo(f"from {made.source} in {made.look}, version {made.version}: {same}")
    click.echo(f"{made.path}: " + ("written" if made.written else "was there already, left as it is"))


@click.command(cls=ValuedCommand)
@click.argument("recipe")
@click.option(
    "--format", "kind", type=click.Choice(["clf"]), default="clf", show_default=True, help="Common LUT Format."
)
@click.option("--out", type=click.Path(path_type=Path), help="The file; the look's name and .clf, here, unless said.")
@click.option("--size", type=click.IntRange(9, 129), default=65, show_default=True, help="Of its table, each way.")
@WITH
@click.option("--again", is_flag=True, help="Overwrite a file that exists.")
@AS_JSON
@tells_problems
def export(
    recipe: str,
    kind: Literal["clf"],
    out: Path | None,
    size: int,
    settings: tuple[str, ...],
    again: bool,
    as_json: bool,
) -> None:
    """Write a look as a table for other programs: the part of it that follows from the colour alone.

    The file is of the Common LUT Format (SMPTE ST 2136-1), from sRGB to sRGB. What depends on places (edges, grain,
    glow, sharpening) cannot go in and is told; how far the file lies from the look is measured, and stands in it.
    """
    from finishing.batch.pictures.exporting import export as export_look
    from finishing.batch.work.looks import look_called

    look = look_called(recipe, settings_from(settings))
    exported = export_look(look, out or Path(f"{look.name}.{kind}"), size=size, again=again)
    if as_json:
        print_json(exported.as_json())
        return
    for step in exported.left_out:
        click.echo(f"left out: {step}", err=True)
    for node in exported.nodes:
        click.echo(f"    {node}")
    click.echo(f"error: {exported.error}")
    click.echo(f"{exported.path}: {look.title}, version {look.version}, sRGB in and out")
