"""Finishes one frame: reads it once, carries it through every look and size that is asked for, writes each file.

Runs in a worker thread. Everything heavy lets other threads run (decoding, kernels, encoding, hashing).
"""

import hashlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from finishing.batch.assignment import FrameWork, Output
from finishing.batch.ledger import hash_file
from finishing.batch.measuring import failed_of, measure
from finishing.batch.picture import finish_picture, fitted, geometry_of, reduced, source_of
from finishing.batch.records import SOFTWARE, record_of
from finishing.colour.spaces import COLOUR_SPACES
from finishing.engine.ends import Source
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.headers import Header
from finishing.photographs.reading import read_photograph
from finishing.photographs.records import output_metadata
from finishing.photographs.writing import OutputSettings, encode, write_bytes
from finishing.recipes.check import CheckResult
from finishing.sessions.session import Rights


@dataclass(frozen=True)
class Task:
    """One output that has to be made. fingerprint: changes when anything that goes into it does."""

    output: Output
    width: int
    height: int
    exif: bytes
    xmp: bytes
    fingerprint: str


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
    """What is told of a frame beside its outputs. checks: results by the look's name."""

    notices: list[str]
    checks: dict[str, list[CheckResult]]


def tasks_of(work: FrameWork, header: Header, source_hash: str, rights: Rights) -> list[Task]:
    """All outputs of a frame with their records, told from its headers alone."""
    tasks = []
    for output in work.outputs:
        width, height = fitted(header.width, header.height, output.deliverable.long_edge)
        exif, xmp = output_metadata(record_of(work, output, header, source_hash, width, height, rights))
        masks = {name: path for name, path in work.mask_files.items() if name in output.look.mask_names}
        told = {
            "software": SOFTWARE,
            "source": source_hash,
            "look": output.look.hash,
            "deliverable": output.deliverable.model_dump(mode="json"),
            "subject": work.says.subject,
            "masks": {name: hash_file(path) for name, path in masks.items()},
            "size": [width, height],
            "records": hashlib.sha256(exif + xmp).hexdigest(),
        }
        fingerprint = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
        tasks.append(Task(output, width, height, exif, xmp, fingerprint))
    return tasks


def finish_frame(
    work: FrameWork,
    tasks: Sequence[Task],
    folder: Path,
    done: Callable[[Made], None],
    *,
    strict: bool = False,
    threads: int = 1,
) -> Finished:
    """Make a frame's outputs in `folder`, telling each through `done` as soon as it is written.

    strict: a check that fails stops the frame before anything is written. Raises Problem; what was told as done
    stays done.
    """
    started = time.perf_counter()
    photograph = read_photograph(work.frame.path)
    full = source_of(photograph)
    frame = geometry_of(work, photograph)
    checked = _check(work, tasks, full, frame, strict=strict)
    reading = (time.perf_counter() - started) / max(len(tasks), 1)
    sources: dict[tuple[int, int], Source] = {}
    for index, task in enumerate(tasks):
        began = time.perf_counter()
        size = (task.width, task.height)
        if size not in sources:
            sources[size] = reduced(full, *size)
        # The last output may be written over the frame's own codes: one full-size array less in memory.
        spare = photograph.codes if index == len(tasks) - 1 and sources[size] is full else None
        deliverable = task.output.deliverable
        space = COLOUR_SPACES[deliverable.profile]
        codes = finish_picture(
            task.output.look.steps, sources[size], frame.resized(*size), space, into=spare, threads=threads
        )
        if deliverable.format not in ("jpeg", "png"):
            raise Problem("this format cannot be written", got=deliverable.format, expected="jpeg or png")
        settings = OutputSettings(
            format="jpeg" if deliverable.format == "jpeg" else "png",
            space=space,
            quality=deliverable.quality,
            subsampling="4:2:0" if deliverable.subsampling == "4:2:0" else "4:4:4",
            pixels_per_inch=round(deliverable.pixels_per_inch or 300),
        )
        content = encode(codes, settings=settings, exif=task.exif, xmp=task.xmp)
        path = folder / task.output.path
        write_bytes(path, content)
        stat = path.stat()
        seconds = time.perf_counter() - began + reading
        done(Made(task, hashlib.sha256(content).hexdigest(), stat.st_size, stat.st_mtime_ns, seconds))
    return Finished(list(photograph.notices), checked)


def _check(
    work: FrameWork, tasks: Sequence[Task], full: Source, frame: Geometry, *, strict: bool
) -> dict[str, list[CheckResult]]:
    """The results of the checks of every look that is due."""
    results: dict[str, list[CheckResult]] = {}
    for look in {task.output.look.name: task.output.look for task in tasks}.values():
        results[look.name] = measure(look, full, frame)
        failed = failed_of(results[look.name])
        if strict and failed:
            raise Problem(
                f"the look {look.name} does not pass its checks on this frame",
                where=work.frame.name,
                got="; ".join(str(result) for result in failed),
                remedy="change the look's settings for this frame, or run without --strict",
            )
    return results
