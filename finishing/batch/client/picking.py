"""Brings the answer of a proof page into session.yaml: ratings, looks and notes."""

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishing.batch.client.proofing import id_of
from finishing.batch.client.session_editing import with_frames_changed
from finishing.batch.work.assignment import FrameWork, SessionWork, assign
from finishing.documents.names import nearest
from finishing.errors import Place, Problem, ProblemSet
from finishing.photographs.writing import write_bytes
from finishing.proofs.answers import BYTES_LIMIT, Answer, Pick, read_answer
from finishing.proofs.quoting import shown

BACKUP = ".before-picks"


@dataclass(frozen=True)
class PicksReport:
    """picks: as the answer has them; dropped: frames that were picked or noted before and are no longer; session: the
    file; backup: what it was before; None where nothing had to be changed."""

    picks: tuple[Pick, ...]
    dropped: tuple[str, ...]
    session: Path
    backup: Path | None

    @property
    def chosen(self) -> int:
        """How many frames have a look."""
        return sum(bool(pick.looks) for pick in self.picks)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "session": str(self.session),
            "backup": None if self.backup is None else str(self.backup),
            "picks": [{"frame": pick.frame, "looks": list(pick.looks), "note": pick.note} for pick in self.picks],
            "dropped": list(self.dropped),
        }


def bring_in(session: Path, answer: Path, *, rating: int | None = 5, add: bool = False) -> PicksReport:
    """Write a client's answer under `per_frame` of session.yaml: picked, note, and a rating for what was chosen.

    rating: 1…5 for chosen frames; one that is rated higher keeps its rating, and None leaves all as they are. The
    answer stands for the whole choice: picks and notes of other frames are taken out, unless `add` keeps them (where
    two clients answer, say) and joins the looks of frames that both chose. The file as it was stays beside it as
    session.yaml.before-picks. Raises Problem or ProblemSet where the answer is not one of this session; the session
    is then untouched.
    """
    given = read_answer(_content(answer), str(answer))
    work = assign(session)
    _check(given, work, str(answer))
    # a link stays a link: what it leads to is changed
    path = work.session.document.path.resolve()
    changes, dropped = _changes(given, work, rating, add=add)
    before = path.read_bytes()
    mark, text = (b"\xef\xbb\xbf", before[3:]) if before.startswith(b"\xef\xbb\xbf") else (b"", before)
    after = (
        mark + with_frames_changed(text.decode(), str(work.session.document.path), changes).encode()
        if changes
        else before
    )
    if after == before:
        return PicksReport(given.picks, (), path, None)
    backup = path.with_name(path.name + BACKUP)
    write_bytes(backup, before, movable=False)
    mode = path.stat().st_mode
    write_bytes(path, after, movable=False)
    path.chmod(mode)
    shutil.copymode(path, backup)
    return PicksReport(given.picks, tuple(dropped), path, backup)


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > BYTES_LIMIT:
            raise Problem(
                "this file is too large for an answer", where=Place(str(path)), got=f"{path.stat().st_size} bytes",
                expected=f"at most {BYTES_LIMIT} bytes", remedy="name the file that the proof page saved",
            )  # fmt: skip
        return path.read_bytes()
    except OSError as error:
        raise Problem(
            "the answer cannot be read", where=Place(str(path)), got=error.strerror or str(error),
            remedy="check the name and the folder it is in",
        ) from error  # fmt: skip


def _check(answer: Answer, work: SessionWork, file: str) -> None:
    """Raises ProblemSet where an answer is not one of this session, frame by frame and look by look."""
    if answer.session != id_of(work):
        title = work.session.value.session
        renamed = answer.title != title
        raise ProblemSet(
            [
                Problem(
                    "this answer belongs to another session",
                    where=file,
                    got=shown(answer.title) if renamed else f"{shown(title)} of another date",
                    expected=shown(title) if renamed else "the plan's date as it was when the page was made",
                    remedy="name the session that the proof page was made of; if its title or the plan's date was "
                    "changed since, change it back first",
                )
            ]
        )
    frames = {frame.frame.name: frame for frame in work.frames}
    problems: list[Problem] = []
    for pick in answer.picks:
        if pick.frame not in frames:
            near = nearest(pick.frame, frames)
            remedy = f"the session has {shown(near)}; " if near else ""
            problems.append(
                Problem(
                    "the answer names a frame that the session does not have", where=file, got=shown(pick.frame),
                    expected="a frame of the session that is not skipped",
                    remedy=remedy + "put the frame back, or make the proof page anew and ask again",
                )
            )  # fmt: skip
            continue
        known = [recipe.name for recipe in frames[pick.frame].looks]
        problems += [
            Problem(
                f"the answer picks a look that {shown(pick.frame)} does not have", where=file, got=shown(look),
                expected="one of " + ", ".join(known) if known else "none: the session gives this frame no look",
                remedy="give the frame that look in session.yaml, or make the proof page anew and ask again",
            )
            for look in pick.looks if look not in known
        ]  # fmt: skip
    if problems:
        raise ProblemSet(problems)


def _changes(
    answer: Answer, work: SessionWork, rating: int | None, *, add: bool
) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """What has to change by frame, and the frames that are no longer picked or noted."""
    frames = {frame.frame.name: frame for frame in work.frames}
    changes: dict[str, dict[str, Any]] = {}
    for pick in answer.picks:
        frame = frames[pick.frame]
        own = _said(pick, frame, rating, add=add)
        if own:
            changes[pick.frame] = own
    dropped = []
    answered = {pick.frame for pick in answer.picks}
    for name, says in work.session.value.per_frame.items():
        if not add and name not in answered and (says.picked or says.note):
            dropped.append(name)
            changes[name] = {key: None for key, value in (("picked", says.picked), ("note", says.note)) if value}
    return changes, dropped


def _said(pick: Pick, frame: FrameWork, rating: int | None, *, add: bool) -> dict[str, Any]:
    says = frame.says
    looks, note = pick.looks, pick.note or None
    if add:
        looks = tuple(dict.fromkeys((*says.picked, *looks)))
        note = _joined(says.note, note)
    own: dict[str, Any] = {}
    if looks and rating is not None and (frame.rating is None or frame.rating < rating):
        own["rating"] = rating
    if set(looks) != set(says.picked):
        own["picked"] = _in_order(looks, frame) or None
    if note != says.note:
        own["note"] = note
    return own


def _in_order(looks: Sequence[str], frame: FrameWork) -> list[str]:
    """In the session's order, what is not of it last."""
    known = [recipe.name for recipe in frame.looks]
    return sorted(looks, key=lambda look: known.index(look) if look in known else len(known))


def _joined(before: str | None, new: str | None) -> str | None:
    if not before or not new or new in before.split("\n"):
        return before or new
    return f"{before}\n{new}"
