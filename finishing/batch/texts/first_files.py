"""A first session.yaml and plan.yaml for a folder of frames, with comments for the photographer to correct.

Nothing is invented that could be mistaken for a plan or a measurement: what the files do not say, and the exposures
that the camera recorded, stand as comments until the photographer says that they were meant.
"""

import glob
import json
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

from finishing import units
from finishing.batch.texts.first_frames import InFolder, frames_in
from finishing.batch.work.frame_headers import Headers, facts_of
from finishing.errors import Place, Problem
from finishing.exposure.series import nearest_aperture, nearest_iso, nearest_shutter
from finishing.photographs.headers import Header
from finishing.recipes.library import library_folder, recipes_in
from finishing.sessions.likely import LEAP, PAUSE, LikelySetup, likely_setups, prefix_of
from finishing.sessions.matching import FrameFacts

#: What an exposure is made of.
_EXPOSURE = ("aperture", "shutter", "iso")


@dataclass(frozen=True)
class FirstFiles:
    """What was written. setups: each set-up's id with its frames' names; notices: what has to be looked at."""

    session: Path
    plan: Path
    setups: dict[str, list[str]]
    notices: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "files": [str(self.session), str(self.plan)],
            "setups": [{"id": name, "frames": frames} for name, frames in self.setups.items()],
            "notices": self.notices,
        }


def write_first_files(folder: Path, jobs: int | None = None) -> FirstFiles:
    """Look at a folder's frames and write session.yaml and plan.yaml into it.

    Raises Problem where the folder is none, holds no frames, has one of the two files already or cannot be written to,
    and ProblemSet where an extra is missing that reads some of the frames; then nothing is written.
    """
    session, plan = folder / "session.yaml", folder / "plan.yaml"
    if not folder.is_dir():
        what = "this is a file, not a folder" if folder.exists() else "there is no such folder"
        remedy = "name the folder that it lies in" if folder.exists() else "check its name"
        raise Problem(what, where=Place(str(folder)), remedy=remedy)
    for path in (session, plan):
        if path.exists():
            raise Problem(
                f"this folder has a {path.name} already, and it stays as it is",
                where=Place(str(path)),
                remedy="correct that file, or move session.yaml and plan.yaml away to begin anew",
            )
    reader = Headers(jobs)
    there = frames_in(folder, reader)
    frames, notices = there.frames, there.notices
    headers, unreadable = reader.of(frames)
    notices += [f"{name}: {problem.what}" for name, problem in unreadable.items()]
    groups = likely_setups(facts_of(frame, headers.get(frame.name)) for frame in frames)
    names = _names(groups)
    notices += [
        f"set-up {name}: its files tell no {', '.join(_untold(group))}; fill its exposure in if it is known"
        for name, group in zip(names, groups, strict=True)
        if _untold(group)
    ]
    plan_text = "\n".join(_plan_lines(groups, names, list(headers.values()))) + "\n"
    session_text = "\n".join(_session_lines(folder, there, list(headers.values()))) + "\n"
    _write_new({plan: plan_text, session: session_text})
    setups = {name: [frame.name for frame in group.frames] for name, group in zip(names, groups, strict=True)}
    return FirstFiles(session, plan, setups, notices)


def _write_new(texts: dict[Path, str]) -> None:
    """Write files that must not be there yet; all or none."""
    written: list[Path] = []
    try:
        for path, text in texts.items():
            with path.open("x", encoding="utf-8") as stream:
                written.append(path)
                stream.write(text)
    except (OSError, UnicodeError) as error:
        for made in written:
            made.unlink(missing_ok=True)
        raise Problem(
            "the files cannot be written",
            where=Place(str(path)),
            got=error.strerror if isinstance(error, OSError) else "names of frames that are no text",
            remedy="check the folder's permissions, the space on the disk and the names of the frames",
        ) from error


def _names(groups: Sequence[LikelySetup]) -> list[str]:
    """An id for each group: the prefix that its frames alone share, else a letter."""
    prefixes = [{prefix_of(frame.name) for frame in group.frames} for group in groups]
    counts = Counter(prefix for found in prefixes for prefix in found)
    names: list[str] = []
    letters = (f"{chr(65 + i // 26 - 1) if i >= 26 else ''}{chr(65 + i % 26)}" for i in range(26 * 27))
    for found in prefixes:
        prefix = next(iter(found))
        name = prefix.strip(" -_.")
        own = len(found) == 1 and counts[prefix] == 1 and name and name != "all" and name not in names
        if not own:
            name = next(letter for letter in letters if letter not in names and not _taken(letter, prefixes))
        names.append(name)
    return names


def _taken(letter: str, prefixes: Sequence[set[str]]) -> bool:
    return any(prefix.strip(" -_.") == letter for found in prefixes for prefix in found)


def _untold(group: LikelySetup) -> list[str]:
    return [what for what in _EXPOSURE if group.usual(what) is None]


def _plan_lines(groups: Sequence[LikelySetup], names: Sequence[str], headers: Sequence[Header]) -> Iterator[str]:
    minutes = round(PAUSE.total_seconds() / 60)
    yield "# A first shoot plan, as the frames suggest it: correct it. `finishing plan` shows which frame goes where."
    yield f"# A set-up begins after a pause of {minutes} minutes or more, and where aperture or ISO change by a stop"
    yield f"# or the shutter by {round(LEAP)}, and stay there."
    yield from _place_lines(headers, groups)
    yield "# sync: 1/200                          # fastest shutter that still takes the whole strobe"
    yield "setups:"
    by_time = _by_time(groups)
    for i, (name, group) in enumerate(zip(names, groups, strict=True)):
        times = group.times
        span = f", {times[0]:%Y-%m-%d %H:%M} to {times[-1]:%H:%M}" if times else ""
        count = len(group.frames)
        yield f"  # {count} frame{'' if count == 1 else 's'}{span}; {group.why}".rstrip()
        yield f"  - id: {_quoted(name)}"
        yield "    # title: a few words on subject and light"
        yield from _frame_lines(i, groups, by_time)
        yield from _exposure_lines(group)
        yield "    # ambient: -2                      # stops: the metered ambient against this exposure"
        yield "    # strobes:                         # reads: the flash meter's f-number at the subject"
        yield "    #   - {name: key, modifier: softbox, position: camera left, power: 1/1, reads: f/8}"


def _place_lines(headers: Sequence[Header], groups: Sequence[LikelySetup]) -> Iterator[str]:
    days = {time.date() for group in groups for time in group.times}
    offsets = {header.metadata.utc_offset_seconds for header in headers} - {None}
    points = [
        (header.metadata.latitude, header.metadata.longitude)
        for header in headers
        if header.metadata.latitude is not None and header.metadata.longitude is not None
    ]
    known: dict[str, str] = {}
    if points:
        known["latitude"] = units.format_number(sorted(p[0] for p in points)[len(points) // 2], 4)
        known["longitude"] = units.format_number(sorted(p[1] for p in points)[len(points) // 2], 4)
    if len(days) == 1:
        known["date"] = next(iter(days)).isoformat()
    if len(offsets) == 1:
        known["utc_offset"] = f'"{_offset(float(next(iter(offsets)) or 0))}"'
    if known:
        yield "place: {" + ", ".join(f"{key}: {value}" for key, value in known.items()) + "}"
    examples = {"name": "Example orchard", "latitude": "47.4", "longitude": "8.6", "date": "2026-09-19",
                "utc_offset": '"+02:00"'}  # fmt: skip
    lacking = {key: value for key, value in examples.items() if key not in known}
    told = ", ".join(f"{key}: {value}" for key, value in lacking.items())
    start = "# also for the place, so that sun and falling daylight can be told:" if known else "# place:"
    yield f"{start} {{{told}}}"


def _offset(seconds: float) -> str:
    minutes = round(abs(seconds) / 60)
    return f"{'-' if seconds < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _by_time(groups: Sequence[LikelySetup]) -> bool:
    """Whether times of day tell the groups apart: all of one day, and none among another's."""
    spans = sorted((group.times[0], group.times[-1]) for group in groups if group.times)
    one_day = len({time.date() for span in spans for time in span}) <= 1
    second = timedelta(seconds=1)
    return one_day and all(one[1] + second < other[0].replace(microsecond=0) for one, other in pairwise(spans))


def _frame_lines(index: int, groups: Sequence[LikelySetup], by_time: bool) -> Iterator[str]:
    """The frames of a set-up: by a prefix that is its own, else by times, else one by one."""
    group = groups[index]
    prefixes = {prefix_of(frame.name) for frame in group.frames}
    pattern = glob.escape(next(iter(prefixes))) + "*"
    others = [frame.name for i, other in enumerate(groups) if i != index for frame in other.frames]
    prefix = next(iter(prefixes))
    if len(prefixes) == 1 and prefix and not any(name.startswith(prefix) for name in others):
        yield f"    frames: {_quoted(pattern)}"
    elif by_time and len(group.times) == len(group.frames):
        first, last = group.times[0], group.times[-1] + timedelta(seconds=1)
        if last.date() == first.date():
            yield f'    from: "{first:%H:%M:%S}"                   # by the camera\'s clock'
            yield f'    to: "{last:%H:%M:%S}"'
        else:
            yield _one_by_one(group.frames)
    else:
        yield _one_by_one(group.frames)


def _one_by_one(frames: Sequence[FrameFacts]) -> str:
    return "    frames: [" + ", ".join(_quoted(glob.escape(frame.name)) for frame in frames) + "]"


def _exposure_lines(group: LikelySetup) -> Iterator[str]:
    """The exposure as a comment: what the camera did is on record in the frames, and is no plan."""
    usual = {what: group.usual(what) for what in _EXPOSURE}
    aperture, shutter, iso = usual["aperture"], usual["shutter"], usual["iso"]
    told = {
        "aperture": None if aperture is None else units.format_aperture(_printed(aperture, nearest_aperture)),
        "shutter": None if shutter is None else units.format_shutter(_printed(shutter, nearest_shutter)),
        "iso": None if iso is None else units.format_number(_printed(iso, nearest_iso), 0),
    }
    values = ", ".join(f"{what}: {(value or '…').removesuffix(' s')}" for what, value in told.items())
    untold = _untold(group)
    note = f"fill in … and take the # away; the files do not tell {', '.join(untold)}" if untold else (
        "as the camera had it; take the # away if that was planned"
    )  # fmt: skip
    yield f"    # exposure: {{{values}}}   # {note}"


def _printed(value: float, nearest: Callable[[float], float]) -> float:
    """The nearest value that is printed on cameras; the value itself where the series does not reach."""
    try:
        return nearest(value)
    except ValueError:
        return value


def _session_lines(folder: Path, there: InFolder, headers: Sequence[Header]) -> Iterator[str]:
    yield "# A first session file: correct it, then look at it with `finishing check` and `finishing run --dry-run`."
    yield f"session: {_quoted(folder.resolve().name or 'Session')}"
    if there.left_out:
        yield "# Left out, since a frame has the name; rename these files and add them below, if they are frames too:"
        yield from (f"#   {_in_comment(path)} (as {_in_comment(frame)})" for path, frame in there.left_out)
    yield "frames: [" + ", ".join(_quoted(pattern) for pattern in there.patterns) + "]"
    yield "plan: plan.yaml"
    cameras = sorted({header.metadata.model for header in headers if header.metadata.model})
    if len(cameras) > 1:
        yield "# camera_clock:                        # how far each camera's clock was from the true time"
        yield f'#   - {{camera: {_quoted(cameras[0])}, ahead_by: "00:00:00"}}'
        example = "frame: FRAME-OF-THIS-CAMERA, as: FRAME-OF-THE-OTHER"
        yield f"#   - {{camera: {_quoted(cameras[1])}, same_instant: {{{example}}}}}"
    else:
        yield '# camera_clock: {ahead_by: "00:01:30"}   # how far the camera\'s clock was from the true time'
    yield from _rights_lines(headers)
    looks = list(recipes_in(library_folder()))
    yield "looks:                                 # `finishing looks` describes each"
    yield f"  - {{look: {'faded_print' if 'faded_print' in looks else looks[0]}, frames: all}}"
    yield "# per_frame:"
    yield "#   FRAME: {subject: [0.5, 0.4], crop: {aspect: 4:5}, straighten: 0.8, rating: 4, skip: no}"
    yield "deliverables:"
    yield "  web: {format: jpeg, long_edge: 2048, profile: srgb, quality: 90}"


def _rights_lines(headers: Sequence[Header]) -> Iterator[str]:
    """Rights that every frame states alike are the session's; where frames differ each keeps its own."""
    stated = {header.metadata.rights for header in headers}
    if len(stated) == 1:
        rights = next(iter(stated))
        known = {key: value for key in ("creator", "copyright", "usage", "contact") if (value := getattr(rights, key))}
        if known:
            yield "rights: {" + ", ".join(f"{key}: {_quoted(value)}" for key, value in known.items()) + "}"
            return
    yield "# rights: {creator: A. Example, copyright: © 2026 A. Example, usage: Client use, contact: a@example.org}"


def _in_comment(text: str) -> str:
    """A file's name in a comment, which ends with its line: in quotes where it is no plain word."""
    return text if text.isascii() and text.isprintable() else _quoted(text)


def _quoted(text: str) -> str:
    """A text for YAML: bare where it is a plain word, else in double quotes, which hold JSON's escapes."""
    plain = text.isascii() and text.replace("_", "").replace("-", "").isalnum() and text[0].isalpha()
    if plain and text.lower() not in {"null", "true", "false", "yes", "no", "on", "off"}:
        return text
    written = json.dumps(text, ensure_ascii=False)
    # line ends and marks that YAML does not take as they are
    return re.sub("[\x7f-\x9f\u2028\u2029\ufeff]", lambda found: f"\\u{ord(found.group()):04x}", written)
