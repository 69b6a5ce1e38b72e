"""The frames of a folder that has no session yet: which files they are, and the patterns that find them."""

import glob
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from finishing.batch.work.frame_headers import Headers
from finishing.errors import Place, Problem, ProblemSet
from finishing.photographs.containers import missing_for
from finishing.photographs.headers import Header
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.folder import LEDGER_NAME, NO_FRAMES, OUTPUT_FOLDER, FramePath

#: Endings of frames, in the order in which they are preferred where two files have one name. Cameras' raw files have
#: many others, and are told by what is in them.
ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".avif", ".heic", ".heif", ".dng")
#: Formats that are frames whatever the file's name ends in.
_BY_CONTENT = frozenset({"heif", "raw"})
#: Endings of a session's own files, which nobody need look into.
_TEXTS = (".yaml", ".yml", *NO_FRAMES)
#: So many files that were left out are named on the screen; all of them stand in session.yaml.
_NAMED = 6
#: Folders of a session that hold no frames.
_NOT_FRAMES = frozenset({OUTPUT_FOLDER, "recipes", "masks"})

#: A folder below the session's ("" for its own) and an ending: what one pattern finds.
_Kind = tuple[str, str]


@dataclass(frozen=True)
class InFolder:
    """patterns find the frames; left_out: files that have the name of a frame, each with that frame's path; finished:
    names of files that say that they are finished."""

    patterns: list[str]
    frames: list[FramePath]
    left_out: list[tuple[str, str]]
    finished: list[str]

    @property
    def notices(self) -> list[str]:
        """What was passed over, in words."""
        return [*_finished_notices(self.finished), *_left_out_notices(self.left_out)]


def frames_in(folder: Path, reader: Headers) -> InFolder:
    """Patterns of file names, the frames they find, and the files that were passed over. Names are unique, on disks too
    that take capitals for the same: where two files have one, that of the pattern with more files counts, and of two
    equal ones the earlier of `ENDINGS`. A pattern that would find a name again, or what is no frame, gives way to its
    other files' names.

    Raises Problem where there are none, and ProblemSet where an extra is missing that reads some of them.
    """
    there: dict[_Kind, list[FramePath]] = {}
    for kind, file in _files(folder):
        there.setdefault(kind, []).append(file)
    ended = {kind: files for kind, files in there.items() if kind[1].lower() in ENDINGS}
    others = [file for kind, files in there.items() if kind not in ended for file in files]
    by_content = {
        file for file, read in reader.each_of(others).items() if isinstance(read, Header) and read.format in _BY_CONTENT
    }
    frames_of = {kind: files if kind in ended else [one for one in files if one in by_content]
                 for kind, files in there.items()}  # fmt: skip
    made = reader.finished_among([file for files in frames_of.values() for file in files])
    found = {
        kind: left for kind, files in frames_of.items() if (left := [one for one in files if one.path not in made])
    }
    if not found:
        raise _no_frames(folder, [file for file in others if file not in by_content])
    mixed = {kind for kind in found if len(frames_of[kind]) < len(there[kind]) or not kind[1]}
    chosen = _chosen(found, mixed, sorted(path.name for path in made))
    _refuse_unread(chosen.frames, reader)
    return chosen


def _files(folder: Path) -> Iterator[tuple[_Kind, FramePath]]:
    """The files of a folder and of those in it that may hold frames; none that links lead to outside."""
    folders = [folder, *(p for p in sorted(folder.iterdir()) if p.is_dir() and p.name not in _NOT_FRAMES)]
    for place in folders:
        if place != folder and (place.name.startswith(".") or (place / LEDGER_NAME).is_file()):
            continue
        for path in sorted(place.iterdir()):
            known = path.suffix.lower() not in _TEXTS and path.is_file() and not path.name.startswith(".")
            if known and path.resolve().is_relative_to(folder.resolve()):
                kind = (place.name if place != folder else "", path.suffix)
                yield kind, FramePath(path.stem, path, path.relative_to(folder).as_posix())


def _chosen(found: Mapping[_Kind, Sequence[FramePath]], mixed: set[_Kind], finished: list[str]) -> InFolder:
    """Of two files of one name the preferred one. mixed: kinds of which a pattern would find what is no frame."""

    def preferred(kind: _Kind) -> tuple[int, int, _Kind]:
        ending = kind[1].lower()
        return -len(found[kind]), ENDINGS.index(ending) if ending in ENDINGS else len(ENDINGS), kind

    patterns: list[str] = []
    frames: dict[str, FramePath] = {}
    left_out: list[tuple[str, str]] = []
    for kind in sorted(found, key=preferred):
        own: list[str] = []
        for here in found[kind]:
            frame = frames.setdefault(as_disks_compare(here.name), here)
            if frame.relative == here.relative:
                own.append(glob.escape(here.relative))
            else:
                left_out.append((here.relative, frame.relative))
        inside, suffix = kind
        whole = kind not in mixed and len(own) == len(found[kind])
        pattern = (glob.escape(inside) + "/" if inside else "") + f"*{glob.escape(suffix)}"
        patterns += [pattern] if whole else own
    return InFolder(sorted(patterns), sorted(frames.values()), sorted(left_out), finished)


def _no_frames(folder: Path, others: Sequence[FramePath]) -> Problem:
    """others: files of which nobody can say what they are."""
    raw = missing_for("raw")
    count = len(others)
    more = f"; if {others[0].relative} is a raw file: {raw.remedy}" if raw is not None and others else ""
    return Problem(
        "there are no frames in this folder",
        where=Place(str(folder)),
        got=f"{count} other file{'' if count == 1 else 's'}, such as {others[0].relative}" if others else None,
        expected=f"files that end in {', '.join(ENDINGS)}, or cameras' raw files, here or one folder further down",
        remedy="copy the frames into it, or name the folder they are in" + more,
    )


def _refuse_unread(frames: Sequence[FramePath], reader: Headers) -> None:
    """Raises ProblemSet where frames need an extra that is not installed."""
    lacking: dict[str, tuple[Problem, list[FramePath]]] = {}
    for file, read in reader.each_of(frames).items():
        missing = missing_for(read.format) if isinstance(read, Header) else None
        if missing is not None and isinstance(read, Header):
            lacking.setdefault(read.format, (missing, []))[1].append(file)
    if lacking:
        raise ProblemSet(
            Problem(
                missing.what,
                where=Place(str(files[0].path)),
                got=f"{len(files)} such file{'' if len(files) == 1 else 's'} in this folder",
                expected=missing.expected,
                remedy=missing.remedy,
            )
            for missing, files in lacking.values()
        )


def _finished_notices(finished: Sequence[str]) -> list[str]:
    """What is finished, and so no frame."""
    if not finished:
        return []
    count = (
        "1 file that is finished, and no frame, was" if len(finished) == 1 else f"{len(finished)} finished files were"
    )
    return [f"{count} left out: {', '.join(finished[:_NAMED])}"]


def _left_out_notices(left_out: Sequence[tuple[str, str]]) -> list[str]:
    """What was left out, against what, and what to do."""
    if not left_out:
        return []
    some = ", ".join(f"{path} ({frame} has that name)" for path, frame in left_out[:_NAMED])
    more = len(left_out) - _NAMED
    some += f" and {more} more, named in session.yaml," if more > 0 else ""
    one = len(left_out) == 1
    said = f"left out {some}; rename {'it' if one else 'them'} and add {'it' if one else 'them'} under frames"
    return [f"{said} of session.yaml, if {'it is a frame' if one else 'they are frames'} too"]
