"""From a finished file to what the ledger beside it knows: its entry, how it was made, the frame it came from."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from finishing.batch.memory.ledger import FILE_NAME, Entry, Making, hash_file, open_ledger
from finishing.batch.memory.ledger_trouble import LedgerProblem, NoLedger
from finishing.errors import Problem
from finishing.photographs.finished import FinishedRecord


@dataclass(frozen=True)
class Known:
    """A file that a ledger knows. folder: the ledger's; making: None where an earlier version made the file; renamed:
    whether the file lies elsewhere than the ledger has it, and was told by its content; frames: all that the ledger
    knows of, from the session's folder; replaced_at: when a later run put another file in its place, None where it
    stands there still."""

    folder: Path
    entry: Entry
    making: Making | None
    renamed: bool = False
    frames: tuple[str, ...] = ()
    replaced_at: str | None = None

    @property
    def place(self) -> Path:
        """Where the ledger has the file."""
        return self.folder / self.entry.path


def find_known(file: Path, ledger: Path | None = None) -> Known | None:
    """What the nearest ledger in a folder above a file knows of it (the file itself may be gone), or the ledger of the
    folder that is named: by its place, else by its content. A file above that has a ledger's name and is none is passed
    over. Raises Problem where a ledger cannot be read.
    """
    file = Path(os.path.abspath(file))
    for folder in [ledger] if ledger is not None else _folders_above(file):
        try:
            known = _known_in(folder, file)
        except (NoLedger, LedgerProblem) as problem:
            if ledger is not None or (isinstance(problem, LedgerProblem) and _is_database(folder / FILE_NAME)):
                raise
            continue  # a file of that name which is no ledger is none of our business
        if known is not None:
            return known
    return None


def _known_in(folder: Path, file: Path) -> Known | None:
    with open_ledger(folder, create=False, write=False) as opened:
        entries = opened.entries()
        folder = Path(os.path.abspath(folder))
        here = file.relative_to(folder).as_posix() if file.is_relative_to(folder) else None
        found = next((entry for entry in entries if entry.path == here), None)
        frames = tuple(sorted({path for path, _, _ in opened.hashes()}))
        digest = hash_file(file) if file.is_file() else None
        if digest is not None and (found is None or found.output_hash != digest):
            same = None if found else next((entry for entry in entries if entry.output_hash == digest), None)
            earlier = None if same else opened.earlier(digest)
            if earlier is not None and (found is None or earlier.entry.path == found.path):
                renamed = earlier.entry.path != here
                return Known(folder, earlier.entry, earlier.making, renamed, frames, earlier.replaced_at)
            found = found or same
        if found is None:
            return None
        return Known(folder, found, opened.making(found.path), found.path != here, frames)


def made_later(file: Path, ledger: Path | None, record: FinishedRecord) -> Entry | None:
    """The newest output that the ledger has of the frame and look of a file that it does not know, where all of them
    were made by another recipe: then the file is of an earlier run. None where that is not sure."""
    for folder in [ledger] if ledger is not None else _folders_above(Path(os.path.abspath(file))):
        try:
            with open_ledger(folder, create=False, write=False) as opened:
                entries = opened.entries()
        except Problem:
            continue
        same = [
            one for one in entries if (one.source_hash, one.look) == (record.source_hash, record.values.get("Recipe"))
        ]
        if same:
            anew = all(one.look_hash != record.values.get("RecipeHash") for one in same)
            return max(same, key=lambda one: one.made_at) if anew else None
    return None


def _is_database(path: Path) -> bool:
    """Whether a file begins as SQLite's do (sqlite.org/fileformat2.html, 1.3.1)."""
    try:
        with path.open("rb") as stream:
            return stream.read(16) == b"SQLite format 3\0"
    except OSError:
        return False


def _folders_above(file: Path) -> Iterator[Path]:
    return (folder for folder in file.parents if (folder / FILE_NAME).is_file())


def session_folders(known: Known) -> list[Path]:
    """Where the session of an output may lie: first as seen from the ledger, then where it was."""
    if known.making is None:
        return [known.folder.parent]
    told = known.making.told["session"]
    near = [] if told["from_ledger"] is None else [Path(os.path.normpath(known.folder / told["from_ledger"]))]
    return list(dict.fromkeys([*near, Path(told["folder"])]))


def is_file(path: Path) -> bool:
    """Whether there is such a file; not where a name is none, as one that is too long (it may come from a picture)."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def hash_or_none(path: Path) -> str | None:
    """SHA-256 of a file; None where it cannot be read."""
    try:
        return hash_file(path)
    except OSError:
        return None


def same_file(places: list[Path], digest: str, what: str, *, remedy: str) -> Path:
    """The first of some places at which a file has this SHA-256. what: how it is called.

    Raises Problem where there is none, telling a file that is gone from one that has changed or cannot be read.
    """
    there = [place for place in places if is_file(place)]
    hashes = [hash_or_none(place) for place in there]
    for place, found in zip(there, hashes, strict=True):
        if found == digest:
            return place
    if there and hashes[0] is None:
        raise Problem(
            f"{what} cannot be read",
            where=str(there[0]),
            remedy=f"check its permissions and the disk; or {remedy}",
        )
    if there:
        raise Problem(
            f"{what} has changed since",
            where=str(there[0]),
            got="another content than when the file was made",
            expected=f"SHA-256 {digest}",
            remedy=f"put it back as it was, from the backup; or {remedy}",
        )
    raise Problem(
        f"{what} is gone",
        where=str(places[0]) if places else None,
        expected=f"a file with SHA-256 {digest}" + (f", here or at {places[1]}" if len(places) > 1 else ""),
        remedy=f"put it back, from the backup; or {remedy}",
    )
