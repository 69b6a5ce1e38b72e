"""Whose a file is: the session that it was made from, told from others that lie in the same folder.

A session is known by its folder, the name of its file and its title. Any of them may change from one run to the next,
so what was recorded is looked up among the session files that stand there now: the one of that name and title, else
the one of that title (its file was renamed), else the one of that name (its title was edited). Where none of them
stands any more, the session was moved if its title is the same; a copy of it beside it is another session.
"""

import json
import os
import shlex
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from finishing.batch.memory.ledger import Ledger, open_ledger
from finishing.documents.tree import parse_tree, read_text
from finishing.errors import Place, Problem, ProblemSet
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.folder import LEDGER_NAME
from finishing.sessions.session import Session

Told = Mapping[str, str | None]


@dataclass(frozen=True)
class Owner:
    """A session as it was recorded. folders: where it may lie; file, title: None where an earlier version recorded."""

    folders: tuple[Path, ...]
    file: str | None
    title: str | None

    def __str__(self) -> str:
        if self.file is None:
            return f"another session ({self.folders[-1]})"
        return f'the session "{self.title}" ({self.file})'


def told_of(session: Session, ledger_folder: Path) -> dict[str, str | None]:
    """What is recorded of a session. Its folder is kept both from the ledger's and whole, so that a session is found
    again that was moved together with its outputs, and one that stayed where it was."""
    folder = session.folder.resolve()
    near: str | None
    try:
        near = Path(os.path.relpath(folder, ledger_folder.resolve())).as_posix()
    except ValueError:  # on another drive
        near = None
    name = session.document.path.name
    return {"from_ledger": near, "folder": str(folder), "file": name, "title": session.value.session}


def owner_from(told: Told, ledger_folder: Path) -> Owner:
    """A recorded session; its folder first as it lies from the ledger now."""
    near, whole = told["from_ledger"], told["folder"]
    first = [] if near is None else [Path(os.path.normpath(ledger_folder.resolve() / near))]
    folders = [*first, *([Path(whole)] if whole is not None else [])]
    return Owner(tuple(dict.fromkeys(folders)), told.get("file"), told.get("title"))


@dataclass
class Whose:
    """Tells whether a session is the one that was recorded. Session files are read once."""

    session: Session
    _titles: dict[Path, dict[str, str]] = field(default_factory=dict)
    _known: dict[Owner, bool] = field(default_factory=dict)

    def ours(self, owner: Owner) -> bool:
        """Whether an owner is this session."""
        if owner not in self._known:
            self._known[owner] = self._is_ours(owner)
        return self._known[owner]

    def _is_ours(self, owner: Owner) -> bool:
        folder, name = self.session.folder.resolve(), self.session.document.path.name
        if owner.file is None:  # nothing tells it from another session of that folder
            return folder in owner.folders
        for place in owner.folders:
            stands = self._standing(place, owner)
            if stands is not None:
                return place == folder and stands == name
        return owner.title == self.session.value.session

    def _standing(self, place: Path, owner: Owner) -> str | None:
        """The name of the session's file in a folder, as it is now."""
        titles = self._titles_in(place)
        if owner.file in titles and titles[owner.file] == owner.title:
            return owner.file
        renamed = [name for name, title in titles.items() if title == owner.title]
        return renamed[0] if renamed else owner.file if owner.file in titles else None

    def _titles_in(self, place: Path) -> dict[str, str]:
        """The session files of a folder with their titles; this session as it was read."""
        if place not in self._titles:
            names = sorted(place.glob("*.y*ml")) if place.is_dir() else []
            titles = {path.name: title for path in names if (title := _title(path)) is not None}
            if place == self.session.folder.resolve():
                titles[self.session.document.path.name] = self.session.value.session
            self._titles[place] = titles
        return self._titles[place]


def _title(path: Path) -> str | None:
    """The title in a session's file; None for any other file."""
    try:
        data: Any = parse_tree(read_text(path), path.name).data
    except (Problem, ProblemSet):
        return None
    title = data.get("session") if isinstance(data, dict) and "frames" in data else None
    return title if isinstance(title, str) else None


def not_ours(ledger: Ledger, session: Session) -> dict[str, Owner]:
    """The outputs in a ledger that were made from other sessions. Those of which an earlier version recorded no session
    are none of them."""
    whose = Whose(session)
    owners = {path: owner_from(told, ledger.folder) for path, told in ledger.sessions_of_outputs().items()}
    return {path: owner for path, owner in owners.items() if not whose.ours(owner)}


def anothers_problem(ledger: Ledger, session: Session, wanted: Iterable[str]) -> Problem | None:
    """Why a session must not be finished into a ledger's folder: outputs of another one have the names of its own."""
    by_name = {as_disks_compare(path): (path, owner) for path, owner in not_ours(ledger, session).items()}
    taken = [by_name[name] for path in wanted if (name := as_disks_compare(path)) in by_name]
    if not taken:
        return None
    first, owner = taken[0]
    file, folder = session.document.path, ledger.folder
    own = folder.with_name(f"{folder.name}-{file.stem}")
    count = "one of its files" if len(taken) == 1 else f"{len(taken)} of its files"
    return Problem(
        f"this folder holds {owner}, and this session would write over {count}",
        where=Place(str(folder)),
        got=first,
        expected="a folder of its own for each session",
        remedy=f"finishing run {shlex.quote(str(file))} --out {shlex.quote(str(own))}"
        + (f"; or, if both are one session, move {owner.file} to another folder" if owner.file else ""),
    )


def anothers_problem_in(folder: Path, session: Session, wanted: Iterable[str]) -> Problem | None:
    """The same of a folder that may have no ledger, or one that cannot be read (which is told by whoever needs it)."""
    if not (folder / LEDGER_NAME).is_file():
        return None
    try:
        with open_ledger(folder, create=False, write=False) as ledger:
            return anothers_problem(ledger, session, wanted)
    except Problem:
        return None


def number_of(ledger: Ledger, session: Session, *, note: bool) -> int:
    """The number by which a ledger knows a session. note: give one to a session that has none yet, and record it as it
    is named and lies now; without it, one that is not known has the number of none."""
    told, known, whose = told_of(session, ledger.folder), ledger.sessions(), Whose(session)
    number = next((one for one, then in known.items() if whose.ours(owner_from(then, ledger.folder))), None)
    if note and (number is None or known[number] != told):
        return ledger.write_session(number, told)
    return ledger.session if number is None else number


def in_words(session: Session, folder: Path) -> str:
    """What a file of ours in a folder says of the session that it belongs to, in ASCII. Where the folder can be reached
    from, that is told from it alone, so that the same session says the same on every computer."""
    told = told_of(session, folder)
    return json.dumps({**told, "folder": None} if told["from_ledger"] is not None else told)


def owner_in_words(text: str, folder: Path) -> Owner | None:
    """The session of which a file in a folder says that it belongs to it; None where it does not say."""
    try:
        told = json.loads(text)
        owner = owner_from(told, folder)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return owner if isinstance(owner.file, str) and isinstance(owner.title, str) else None


def take_note(ledger: Ledger, session: Session, paths: Collection[str]) -> None:
    """Record a session anew, as it is named and lies now, with outputs of its own that stand as they are."""
    told = told_of(session, ledger.folder)
    known = ledger.sessions_of_outputs()
    ledger.write_sessions([path for path in paths if path in known and known[path] != told], told)
