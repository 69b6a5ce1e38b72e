"""Whether the shutters did what they say: the light itself tells where strobes do not reach.

A frame with the longer shutter (or with the strobes off) can hold at most t_long / t_short times the light of the
other, and holds just that wherever no strobe falls: sky, distance. A picture whose most frequent ratio lies above that
was exposed longer than its shutter says (printed times are rounded, blades have play), or the daylight rose. Ratios
below it say nothing: a weak strobe does the same.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.light.frames import LitFrame, Planes
from finishing.light.noise import Noise

#: The span of ratios that is looked at and the width of its steps, in stops.
SPAN, STEP = 0.3, 0.005
#: Pixels are counted on a grid that leaves about so many.
ENOUGH = 150_000
#: Values count whose own noise is below this share of them.
SURE = 0.08
#: A crowd of ratios is this wide and holds this share of the picture; less than LEAST above the shutter is left alone.
CROWD, CROWD_SHARE, LEAST = 0.02, 0.02, 0.012


@dataclass(frozen=True)
class ShutterCheck:
    """excess_stops: by how much the ambient of a frame was more than its shutter says, against the first frame; 0
    where nothing speaks for it. crowd: the share of the picture that says so. spread_stops: the width of that crowd,
    its noise in it."""

    excess_stops: float
    crowd: float
    spread_stops: float


NOTHING = ShutterCheck(0.0, 0.0, 0.0)


def check_shutter(
    first: LitFrame, other: LitFrame, first_planes: Planes, other_planes: Planes, noise: Noise
) -> ShutterCheck:
    """Compare a frame with the first; both as planes (3, height, width), laid over each other, NaN where unseen."""
    other_longer = first.strobes and (not other.strobes or other.seconds > first.seconds)
    longer, shorter = (other, first) if other_longer else (first, other)
    over, under = (other_planes, first_planes) if other_longer else (first_planes, other_planes)
    thin = max(1, round((over[0].size / ENOUGH) ** 0.5))
    over, under = over[:, ::thin, ::thin], under[:, ::thin, ::thin]
    if longer.strobes and not shorter.strobes:
        return NOTHING  # no bound: the longer has the strobes as well
    sure = _sure(over, longer, noise) & _sure(under, shorter, noise)
    if not sure.any():
        return NOTHING
    ratio = np.log2(over[sure].astype(np.float64) / under[sure]) - np.log2(longer.seconds / shorter.seconds)
    edges = np.arange(-SPAN, SPAN + STEP / 2, STEP)
    counts, _ = np.histogram(ratio, edges)
    width = round(CROWD / STEP)
    crowds = np.convolve(counts, np.ones(2 * width + 1), "same")
    peak = int(np.argmax(crowds))
    near = np.abs(ratio - (edges[peak] + STEP / 2)) <= CROWD
    share = float(np.count_nonzero(near)) / ratio.size
    if share < CROWD_SHARE:
        return NOTHING
    middle = float(np.median(ratio[near]))
    if not LEAST < middle < SPAN - CROWD:
        return NOTHING
    return ShutterCheck(middle if other_longer else -middle, share, float(np.std(ratio[near])))


def _sure(planes: Planes, frame: LitFrame, noise: Noise) -> NDArray[Any]:
    white = frame.white[:, None, None]
    light = np.fmax(planes, 0)
    return np.asarray((planes < white) & (noise.variance(light) < (SURE * light) ** 2))
