"""The answer that a client gives on the proof page: its form, and how it is read from a file that anyone may have made.

    {"finishing_answer": 1,
     "session": {"id": "9f86d081884c7d65", "title": "Orchard at dusk"},
     "picks": [{"frame": "A-0003", "looks": ["faded_print"], "note": "a little brighter, please"}]}

How it is found in mails and other texts: `messages`. A pick without looks is a note on a frame that was not chosen.
Everything else is refused: nothing is guessed.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from unicodedata import category

from finishing.errors import Problem, ProblemSet
from finishing.proofs.messages import ASK, answer_in
from finishing.proofs.quoting import shown

ANSWER_VERSION = 1
#: Signs of a note, and bytes of a whole answer: several times what any page gives.
NOTE_LIMIT, BYTES_LIMIT = 1000, 8_000_000
#: The signs that turn the direction of what follows (Unicode Standard Annex 9, explicit embeddings, overrides and
#: isolates): in a note they could make session.yaml read as something that it does not say. The page leaves them out.
_TURNING = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))
#: Control signs, halves of a pair, line and paragraph separators (Unicode general categories).
_HIDDEN = frozenset(("Cc", "Cs", "Zl", "Zp"))


@dataclass(frozen=True)
class Pick:
    """What the client said of one frame. looks: names, none where the frame was only noted; note: may be empty."""

    frame: str
    looks: tuple[str, ...]
    note: str


@dataclass(frozen=True)
class Answer:
    """A whole answer. session: the id of the session it belongs to; title: what that session was called."""

    session: str
    title: str
    picks: tuple[Pick, ...]


def read_answer(content: bytes, file: str) -> Answer:
    """The answer in a file: the JSON that was saved, or a mail or another text with what was copied.

    file: how errors call it. Raises ProblemSet with everything that is wrong.
    """
    try:
        data = json.loads(_json_part(content), object_pairs_hook=_no_doubles, parse_constant=_refuse, parse_int=_whole)
    except Problem as problem:
        raise ProblemSet([problem.at(file)]) from None
    except (ValueError, RecursionError) as error:
        told = Problem("this answer cannot be read", where=file, got=str(error), remedy=ASK)
        raise ProblemSet([told]) from None
    reader = _Reader(file)
    answer = reader.answer(data)
    if reader.problems:
        raise ProblemSet(reader.problems)
    assert answer is not None
    return answer


def _json_part(content: bytes) -> str:
    if len(content) > BYTES_LIMIT:
        raise Problem(
            "this answer cannot be read", got=f"{len(content)} bytes", expected=f"at most {BYTES_LIMIT} bytes",
            remedy="name the file that the proof page saved",
        )  # fmt: skip
    return answer_in(content)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        double = next(key for key in keys if keys.count(key) > 1)
        raise Problem("the answer says something twice", got=shown(double), remedy=ASK)
    return found


def _refuse(word: str) -> Any:
    raise ValueError(f"{word} is no value")


def _whole(digits: str) -> int:
    return int(digits) if len(digits) < 10 else -1  # endless digits are nothing that an answer has


class _Reader:
    """Reads strictly, and gathers all that is wrong."""

    def __init__(self, file: str) -> None:
        self.problems: list[Problem] = []
        self._file = file

    def _wrong(self, what: str, got: object = None, expected: str | None = None) -> None:
        told = None if got is None else shown(got)
        self.problems.append(Problem(what, where=self._file, got=told, expected=expected, remedy=ASK))

    def _keys(self, data: Any, names: tuple[str, ...], where: str) -> bool:
        if not isinstance(data, dict):
            self._wrong(f"{where} is not of the form of an answer", expected="keys and values: " + ", ".join(names))
            return False
        for key in data:
            if key not in names:
                self._wrong(f"{where} has a key that no answer has", key, "only " + ", ".join(names))
        missing = [name for name in names if name not in data]
        for name in missing:
            self._wrong(f'{where} lacks "{name}"')
        return not missing

    def _text(self, value: Any, limit: int, what: str, *, note: bool = False) -> str | None:
        if not isinstance(value, str):
            self._wrong(f"{what} is no text", value)
            return None
        if len(value) > limit:
            self._wrong(f"{what} is too long", f"{len(value)} signs", f"at most {limit} signs")
            return None
        if note and any(sign != "\n" and (sign in _TURNING or category(sign) in _HIDDEN) for sign in value):
            self._wrong(f"{what} has signs that no note needs", value)
            return None
        return value

    def answer(self, data: Any) -> Answer | None:
        """The whole answer, or None with problems noted."""
        if not self._keys(data, ("finishing_answer", "session", "picks"), "the answer"):
            return None
        version, session, picks = data["finishing_answer"], data["session"], data["picks"]
        if type(version) is not int or version != ANSWER_VERSION:
            what = "the answer is of a form that this program does not know"
            self.problems.append(
                Problem(
                    what, where=self._file, got=f"finishing_answer: {shown(version)}",
                    expected=f"finishing_answer: {ANSWER_VERSION}",
                    remedy="make the proof page anew with this version of the program, or bring this one up to date",
                )
            )  # fmt: skip
            return None
        if not self._keys(session, ("id", "title"), "the answer's session"):
            return None
        name = self._text(session["id"], 64, "the session's id")
        title = self._text(session["title"], 1000, "the session's title")
        if not isinstance(picks, list):
            self._wrong("the answer's picks are no list")
            return None
        found = list(self._picks(picks))
        return None if name is None or title is None else Answer(name, title, tuple(found))

    def _picks(self, picks: list[Any]) -> Iterator[Pick]:
        seen: set[str] = set()
        for number, entry in enumerate(picks, 1):
            if not self._keys(entry, ("frame", "looks", "note"), f"pick {number}"):
                continue
            frame = self._text(entry["frame"], 1000, f"the frame of pick {number}")
            note = self._text(entry["note"], NOTE_LIMIT, f"the note of pick {number}", note=True)
            looks = self._looks(entry["looks"], number)
            if frame is None or note is None or looks is None:
                continue
            if frame in seen:
                self._wrong("the answer names a frame twice", frame)
            elif not looks and not note.strip():
                self._wrong(f"pick {number} says nothing", frame, "a look or a note")
            seen.add(frame)
            yield Pick(frame, looks, note.strip())

    def _looks(self, looks: Any, number: int) -> tuple[str, ...] | None:
        if not isinstance(looks, list):
            self._wrong(f"the looks of pick {number} are no list", looks)
            return None
        found = [self._text(look, 1000, f"a look of pick {number}") for look in looks]
        names = tuple(look for look in found if look is not None)
        if len(set(names)) < len(names):
            self._wrong(f"pick {number} names a look twice", next(name for name in names if names.count(name) > 1))
        return names if len(names) == len(found) else None
