"""What the names of frames mean: plain names, patterns, ranges; and which one was meant.

Patterns know `*`, `?` and `[...]`; capitals count. Two names with a dash between them, alike but for the number at
their end, are a range.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import PurePosixPath

from finishing.documents.names import equally_alike, looks_alike, nearest
from finishing.errors import Place, Problem


def has_wildcard(text: str) -> bool:
    """Whether a text is a pattern rather than a name."""
    return any(c in text for c in "*?[")


_TO = r"\s*(?:[-\u2010-\u2015\u2026]|\.\.|\bto\b)\s*"


@dataclass(frozen=True)
class FrameRange:
    """LP436-LP439: all frames of one beginning with a number from the first to the last. ends: their names."""

    beginning: str
    first: int
    last: int
    ends: tuple[str, str]

    def holds(self, name: str) -> bool:
        """Whether a frame is one of these."""
        number = name.removeprefix(self.beginning)
        if not name.startswith(self.beginning) or not re.fullmatch(r"[0-9]{1,18}", number):
            return False
        return self.first <= int(number) <= self.last


@lru_cache(maxsize=256)
def frame_range(text: str) -> FrameRange | None:
    """The range that a text is, as LP436-LP439 or LP436 to LP439; None for what is none: numbers of other beginnings,
    that fall, or (where nothing stands before them) of other lengths, as in the name 100-0431."""
    found = re.fullmatch(rf"(.*?)([0-9]{{1,18}}){_TO}\1([0-9]{{1,18}})", text.strip())
    if found is None:
        return None
    beginning, first, last = found.groups()
    if int(first) >= int(last) or (not beginning and len(first) != len(last)):
        return None
    return FrameRange(beginning, int(first), int(last), (beginning + first, beginning + last))


def is_pattern(text: str) -> bool:
    """Whether a text may mean several frames: a pattern or a range."""
    return has_wildcard(text) or frame_range(text) is not None


def matches(pattern: str, name: str, file_name: str | None = None) -> bool:
    """Whether a pattern, a range or a plain name means a frame, by its stem or by its whole file name."""
    if any(fnmatchcase(text, pattern) or text == pattern for text in (name, file_name) if text is not None):
        return True
    several = frame_range(pattern)
    return several is not None and several.holds(name)


def open_range(pattern: str, names: Iterable[str], where: Place | None) -> Problem | None:
    """The problem of a range of which no frame is one of the ends; None where both are there, or where it is no range.
    A name that looks like a range is none."""
    known, several = set(names), frame_range(pattern)
    if several is None or pattern in known:
        return None
    lacking = [end for end in several.ends if end not in known]
    if not lacking:
        return None
    inside = sorted((one for one in known if several.holds(one)), key=lambda one: int(one[len(several.beginning) :]))
    remedy = "name the first and the last frame as they are called"
    if len(inside) > 1:
        remedy = f"write {inside[0]}-{inside[-1]}, if those are the first and the last"
    what = f"this range goes from {several.ends[0]} to {several.ends[1]}, and no frame is called {' or '.join(lacking)}"
    return Problem(what, where=where, got=pattern, expected="a range from one frame to another", remedy=remedy)


class UnknownFrame(Problem):
    """A name that means no frame. name: that name."""

    name = ""


def unknown_frame(name: str, frames: Iterable[str], where: Place | None, *, other: Iterable[str] = ()) -> Problem:
    """The problem of a name (or pattern) that means no frame. other: set-ups that might have been meant."""
    names, also = sorted(frames), sorted(other)
    near = _frame_meant(name, names, also)
    some = f"{names[0]} … {names[-1]}" if len(names) > 1 else "".join(names)
    expected = f"a frame's name or a pattern of names ({some})" if names else "a frame's name (there are no frames)"
    if also:
        expected += ", or a set-up: " + ", ".join(also)
    apart = several_names(name, [*names, *also])
    if apart is not None:
        return Problem("several names stand here as one text", where=where, got=name, expected=expected,
                       remedy=f"write them as a list: {apart}")  # fmt: skip
    ends = several.ends if (several := frame_range(name)) is not None else ()
    if ends and set(ends) <= set(names):
        what, remedy = "a range stands where one frame is named", "name each frame by itself"
        return Problem(what, where=where, got=name, expected="the name of one frame", remedy=remedy)
    meant = _range_meant(name, set(names))
    if meant is not None:
        what, remedy = "a range of frames is written from name to name", f"write {meant}"
        return Problem(what, where=where, got=name, expected=expected, remedy=remedy)
    problem = UnknownFrame(
        f'no frame has the name "{name}"' + (", and no set-up" if also else ""),
        where=where,
        got=name,
        expected=expected,
        remedy=_one_of_those(near),
    )
    problem.name = name
    return problem


#: So many names that are equally near are all named; of more, none is.
_MOST_NEAR = 3


def _one_of_those(near: list[str]) -> str:
    """Which name was meant; where several are equally near, all of them, or that there are many."""
    if not 0 < len(near) <= _MOST_NEAR:
        return ("several names are as near to it: " if near else "") + "use a name that `finishing plan` lists"
    *most, last = [f'"{one}"' for one in sorted(near)]
    return f"did you mean {', '.join(most)} or {last}?" if most else f"did you mean {last}?"


def several_names(text: str, known: Iterable[str]) -> str | None:
    """A text of several known names as the list that it was meant as: [A-0001, A-0002]; None where it is none."""
    parts, names = [part for part in re.split(r"[,;+&\s]+(?:and\s+)?", text) if part], set(known)
    return f"[{', '.join(parts)}]" if len(parts) > 1 and names.issuperset(parts) else None


def _range_meant(text: str, names: set[str]) -> str | None:
    """A range that leaves out what both names begin with: LP436-439 for LP436-LP439."""
    found = re.fullmatch(rf"(.+?)([0-9]+){_TO}([0-9]+)", text.strip())
    if found is None:
        return None
    beginning, first, last = found.groups()
    whole = first[: -len(last)] + last if len(last) < len(first) else last
    several = f"{beginning}{first}-{beginning}{whole}"
    return several if frame_range(several) is not None and {beginning + first, beginning + whole} <= names else None


def _frame_meant(name: str, frames: list[str], setups: list[str]) -> list[str]:
    """The frame, pattern or set-up that a name comes nearest to: the same in other capitals, as a file, with letters
    swapped, or one much like it; several where they are equally near."""
    known = [*setups, *frames]
    if has_wildcard(name):
        patterns = [one for one in (name.upper(), name.lower()) if any(matches(one, frame) for frame in frames)]
        return patterns[:1] or _nearest(name, known)
    bare = PurePosixPath(name.replace("\\", "/")).name
    words = {name, bare, PurePosixPath(bare).stem, re.sub(r"(?i)^set-?_?up\s+", "", name)}
    for same in (str.lower, lambda text: "".join(sorted(text.lower()))):
        found = next((one for one in ["all", *known] if any(same(one) == same(word) for word in words)), None)
        if found is not None:
            return [found]
    return _nearest(name, known)


def _nearest(name: str, known: list[str]) -> list[str]:
    near = nearest(name, known)
    equal = equally_alike(name, known) if looks_alike(name, known) is None else []
    return equal if near in equal else [near] if near is not None else []
