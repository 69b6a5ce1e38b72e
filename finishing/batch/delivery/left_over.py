"""Files of earlier runs that the session no longer asks for: told, and never taken away."""

import os
from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from finishing.batch.memory.ledger import Ledger, open_ledger
from finishing.batch.memory.owners import not_ours
from finishing.errors import Problem
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.session import Session


def left_over(ledger: Ledger, wanted: Collection[str], session: Session) -> list[str]:
    """The outputs that the ledger knows, that are still there, and that a whole run of the session would not make.

    wanted: the paths that it makes, below the ledger's folder. What another session finished into the same folder is no
    business of this one's.
    """
    others = not_ours(ledger, session)
    by_name: dict[str, list[str]] = {}
    for path in wanted:
        by_name.setdefault(as_disks_compare(path), []).append(path)
    found = []
    for entry in ledger.entries():
        file = ledger.folder / entry.path
        if entry.path in wanted or entry.path in others or not file.is_file():
            continue
        # On a disk that ignores case, two names may be one file: the good one must not be given up for deletion.
        if any(_one_file(file, ledger.folder / path) for path in by_name.get(as_disks_compare(entry.path), ())):
            continue
        found.append(entry.path)
    return found


def _one_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _meant(name: str, known: Sequence[str]) -> list[str]:
    return [path for path in known if path == name or fnmatchcase(path, name)]


def _below(folder: Path, name: str) -> str:
    """A path as it is seen from a folder that it lies in."""
    for place in (Path(os.path.abspath(folder)), folder.resolve()):
        whole = Path(os.path.abspath(name))
        if whole.is_relative_to(place):
            return whole.relative_to(place).as_posix()
    return name


def forget(folder: Path, names: Sequence[str]) -> list[str]:
    """Take outputs that are deleted out of the ledger of a folder. names: paths as the ledger lists them, or as a run
    tells them (with the folder in front), or patterns of either.

    They can then not be made again from the ledger. Returns the paths. Raises Problem where a name means none of them,
    or a file is still there: nothing is forgotten then.
    """
    with open_ledger(folder, create=False) as ledger:
        known = [entry.path for entry in ledger.entries()]
        found: dict[str, None] = {}
        for name in names:
            meant = _meant(name, known) or _meant(_below(folder, name), known)
            if not meant:
                raise Problem(
                    "the ledger has no such file",
                    got=name,
                    expected="a path as `finishing ledger` lists it, or a pattern in quotes such as 'web/*'",
                    remedy="check the name",
                )
            found.update(dict.fromkeys(meant))
        there = next((path for path in found if (folder / path).exists()), None)
        if there is not None:
            raise Problem(
                "this file is still there, and stays in the ledger",
                where=str(folder / there),
                remedy="delete it first, if nobody needs it any more",
            )
        ledger.forget(list(found))
    return list(found)
