"""Finishes one frame: reads it once, carries it through every look and size that is asked for, writes each file.

Runs in a worker thread. Everything heavy lets other threads run (decoding, kernels, encoding, hashing).
"""

import hashlib
import json
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from finishing.batch.delivery.delivering import deliver, read_printer_profile
from finishing.batch.delivery.measuring import failed_of, measure
from finishing.batch.delivery.output_size import output_size, paper_size, resolution_on_paper
from finishing.batch.delivery.records import SOFTWARE, record_of
from finishing.batch.memory.ledger import hash_file
from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.opened import open_frame
from finishing.batch.opening.picture import reduced
from finishing.batch.work.assignment import FrameWork, Output
from finishing.batch.work.blends import Origin
from finishing.engine.ends import CodedSource, Source
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.headers import Header
from finishing.photographs.records import output_metadata
from finishing.photographs.writing import write_bytes
from finishing.recipes.check import CheckResult
from finishing.recipes.recipe import Recipe
from finishing.sessions.deliverables import Deliverable
from finishing.sessions.session import Rights


@dataclass(frozen=True)
class Task:
    """One output that has to be made. fingerprint: changes when anything that goes into it does; told: what it is the
    hash of; in_the_way: the problem of the file that is there already, unless it turns out to be this very output."""

    output: Output
    width: int
    height: int
    exif: bytes
    xmp: bytes
    fingerprint: str
    told: Mapping[str, Any] = field(default_factory=dict, repr=False)
    in_the_way: Problem | None = None


@dataclass(frozen=True)
class Made:
    """One output that is on the disk now. seconds: what it took, its share of reading the frame included."""

    task: Task
    output_hash: str
    size: int
    modified_ns: int
    seconds: float


@dataclass(frozen=True)
class Finished:
    """What is told of a frame beside its outputs. checks: results by the look's name; problems: of looks that could
    not be done on it, by name, and of files in the way, by path."""

    notices: list[str]
    checks: dict[str, list[CheckResult]]
    problems: dict[str, Problem] = field(default_factory=dict)


def tasks_of(work: FrameWork, header: Header, origin: Origin, rights: Rights) -> list[Task]:
    """All outputs of a frame with their records, told from its headers alone."""
    tasks = []
    framing = framing_of(work.says, header.width, header.height)
    rights = rights_of(header, rights)
    for output in work.outputs:
        width, height = output_size(output.deliverable, framing.width, framing.height)
        record = record_of(work, output, header, origin, width, height, rights)
        exif, xmp = output_metadata(replace(record, location_kept=output.deliverable.location == "keep"))
        masks = {name: path for name, path in work.mask_files.items() if name in output.look.mask_names}
        told: dict[str, Any] = {
            "software": SOFTWARE,
            "source": origin.hash,
            "look": output.look.hash,
            "deliverable": _as_delivered(output.deliverable, width, height),
            "subject": work.says.subject,
            "masks": {name: hash_file(path) for name, path in masks.items()},
            "size": [width, height],
            "framing": None if framing.whole else framing.describe(),
            "records": hashlib.sha256(exif + xmp).hexdigest(),
        }
        paper = paper_size(output.deliverable, width, height)
        if paper is not None:
            told["paper"] = paper
        if output.profile_file is not None:
            told["profile"] = hash_file(output.profile_file)
        if not work.correction.changes_nothing:
            told["correction"] = work.correction.as_json()
        fingerprint = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
        if origin.blend is not None:
            told["blend"] = origin.blend  # counted already: its hash is that of the source
        tasks.append(Task(output, width, height, exif, xmp, fingerprint, told))
    return tasks


def _as_delivered(deliverable: Deliverable, width: int, height: int) -> dict[str, Any]:
    """The deliverable's plain values, with the resolution that came of a print's size, so that they make the same file
    without that size."""
    told: dict[str, Any] = deliverable.model_dump(mode="json")
    if deliverable.print_size is not None:
        told["pixels_per_inch"] = resolution_on_paper(deliverable, width, height)
    return told


def rights_of(header: Header, rights: Rights) -> Rights:
    """The session's rights; where it leaves one out, what the frame states (beside it or inside)."""
    own = header.metadata.rights
    stated = {name: getattr(rights, name) or getattr(own, name) for name in type(rights).model_fields}
    return rights.model_copy(update=stated)


def finish_frame(
    work: FrameWork,
    tasks: Sequence[Task],
    folder: Path,
    done: Callable[[Made], None],
    *,
    strict: bool = False,
    threads: int = 1,
) -> Finished:
    """Make a frame's outputs in `folder`, telling each through `done` as soon as it is written. Where `done` fails, the
    file is taken away again.

    strict: a look whose checks the frame does not pass is not written. A look that cannot be done on this frame (it
    asks for a subject that nobody named, say) leaves the other looks alone. Raises Problem where the frame cannot be
    read or a file cannot be written; what was told as done stays done.
    """
    started = time.perf_counter()
    opened = open_frame(work, threads=threads)
    full, frame = opened.source, opened.geometry
    reading = (time.perf_counter() - started) / max(len(tasks), 1)
    sources: dict[tuple[int, int], Source] = {}
    checked: dict[str, list[CheckResult]] = {}
    problems: dict[str, Problem] = {}
    for index, task in enumerate(tasks):
        began = time.perf_counter()
        look = task.output.look
        size = (task.width, task.height)
        try:
            if look.name in problems:
                continue
            if look.name not in checked:
                checked[look.name] = _check(work, look, full, frame, strict=strict)
            if size not in sources:
                sources[size] = reduced(full, *size)
            # The last output may be written over the frame's own codes: one full-size array less in memory.
            last = index == len(tasks) - 1 and sources[size] is full
            content = deliver(
                look.steps, sources[size], frame.resized(*size), task.output.deliverable, exif=task.exif,
                xmp=task.xmp, profile=read_printer_profile(task.output.profile_file), paper=task.told.get("paper"),
                into=full.codes if last and isinstance(full, CodedSource) else None, threads=threads,
            )  # fmt: skip
        except Problem as problem:
            problems[look.name] = problem
            continue
        path = folder / task.output.path
        digest = hashlib.sha256(content).hexdigest()
        if task.in_the_way is None:
            write_bytes(path, content)
        elif not _is(path, digest):
            problems[str(task.output.path)] = task.in_the_way
            continue
        try:
            stat = path.stat()
            seconds = time.perf_counter() - began + reading
            done(Made(task, digest, stat.st_size, stat.st_mtime_ns, seconds))
        except Exception:
            if task.in_the_way is None:
                path.unlink(missing_ok=True)
            raise
    told = [*(work.header.notices if work.header else ()), *opened.notices]
    return Finished(list(dict.fromkeys(told)), checked, problems)


def _is(path: Path, digest: str) -> bool:
    try:
        return hash_file(path) == digest
    except OSError:
        return False


def _check(work: FrameWork, look: Recipe, full: Source, frame: Geometry, *, strict: bool) -> list[CheckResult]:
    """The results of a look's checks. Raises Problem for one that fails where that is asked for."""
    results = measure(look, full, frame)
    if strict and failed_of(results):
        raise checks_failed(work.frame.name, look.name, results)
    return results


def checks_failed(frame: str, look: str, results: Sequence[CheckResult]) -> Problem:
    """The problem of a frame that does not pass the checks of a look."""
    return Problem(
        f"the look {look} does not pass its checks on this frame",
        where=frame,
        got="; ".join(str(result) for result in failed_of(results)),
        remedy="change the look's settings for this frame, or run without --strict",
    )
