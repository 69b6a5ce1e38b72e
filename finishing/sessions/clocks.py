"""Cameras' clocks: how far each was from the true time, as the session says or as two frames of one instant show.

A camera is named as its files name it (EXIF Model, with or without Make before it) or, where two bodies are of one
model, by its serial number. Capitals do not count.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from finishing import units
from finishing.documents import Document
from finishing.documents.fields import Duration, Text
from finishing.documents.names import nearest
from finishing.documents.reading import Model
from finishing.errors import Problem, ProblemSet


class SameInstant(Model):
    """Two frames of one instant by two cameras. frame: of the camera whose clock is asked for; as: of another,
    whose clock is known (or right)."""

    frame: Text
    as_: Annotated[Text, Field(alias="as")]


class CameraClock(Model):
    """How far a camera's clock was from the true time, in seconds, or a pair of frames that shows it.

    camera: None means every camera that is not named in another entry.
    """

    camera: Text | None = None
    ahead_by: Duration | None = None
    behind_by: Duration | None = None
    same_instant: SameInstant | None = None

    @property
    def seconds_ahead(self) -> float:
        """What is subtracted from capture times; negative where the clock was behind. 0 for a pair of frames."""
        return float(self.ahead_by or 0.0) - float(self.behind_by or 0.0)


def _listed(value: Any) -> Any:
    """One clock, or a list of them, one a camera."""
    if isinstance(value, list | tuple):
        if not value or not all(isinstance(one, dict | CameraClock) for one in value):
            raise ValueError("expected a mapping (key: value), or a list of them, one a camera; "
                             'write {ahead_by: "00:01:30"}, or - {camera: Example Camera, ahead_by: 90}')  # fmt: skip
        return value
    if not isinstance(value, dict | CameraClock):
        raise ValueError('expected a mapping (key: value); write camera_clock: {ahead_by: "00:01:30"}, for example')
    return (value,)


CameraClocks = Annotated[
    tuple[CameraClock, ...], BeforeValidator(_listed, json_schema_input_type=CameraClock | list[CameraClock])
]


@dataclass(frozen=True)
class Camera:
    """What a frame's file says of the camera."""

    make: str | None = None
    model: str | None = None
    serial: str | None = None

    @property
    def names(self) -> set[str]:
        """What it may be called in a session, in small letters."""
        model = (self.model or "").strip()
        called = {
            model,
            f"{self.make or ''} {model}".strip(),
            self.serial or "",
            f"{model} {self.serial or ''}".strip(),
        }
        return {name.lower() for name in called if name}

    def __str__(self) -> str:
        return self.model or self.serial or "a camera without a name"


@dataclass(frozen=True)
class Stamp:
    """A frame's capture time as its camera's clock showed it, brought to the place's zone where that is known."""

    camera: Camera
    time: datetime | None


@dataclass(frozen=True)
class ClockFound:
    """One entry worked out. camera: as written, None for all others; seconds_ahead; pair: the frames it is from."""

    camera: str | None
    seconds_ahead: float
    pair: tuple[str, str] | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "camera": self.camera,
            "ahead_by_seconds": round(self.seconds_ahead, 3),
            "same_instant": None if self.pair is None else {"frame": self.pair[0], "as": self.pair[1]},
        }


def clock_problems(document: Document[Any], clocks: tuple[CameraClock, ...], frames: Iterable[str]) -> list[Problem]:
    """What can be said wrong without looking into frames. frames: their names; empty leaves them unchecked."""
    problems: list[Problem] = []
    listed = isinstance(document.tree.at(("camera_clock",)), list)
    names = set(frames)
    seen: dict[str | None, int] = {}
    for i, clock in enumerate(clocks):
        at: tuple[str | int, ...] = ("camera_clock", i) if listed else ("camera_clock",)
        said = [key for key in ("ahead_by", "behind_by", "same_instant") if getattr(clock, key) is not None]
        if {"ahead_by", "behind_by"} <= set(said):
            what = "the camera's clock cannot be both ahead and behind"
            problems.append(document.problem(what, *at, "behind_by", remedy="keep ahead_by or behind_by, not both"))
        elif len(said) > 1:
            what = "the camera's clock is told twice: by a number and by two frames"
            problems.append(document.problem(what, *at, "same_instant", remedy="keep one of the two"))
        name = None if clock.camera is None else clock.camera.lower()
        if name in seen:
            whose = f'the camera "{clock.camera}"' if name else "all other cameras"
            what = f"the clock of {whose} is told a second time"
            where = (*at, "camera") if name else at
            problems.append(document.problem(what, *where, remedy="keep one entry a camera, with camera: in each"))
        seen.setdefault(name, i)
        if clock.same_instant is not None:
            problems += _pair_problems(document, clock, at, names)
    return problems


def clock_warnings(document: Document[Any], clocks: tuple[CameraClock, ...]) -> list[Problem]:
    """What is doubtful: 01:00 is read as a minute, and an hour may be meant, of a clock left on summer time."""
    warnings: list[Problem] = []
    listed = isinstance(document.tree.at(("camera_clock",)), list)
    for i, clock in enumerate(clocks):
        at: tuple[str | int, ...] = ("camera_clock", i) if listed else ("camera_clock",)
        for key, seconds in (("ahead_by", clock.ahead_by), ("behind_by", clock.behind_by)):
            written = str(document.tree.at((*at, key)) or "").strip()
            found = re.fullmatch(r"([+-]?)(\d+):(\d+)", written)
            if seconds and found:
                sign, first, second = found.groups()
                warnings.append(
                    document.problem(
                        f"the camera's clock is read as {key.removesuffix('_by')} by {_spelled(abs(seconds))}",
                        *at, key,
                        got=written,
                        remedy=f'write "{sign}00:{first:0>2}:{second:0>2}" if that is so, or '
                        f'"{sign}{first:0>2}:{second:0>2}:00" for {_spelled(int(first) * 3600 + int(second) * 60)}',
                    )
                )  # fmt: skip
    return warnings


def _spelled(seconds: float) -> str:
    """1 hour 30 minutes."""
    whole = round(seconds)
    parts = ((whole // 3600, "hour"), (whole // 60 % 60, "minute"), (whole % 60, "second"))
    return " ".join(f"{count} {name}{'s' * (count != 1)}" for count, name in parts if count)


def _pair_problems(
    document: Document[Any], clock: CameraClock, at: tuple[str | int, ...], names: set[str]
) -> list[Problem]:
    pair = clock.same_instant
    assert pair is not None
    if clock.camera is None:
        what = "two frames of one instant show the clock of one camera, but no camera is named"
        remedy = f'add camera: the name of the camera that took "{pair.frame}"'
        return [document.problem(what, *at, remedy=remedy)]
    problems = []
    for key, name in (("frame", pair.frame), ("as", pair.as_)):
        if names and name not in names:
            near = nearest(name, names)
            remedy = f'did you mean "{near}"?' if near else "use a name that `finishing plan` lists"
            what = f'no frame has the name "{name}"'
            problems.append(
                document.problem(what, *at, "same_instant", key, expected="the name of one frame", remedy=remedy)
            )
    return problems


def clocks_of(
    document: Document[Any], clocks: tuple[CameraClock, ...], stamps: Mapping[str, Stamp]
) -> tuple[dict[str, float], tuple[ClockFound, ...]]:
    """How many seconds each frame's camera was ahead, and each entry worked out.

    Raises ProblemSet where an entry names a camera that took no frame, or its two frames show nothing: they are of
    one camera, lack a capture time, or lead round in a ring.
    """
    return _Clocks(document, clocks, stamps).found()


class _Clocks:
    def __init__(self, document: Document[Any], clocks: tuple[CameraClock, ...], stamps: Mapping[str, Stamp]) -> None:
        self._document, self._clocks, self._stamps = document, clocks, stamps
        self._listed = isinstance(document.tree.at(("camera_clock",)), list)
        self._ahead: dict[int, float] = {}

    def found(self) -> tuple[dict[str, float], tuple[ClockFound, ...]]:
        problems = [problem for i in range(len(self._clocks)) for problem in self._unknown(i)]
        for i in range(len(self._clocks) if not problems else 0):
            try:
                self._seconds(i, ())
            except Problem as problem:
                if str(problem) not in map(str, problems):
                    problems.append(problem)
        if problems:
            raise ProblemSet(problems)
        entries = {name: self._entry(stamp.camera) for name, stamp in self._stamps.items()}
        ahead = {name: 0.0 if entry is None else self._ahead[entry] for name, entry in entries.items()}
        told = []
        for i, clock in enumerate(self._clocks):
            pair = clock.same_instant
            told.append(ClockFound(clock.camera, self._ahead[i], (pair.frame, pair.as_) if pair else None))
        return ahead, tuple(told)

    def _at(self, i: int, *more: str) -> tuple[str | int, ...]:
        return ("camera_clock", i, *more) if self._listed else ("camera_clock", *more)

    def _unknown(self, i: int) -> list[Problem]:
        name = self._clocks[i].camera
        cameras = {stamp.camera for stamp in self._stamps.values()}
        if name is None or any(name.lower() in camera.names for camera in cameras):
            return []
        known = sorted({str(camera) for camera in cameras if camera.names})
        near = nearest(name, known)
        return [
            self._document.problem(
                f'no frame was taken with a camera "{name}"',
                *self._at(i, "camera"),
                expected="a camera as the files name it" + (f": {', '.join(known)}" if known else " (they name none)"),
                remedy=f'did you mean "{near}"?' if near else "use one of these names, or leave camera out",
            )
        ]

    def _entry(self, camera: Camera) -> int | None:
        """The entry that holds for a camera: the one that names it, else the one for all others."""
        own = [i for i, clock in enumerate(self._clocks) if clock.camera and clock.camera.lower() in camera.names]
        # a serial number is one body's; a model's name may be that of several
        serial = (camera.serial or "").lower()
        own.sort(key=lambda i: not (serial and serial in (self._clocks[i].camera or "").lower()))
        others = [i for i, clock in enumerate(self._clocks) if clock.camera is None]
        return next(iter(own or others), None)

    def _seconds(self, i: int, asked: tuple[int, ...]) -> float:
        """How far ahead entry i's clock was; asked: the entries whose own clocks wait for this one."""
        if i in self._ahead:
            return self._ahead[i]
        clock = self._clocks[i]
        pair = clock.same_instant
        if pair is None:
            self._ahead[i] = clock.seconds_ahead
            return self._ahead[i]
        if i in asked:
            raise self._document.problem(
                "these clocks are each told by the other, and none by itself",
                *self._at(i, "same_instant"),
                remedy="say of one camera by how much its clock was ahead (ahead_by: 0 if it was right)",
            )
        for key, name in (("frame", pair.frame), ("as", pair.as_)):
            if name not in self._stamps:
                raise self._document.problem(
                    f'the frame "{name}" is left out of the session', *self._at(i, "same_instant", key),
                    remedy="name a frame without skip: yes, or write ahead_by",
                )  # fmt: skip
        own, other = self._stamps[pair.frame], self._stamps[pair.as_]
        for side, named, stamp in (("frame", pair.frame, own), ("as", pair.as_, other)):
            if stamp.time is None:
                raise self._document.problem(
                    f'the frame "{named}" has no capture time', *self._at(i, "same_instant", side),
                    remedy="name another pair of frames, or write ahead_by",
                )  # fmt: skip
        if self._entry(own.camera) != i:
            raise self._document.problem(
                f'the frame "{pair.frame}" was not taken with the camera "{clock.camera}"',
                *self._at(i, "same_instant", "frame"),
                expected=f"a frame of {clock.camera}; this one is of {own.camera}",
                remedy="swap frame and as, or name a frame of that camera",
            )
        reference = self._entry(other.camera)
        if reference == i:
            raise self._document.problem(
                f'both frames were taken with the camera "{clock.camera}"',
                *self._at(i, "same_instant", "as"),
                remedy="name a frame that another camera took at that instant",
            )
        assert own.time is not None
        assert other.time is not None
        known = 0.0 if reference is None else self._seconds(reference, (*asked, i))
        self._ahead[i] = (own.time - (other.time - timedelta(seconds=known))).total_seconds()
        return self._ahead[i]


def clock_lines(clocks: tuple[ClockFound, ...]) -> list[str]:
    """Each clock in words: Example Camera: 00:01:30 ahead (B-0102 at the instant of A-0044)."""
    lines = []
    for one in clocks:
        seconds = one.seconds_ahead
        side = f"{units.format_duration(abs(seconds))} {'ahead' if seconds > 0 else 'behind'}"
        if abs(seconds) < 0.5:
            side = "right"
        pair = f" ({one.pair[0]} at the instant of {one.pair[1]})" if one.pair else ""
        whose = one.camera or ("the camera" if len(clocks) == 1 else "every other camera")
        lines.append(f"{whose}: {side}{pair}")
    return lines
