"""Commands that print trials of a recipe on one image or frame: strip, steps."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishing.cli.looks import AS_JSON, WITH
from finishing.cli.points import SUBJECT, subject_from
from finishing.cli.reporting import print_json, settings_from, tells_problems
from finishing.cli.valued import ValuedCommand
from finishing.errors import Problem

if TYPE_CHECKING:
    from finishing.batch.paper.on_trial import OnTrial

IMAGE = click.argument("image", type=click.Path(path_type=Path), metavar="IMAGE|SESSION")
FRAME = click.option("--frame", metavar="NAME", help="Of a session: the frame that the recipe is tried on.")
OUT = click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="FILE", help="A .png or (with the extra pdf) .pdf."
)
PAPER = click.option("--paper", default="a4", show_default=True, help="a4, letter, or millimetres such as 200x250.")
JOBS = click.option("--jobs", type=click.IntRange(1, 256), help="Threads; all cores unless said.")


def _on_trial(image: Path, frame: str | None, subject: str | None, jobs: int | None) -> "OnTrial":
    """An image file, or with a frame's name one of a session."""
    from finishing.batch.paper.on_trial import frame_on_trial, image_on_trial

    place = subject_from(subject)
    if frame is not None:
        return frame_on_trial(image, frame, place, jobs)
    if image.is_dir() or image.suffix.lower() in (".yaml", ".yml"):
        raise Problem(
            "a session has many frames", got=str(image), remedy="say which with --frame A-0003, or name an image file"
        )
    return image_on_trial(image, place)


def _counts(text: str | None, axes: int) -> list[int]:
    """How many values each range gets: `6`, or `5x4` for two."""
    if text is None:
        return [6] if axes == 1 else [5, 4]
    parts = text.lower().replace("×", "x").split("x")
    if not all(part.strip().isdigit() for part in parts) or len(parts) > max(axes, 1):
        raise Problem(
            "the number of bands cannot be read",
            got=text,
            expected="a whole number" + (", or two such as 5x4 for a grid" if axes == 2 else ""),
            remedy="write --bands 6, for example",
        )
    counts = [int(part) for part in parts]
    return counts if len(counts) == axes else counts * axes


@click.command(cls=ValuedCommand)
@click.argument("recipe")
@IMAGE
@FRAME
@click.option(
    "--vary",
    "varied",
    multiple=True,
    required=True,
    metavar="NAME=FROM..TO",
    help="A setting, operation.parameter or operation.where.region.parameter, and its range or values with commas; "
    "once, or twice for a grid.",
)
@click.option("--bands", metavar="N", help="Values in a range: 6, or 5x4 in a grid, unless said.")
@click.option("--whole", is_flag=True, help="The whole picture small for every value, instead of bands.")
@SUBJECT
@click.option(
    "--window",
    type=float,
    metavar="SHARE",
    help="Of width and height shown about the subject; 0.5 unless said, with --whole all.",
)
@OUT
@PAPER
@WITH
@JOBS
@AS_JSON
@tells_problems
def strip(
    recipe: str,
    image: Path,
    frame: str | None,
    varied: tuple[str, ...],
    bands: str | None,
    whole: bool,
    subject: str | None,
    window: float | None,
    out: Path,
    paper: str,
    settings: tuple[str, ...],
    jobs: int | None,
    as_json: bool,
) -> None:
    """Print a test strip: one image in bands, each with another value of a setting or parameter.

    IMAGE is a file, or a session with --frame: then as the session has the frame, with its subject, crop and masks.
    For example --vary edge_vignette.strength=0.2..1.0, --vary kept_hue=60..90, or, where a recipe has an operation
    twice, --vary "tone_curve[2].channels=all,lightness"; a number of a step's region by its path,
    --vary "exposure[2].where.ellipse.soft=0..0.6". Two --vary give a grid of small pictures.
    """
    from finishing.batch.paper.test_strip import make_strip
    from finishing.batch.paper.varying import vary

    tried = _on_trial(image, frame, subject, jobs)
    report = make_strip(
        vary(tried.reader(recipe, settings_from(settings)), varied, _counts(bands, len(varied))),
        tried,
        out,
        window=window,
        whole=whole,
        paper=paper,
        jobs=jobs,
    )
    if as_json:
        print_json(report.as_json())
        return
    for notice in report.notices:
        click.echo(notice, err=True)
    for name, values in report.values.items():
        click.echo(f"{name}: {', '.join(values)}")
    for path in report.files:
        click.echo(path)


@click.command(cls=ValuedCommand)
@click.argument("recipe")
@IMAGE
@FRAME
@SUBJECT
@OUT
@PAPER
@click.option("--columns", type=click.IntRange(1, 24), help="Pictures side by side; chosen by the page unless said.")
@WITH
@JOBS
@AS_JSON
@tells_problems
def steps(
    recipe: str,
    image: Path,
    frame: str | None,
    subject: str | None,
    out: Path,
    paper: str,
    columns: int | None,
    settings: tuple[str, ...],
    jobs: int | None,
    as_json: bool,
) -> None:
    """Print the image as it came and after each step of a recipe, with what its checks measure there.

    IMAGE is a file, or a session with --frame: then as the session has the frame, with its subject, crop and masks.
    Says which step takes a check beyond its limits, and where the skin's hue turns most.
    """
    from finishing.batch.paper.step_by_step import make_steps

    tried = _on_trial(image, frame, subject, jobs)
    look = tried.reader(recipe, settings_from(settings))({})
    report = make_steps(look, tried, out, paper=paper, columns=columns, jobs=jobs)
    if as_json:
        print_json(report.as_json())
        return
    for notice in report.notices:
        click.echo(notice, err=True)
    for step in report.steps:
        click.echo(f"{step.number}. {step.name}" + (f": {{{step.step}}}" if step.step else ""))
        for result in step.checks:
            click.echo(f"     {result}")
        if step.skin is not None and step.number:
            click.echo(f"     skin hue shift: {step.skin:+.1f} degrees")
    for finding in report.findings:
        click.echo(finding)
    for path in report.files:
        click.echo(path)
