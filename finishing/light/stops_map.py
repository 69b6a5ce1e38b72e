"""The strobe over the ambient, place by place, in stops: what the strobes did, seen after the fact."""

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.light.frames import Planes
from finishing.light.separation import Separation

#: Levels that get a contour line, in stops.
LEVELS = (-2, -1, 0, 1, 2)
#: Of the long edge: how far the light is smoothed first (both lights, so that a texture of the surface goes out of the
#: ratio and what is left is light), and the radius of the place around the subject that is measured.
SMOOTH, SUBJECT = 0.005, 0.03
#: Nothing is told beyond so many stops, nor where the light is not so many times its own doubt.
MOST, CLEAR = 6.0, 3.0


@dataclass(frozen=True, eq=False)
class StopsMap:
    """stops: float32 (height, width), log₂ of strobe over ambient in luminance, −6…6; doubt: its standard deviation;
    told: where there is light enough to say it."""

    stops: NDArray[np.float32]
    doubt: NDArray[np.float32]
    told: NDArray[np.bool_]


@dataclass(frozen=True)
class Level:
    """The two lights at a place, in stops. over_ambient: strobe over ambient; strobe, ambient: each against a middle
    tone of 18 % of white in the first frame; doubt: the standard deviation of over_ambient, by error propagation. None
    where there is no such light."""

    over_ambient: float | None
    strobe: float | None
    ambient: float | None
    doubt: float | None


def light_planes(separation: Separation, luminance: NDArray[np.float64]) -> tuple[NDArray[np.float32], ...]:
    """Luminance of ambient and strobe and the variances of both, at the overview's size. luminance: weights of the
    frames' own primaries."""
    over = separation.overview
    weights = luminance.astype(np.float32)

    def total(planes: Planes) -> NDArray[np.float32]:
        return np.asarray(weights[0] * planes[0] + weights[1] * planes[1] + weights[2] * planes[2], np.float32)

    def variance(deviations: Planes) -> NDArray[np.float32]:
        # channels of one pixel err together (JPEG's luminance): standard deviations are added, not variances
        known = np.where(np.isfinite(deviations), deviations, np.float32(0))  # clipped: marked as such
        return np.asarray(total(known) ** 2, np.float32)

    return total(over.ambient), total(over.strobe), variance(over.ambient_doubt), variance(over.strobe_doubt)


def stops_map(separation: Separation, luminance: NDArray[np.float64]) -> StopsMap:
    """The map, at the overview's size."""
    import cv2

    ambient, strobe, ambient_variance, strobe_variance = light_planes(separation, luminance)
    sigma = max(1.0, SMOOTH * max(ambient.shape))

    def smooth(plane: Any) -> Any:
        return cv2.GaussianBlur(plane, (0, 0), sigma)

    ambient, strobe = smooth(ambient), smooth(strobe)
    # a mean over 4πσ² pixels; neighbours err together, so a quarter of them counts
    fewer = max(1.0, math.pi * sigma**2)
    ambient_variance, strobe_variance = smooth(ambient_variance) / fewer, smooth(strobe_variance) / fewer
    least = np.float32(2.0**-20)
    stops = np.log2(np.maximum(strobe, least) / np.maximum(ambient, least))
    share = ambient_variance / np.maximum(ambient, least) ** 2 + strobe_variance / np.maximum(strobe, least) ** 2
    told = (ambient + strobe) ** 2 > CLEAR**2 * (ambient_variance + strobe_variance)
    doubt = np.sqrt(share) / np.float32(math.log(2))
    return StopsMap(np.clip(stops, -MOST, MOST).astype(np.float32), doubt.astype(np.float32), told)


def level_at(separation: Separation, luminance: NDArray[np.float64], place: tuple[float, float]) -> Level:
    """The two lights in a small disc around a place, given as fractions of width and height."""
    ambient, strobe, ambient_variance, strobe_variance = light_planes(separation, luminance)
    height, width = ambient.shape
    y, x = np.ogrid[:height, :width]
    radius = max(1.0, SUBJECT * max(height, width))
    inside = (x + 0.5 - place[0] * width) ** 2 + (y + 0.5 - place[1] * height) ** 2 <= radius**2
    if not inside.any():
        return Level(None, None, None, None)
    a, s = float(ambient[inside].mean()), float(strobe[inside].mean())
    counted = max(1.0, np.count_nonzero(inside) / 16)  # errors of a block of JPEG go together
    var_a = float(ambient_variance[inside].mean()) / counted
    var_s = float(strobe_variance[inside].mean()) / counted
    both = a > 0 and s > 0
    return Level(
        math.log2(s / a) if both else None,
        math.log2(s / 0.18) if s > 0 else None,
        math.log2(a / 0.18) if a > 0 else None,
        math.sqrt(var_a / a**2 + var_s / s**2) / math.log(2) if both else None,
    )


def shares(found: StopsMap) -> dict[str, float]:
    """How much of what can be told lies between the levels: "below -2", "-2 to -1" … "above 2", fractions of 1."""
    told = found.stops[found.told]
    names = [f"below {LEVELS[0]}", *(f"{a} to {b}" for a, b in itertools.pairwise(LEVELS))]
    names.append(f"above {LEVELS[-1]}")
    counts = np.bincount(np.digitize(told, LEVELS), minlength=len(names))
    return {name: float(count) / max(told.size, 1) for name, count in zip(names, counts, strict=True)}
