"""Which frame belongs to which set-up, and how the camera's exposure differs from the plan's.

A frame belongs to the set-up whose name patterns mean it; where none does, to the one in whose time it was
taken. Times are those of the place: the camera's clock is corrected first, and a frame that knows its own
UTC offset is brought to the plan's. A set-up holds from its `from` up to, not including, its `to`; the last
instant belongs to it too where no other set-up starts there. A name without wildcards counts before
patterns. Where two set-ups still claim a frame by name, their times may decide; where they do not, the
frame is named and left out: nothing is guessed.

A frame without a name that is meant and without a capture time is proposed for a set-up by its exposure: where it
agrees with the plan of exactly one set-up, and by the numbers of the files it lies between frames of that one. It is
told as doubtful, for someone to confirm.
"""

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from finishing import units
from finishing.exposure.light import ambient_at, strobe_at, strobe_stops, together
from finishing.exposure.series import exact_aperture, exact_exposure, exact_iso, exact_shutter
from finishing.exposure.values import Exposure, difference_in_stops
from finishing.sessions.clocks import Camera, ClockFound
from finishing.sessions.frame_names import is_pattern, matches
from finishing.sessions.plan import Setup, ShootPlan
from finishing.sessions.readings import heads_of

#: Camera and plan agree within this many stops: half of a third, the finest step cameras are set in.
AGREES = 1 / 6


@dataclass(frozen=True)
class FrameFacts:
    """What a frame's file says. name: its stem; captured: by the camera's clock; utc_offset: seconds.

    aperture: f-number; shutter: seconds; each None where the file does not say. file_name: with the suffix;
    camera: which one took it.
    """

    name: str
    captured: datetime | None = None
    utc_offset: float | None = None
    aperture: float | None = None
    shutter: float | None = None
    iso: float | None = None
    file_name: str | None = None
    camera: Camera = field(default_factory=Camera)


@dataclass(frozen=True)
class FrameMatch:
    """One frame against the plan. how: "name", "time", "exposure" or None (no set-up). time: when it was taken, local
    at the place, all clocks set right.

    difference_stops: plan less camera, positive where the plan lets in more light (the frame is too dark by
    that). ambient_stops, strobe_stops, total_stops: the light as photographed, against the exposure really
    taken, if the light was as it was metered for the plan. agrees: aperture, shutter and ISO each as
    planned; None if unknown.
    """

    name: str
    setup: str | None = None
    how: str | None = None
    taken: Exposure | None = None
    difference_stops: float | None = None
    ambient_stops: float | None = None
    strobe_stops: float | None = None
    total_stops: float | None = None
    agrees: bool | None = None
    time: datetime | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values; stops rounded to 4 places."""
        return {
            "frame": self.name,
            "setup": self.setup,
            "how": self.how,
            "time": None if self.time is None else self.time.isoformat(),
            "difference_stops": rounded(self.difference_stops),
            "ambient_stops": rounded(self.ambient_stops),
            "strobe_stops": rounded(self.strobe_stops),
            "total_stops": rounded(self.total_stops),
            "agrees": self.agrees,
        }


@dataclass(frozen=True)
class Matching:
    """All frames of a session against its plan, in the order of their names.

    strays: frames of no set-up, with the reason; overlaps: frames that several set-ups claim, with these;
    doubtful: frames whose name says one set-up and whose time another (the name counts), and frames that only their
    exposure speaks for, with the reason; clocks: the cameras' clocks that the times were corrected by; blends: what the
    session's blends are, in words by their names, under the set-up that they belong to (None for those of none).
    """

    frames: dict[str, FrameMatch] = field(default_factory=dict)
    strays: dict[str, str] = field(default_factory=dict)
    overlaps: dict[str, tuple[str, ...]] = field(default_factory=dict)
    doubtful: dict[str, str] = field(default_factory=dict)
    clocks: tuple[ClockFound, ...] = ()
    blends: dict[str | None, dict[str, str]] = field(default_factory=dict)

    @property
    def setup_of(self) -> dict[str, str]:
        """The set-up's id of each frame that has one."""
        return {name: match.setup for name, match in self.frames.items() if match.setup is not None}

    @property
    def how(self) -> dict[str, str | None]:
        """How each frame was matched: "name", "time", "exposure" or None."""
        return {name: match.how for name, match in self.frames.items()}

    @property
    def difference_stops(self) -> dict[str, float | None]:
        """Plan less camera of each frame, in stops."""
        return {name: match.difference_stops for name, match in self.frames.items()}

    def frames_of(self, setup: str) -> list[str]:
        """The names of a set-up's frames, sorted."""
        return [name for name, match in self.frames.items() if match.setup == setup]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "frames": [match.as_json() for match in self.frames.values()],
            "strays": [{"frame": name, "reason": reason} for name, reason in self.strays.items()],
            "overlaps": [{"frame": name, "setups": list(ids)} for name, ids in self.overlaps.items()],
            "doubtful": [{"frame": name, "reason": reason} for name, reason in self.doubtful.items()],
            "clocks": [clock.as_json() for clock in self.clocks],
            "blends": [
                {"blend": name, "setup": setup, "of": words}
                for setup, blends in self.blends.items()
                for name, words in blends.items()
            ],
        }


def rounded(stops: float | None) -> float | None:
    """Stops for a JSON file: 4 places, no minus zero."""
    return None if stops is None else round(stops, 4) + 0.0


def local_time(frame: FrameFacts, plan: ShootPlan, clock_ahead_by: float = 0.0) -> datetime | None:
    """The time of the place at which a frame was taken, without a zone; None where the file has none.

    clock_ahead_by: seconds the camera's clock was ahead; negative where it was behind.
    """
    if frame.captured is None:
        return None
    own = frame.captured.utcoffset()
    offset = frame.utc_offset if own is None else own.total_seconds()
    captured = frame.captured.replace(tzinfo=None) - timedelta(seconds=clock_ahead_by)
    if offset is not None and plan.place.utc_offset is not None:
        captured += timedelta(seconds=plan.place.utc_offset - offset)
    return captured


def match_frames(
    plan: ShootPlan,
    frames: Iterable[FrameFacts],
    clock_ahead_by: float | Mapping[str, float] = 0.0,
    clocks: tuple[ClockFound, ...] = (),
) -> Matching:
    """Match frames to the plan's set-ups.

    clock_ahead_by: seconds, subtracted from capture times; one number, or one for each frame's name. clocks: kept
    with the result.
    """
    matching = Matching(clocks=clocks)
    sorted_frames = sorted(frames, key=lambda f: f.name)
    for frame in sorted_frames:
        ahead = clock_ahead_by.get(frame.name, 0.0) if isinstance(clock_ahead_by, Mapping) else clock_ahead_by
        time = local_time(frame, plan, ahead)
        by_name = _by_name(plan.setups, frame)
        by_time = _by_time(plan, time)
        how = "name" if by_name else "time"
        claims = by_name or by_time
        if len(by_name) > 1:
            both = [setup for setup in by_name if setup in by_time]
            if len(both) == 1:
                claims, how = both, "time"
        if len(claims) == 1:
            setup = claims[0]
            matching.frames[frame.name] = _against(setup, frame, how, time)
            doubt = _doubt(setup, by_time, time) if how == "name" else None
            if doubt is not None:
                matching.doubtful[frame.name] = doubt
            continue
        matching.frames[frame.name] = FrameMatch(frame.name, taken=taken_exposure(frame), time=time)
        if claims:
            matching.overlaps[frame.name] = tuple(setup.id for setup in claims)
        else:
            matching.strays[frame.name] = _reason(plan, time)
    _propose(plan, sorted_frames, matching)
    return matching


def _propose(plan: ShootPlan, frames: Sequence[FrameFacts], matching: Matching) -> None:
    """Set-ups by exposure for strays without a time; they leave the strays and are told as doubtful."""
    sure: list[tuple[int, FrameFacts, str]] = []
    for frame in frames:
        number, found = _number(frame.name), matching.frames[frame.name].setup
        if number is not None and found is not None:
            sure.append((number, frame, found))
    proposed: dict[str, tuple[FrameFacts, Setup, str]] = {}
    for frame in frames:
        number = _number(frame.name)
        if frame.name not in matching.strays or matching.frames[frame.name].time is not None or number is None:
            continue
        taken = matching.frames[frame.name].taken
        agreeing = [s for s in plan.setups if taken is not None and _agrees(s, taken)]
        between = _between(number, frame, sure)
        if len(agreeing) == 1 and between is not None and between[0] == agreeing[0].id:
            told = (
                f'proposed for "{agreeing[0].id}" by its exposure and its number alone, between {between[1]} and '
                f"{between[2]}; confirm it by its name in the plan (frames: [..., {frame.name}])"
            )
            proposed[frame.name] = (frame, agreeing[0], told)
    for name, (frame, setup, told) in proposed.items():
        del matching.strays[name]
        matching.frames[name] = _against(setup, frame, "exposure", None)
        matching.doubtful[name] = told


def _number(name: str) -> int | None:
    """The number that a camera counts its files with: the last one in the name."""
    found = re.findall(r"\d+", name)
    return int(found[-1]) if found else None


def _between(
    number: int, frame: FrameFacts, sure: Sequence[tuple[int, FrameFacts, str]]
) -> tuple[str, str, str] | None:
    """The set-up of the frames next before and after in number, and those frames; None where there is no one such.

    Two cameras count apart: only frames of the same one are looked at where the files say which it was.
    """
    own = [one for one in sure if not (frame.camera.names and one[1].camera.names) or one[1].camera == frame.camera]
    own.sort(key=lambda one: one[0])
    numbers = [one[0] for one in own]
    before, after = bisect_left(numbers, number), bisect_right(numbers, number)
    if before == 0 or after == len(own):
        return None
    near = [one for one in own if numbers[before - 1] <= one[0] <= numbers[after]]
    setups = {one[2] for one in near}
    return (setups.pop(), own[before - 1][1].name, own[after][1].name) if len(setups) == 1 else None


def _by_name(setups: Sequence[Setup], frame: FrameFacts) -> list[Setup]:
    """Set-ups that name the frame outright, else those with a pattern that means it."""
    outright = [
        s for s in setups if any(not is_pattern(p) and matches(p, frame.name, frame.file_name) for p in s.frames)
    ]
    return outright or [s for s in setups if any(matches(p, frame.name, frame.file_name) for p in s.frames)]


def _by_time(plan: ShootPlan, time: datetime | None) -> list[Setup]:
    if time is None or (plan.place.date is not None and time.date() != plan.place.date):
        return []
    seconds = time.hour * 3600 + time.minute * 60 + time.second + time.microsecond / 1e6
    timed = [(s, s.starts, s.ends) for s in plan.setups if s.starts is not None and s.ends is not None]
    within = [s for s, starts, ends in timed if starts <= seconds < ends]
    return within or [s for s, _, ends in timed if seconds == ends]


def _doubt(setup: Setup, by_time: list[Setup], time: datetime | None) -> str | None:
    if setup.starts is None or time is None or setup in by_time:
        return None
    other = f', in the time of "{by_time[0].id}"' if len(by_time) == 1 else ", outside its time"
    return f'named for "{setup.id}" but taken at {time:%H:%M:%S}{other}; check camera_clock'


def _reason(plan: ShootPlan, time: datetime | None) -> str:
    if not any(setup.starts is not None for setup in plan.setups):
        return "no set-up's name pattern means it"
    if time is None:
        return "no name pattern means it, and its file has no capture time"
    if plan.place.date is not None and time.date() != plan.place.date:
        return f"taken on {time:%Y-%m-%d}, but the plan is for {plan.place.date:%Y-%m-%d}"
    return f"taken at {time:%H:%M:%S}, in no set-up's time"


def taken_exposure(frame: FrameFacts) -> Exposure | None:
    """The camera's exposure, where the file has all of it and it makes sense."""
    if not frame.aperture or not frame.shutter or not frame.iso:
        return None
    try:
        return Exposure(frame.aperture, frame.shutter, frame.iso)
    except ValueError:
        return None


def _against(setup: Setup, frame: FrameFacts, how: str, time: datetime | None) -> FrameMatch:
    taken = taken_exposure(frame)
    if taken is None or setup.exposure is None:
        return FrameMatch(frame.name, setup.id, how, taken=taken, time=time)
    planned = setup.exposure.values
    ambient = None if setup.ambient is None else ambient_at(setup.ambient, planned, taken)
    planned_strobe = together(strobe_stops(head.reads, planned.f_number) for head in heads_of(setup))
    strobe = None if planned_strobe is None else strobe_at(planned_strobe, planned, taken)
    return FrameMatch(
        name=frame.name,
        setup=setup.id,
        how=how,
        taken=taken,
        difference_stops=difference_in_stops(exact_exposure(planned), exact_exposure(taken)),
        ambient_stops=ambient,
        strobe_stops=strobe,
        total_stops=together(level for level in (ambient, strobe) if level is not None),
        agrees=not disagreement(planned, taken),
        time=time,
    )


def _agrees(setup: Setup, taken: Exposure) -> bool:
    return setup.exposure is not None and not disagreement(setup.exposure.values, taken)


def disagreement(planned: Exposure, taken: Exposure) -> list[str]:
    """What differs between plan and camera, as `shutter 1/60 for 1/125`; [] where they agree."""
    pairs = (
        ("aperture", 2.0, exact_aperture, planned.f_number, taken.f_number, units.format_aperture),
        ("shutter", 1.0, exact_shutter, planned.seconds, taken.seconds, units.format_shutter),
        ("ISO", 1.0, exact_iso, planned.iso, taken.iso, lambda iso: units.format_number(iso, 0)),
    )
    found = []
    for what, power, exact, plan, camera, text in pairs:
        ratio = exact(camera) / exact(plan)
        if not 2 ** (-AGREES) < ratio**power < 2**AGREES:
            found.append(f"{what} {text(camera)} for {text(plan)}")
    return found
