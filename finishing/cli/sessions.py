"""Commands on a session: run, sheet, plan, sample."""

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from finishing.cli.listed import Listed, ListedCommand, split
from finishing.cli.reporting import (
    Steps,
    files,
    finish,
    frames,
    print_json,
    tell,
    tell_cleared,
    tell_failed,
    tell_files,
    tells_problems,
)
from finishing.cli.valued import ValuedCommand
from finishing.errors import Place, Problem

SESSION = click.argument("session", type=click.Path(path_type=Path))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
JOBS = click.option("--jobs", type=click.IntRange(1, 256), help="Frames worked on at a time; all cores unless said.")
LOOKS = click.option("--look", "--looks", "look_names", cls=Listed, metavar="LOOK…", help="Only these looks, by name.")
FRAMES = click.option(
    "--frames", "frame_names", cls=Listed, metavar="NAME…", help="Only these: set-ups, frames, patterns."
)


@click.command(cls=ListedCommand)
@SESSION
@click.option("--out", type=click.Path(path_type=Path), help="Output folder; finished/ beside the session unless said.")
@LOOKS
@FRAMES
@click.option(
    "--deliverable", "--deliverables", "deliverables", cls=Listed, metavar="NAME…", help="Only these deliverables."
)
@JOBS
@click.option("--again", is_flag=True, help="Make everything anew, also over files that were changed since.")
@click.option("--dry-run", is_flag=True, help="Only say what would be made.")
@click.option("--strict", is_flag=True, help="A frame that does not pass a look's checks counts as failed.")
@AS_JSON
@tells_problems
def run(
    session: Path,
    out: Path | None,
    look_names: tuple[str, ...],
    frame_names: tuple[str, ...],
    deliverables: tuple[str, ...],
    jobs: int | None,
    again: bool,
    dry_run: bool,
    strict: bool,
    as_json: bool,
) -> None:
    """Finish a session: every look, every deliverable.

    Goes on where an earlier run stopped; what is up to date is left alone. SESSION is a session.yaml or its folder.
    """
    from finishing.batch.delivery.run import run as run_session
    from finishing.batch.delivery.unavailable import refuse_unavailable
    from finishing.batch.work.assignment import assign
    from finishing.sessions.folder import OUTPUT_FOLDER

    started = time.perf_counter()
    work = assign(
        session,
        looks=split(look_names),
        frames=split(frame_names),
        deliverables=split(deliverables),
        jobs=jobs,
        outputs=out,
    )
    refuse_unavailable(work.session)
    tell(work.warnings)
    folder = out or work.session.folder / OUTPUT_FOLDER
    with Steps("finishing", quiet=as_json or dry_run) as steps:

        def progress(name: str, made: int, problem: Problem | None) -> None:
            steps.step(
                f"{name}: failed"
                if problem and not made
                else f"{name}: {files(made)}" + (", not all" if problem else "")
            )

        report = run_session(
            work,
            folder,
            jobs=jobs,
            again=again,
            dry_run=dry_run,
            strict=strict,
            whole=not (look_names or frame_names or deliverables),
            begin=lambda frame_count, _: steps.begin(frame_count),
            progress=progress,
        )
    if as_json:
        print_json(report.as_json())
        finish(report.failed or report.stopped)
    for name, notices in sorted(report.notices.items()):
        for notice in notices:
            click.echo(f"{name}: {notice}", err=True)
    for (name, look), results in sorted(report.failed_checks.items()):
        for result in results:
            click.echo(f"{name} in {look}: {result}", err=True)
    tell(report.warnings)
    tell_cleared(report.cleared)
    _tell_left_over(report.left_over, folder)
    tell_failed(report.failed)
    if report.not_done:
        click.echo(f"not begun, or not carried to the end, since the disk is full: {_names(report.not_done)}", err=True)
    for line in report.evenness.lines() if report.evenness else ():
        click.echo(line)
    if report.chart is not None:
        click.echo(f"drawn: {report.chart}")
    if report.checks:
        passed = len(report.checks) - len(report.failed_checks)
        click.echo(f"checks: {passed} of {len(report.checks)} frames in their looks pass")
    if dry_run:
        for path in sorted(report.planned):
            click.echo(path)
        click.echo(f"{files(len(report.planned))} would be made in {folder}, {len(report.up_to_date)} up to date")
    elif report.stopped:
        click.echo(f"stopped; {files(len(report.made))} made. The same command goes on from here.")
    elif not report.made and not report.failed:
        click.echo(f"nothing to do: {files(len(report.up_to_date))} in {folder} are up to date")
    else:
        told = f"{files(len(report.made))} made in {folder} in {time.perf_counter() - started:.0f} s"
        told += f", {len(report.up_to_date)} up to date" if report.up_to_date else ""
        click.echo(told + (f", {frames(len(report.failed))} failed" if report.failed else ""))
    finish(report.failed or report.stopped)


#: Files that are told one by one.
_MOST_FILES = 12


def _names(names: Sequence[str]) -> str:
    some = ", ".join(sorted(names)[:_MOST_FILES]) + (" …" if len(names) > _MOST_FILES else "")
    return f"{frames(len(names))} ({some})"


def _tell_left_over(paths: list[str], folder: Path) -> None:
    """Files of earlier runs that the session no longer asks for; they are the user's to delete."""
    if not paths:
        return
    click.echo(f"left from an earlier run, and no longer asked for by the session: {files(len(paths))}", err=True)
    for path in paths[:_MOST_FILES]:
        click.echo(f"    {folder / path}", err=True)
    more = len(paths) - _MOST_FILES
    if more > 0:
        click.echo(f"    and {more} more; --json lists all", err=True)
    remedy = f"delete them if nobody needs them any more, then: finishing ledger {folder} --forget PATH"
    click.echo(f"    do this:  {remedy}", err=True)


@click.command(cls=ListedCommand)
@SESSION
@click.option("--out", type=click.Path(path_type=Path), help="sheet.png beside the session unless said; or a .pdf.")
@LOOKS
@FRAMES
@click.option("--paper", default="a4", show_default=True, help="a4, letter, or millimetres such as 200x250.")
@click.option("--columns", type=click.IntRange(1, 24), help="Pictures side by side; chosen by the page unless said.")
@click.option("--histogram", is_flag=True, help="The tones of every picture below it.")
@click.option("--clipping", is_flag=True, help="Hatch what is plain black or plain white, and tell how much it is.")
@click.option(
    "--light-pages/--no-light-pages",
    default=True,
    show_default=True,
    help="Of blends: the ambient stop by stop, and a page on what the strobe did.",
)
@JOBS
@AS_JSON
@tells_problems
def sheet(
    session: Path,
    out: Path | None,
    look_names: tuple[str, ...],
    frame_names: tuple[str, ...],
    paper: str,
    columns: int | None,
    histogram: bool,
    clipping: bool,
    light_pages: bool,
    jobs: int | None,
    as_json: bool,
) -> None:
    """Make contact sheets: frames by looks, captioned, on paper-sized pages."""
    from finishing.batch.paper.contact_sheet import make_sheet
    from finishing.batch.work.assignment import assign

    work = assign(session, looks=split(look_names), frames=split(frame_names), jobs=jobs)
    tell(work.warnings)
    report = make_sheet(
        work,
        out or work.session.folder / "sheet.png",
        paper=paper,
        columns=columns,
        jobs=jobs,
        histograms=histogram,
        clipping=clipping,
        light_pages=light_pages,
    )
    tell_files(report, as_json=as_json)


@click.command(cls=ValuedCommand)
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@AS_JSON
@tells_problems
def init(folder: Path, as_json: bool) -> None:
    """Write a first session.yaml and plan.yaml for a folder of frames, to be corrected.

    Frames are grouped into likely set-ups: a new one begins after a pause of 10 minutes, and where aperture or ISO
    change by a stop, or the shutter by two. Files that are there are never overwritten.
    """
    from finishing.batch.texts.first_files import write_first_files

    written = write_first_files(folder)
    if as_json:
        print_json(written.as_json())
        return
    for notice in written.notices:
        click.echo(notice, err=True)
    for name, names in written.setups.items():
        span = names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}"
        click.echo(f"set-up {name}: {frames(len(names))}, {span}")
    click.echo(f"written: {written.session} and {written.plan}; correct them, then: finishing check {written.session}")


@click.command(cls=ValuedCommand)
@click.argument("path", metavar="SESSION|PLAN", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write it as one page, .html or .pdf, for phone and paper."
)
@click.option("--paper", default="a4", show_default=True, help="Of a PDF: a4, letter, or millimetres such as 200x250.")
@AS_JSON
@tells_problems
def plan(path: Path, out: Path | None, paper: str, as_json: bool) -> None:
    """Work the shoot plan out: exposure values, strobes against ambient, sun and falling daylight, and, of a session,
    which frame belongs where and where camera and plan disagree."""
    from finishing.batch.texts.kinds import kind_of
    from finishing.sessions.plan import read_plan
    from finishing.sessions.plan_table import plan_lines
    from finishing.sessions.session import read_session, session_file
    from finishing.sessions.worked_out import work_out

    path = session_file(path)
    matching = None
    failed: dict[str, Problem] = {}
    warnings: Sequence[Problem] = ()
    if kind_of(path) == "session":
        from finishing.batch.work.frame_headers import Headers, match_session

        reader = Headers()
        session = read_session(path, finished_among=reader.finished_among)
        if session.plan is None:
            raise Problem("this session has no plan", where=Place(str(path)), remedy="add plan: plan.yaml to it")
        document = session.plan
        headers, failed = reader.of(session.chosen)
        matching = match_session(session, headers)
        warnings = session.warnings
    else:
        document = read_plan(path)
    tell(warnings)
    worked = work_out(document)
    if out is not None:
        from finishing.batch.paper.plan_paper import write_plan_page

        write_plan_page(worked, out, matching, paper=paper)
    if as_json:
        print_json(worked.as_json(matching))
    elif out is not None:
        click.echo(out)
    else:
        for line in plan_lines(worked, matching):
            click.echo(line)
    tell_failed(failed)
    finish(failed)


@click.command(cls=ValuedCommand)
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--long-edge", type=click.IntRange(200, 12000), default=1500, show_default=True, help="Pixels.")
@AS_JSON
@tells_problems
def sample(folder: Path, long_edge: int, as_json: bool) -> None:
    """Draw the synthetic sample session: frames, shoot plan and session file, at any size."""
    from finishing.sample import write_sample
    from finishing.sample.scenario import all_frames
    from finishing.sample.writer import time_words

    written: list[Any] = []
    with Steps("drawing", quiet=as_json) as steps:

        def begin() -> None:
            if not as_json:
                click.echo(f"drawing {time_words(len(all_frames()), long_edge)}", err=True)
            steps.begin(len(all_frames()))

        written = write_sample(folder, long_edge=long_edge, progress=steps.step, begin=begin)
    if as_json:
        print_json({"files": [str(path) for path in written]})
    else:
        click.echo(f"{files(len(written))} written to {folder}; now: finishing run {folder}")
