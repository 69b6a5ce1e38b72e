"""A range of hues with a smooth ramp at either end, as several operations choose by it.

A hue within width/2 of a chosen one has the weight 1; from `softness` beyond that on, 0; between, t²(3 − 2t) where t
runs with the cosine of the hue's distance, so that no arc tangent is needed and nothing jumps. Greys have no hue
worth the name: below `least_chroma` a pixel counts as grey, and up to twice that it comes in along a straight ramp, so
that noise in a grey wall does not break into two kinds of pixel.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, inlined, singles, smooth_step

TINY = np.float32(1e-12)


@dataclass(frozen=True)
class HueRamp:
    """hues, width, softness in degrees; least_chroma in OkLCh chroma."""

    hues: tuple[float, ...]
    width: float
    softness: float
    least_chroma: float

    @property
    def directions(self) -> NDArray[np.float32]:
        """Cosine and sine of each chosen hue, float32 (2, n)."""
        angles = np.radians(np.array(self.hues))
        return np.stack([np.cos(angles), np.sin(angles)]).astype(np.float32)

    @property
    def ends(self) -> float:
        """Cosine of the hue distance at which the ramp ends."""
        return math.cos(math.radians(min(self._inner + self.softness, 180.0)))

    @property
    def per_length(self) -> float:
        """1 over the length of the ramp in cosine."""
        return 1 / max(math.cos(math.radians(self._inner)) - self.ends, 1e-7)

    @property
    def _inner(self) -> float:
        return min(self.width / 2, 180.0)

    @property
    def grey(self) -> float:
        """Least chroma, never 0."""
        return max(self.least_chroma, 1e-9)

    def arguments(self) -> tuple[np.float32, ...]:
        """ends, per_length, grey, 1 / grey for `hue_weight` and `colourfulness`."""
        return singles(self.ends, self.per_length, self.grey, 1 / self.grey)

    def reference(self, a: NDArray[np.float64], b: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """The weight of the hue, and how far each pixel counts as coloured, both 0…1."""
        hue = np.arctan2(b, a)
        nearest = np.max([np.cos(hue - math.radians(angle)) for angle in self.hues], axis=0)
        t = np.clip((nearest - self.ends) * self.per_length, 0, 1)
        coloured = np.clip((np.hypot(a, b) - self.grey) / self.grey, 0, 1)
        return t * t * (3 - 2 * t), coloured


@compiled
def nearest_hue(a_row: Any, b_row: Any, directions: Any, nearest: Any) -> None:
    """For a row: chroma times the cosine of the distance to the nearest chosen hue."""
    cosine, sine = directions[0, 0], directions[1, 0]
    for x in range(nearest.shape[0]):
        nearest[x] = a_row[x] * cosine + b_row[x] * sine
    for k in range(1, directions.shape[1]):
        cosine, sine = directions[0, k], directions[1, k]
        for x in range(nearest.shape[0]):
            nearest[x] = max(nearest[x], a_row[x] * cosine + b_row[x] * sine)


@inlined
def hue_weight(nearest: Any, chroma: Any, ends: Any, per_length: Any) -> Any:
    """nearest: from `nearest_hue`."""
    return smooth_step(min(max((nearest / max(chroma, TINY) - ends) * per_length, ZERO), ONE))


@inlined
def colourfulness(chroma: Any, grey: Any, per_grey: Any) -> Any:
    """0 for greys, 1 from twice the least chroma on."""
    return min(max((chroma - grey) * per_grey, ZERO), ONE)
