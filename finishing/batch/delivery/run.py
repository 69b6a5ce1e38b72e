"""Finishes a session: every look, every deliverable, on several cores, going on where an earlier run stopped.

One bad frame never stops the others. An output is up to date when the ledger knows it under the same
fingerprint and the file is as it was written. A file that was changed since, or that something else put
there, is never overwritten unasked. One that a run wrote which was cut off before the ledger knew of it is
told by its bytes: it is made once more, and entered if it comes out the same.
"""

import json
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from finishing.batch.delivery.finishing_frames import Finished, Made, Task, checks_failed, finish_frame, tasks_of
from finishing.batch.delivery.left_over import left_over
from finishing.batch.delivery.measuring import failed_of
from finishing.batch.delivery.print_sizes import print_warnings
from finishing.batch.delivery.report import Report
from finishing.batch.delivery.standing import to_make
from finishing.batch.memory.ledger import Entry, Ledger, hash_file, open_ledger
from finishing.batch.memory.ledger_trouble import LedgerProblem
from finishing.batch.memory.lost_frames import lost_frames, lost_frames_problem
from finishing.batch.memory.making import making_of
from finishing.batch.memory.owners import anothers_problem, number_of, take_note
from finishing.batch.opening.framing import framing_of
from finishing.batch.work.assignment import FrameWork, SessionWork
from finishing.batch.work.blends import Origin, origin_of
from finishing.documents.flow import flow
from finishing.errors import DiskFull, Problem, fault_of_the_program
from finishing.part_files import clear_left
from finishing.sessions.folder import FramePath
from finishing.sessions.session import Session

__all__ = ["Progress", "Report", "run"]

#: Told after every frame: its name, how many outputs were made of it, its problem if it failed.
Progress = Callable[[str, int, Problem | None], None]


@dataclass(frozen=True)
class _Due:
    """A frame with the outputs that have to be made of it."""

    session: Session
    work: FrameWork
    tasks: list[Task]
    origin: Origin


def run(
    session: SessionWork,
    folder: Path,
    *,
    jobs: int | None = None,
    again: bool = False,
    dry_run: bool = False,
    strict: bool = False,
    whole: bool = True,
    begin: Callable[[int, int], None] = lambda frames, outputs: None,
    progress: Progress = lambda frame, made, problem: None,
) -> Report:
    """Finish a session into a folder. begin: told the numbers of frames and outputs that are due. whole: whether all
    that the session asks for is in it, and not some frames, looks or deliverables alone; only then it is known which
    files of earlier runs are left over.

    Raises Problem where the output folder or its ledger cannot be used, or outputs of another session are in the way;
    nothing is written then. Problems of single frames are reported.
    """
    report = Report(folder, evenness=session.evenness)
    for name, problem in session.unreadable.items():
        if any(work.frame.name == name and work.outputs for work in session.frames):
            report.failed[name] = problem
    wanted = {str(output.path): None for work in session.frames for output in work.outputs}
    with _ledger(folder, dry_run) as ledger:
        if ledger is not None and (others := anothers_problem(ledger, session.session, wanted)) is not None:
            raise others
        if ledger is not None:
            ledger.session = number_of(ledger, session.session, note=not dry_run)
        if ledger is not None and session.evenness is not None and not dry_run:
            session.evenness.measurements.write_to(ledger)
        due = _due(session, ledger, folder, report, again=again, strict=strict)
        report.warnings = print_warnings(session.session, _kept(session))
        if ledger is not None:
            lost = list(lost_frames(ledger, session.session).values())
            gone = lost_frames_problem(lost, folder, session.session)
            report.warnings += [gone] if gone is not None else []
            kept = {path for frame in lost for path in frame.outputs}
            report.left_over = left_over(ledger, {**wanted, **dict.fromkeys(kept)}, session.session) if whole else []
        # told every time: what is rated or owned may hang on it, also where nothing is made
        report.notices = {
            work.frame.name: list(work.header.beside) for work in session.frames if work.header and work.header.beside
        }
        begin(len(due) + len(report.failed), sum(len(frame.tasks) for frame in due))
        for name, problem in report.failed.items():
            progress(name, 0, problem)
        if dry_run:
            report.planned = [str(task.output.path) for frame in due for task in frame.tasks]
        elif ledger is not None:
            take_note(ledger, session.session, report.up_to_date)
            report.cleared = clear_left(_folders(session, ledger, folder))
            _work_off(due, ledger, folder, report, jobs or os.cpu_count() or 1, progress, strict=strict)
            if not report.disk_full:
                _record_evenness(session, ledger, folder, report)
    return report


def _folders(session: SessionWork, ledger: Ledger, folder: Path) -> list[Path]:
    """Every folder that this run or an earlier one writes into, and the session's own, where its sheets stand."""
    wanted = [output.path for work in session.frames for output in work.outputs]
    known = [Path(entry.path) for entry in ledger.entries()]
    return [folder, session.session.folder, *(folder / path.parent for path in (*wanted, *known))]


def _kept(session: SessionWork) -> dict[str, list[tuple[str, int, int]]]:
    """The frames of each deliverable, with their sizes as they are kept."""
    kept: dict[str, dict[str, tuple[str, int, int]]] = {}
    for work in session.frames:
        if work.header is None:
            continue
        framing = framing_of(work.says, work.header.width, work.header.height)
        for output in work.outputs:
            frames = kept.setdefault(output.deliverable_name, {})
            frames[work.frame.name] = (work.frame.name, framing.width, framing.height)
    return {name: list(frames.values()) for name, frames in kept.items()}


def _record_evenness(session: SessionWork, ledger: Ledger, folder: Path, report: Report) -> None:
    """What was evened out into the ledger and, as a chart, beside it."""
    if session.evenness is None:
        return
    from finishing.batch.evening.evenness_chart import write_chart

    try:
        ledger.write_corrections({name: frame.as_json() for name, frame in session.evenness.frames.items()})
        report.chart = write_chart(session.evenness, folder, session.session)
    except Problem as problem:
        report.warnings.append(problem)


@contextmanager
def _ledger(folder: Path, dry_run: bool) -> Iterator[Ledger | None]:
    """The ledger; a dry run opens one that is there and makes none."""
    if dry_run and not (folder / "ledger.sqlite").is_file():
        yield None
        return
    with open_ledger(folder, create=True) as ledger:
        yield ledger


def _due(
    session: SessionWork, ledger: Ledger | None, folder: Path, report: Report, *, again: bool, strict: bool
) -> list[_Due]:
    """The frames with outputs that are missing or no longer true; the others are entered as up to date."""
    known = {entry.path: entry for entry in ledger.entries()} if ledger else {}
    recorded = ledger.with_making() if ledger else set()
    due: list[_Due] = []
    for work in session.frames:
        if not work.outputs or work.header is None:
            continue
        try:
            if work.header.refusal is not None:
                raise work.header.refusal
            origin = _origin(work, ledger)
            tasks = tasks_of(work, work.header, origin, session.session.value.rights)
            found = [t if again else to_make(t, known.get(str(t.output.path)), folder) for t in tasks]
        except LedgerProblem:
            raise
        except Problem as problem:
            report.failed[work.frame.name] = problem
            continue
        except OSError as error:
            report.failed[work.frame.name] = Problem("the frame cannot be read", where=work.frame.name, got=str(error))
            continue
        wanted = [t for t in found if t is not None]
        stands = [t for t, asked in zip(tasks, found, strict=True) if asked is None]
        report.up_to_date += [str(t.output.path) for t in stands]
        if ledger is not None:
            _fill_in(session.session, work, [t for t in stands if str(t.output.path) not in recorded], ledger)
        if wanted:
            due.append(_Due(session.session, work, wanted, origin))
        for look in work.looks:
            known_results = ledger.checks(work.frame.name, look.name) if ledger else []
            if known_results and not any(task.output.look is look for task in wanted):
                report.checks[work.frame.name, look.name] = known_results
                if strict and failed_of(known_results):
                    report.failed[work.frame.name] = checks_failed(work.frame.name, look.name, known_results)
    return due


def _fill_in(session: Session, work: FrameWork, tasks: Sequence[Task], ledger: Ledger) -> None:
    """Record how outputs were made that an earlier version made: their fingerprints say that nothing has changed."""
    for task in tasks:
        ledger.write_making(str(task.output.path), making_of(work, task, session, ledger.folder))


def _origin(work: FrameWork, ledger: Ledger | None) -> Origin:
    """The hashes of the files that a frame comes from."""
    files = work.blend.sources if work.blend is not None else (work.frame,)
    return origin_of(work.blend, [_source_hash(file, ledger) for file in files])


def _source_hash(frame: FramePath, ledger: Ledger | None) -> str:
    """The hash of a frame's file; read anew only where its size or time has changed."""
    stat = frame.path.stat()
    known = ledger.known_hash(frame.relative, stat.st_size, stat.st_mtime_ns) if ledger else None
    if known is not None:
        return known
    digest = hash_file(frame.path)
    if ledger is not None:
        ledger.write_hash(frame.relative, stat.st_size, stat.st_mtime_ns, digest)
    return digest


def _work_off(
    due: Sequence[_Due],
    ledger: Ledger,
    folder: Path,
    report: Report,
    jobs: int,
    progress: Progress,
    *,
    strict: bool,
) -> None:
    """Make what is due: frames side by side, then blends one after the other with all threads, since two of them at
    once would need the memory of both."""
    import cv2

    cv2.setNumThreads(1)  # the frames run side by side already
    frames = [frame for frame in due if frame.work.blend is None]
    blends = [frame for frame in due if frame.work.blend is not None]
    for part, workers in ((frames, jobs), (blends, 1)):
        if report.disk_full:
            report.not_done += [frame.work.frame.name for frame in part]
        elif part and not report.stopped:
            threads = max(1, jobs // min(workers, len(part)))
            _side_by_side(part, ledger, folder, report, workers, threads, progress, strict=strict)


def _side_by_side(
    due: Sequence[_Due],
    ledger: Ledger,
    folder: Path,
    report: Report,
    workers: int,
    threads: int,
    progress: Progress,
    *,
    strict: bool,
) -> None:
    """workers: frames at a time; threads: of each. No frame is begun once one has found the disk full."""
    stopping = threading.Event()
    finished: dict[str, list[Made]] = {frame.work.frame.name: [] for frame in due}

    def finish(frame: _Due) -> Finished | None:
        name = frame.work.frame.name
        if stopping.is_set():
            return None

        def enter(made: Made) -> None:
            _enter(frame, made, ledger)
            finished[name].append(made)

        try:
            return finish_frame(frame.work, frame.tasks, folder, enter, strict=strict, threads=threads)
        except DiskFull:
            stopping.set()
            raise

    with ThreadPoolExecutor(workers) as pool:
        waiting: dict[Future[Finished | None], _Due] = {pool.submit(finish, frame): frame for frame in due}
        try:
            for future in as_completed(waiting):
                frame = waiting.pop(future)
                _settle(frame, future, finished, ledger, report, progress)
                if report.disk_full:  # the ledger may have met it, too
                    stopping.set()
        except KeyboardInterrupt:
            stopping.set()
            report.stopped = True
            for future in list(waiting):
                future.cancel()
            pool.shutdown(wait=True)
            for future, frame in waiting.items():
                if not future.cancelled():
                    _settle(frame, future, finished, ledger, report, progress)


def _settle(
    frame: _Due,
    future: Future[Finished | None],
    finished: dict[str, list[Made]],
    ledger: Ledger,
    report: Report,
    progress: Progress,
) -> None:
    """Report what a frame's worker has made, and its problem if it had one."""
    name = frame.work.frame.name
    problem: Problem | None = None
    try:
        told = future.result()
        if told is None:
            report.not_done += [] if report.stopped else [name]
            return
        if told.notices:
            report.notices[name] = told.notices
        for look, results in told.checks.items():
            if not results:
                continue
            report.checks[name, look] = results
            ledger.write_checks(name, look, results)
        for look, found in told.problems.items():
            what = found if found.where is not None else found.at(f"{name} in {look}")
            problem = problem or what
            report.failed[name if problem is what else f"{name} in {look}"] = what
    except Problem as error:
        problem = error if error.where is not None else error.at(name)
    except Exception as error:
        problem = fault_of_the_program(name, error)
    made = finished[name]
    report.made += [str(one.task.output.path) for one in made]
    if isinstance(problem, DiskFull) and report.disk_full:  # told once
        report.not_done.append(name)
    elif problem is not None:
        report.failed.setdefault(name, problem)
    if made or problem is not None:
        progress(name, len(made), problem)


def _enter(frame: _Due, made: Made, ledger: Ledger) -> None:
    """The ledger learns of an output as soon as it is on the disk, so that a run that is cut off goes on from there."""
    if frame.origin.blend is not None:
        ledger.write_blend(frame.origin.hash, frame.origin.blend)
    steps = "\n".join(step.describe() for step in made.task.output.look.steps)
    ledger.write(_entry(frame, made), steps, making_of(frame.work, made.task, frame.session, ledger.folder))


def _entry(frame: _Due, made: Made) -> Entry:
    output = made.task.output
    return Entry(
        path=str(output.path),
        fingerprint=made.task.fingerprint,
        frame=frame.work.frame.name,
        source=frame.work.blend.source_text if frame.work.blend else frame.work.frame.relative,
        source_hash=frame.origin.hash,
        setup=frame.work.setup.setup.id if frame.work.setup else None,
        look=output.look.name,
        look_version=output.look.version,
        look_hash=output.look.hash,
        settings=_settings(output.look.settings),
        deliverable=output.deliverable_name,
        width=made.task.width,
        height=made.task.height,
        output_hash=made.output_hash,
        size=made.size,
        modified_ns=made.modified_ns,
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        seconds=round(made.seconds, 3),
    )


def _settings(settings: Any) -> str:
    return json.dumps(dict(settings), default=flow, ensure_ascii=False)
