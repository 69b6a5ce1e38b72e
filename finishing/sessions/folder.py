"""Files named by a user's file: kept inside the folder of that file, found, and named.

A frame's name is its file's name without the suffix (its stem).
"""

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Any

from finishing.documents import Document
from finishing.documents.names import nearest
from finishing.errors import Place, Problem
from finishing.sessions.frame_names import has_wildcard

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
