"""Likely set-ups of frames that no plan speaks of: by pauses, and by jumps of the exposure.

The rule, in the order of capture times and camera by camera for exposures. A new set-up begins

- after a pause of `PAUSE` or more, or
- where aperture or ISO (what strobes are set by) change by `JUMP` or more, or the shutter alone by `LEAP` or more,
  and the frame after has the new values too: one trial frame is no set-up. As the light falls the shutter is opened
  stop by stop within a set-up; that begins none.

Frames without a capture time are grouped by their names' prefix, the part before the last number; where all frames of
one timed group, and none of another, share the prefix, they join that group. (The limits: common practice, no source.)
"""

import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from finishing.exposure.series import exact_aperture, exact_iso, exact_shutter
from finishing.sessions.clocks import Camera
from finishing.sessions.matching import FrameFacts

PAUSE = timedelta(minutes=10)
JUMP = 0.9  # stops of aperture or ISO
LEAP = 1.9  # stops of the shutter


@dataclass(frozen=True)
class LikelySetup:
    """Frames that seem to belong together, sorted by name, and why the group begins."""

    frames: tuple[FrameFacts, ...]
    why: str

    @property
    def times(self) -> list[datetime]:
        """The capture times that are known, by the camera's clock, sorted."""
        return sorted(frame.captured.replace(tzinfo=None) for frame in self.frames if frame.captured is not None)

    def usual(self, what: str) -> float | None:
        """The most frequent aperture, shutter or iso; of equally frequent ones the one that came first."""
        in_order = sorted(self.frames, key=lambda f: (f.captured is None, f.captured or datetime.min, f.name))
        values = [value for frame in in_order if (value := getattr(frame, what)) is not None]
        return Counter(values).most_common(1)[0][0] if values else None


def prefix_of(name: str) -> str:
    """The part of a name before its last number: A- of A-0001; the name itself where it has none."""
    found = re.fullmatch(r"(.*?)(\d+)(\D*)", name)
    return found.group(1) if found else name


def likely_setups(frames: Iterable[FrameFacts]) -> list[LikelySetup]:
    """The groups in the order of their times, then those without times in the order of their prefixes."""
    listed = sorted(frames, key=lambda f: f.name)
    timed = [frame for frame in listed if frame.captured is not None]
    groups = _by_time(sorted(timed, key=lambda f: (_naive(f), f.name)))
    homes = _prefix_homes([group for group, _ in groups])
    rest: dict[str, list[FrameFacts]] = {}
    for frame in listed:
        if frame.captured is not None:
            continue
        prefix = prefix_of(frame.name)
        home = homes.get(prefix)
        if home is not None:
            groups[home][0].append(frame)
        else:
            rest.setdefault(prefix, []).append(frame)
    found = [LikelySetup(tuple(sorted(group, key=lambda f: f.name)), why) for group, why in groups]
    for prefix, group in sorted(rest.items()):
        found.append(LikelySetup(tuple(group), f'names that begin with "{prefix}"; their files have no capture times'))
    return found


def _naive(frame: FrameFacts) -> datetime:
    assert frame.captured is not None
    return frame.captured.replace(tzinfo=None)


def _prefix_homes(groups: Sequence[list[FrameFacts]]) -> dict[str, int]:
    """Prefixes that stand for one group: all its frames have it, and no frame of another."""
    found: dict[str, set[int]] = {}
    for i, group in enumerate(groups):
        for frame in group:
            found.setdefault(prefix_of(frame.name), set()).add(i)
    whole = {i for i, group in enumerate(groups) if len({prefix_of(frame.name) for frame in group}) == 1}
    return {prefix: next(iter(places)) for prefix, places in found.items() if len(places) == 1 and places <= whole}


def _by_time(frames: Sequence[FrameFacts]) -> list[tuple[list[FrameFacts], str]]:
    groups: list[tuple[list[FrameFacts], str]] = []
    usual: dict[Camera, FrameFacts] = {}  # what the group is photographed with, camera by camera
    before: datetime | None = None
    for i, frame in enumerate(frames):
        time, why = _naive(frame), ""
        jumps = _jump(usual[frame.camera], frame) if frame.camera in usual else ""
        if before is None:
            why = "the first frames"
        elif time - before >= PAUSE:
            why = f"after a pause of {round((time - before).total_seconds() / 60)} minutes"
        elif jumps:
            after = next((later for later in frames[i + 1 :] if later.camera == frame.camera), None)
            why = jumps if after is not None and not _jump(frame, after) else ""
        if why:
            groups.append(([], why))
            usual = {}
        if why or not jumps:
            usual[frame.camera] = frame
        groups[-1][0].append(frame)
        before = time
    return groups


def _jump(one: FrameFacts, other: FrameFacts) -> str:
    """What jumps between two frames, in words; empty where nothing does or it is not known."""
    if one.aperture and other.aperture:
        stops = abs(2 * math.log2(exact_aperture(other.aperture) / exact_aperture(one.aperture)))
        if stops >= JUMP:
            return "where the aperture changes"
    if one.iso and other.iso and abs(math.log2(exact_iso(other.iso) / exact_iso(one.iso))) >= JUMP:
        return "where the ISO changes"
    if one.shutter and other.shutter:
        stops = abs(math.log2(exact_shutter(other.shutter) / exact_shutter(one.shutter)))
        if stops >= LEAP:
            return "where the shutter jumps"
    return ""
