"""Evens out the frames of a session within their set-ups: measures them, and works out what is done to each.

Whole set-ups are measured whatever part of them is finished, so that a frame comes out the same in every run.
"""

import os
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from finishing.batch.evening.cards import Neutral, neutral_whites
from finishing.batch.evening.consistency_words import consistency_line, skin_less_alike
from finishing.batch.evening.light_of_frames import Seen, see_frame
from finishing.batch.evening.measured import Measurements
from finishing.errors import Problem, ProblemSet
from finishing.evenness.consistency import SetupConsistency, State, corrected, state_of
from finishing.evenness.correction import NONE, Correction, correction_of
from finishing.evenness.exposure import EvenedExposure, even_exposure
from finishing.evenness.reading import Reading
from finishing.evenness.white import EvenedWhite, even_white
from finishing.exposure.series import exact_exposure
from finishing.exposure.values import Exposure, difference_in_stops
from finishing.photographs.headers import Header
from finishing.regions.region import Region
from finishing.sessions.evening import ALL, KeyFrames, measured_region, stranger_problems
from finishing.sessions.folder import FramePath
from finishing.sessions.matching import Matching
from finishing.sessions.session import Session

if TYPE_CHECKING:
    from finishing.evenness.chart import ChartFit


@dataclass(frozen=True)
class FrameEvenness:
    """What is done to one frame and why; exposure and white are None where that is not evened out for it."""

    frame: str
    setup: str | None
    correction: Correction
    exposure: EvenedExposure | None = None
    white: EvenedWhite | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "frame": self.frame,
            "setup": self.setup,
            **self.correction.as_json(),
            "exposure": None if self.exposure is None else self.exposure.as_json(),
            "white_balance": None if self.white is None else self.white.as_json(),
        }

    @property
    def notes(self) -> list[str]:
        """What has to be told of this frame: what could not be measured, what was limited."""
        told = []
        if self.exposure is not None and self.exposure.why:
            told.append(f"exposure {self.exposure.how}: {self.exposure.why}")
        if self.white is not None and self.white.why:
            told.append(f"white {self.white.how}: {self.white.why}")
        return told


@dataclass(frozen=True)
class Evenness:
    """The evening out of a session. frames: by name; consistency: of each set-up; charts: how well each chart was
    fitted, by set-up; warnings: what is doubtful, with places; measurements: to be remembered."""

    frames: dict[str, FrameEvenness]
    consistency: tuple[SetupConsistency, ...]
    charts: "dict[str, ChartFit]"
    warnings: tuple[Problem, ...]
    measurements: Measurements = field(default_factory=Measurements)

    def correction(self, frame: str) -> Correction:
        """What is done to a frame."""
        return self.frames[frame].correction if frame in self.frames else NONE

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "setups": [setup.as_json() for setup in self.consistency],
            "frames": [frame.as_json() for frame in self.frames.values()],
            "charts": [{"setup": setup, **fit.as_json()} for setup, fit in self.charts.items()],
            "warnings": [warning.as_dict() for warning in self.warnings],
        }

    def lines(self) -> list[str]:
        """The report as text: a line a set-up of several frames, then the frames that something has to be told of."""
        told = []
        for setup, fit in self.charts.items():
            named = "the chart" if setup == ALL else f"the chart of set-up {setup}"
            told.append(
                f"{named}: mean difference {fit.before[0]:.1f}, largest {fit.before[1]:.1f}; after the fit "
                f"{fit.after[0]:.1f} and {fit.after[1]:.1f} (CIEDE2000)"
            )
        told += [line for setup in self.consistency if (line := consistency_line(setup)) is not None]
        told += [f"{name}: {'; '.join(frame.notes)}" for name, frame in self.frames.items() if frame.notes]
        return told


@dataclass
class _Group:
    """A set-up's frames in the order they were taken, with what was seen of each."""

    setup: str | None
    frames: list[FramePath]
    seen: list[Seen] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        return [frame.name for frame in self.frames]


def even_out(
    session: Session,
    headers: Mapping[str, Header],
    matching: Matching | None,
    wanted: Collection[str],
    jobs: int | None = None,
    measurements: Measurements | None = None,
) -> Evenness | None:
    """What is done to the frames of every set-up that has a wanted frame; None where the session evens nothing out.
    measurements: what is known already.

    Raises ProblemSet where a key frame is of another set-up, or a card or chart cannot be measured.
    """
    match = session.value.match
    exposure, white = match.exposure, match.white_balance
    if exposure is None and white is None:
        return None
    document, warnings = session.document, list[Problem]()
    measured = measurements or Measurements()
    regions = (
        measured_region(document, "match", "exposure") if exposure is not None else None,
        measured_region(document, "match", "white_balance") if white is not None and white.to is not None else None,
    )
    setup_of = matching.setup_of if matching else {}
    groups = [group for group in _groups(session, headers, matching) if set(group.names) & set(wanted)]
    for_exposure = None if exposure is None else exposure.to
    for_white = None if white is None else white.to
    strangers = stranger_problems(document, match, setup_of, planned=session.plan is not None)
    if strangers:
        raise ProblemSet(strangers)
    warnings += _left_out(session, groups, setup_of)
    _see(session, groups, regions, (exposure is not None, for_white is not None), jobs, measured)
    relative: dict[str, list[EvenedWhite]] = {}
    for group in groups:
        at = _key(for_white, group, setup_of, "colour", headers)
        if white is not None and at is not None:
            relative[group.setup or ""] = even_white([seen.colour for seen in group.seen], at, white.follow)
    moved = {
        name: one.matrix
        for group in groups
        for name, one in zip(group.names, relative.get(group.setup or "", []), strict=False)
    }
    neutral = neutral_whites(session, moved, setup_of, [group.setup for group in groups], measured)
    warnings += neutral.warnings
    frames: dict[str, FrameEvenness] = {}
    consistency = []
    for group in groups:
        whites = relative.get(group.setup or "", [None] * len(group.frames))
        matrices = [_joined(neutral.of(group.setup), None if one is None else one.matrix) for one in whites]
        at = _key(for_exposure, group, setup_of, "light", headers)
        evened: Sequence[EvenedExposure | None] = [None] * len(group.frames)
        if exposure is not None and at is not None:
            lights = [_corrected(seen.light, matrix) for seen, matrix in zip(group.seen, matrices, strict=True)]
            foreseen = _predicted(group.names, at, headers, matching)
            evened = even_exposure(lights, foreseen, at, exposure.at_most)
            if evened[at].why:
                warnings.append(_unmeasured_key(session, group, at, evened[at].why))
        for name, matrix, one, other in zip(group.names, matrices, evened, whites, strict=True):
            told = _white_words(neutral, group, other)
            correction = correction_of(0.0 if one is None else one.applied, matrix, told)
            frames[name] = FrameEvenness(name, group.setup, correction, one, other)
        if group.setup is not None or matching is None:
            keys = (at, _key(for_white, group, setup_of, "colour", headers))
            consistency.append(_consistency(group, [frames[name].correction for name in group.names], keys))
    if white is not None:
        warnings += skin_less_alike(session, consistency)
    return Evenness(dict(sorted(frames.items())), tuple(consistency), neutral.charts, tuple(warnings), measured)


def _groups(session: Session, headers: Mapping[str, Header], matching: Matching | None) -> list[_Group]:
    """The set-ups in the plan's order, then the frames of none; one group of all frames without a plan."""
    setup_of = matching.setup_of if matching else {}
    ids: list[str | None] = [setup.id for setup in session.plan.value.setups] if session.plan else []
    groups = []
    for setup in [*ids, None]:
        own = [frame for frame in session.chosen if setup_of.get(frame.name) == setup]
        if own:
            groups.append(_Group(setup, _in_order(own, headers, matching)))
    return groups


def _in_order(frames: list[FramePath], headers: Mapping[str, Header], matching: Matching | None) -> list[FramePath]:
    """As they were taken, told by the corrected time, else by the camera's clock, else (one without a time) by name."""
    corrected = {f.name: matching.frames[f.name].time for f in frames if f.name in matching.frames} if matching else {}
    clock = {frame.name: headers[frame.name].metadata.captured for frame in frames if frame.name in headers}
    for times in (corrected, clock):
        known = {name: time.replace(tzinfo=None) for name, time in times.items() if time is not None}
        if len(known) == len(frames):
            return sorted(frames, key=lambda frame: (known[frame.name], frame.name))
    return sorted(frames)


def not_evened_out(
    session: Session, headers: Mapping[str, Header], matching: Matching | None, wanted: Collection[str]
) -> list[Problem]:
    """Warnings of set-ups with a wanted frame that have no key frame, without a look at pixels."""
    groups = [group for group in _groups(session, headers, matching) if set(group.names) & set(wanted)]
    return _left_out(session, groups, matching.setup_of if matching else {})


def _left_out(session: Session, groups: list[_Group], setup_of: Mapping[str, str]) -> list[Problem]:
    if session.plan is None:
        return []
    match, warnings = session.value.match, []
    several = [group for group in groups if len(group.frames) > 1]  # a single frame has nothing to be like
    for key, asked in (("exposure", match.exposure), ("white_balance", match.white_balance)):
        to = None if asked is None else asked.to
        if to is None or to.each:
            continue
        held = {setup_of[to.one]} if to.one is not None else set(to.by_setup)
        others = [group.setup for group in several if group.setup is not None and group.setup not in held]
        if not others:
            continue
        named = f"set-up{'s' if len(others) > 1 else ''} {', '.join(others)}"
        what = f"the {key.replace('_', ' ')} of {named} is not evened out"
        remedy = f"name a key frame for each set-up (to: {{{others[0]}: FRAME}}), or write to: each"
        warnings.append(session.document.problem(what, "match", key, "to", got=None, remedy=remedy))
    return warnings


def _unmeasured_key(session: Session, group: _Group, at: int, why: str) -> Problem:
    return session.document.problem(
        f"the key frame {group.names[at]} cannot be measured: its set-up is evened out by prediction alone",
        "match", "exposure", "to",
        got=why,
        remedy="name another key frame, or another region under measure",
    )  # fmt: skip


def _key(
    to: KeyFrames | None, group: _Group, setup_of: Mapping[str, str], what: str, headers: Mapping[str, Header]
) -> int | None:
    """The number of a group's key frame; None where it has none.

    For `each` it is the middle one of the frames that can be measured and tell their exposure; of those that can be
    measured, of all, where there are none. what: light or colour, which is looked at.
    """
    if to is None:
        return None
    if to.each:
        if group.setup is None and setup_of:
            return None  # frames of no set-up have nothing in common
        safe = [at for at, seen in enumerate(group.seen) if _safe(getattr(seen, what))]
        told = [at for at in safe if _taken(headers.get(group.names[at])) is not None]
        listed = told or safe or list(range(len(group.seen)))
        return listed[(len(listed) - 1) // 2]
    name = to.by_setup.get(group.setup or "") if to.one is None else to.one
    return group.names.index(name) if name in group.names else None


def _safe(reading: Reading | str) -> bool:
    return not isinstance(reading, str) and not reading.unsafe


def _see(
    session: Session,
    groups: list[_Group],
    regions: tuple[Region | None, Region | None],
    by: tuple[bool, bool],
    jobs: int | None,
    measured: Measurements,
) -> None:
    """Measure all frames of the groups, side by side. by: whether light and colour are evened out; where only one of
    the two is, its region is both."""
    import cv2

    cv2.setNumThreads(1)  # the frames are measured side by side already
    light, colour = regions
    first, second = (light if by[0] else colour), (colour if by[1] else light)
    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        for group in groups:
            group.seen = list(pool.map(lambda frame: see_frame(session, frame, first, second, measured), group.frames))


def _corrected(reading: Reading | str, matrix: NDArray[np.float64] | None) -> Reading | str:
    return reading if isinstance(reading, str) or matrix is None else reading.corrected(matrix)


def _joined(neutral: NDArray[np.float64] | None, relative: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    if neutral is None or relative is None:
        return relative if neutral is None else neutral
    return np.asarray(neutral @ relative)


def _white_words(neutral: Neutral, group: _Group, one: EvenedWhite | None) -> str:
    """How a frame's colour part was found, for its record."""
    parts = [] if one is None or one.matrix is None else [f"to its set-up's key frame, {one.how}"]
    if neutral.of(group.setup) is not None:
        parts.append(neutral.words_of(group.setup))
    return ", then ".join(parts)


def _predicted(
    names: Sequence[str], key: int, headers: Mapping[str, Header], matching: Matching | None
) -> list[float | None]:
    """What each frame's exposure lacks against the key frame's, in stops.

    Where the plan knows the ambient and the camera the exposure, ambient and strobes are foreseen apart (the shutter
    moves only the ambient); else it is the plain difference of the two exposures.
    """

    def light(name: str) -> float | None:
        found = matching.frames.get(name) if matching else None
        return None if found is None or found.ambient_stops is None else found.total_stops

    taken = {name: _taken(headers.get(name)) for name in names}
    wanted, own = light(names[key]), taken[names[key]]
    result: list[float | None] = []
    for name in names:
        found, exposure = light(name), taken[name]
        if wanted is not None and found is not None:
            result.append(wanted - found)
        elif own is not None and exposure is not None:
            result.append(difference_in_stops(exact_exposure(own), exact_exposure(exposure)))
        else:
            result.append(None)
    return result


def _taken(header: Header | None) -> Exposure | None:
    told = header.metadata if header else None
    if told is None or not told.f_number or not told.exposure_seconds or not told.iso:
        return None
    try:
        return Exposure(told.f_number, told.exposure_seconds, told.iso)
    except ValueError:
        return None


def _consistency(
    group: _Group, corrections: Sequence[Correction], keys: tuple[int | None, int | None]
) -> SetupConsistency:
    """Before and after, against the key frames of light and colour; without one, the first that can be measured."""
    references = [
        _reference([getattr(seen, what) for seen in group.seen], key)
        for what, key in zip(("light", "colour"), keys, strict=True)
    ]
    states: list[list[State]] = []
    for used in ([NONE] * len(corrections), corrections):
        light, colour = (
            None if at is None else corrected(_known(getattr(group.seen[at], what)), used[at])
            for what, at in zip(("light", "colour"), references, strict=True)
        )
        states.append(
            [
                state_of((light, colour), (_known(seen.light), _known(seen.colour)), seen.skin, correction)
                for seen, correction in zip(group.seen, used, strict=True)
            ]
        )
    return SetupConsistency(group.setup, tuple(group.names), tuple(states[0]), tuple(states[1]))


def _reference(readings: Sequence[Reading | str], key: int | None) -> int | None:
    safe = [at for at, reading in enumerate(readings) if _safe(reading)]
    return key if key in safe else (safe[0] if safe else None)


def _known(reading: Reading | str) -> Reading | None:
    return None if isinstance(reading, str) else reading
