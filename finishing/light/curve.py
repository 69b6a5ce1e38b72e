"""How much an unknown camera curve matters: what comes out when it bends more or less than is assumed.

A finished picture (a JPEG) has been through its camera's curve, which is near its profile's and not the same: between
cameras and picture styles the contrast in the middle tones differs by a tenth and more (common practice, no source).
The arithmetic is done again on light whose contrast is a tenth more and a tenth less, about a middle tone of 18 %, and
what changes is told. More contrast looks like a longer shutter wherever no strobe falls, and where there is such a
place it is taken for that (see `shutters`).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from finishing.colour.transfer import srgb_encode
from finishing.light.separation import Separation
from finishing.light.shutters import CROWD_SHARE
from finishing.light.solving import solve
from finishing.light.stops_map import SUBJECT

#: The contrast that is assumed to be unknown, as an exponent of light over the middle tone.
CONTRASTS, MIDDLE = (0.9, 1.1), 0.18
#: Pixels that the question is asked at.
ENOUGH = 60_000
#: A strobe of less than this part of the ambient is none.
FREE = 0.02


@dataclass(frozen=True)
class CurveDoubt:
    """stops_at_place: how far strobe over ambient at a place goes at most; None where there is no measure. blend_codes:
    the root mean square difference of the blend in 8-bit sRGB codes, at most."""

    stops_at_place: float | None
    blend_codes: float


def curve_doubt(
    separation: Separation, luminance: NDArray[np.float64], place: tuple[float, float],
    ambient_stops: float, strobe_stops: float,
) -> CurveDoubt:  # fmt: skip
    """What a tenth of contrast does to a separation's answers, at the worse of more and less of it."""
    over = separation.overview
    height, width = over.ambient.shape[1:]
    y, x = np.ogrid[:height, :width]
    radius = max(1.0, SUBJECT * max(height, width))
    inside = (x + 0.5 - place[0] * width) ** 2 + (y + 0.5 - place[1] * height) ** 2 <= radius**2
    thin = max(1, round((height * width / ENOUGH) ** 0.5))
    gains = 2.0**ambient_stops, 2.0**strobe_stops
    stops: list[float | None] = []
    codes: list[float] = []
    for contrast in CONTRASTS:
        ambient, strobe = _again(separation, over.ambient[:, ::thin, ::thin], over.strobe[:, ::thin, ::thin], contrast)
        own = gains[0] * over.ambient[:, ::thin, ::thin] + gains[1] * over.strobe[:, ::thin, ::thin]
        other = _bent(gains[0] * ambient + gains[1] * strobe, 1 / contrast)
        off = (srgb_encode(np.clip(other, 0, 1)) - srgb_encode(np.clip(own, 0, 1))) * 255
        codes.append(float(np.sqrt(np.mean(off**2))))
        here = _again(separation, over.ambient[:, inside][:, None], over.strobe[:, inside][:, None], contrast)
        stops.append(_difference(_stops(over.ambient[:, inside], over.strobe[:, inside], luminance),
                                 _stops(here[0][:, 0], here[1][:, 0], luminance)))  # fmt: skip
    known = [value for value in stops if value is not None]
    return CurveDoubt(max(known) if known else None, max(codes))


def _again(
    separation: Separation, ambient: NDArray[np.float32], strobe: NDArray[np.float32], contrast: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The frames that these lights give, bent, and taken apart anew."""
    times, fired = separation.times, separation.fired
    values = np.stack([_bent(t * ambient + f * strobe, contrast) for t, f in zip(times, fired, strict=True)])
    over = separation.overview
    if contrast > 1 and np.mean(over.strobe < FREE * over.ambient) >= CROWD_SHARE:
        times = times ** np.float32(contrast)
    first, second = np.empty_like(values[0]), np.empty_like(values[0])
    solve(values, np.ones_like(values), times, fired, first, second)
    return first, second


def _bent(light: NDArray[np.float32], contrast: float) -> NDArray[np.float32]:
    return np.asarray(MIDDLE * (np.maximum(light, 0) / np.float32(MIDDLE)) ** np.float32(contrast), np.float32)


def _stops(ambient: NDArray[np.float32], strobe: NDArray[np.float32], luminance: NDArray[np.float64]) -> float | None:
    a, s = float(luminance @ ambient.mean(axis=1)), float(luminance @ strobe.mean(axis=1))
    return math.log2(s / a) if a > 0 and s > 0 else None


def _difference(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else abs(one - other)
