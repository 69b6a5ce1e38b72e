"""Frames that an earlier run finished, that the session's patterns still mean, and of which there is no file now."""

import shlex
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath

from finishing.batch.memory.ledger import Entry, Ledger, hash_file, open_ledger
from finishing.batch.memory.owners import not_ours
from finishing.errors import Place, Problem
from finishing.sessions.folder import LEDGER_NAME
from finishing.sessions.frame_names import UnknownFrame
from finishing.sessions.session import Session

#: Frames that are told by name.
_MOST_NAMES = 6


@dataclass(frozen=True)
class LostFrame:
    """source: the file that it was, in the session's folder; outputs: what was finished of it, in the ledger's."""

    name: str
    source: str
    outputs: tuple[str, ...]


def lost_frames(ledger: Ledger, session: Session) -> dict[str, LostFrame]:
    """The frames of a session that a ledger knows and that are gone, by name. One that has another name now, or that
    the session no longer means, is none of them."""
    there = {*(frame.name for frame in session.frames), *session.value.blends}
    entries = [entry for entry in ledger.entries() if entry.frame not in there]
    if not entries:
        return {}
    blends, others = ledger.blends(), not_ours(ledger, session)
    found: dict[str, list[Entry]] = {}
    for entry in entries:
        ours = entry.source_hash not in blends and entry.path not in others
        if ours and any(_means(pattern, entry.source) for pattern in session.value.frames):
            found.setdefault(entry.frame, []).append(entry)
    renamed = _renamed(found.values(), session, ledger) if found else set()
    return {
        name: LostFrame(name, own[0].source, tuple(entry.path for entry in own))
        for name, own in found.items()
        if own[0].source_hash not in renamed
    }


def _renamed(lost: Iterable[Sequence[Entry]], session: Session, ledger: Ledger) -> set[str]:
    """The hashes of frames that are gone under their names, and are there under others. Only files of the same size
    are read."""
    sizes = {digest: size for (_, size, _), digest in ledger.hashes().items()}
    wanted = {sizes[own[0].source_hash] for own in lost if own[0].source_hash in sizes}
    try:
        return {hash_file(one.path) for one in session.frames if wanted and one.path.stat().st_size in wanted}
    except OSError:
        return set()


def _means(pattern: str, path: str) -> bool:
    """Whether a pattern of files means a path, as `Path.glob` takes it: `**` for any number of folders."""
    return _parts_match(PurePosixPath(pattern).parts, PurePosixPath(path).parts)


def _parts_match(patterns: Sequence[str], parts: Sequence[str]) -> bool:
    if not patterns:
        return not parts
    if patterns[0] == "**":
        return any(_parts_match(patterns[1:], parts[skipped:]) for skipped in range(len(parts) + 1))
    return bool(parts) and fnmatchcase(parts[0], patterns[0]) and _parts_match(patterns[1:], parts[1:])


def lost_frames_problem(lost: Sequence[LostFrame], ledger: Path, session: Session) -> Problem | None:
    """What there is to tell of frames that are gone; None where none is. ledger: its folder."""
    if not lost:
        return None
    one = len(lost) == 1
    names = ", ".join(frame.name for frame in lost[:_MOST_NAMES]) + (" …" if len(lost) > _MOST_NAMES else "")
    what = f"the frame {names} was here" if one else f"{len(lost)} frames were here"
    remedy = f"put {'it' if one else 'them'} back; or, if taken out on purpose, delete what was finished of "
    forgotten = " ".join(f"--forget {shlex.quote(path)}" for path in lost[0].outputs[:_MOST_NAMES])
    if not one or len(lost[0].outputs) > _MOST_NAMES:
        forgotten = "--forget PATH"
    return Problem(
        f"{what} at an earlier run and {'is' if one else 'are'} gone",
        where=session.document.place("frames"),
        got=f"no frame at {lost[0].source}" if one else f"no frame {names}",
        remedy=f"{remedy}{'it' if one else 'them'}, then: finishing ledger {shlex.quote(str(ledger))} {forgotten}",
    )


def lost_frames_in(folder: Path, session: Session) -> dict[str, LostFrame]:
    """The frames that are gone, of a folder that may have no ledger, or one that cannot be read."""
    if not (folder / LEDGER_NAME).is_file():
        return {}
    try:
        with open_ledger(folder, create=False, write=False) as ledger:
            return lost_frames(ledger, session)
    except Problem:
        return {}


def told_as_lost(problems: Iterable[Problem], folder: Path, session: Session) -> list[Problem]:
    """The same problems, but where one says that a frame is not known, and it was there once, that it is gone."""
    told = list(problems)
    unknown = {one.name for one in told if isinstance(one, UnknownFrame)}
    lost = lost_frames_in(folder, session) if unknown else {}
    return [
        _gone(one.where, lost[one.name]) if isinstance(one, UnknownFrame) and one.name in lost else one for one in told
    ]


def _gone(where: Place | str | None, frame: LostFrame) -> Problem:
    return Problem(
        f'the frame "{frame.name}" was here at an earlier run and is gone',
        where=where,
        got=f"no frame at {frame.source}",
        remedy="put it back, from the card or a backup; or take its name out here",
    )
