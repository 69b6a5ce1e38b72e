"""Whether an output is there already as it should be."""

from dataclasses import replace
from pathlib import Path

from finishing.batch.delivery.finishing_frames import Task
from finishing.batch.memory.ledger import Entry, hash_file
from finishing.errors import Problem
from finishing.photographs.reading import read_xmp_packet


def to_make(task: Task, entry: Entry | None, folder: Path) -> Task | None:
    """The output if it has to be made. Raises Problem where the file that is there is not ours to overwrite."""
    try:
        return None if _stands(task, entry, folder) else task
    except Problem as problem:
        if not _carries_record(folder / task.output.path, task):
            raise
        return replace(task, in_the_way=problem)


def _carries_record(path: Path, task: Task) -> bool:
    """Whether a file carries the very record of an output, as one does that a run left behind which was cut off."""
    try:
        return read_xmp_packet(path) == task.xmp
    except Problem:
        return False


def _stands(task: Task, entry: Entry | None, folder: Path) -> bool:
    """Whether an output is there as it should be. Raises Problem where the file is not ours to overwrite."""
    path = folder / task.output.path
    if not path.exists():
        return False
    if entry is None:
        raise Problem(
            "a file is in the way that this program did not make",
            where=str(path),
            remedy="move it away, or run with --again to overwrite it",
        )
    stat = path.stat()
    touched = (stat.st_size, stat.st_mtime_ns) != (entry.size, entry.modified_ns)
    if touched and hash_file(path) != entry.output_hash:
        raise Problem(
            "this finished file was changed after it was made",
            where=str(path),
            remedy="move your changed version elsewhere, or run with --again to make it anew",
        )
    return entry.fingerprint == task.fingerprint
