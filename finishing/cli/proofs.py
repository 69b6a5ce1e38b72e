"""Commands around the proof page: proof, picks."""

from pathlib import Path

import click

from finishing.cli.listed import ListedCommand, split
from finishing.cli.reporting import (
    Steps,
    files,
    finish,
    frames,
    print_json,
    tell,
    tell_cleared,
    tell_failed,
    tells_problems,
)
from finishing.cli.sessions import AS_JSON, FRAMES, JOBS, LOOKS, SESSION
from finishing.cli.valued import ValuedCommand
from finishing.errors import Problem


@click.command(cls=ListedCommand)
@SESSION
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder of the page; made as needed.")
@LOOKS
@FRAMES
@click.option(
    "--long-edge", type=click.IntRange(400, 6000), default=1600, show_default=True, help="Of the pictures, in pixels."
)
@click.option("--mark", metavar="TEXT", help="A text laid softly over every picture, such as PROOF.")
@JOBS
@AS_JSON
@tells_problems
def proof(
    session: Path,
    out: Path,
    look_names: tuple[str, ...],
    frame_names: tuple[str, ...],
    long_edge: int,
    mark: str | None,
    jobs: int | None,
    as_json: bool,
) -> None:
    """Make a proof page, on which the client chooses frames and looks and writes notes.

    One folder with index.html and its pictures: open it from the disk, put it on any web host or send it as it is.
    The client saves an answer, and `finishing picks` brings it in.
    """
    from finishing.batch.client.proofing import make_proof
    from finishing.batch.work.assignment import assign

    if mark is not None and not mark.strip():
        raise Problem("the mark is empty", remedy="write --mark PROOF, or leave --mark out")
    work = assign(session, looks=split(look_names), frames=split(frame_names), jobs=jobs)
    tell(work.warnings)
    with Steps("proofs", quiet=as_json) as steps:
        report = make_proof(
            work,
            out,
            long_edge=long_edge,
            mark=mark,
            jobs=jobs,
            begin=steps.begin,
            progress=lambda name, problem: steps.step(f"{name}: " + ("failed" if problem else "done")),
        )
    if as_json:
        print_json(report.as_json())
        finish(report.failed)
    tell_cleared(report.cleared)
    tell_failed(report.failed)
    size = f"{report.size / 1e6:.1f} MB"
    click.echo(f"{report.page}: {frames(report.frames)}, {files(report.pictures)} beside it, {size} in all")
    finish(report.failed)


@click.command(cls=ValuedCommand)
@SESSION
@click.argument("answer", type=click.Path(path_type=Path))
@click.option(
    "--rating", type=click.IntRange(1, 5), default=5, show_default=True, help="Of chosen frames; higher ones stay."
)
@click.option("--keep-ratings", is_flag=True, help="Leave all ratings as they are.")
@click.option("--add", is_flag=True, help="Keep earlier picks and notes, and join what both have.")
@AS_JSON
@tells_problems
def picks(session: Path, answer: Path, rating: int, keep_ratings: bool, add: bool, as_json: bool) -> None:
    """Bring a client's answer into session.yaml: ratings, picked looks, notes.

    ANSWER is the file that the proof page saved, or the client's message with the text that it copied: a saved mail or
    a text file, quoted and wrapped as mail programs do. Comments and order stay; the file as it was is kept as
    session.yaml.before-picks. Then: finishing run SESSION --frames picked
    """
    from finishing.batch.client.picking import bring_in

    report = bring_in(session, answer, rating=None if keep_ratings else rating, add=add)
    if as_json:
        print_json(report.as_json())
        return
    for pick in report.picks:
        click.echo(f"{pick.frame}: {', '.join(pick.looks) or 'not chosen'}")
        for line in pick.note.splitlines():
            click.echo(f"    {line}")
    for name in report.dropped:
        click.echo(f"{name}: no longer picked or noted")
    if report.backup is None:
        click.echo(f"nothing to change: {report.session} has these picks already")
        return
    click.echo(f"{frames(report.chosen)} picked in {report.session}; what it was before: {report.backup.name}")
    click.echo(f"now: finishing run {session} --frames picked")
