"""From a finished file to what the ledger beside it knows: its entry, how it was made, the frame it came from."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from finishing.batch.memory.ledger import FILE_NAME, Entry, Making, hash_file, open_ledger
from finishing.errors import Problem


@dataclass(frozen=True)
class Known:
    """A file that a ledger knows. folder: the ledger's; making: None where an earlier version made the file; renamed:
    whether the file lies elsewhere than the ledger has it, and was told by its content."""

    folder: Path
    entry: Entry
    making: Making | None
    renamed: bool = False

    @property
    def place(self) -> Path:
        """Where the ledger has the file."""
        return self.folder / self.entry.path


def find_known(file: Path, ledger: Path | None = None) -> Known | None:
    """What the nearest ledger in a folder above a file knows of it (the file itself may be gone), or the ledger of the
    folder that is named: by its place, else by its content. Raises Problem where a ledger cannot be read.
    """
    file = Path(os.path.abspath(file))
    digest: str | None = None
    for folder in [ledger] if ledger is not None else _folders_above(file):
        with open_ledger(folder, create=False, write=False) as opened:
            entries = opened.entries()
            folder = Path(os.path.abspath(folder))
            here = file.relative_to(folder).as_posix() if file.is_relative_to(folder) else None
            found = next((entry for entry in entries if entry.path == here), None)
            renamed = found is None
            if found is None and file.is_file():
                digest = digest or hash_file(file)
                found = next((entry for entry in entries if entry.output_hash == digest), None)
            if found is not None:
                return Known(folder, found, opened.making(found.path), renamed)
    return None


def _folders_above(file: Path) -> Iterator[Path]:
    return (folder for folder in file.parents if (folder / FILE_NAME).is_file())


def session_folders(known: Known) -> list[Path]:
    """Where the session of an output may lie: first as seen from the ledger, then where it was."""
    if known.making is None:
        return [known.folder.parent]
    told = known.making.told["session"]
    near = [] if told["from_ledger"] is None else [Path(os.path.normpath(known.folder / told["from_ledger"]))]
    return list(dict.fromkeys([*near, Path(told["folder"])]))


def same_file(places: list[Path], digest: str, what: str, *, remedy: str) -> Path:
    """The first of some places at which a file has this SHA-256. what: how it is called.

    Raises Problem where there is none, telling a file that is gone from one that has changed.
    """
    there = [place for place in places if place.is_file()]
    for place in there:
        if hash_file(place) == digest:
            return place
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
