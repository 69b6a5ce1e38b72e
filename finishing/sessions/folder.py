"""Files named by a user's file: kept inside the folder of that file, found, and named.

A frame's name is its file's name without the suffix (its stem). Name patterns know `*`, `?` and `[...]`;
capitals count. Two names with a dash between them, alike but for the number at their end, are a range.
"""

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Any

from finishing.documents import Document
from finishing.documents.names import equally_alike, looks_alike, nearest
from finishing.errors import Place, Problem

#: Where a session's finished files go, beside session.yaml, unless it is said; and what lies in every such folder.
OUTPUT_FOLDER, LEDGER_NAME = "finished", "ledger.sqlite"
#: What lies beside frames and is none: packets with ratings and rights.
NO_FRAMES = (".xmp",)

#: Suffixes of pictures, for suggestions alone: what can be read is the business of the reader.
_PICTURES = (".jpg", ".jpeg", ".tif", ".tiff", ".png", ".webp", ".avif", ".heic", ".dng")

EXPECTED_INSIDE = "a path below the folder of this file, such as frames/A-0001.jpg"


@dataclass(frozen=True, order=True)
class FramePath:
    """One frame's file. name: the stem, unique in its session; relative: its path in the session's folder."""

    name: str
    path: Path
    relative: str


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


def stays_inside(text: str) -> bool:
    """Whether the text alone is a relative path that cannot climb out (links are another matter)."""
    return bool(
        text
        and not text.startswith(("/", "\\", "~"))
        and not re.match(r"[A-Za-z]:", text)
        and ".." not in re.split(r"[/\\]", text)
    )


def _really_inside(path: Path, folder: Path) -> bool:
    """Whether a path stays in the folder with all links followed; links in a ring lead nowhere."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return False


def outside(document: Document[Any], *at: str | int) -> Problem:
    """The problem of a path that leaves the folder of its file."""
    return document.problem(
        "this path leaves the folder of this file",
        *at,
        expected=EXPECTED_INSIDE,
        remedy="put the file into this folder and name it from here, without .. and without a leading /",
    )


def inside_file(document: Document[Any], text: str, *at: str | int) -> Path | Problem:
    """The existing file that a text names from the document's folder, or the problem of it."""
    if not stays_inside(text):
        return outside(document, *at)
    folder = document.path.parent
    path = folder / text
    if not _really_inside(path, folder):
        return _link(document, text, *at)
    if not path.is_file():
        siblings = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
        near = nearest(path.name, siblings)
        kept = f'did you mean "{PurePosixPath(text).with_name(near)}"?' if near else "check the name and the folder"
        return document.problem("there is no such file", *at, remedy=kept)
    return path


def _link(document: Document[Any], text: str, *at: str | int) -> Problem:
    return document.problem(
        "a link leads out of the folder of this file",
        *at,
        got=text,
        expected="a file or folder that really lies in this folder",
        remedy="copy what the link points to into this folder, and remove the link",
    )


@dataclass(frozen=True)
class Found:
    """The files that patterns find, sorted by name; what is wrong with them; what is only to be known."""

    frames: list[FramePath]
    problems: list[Problem]
    warnings: list[Problem]


#: Of files, those that say that they are finished, each with the name of the file that it was made from.
FinishedAmong = Callable[[Sequence[FramePath]], Mapping[Path, str]]


def none_finished(files: Sequence[FramePath]) -> Mapping[Path, str]:
    """Where nobody looks into the files."""
    return {}


def find_files(
    document: Document[Any], patterns: Iterable[str], key: str, finished_among: FinishedAmong = none_finished
) -> Found:
    """The files that glob patterns under `key` of a document find.

    Wrong are patterns that leave the folder or find nothing, links that lead out of it, and two files whose
    names differ only in the suffix. Hidden files and packets beside frames (.xmp) are passed over; files below an
    output folder of a session, and such as say themselves that they are finished, are no frames: what a pattern finds
    of them is passed over and told, and one that is named outright is wrong.
    """
    folder = document.path.parent
    found: dict[Path, FramePath] = {}
    problems: list[Problem] = []
    warnings: list[Problem] = []
    outputs = _Outputs(folder)
    by_pattern: list[tuple[str, tuple[str | int, ...], list[FramePath]]] = []
    for i, pattern in enumerate(patterns):
        at: tuple[str | int, ...] = (key, i) if isinstance(document.tree.at((key,)), list) else (key,)
        if not stays_inside(pattern):
            problems.append(outside(document, *at))
            continue
        some, finished, here = False, list[str](), list[FramePath]()
        try:
            paths = sorted(folder.glob(pattern))
        except (ValueError, IndexError, NotImplementedError):  # such as "**.jpg" or ".", which pathlib refuses
            paths = []
        for path in paths:
            relative = path.relative_to(folder)
            if any(part.startswith(".") for part in relative.parts) or path.suffix.lower() in NO_FRAMES:
                continue
            inside = outputs.holding(relative)
            if inside is not None:
                finished.append(inside)
            elif not _really_inside(path, folder):
                problems.append(_link(document, relative.as_posix(), *at))
                some = True
            elif path.is_file():
                some = True
                here.append(found.setdefault(path, FramePath(path.stem, path, relative.as_posix())))
        if finished:
            (warnings if some else problems).append(_finished(document, pattern, finished, *at))
        elif not some:
            problems.append(_nothing(document, pattern, *at))
        by_pattern.append((pattern, at, here))
    made_from = finished_among(sorted(found.values()))
    others = {path.name for path in found if path not in made_from}
    for pattern, at, here in by_pattern:
        made = [file for file in here if file.path in made_from]
        if made:
            left_out = has_wildcard(pattern) and len(made) < len(here)
            told = _says_finished(document, pattern, made, made_from, others, *at)
            (warnings if left_out else problems).append(told)
    frames = sorted(file for path, file in found.items() if path not in made_from)
    problems += _doubles(frames, document.place(key))
    return Found(frames, problems, warnings)


class _Outputs:
    """The output folders of a folder: finished/, and whatever holds a ledger."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[Path, bool] = {Path(OUTPUT_FOLDER): True, Path(): False}

    def holding(self, file: Path) -> str | None:
        """The output folder that a file lies in, relative like the file; None where it lies in none."""
        for above in reversed(file.parents):
            if above not in self._known:
                self._known[above] = (self._folder / above / LEDGER_NAME).is_file()
            if self._known[above]:
                return above.as_posix()
        return None


def _finished(document: Document[Any], pattern: str, folders: list[str], *at: str | int) -> Problem:
    count = f"{len(folders)} file{'' if len(folders) == 1 else 's'}"
    where = ", ".join(f"{folder}/" for folder in sorted(set(folders)))
    said = "is finished, and no frame" if len(folders) == 1 else "are finished, and no frames"
    return document.problem(
        f"{count} in {where} {said}",
        *at,
        got=pattern,
        remedy="name the frames' own folder (frames/*.jpg), so that no finished file can be taken for a frame",
    )


def _says_finished(
    document: Document[Any], pattern: str, made: Sequence[FramePath], made_from: Mapping[Path, str],
    frames: Collection[str], *at: str | int,
) -> Problem:  # fmt: skip
    """made: files that say that they are finished; made_from: the names of the files that they were made from; frames:
    those of the files that are frames."""
    first, more = made[0], len(made) - 1
    what = f"{len(made)} files are finished, and no frames" if more else f"{first.relative} is finished, and no frame"
    got = f"{first.relative}, made from {made_from[first.path]}" + (f", and {more} more" if more else "")
    in_place = [one.path.name for one in made if one.path.name == made_from[one.path] not in frames]
    remedies = []
    if in_place:
        remedies.append(f"put {_named(in_place)} back, from the card or a backup, in the place of what is finished")
    if len(in_place) < len(made):
        apart = "move finished files out of the frames' folder, or narrow the pattern"
        named = f"name the frame that it was made from: {made_from[first.path]}"
        remedies.append(apart if has_wildcard(pattern) else named)
    return document.problem(what, *at, got=got, remedy="; ".join(remedies))


def _named(names: Sequence[str]) -> str:
    some = ", ".join(names[:3]) + (" …" if len(names) > 3 else "")
    return f"the frame{'' if len(names) == 1 else 's'} {some}"


def _nothing(document: Document[Any], pattern: str, *at: str | int) -> Problem:
    """What to do about a pattern that finds nothing: another suffix or other capitals often lie there."""
    folder = document.path.parent
    if ", " in pattern:
        what = "several patterns stand here as one text"
        return document.problem(what, *at, remedy=f"write frames: [{pattern}]")
    meant = _pattern_meant(folder, pattern)
    if meant is not None:
        expected = "a pattern such as frames/*.jpg"
        return document.problem("no file has such a name", *at, expected=expected, remedy=f'did you mean "{meant}"?')
    near = folder / PurePosixPath(pattern).parent
    there: list[str] = []
    if not has_wildcard(str(near)) and near.is_dir():
        there = sorted(p.name for p in near.iterdir() if p.is_file() and not p.name.startswith("."))[:3]
    remedy = "check the folder, the suffix and the capitals; " + (
        f"in that folder there is {', '.join(there)}" if there else "no file is there"
    )
    return document.problem("no file has such a name", *at, expected="a pattern such as frames/*.jpg", remedy=remedy)


def _pattern_meant(folder: Path, pattern: str) -> str | None:
    """A pattern like this one that finds pictures: with / for \\, of a folder's files, with the suffix and the capitals
    that its files have."""
    slashed = pattern.replace("\\", "/").rstrip("/")
    path = PurePosixPath(slashed)
    if not slashed or not stays_inside(slashed) or has_wildcard(str(path.parent)):
        return None
    inside = (folder / slashed).is_dir()
    near = slashed if inside else str(path.parent)
    if not (folder / near).is_dir():
        return None
    names = sorted(one.name for one in (folder / near).iterdir() if one.is_file() and not one.name.startswith("."))
    suffixes = [PurePosixPath(one).suffix for one in names if one.lower().endswith(_PICTURES)]
    if inside:
        return f"{near}/*{max(suffixes, key=suffixes.count)}" if suffixes else None
    if any(fnmatchcase(one, path.name) for one in names):
        return slashed
    same = [one for one in names if fnmatchcase(one.lower(), path.name.lower())]
    if not same:
        return None
    name = f"{path.stem}{PurePosixPath(same[0]).suffix}" if has_wildcard(path.name) else same[0]
    return str(path.with_name(name)) if any(fnmatchcase(one, name) for one in names) else None


def _doubles(frames: list[FramePath], place: Place) -> list[Problem]:
    problems: list[Problem] = []
    for first, second in pairwise(frames):
        if first.name == second.name:
            problems.append(
                Problem(
                    f'two files are the frame "{first.name}"',
                    where=place,
                    got=f"{first.relative} and {second.relative}",
                    remedy="narrow the patterns (frames/*.jpg) or rename one of the two files",
                )
            )
    return problems


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
