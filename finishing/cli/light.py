"""The command on strobe and ambient: light."""

from pathlib import Path
from typing import Any

import click

from finishing import units
from finishing.cli.points import SUBJECT, subject_from
from finishing.cli.reporting import Steps, files, finish, print_json, tell_failed, tells_problems
from finishing.cli.valued import ValuedCommand
from finishing.errors import Place, Problem

FRAME = click.Path(path_type=Path)


@click.command(cls=ValuedCommand, context_settings={"ignore_unknown_options": False})
@click.argument("frames", metavar="FRAME FRAME…|SESSION", nargs=-1, required=True, type=FRAME)
@click.option("--out", required=True, type=FRAME, help="Folder for what comes out.")
@click.option(
    "--shutter", "shutters", multiple=True, metavar="T", help="Of each frame, in their order; else from EXIF."
)
@click.option("--off", multiple=True, type=FRAME, metavar="FRAME", help="A frame in which no strobe fired; repeatable.")
@click.option("--ambient", metavar="STOPS", help="Ambient of the blend; 0 unless said.")
@click.option("--strobe", metavar="STOPS", help="Strobe of the blend; 0 unless said.")
@click.option(
    "--ambient-white", metavar="KELVIN", help="White balance of the ambient: kelvin (6504 as it is), or R,G,B."
)
@click.option("--strobe-white", metavar="KELVIN", help="White balance of the strobe: kelvin (6504 as it is), or R,G,B.")
@SUBJECT
@click.option("--plan", type=FRAME, help="A shoot plan: its sync time, and exposures of frames without a record.")
@click.option("--again", is_flag=True, help="Overwrite outputs that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
@tells_problems
def light(
    frames: tuple[Path, ...],
    out: Path,
    shutters: tuple[str, ...],
    off: tuple[Path, ...],
    ambient: str | None,
    strobe: str | None,
    ambient_white: str | None,
    strobe_white: str | None,
    subject: str | None,
    plan: Path | None,
    again: bool,
    as_json: bool,
) -> None:
    """Take strobe and ambient apart and blend them anew.

    From two frames or more of one tripod, with the same aperture and ISO and different shutters, or one of them with
    the strobes off. Offsets are stops against the first frame. Writes ambient.tif and strobe.tif as they lit the first
    frame, blend.tif (all 16-bit and linear), stops.png and report.json.

    With a SESSION alone, the same for each of its blends, into a folder of the blend's name.
    """
    if len(frames) == 1 and (frames[0].is_dir() or frames[0].suffix.lower() in (".yaml", ".yml")):
        _refuse_options(
            frames[0], shutter=shutters, off=off, ambient=ambient, strobe=strobe, ambient_white=ambient_white,
            strobe_white=strobe_white, subject=subject, plan=plan,
        )  # fmt: skip
        _session(frames[0], out, again=again, as_json=as_json)
        return
    times = [_quantity(units.parse_shutter, text, "--shutter", "1/125") for text in shutters]
    stops = [_quantity(units.parse_stops, text or "0", f"--{name}", "+0.7") for name, text in
             (("ambient", ambient), ("strobe", strobe))]  # fmt: skip
    whites = [_white(text, f"--{name}-white") for name, text in (("ambient", ambient_white), ("strobe", strobe_white))]
    place = subject_from(subject)

    from finishing.batch.lighting.light_files import STEPS, LightRequest, light_frames
    from finishing.light.blending import Blend, Light

    blend = Blend(Light(stops[0], whites[0]), Light(stops[1], whites[1]))
    with Steps("finishing", quiet=as_json) as steps:
        steps.begin(STEPS)
        request = LightRequest(frames, out, times, off, plan, blend, place, again)
        report = light_frames(request, progress=steps.step)
    if as_json:
        print_json(report.facts)
        return
    for notice in report.notices:
        click.echo(notice, err=True)
    click.echo(report.summary)
    click.echo(f"{files(len(report.outputs))} written to {out}")


def _refuse_options(session: Path, **options: object) -> None:
    """What a session says itself cannot be said here."""
    given = [f"--{name.replace('_', '-')}" for name, value in options.items() if value]
    if given:
        raise Problem(
            "a session says this itself",
            where=Place(str(session)),
            got=", ".join(given),
            expected="a session alone, with --out and --again",
            remedy="write it under blends: in session.yaml (see the README), or name the frames themselves",
        )


def _session(session: Path, out: Path, *, again: bool, as_json: bool) -> None:
    from finishing.batch.lighting.light_files import light_session

    with Steps("finishing", quiet=as_json) as steps:
        report = light_session(session, out, again=again, begin=steps.begin, progress=steps.step)
    if as_json:
        print_json(report.as_json())
        finish(report.failed)
    for name, one in report.made.items():
        for notice in one.notices:
            click.echo(f"{name}: {notice}", err=True)
    tell_failed(report.failed)
    for name, one in report.made.items():
        click.echo(f"{name}: {one.summary}")
    written = sum(len(one.outputs) for one in report.made.values())
    click.echo(f"{files(written)} written to {out}")
    finish(report.failed)


def _quantity(parse: Any, text: str, option: str, example: str) -> float:
    try:
        return float(parse(text))
    except ValueError as error:
        raise Problem(
            f"{option} cannot be read", got=text, expected=str(error).removeprefix("expected "),
            remedy=f"write {option} {example}, for example",
        ) from error  # fmt: skip


def _white(text: str | None, option: str) -> float | tuple[float, float, float] | None:
    if text is None:
        return None
    parts = text.upper().removesuffix("K").strip().split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) == 1 and 2000 <= numbers[0] <= 25000:
        return numbers[0]
    if len(numbers) == 3 and all(0 < gain <= 16 for gain in numbers):
        return numbers[0], numbers[1], numbers[2]
    raise Problem(
        f"{option} cannot be read",
        got=text,
        expected="kelvin from 2000 to 25000, or three gains above 0 and up to 16",
        remedy=f"write {option} 5200, or {option} 1.1,1,0.85",
    )
