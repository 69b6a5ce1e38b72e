"""Pixels of some hues."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.documents.fields import Hues, number
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.edges import falling, plain_falling
from finishing.regions.region import Region, WeightKernel, Weights

TINY = np.float32(1e-12)
HALF_TURN = np.float32(math.pi)
QUARTER_TURN = np.float32(math.pi / 2)


def _arc_tangent_series(degree: int) -> list[np.float32]:
    """atan(x)/x as a polynomial in x² on 0…1, through its values at Chebyshev nodes."""
    nodes = np.cos((np.arange(degree + 1) + 0.5) * np.pi / (degree + 1)) / 2 + 0.5
    values = np.arctan(np.sqrt(nodes)) / np.sqrt(nodes)
    return [np.float32(c) for c in np.polynomial.polynomial.polyfit(nodes, values, degree)]


A0, A1, A2, A3, A4, A5, A6, A7, A8, A9 = _arc_tangent_series(9)


class HueRange(Region):
    """Hues within width/2 of a kept one are fully in; the soft edge runs with the angle beyond that.

    Hues are those of OkLCh. Greys have none: below `least_chroma` a pixel is out, and from there to twice that
    it comes in along the same smooth ramp.
    """

    name: ClassVar[str] = "hue"
    summary: ClassVar[str] = "Pixels of one hue or several, wherever they are."
    example: ClassVar[str] = "hue: {keep: 75, width: 40, soft: 15}"
    short: ClassVar[str] = (
        'a hue: an angle from 0 to 360 degrees (OkLCh), a colour such as "#c8a21b", or a list of them'
    )
    short_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": ["number", "string"]}, {"type": "array", "items": {"type": ["number", "string"]}}]
    }

    keep: Hues = parameter("the hue, or several: an angle in degrees or a colour")
    width: Annotated[float, number(0, 360, "degrees", example="40")] = parameter(
        "how wide a range of hues is fully in", 40.0
    )
    soft: Annotated[float, number(0, 180, "degrees", example="15")] = parameter(
        "the soft edge beyond it on either side", 15.0
    )
    least_chroma: Annotated[float, number(0, 0.4, example="0.01")] = parameter(
        "OkLCh chroma below which a pixel counts as grey and is out", 0.01
    )

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        return {"keep": value}

    @property
    def looks_at_colour(self) -> bool:
        return True

    def _ramps(self) -> tuple[float, float, float, float]:
        """Half the width and 1 over the soft edge in radians; least chroma and 1 over the length of its ramp."""
        grey = max(self.least_chroma, 1e-9)
        return math.radians(self.width / 2), 1 / max(math.radians(self.soft), 1e-9), grey, 1 / grey

    def prepare(self, geometry: Geometry) -> WeightKernel:
        angles = np.radians(np.array(self.keep))
        directions = np.stack([np.cos(angles), np.sin(angles)]).astype(np.float32)
        arguments = singles(*self._ramps())

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            assert oklab is not None
            fill_hue(weights, oklab, directions, *arguments)

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        half, per_soft, grey, per_grey = self._ramps()
        hue = np.arctan2(oklab[..., 2], oklab[..., 1])
        chroma = np.hypot(oklab[..., 1], oklab[..., 2])
        turn = 2 * math.pi
        away = [np.abs((hue - math.radians(keep) + math.pi) % turn - math.pi) for keep in self.keep]
        near = plain_falling((np.min(away, axis=0) - half) * per_soft)
        return near * plain_falling(1 - (chroma - grey) * per_grey)


@compiled
def fill_hue(weights: Any, oklab: Any, directions: Any, half: Any, per_soft: Any, grey: Any, per_grey: Any) -> None:
    """directions: cosine and sine of each kept hue, (2, n); the rest as of `_ramps`."""
    width = weights.shape[1]
    along = np.empty(width, np.float32)
    across = np.empty(width, np.float32)
    for row in range(weights.shape[0]):
        a_row, b_row, line = oklab[1, row], oklab[2, row], weights[row]
        cosine, sine = directions[0, 0], directions[1, 0]
        for x in range(width):
            along[x] = a_row[x] * cosine + b_row[x] * sine
            across[x] = abs(b_row[x] * cosine - a_row[x] * sine)
        for k in range(1, directions.shape[1]):
            cosine, sine = directions[0, k], directions[1, k]
            for x in range(width):
                this = a_row[x] * cosine + b_row[x] * sine
                aside = abs(b_row[x] * cosine - a_row[x] * sine)
                nearer = this > along[x]
                along[x] = this if nearer else along[x]
                across[x] = aside if nearer else across[x]
        for x in range(width):
            size = abs(along[x])
            larger, smaller = max(size, across[x]), min(size, across[x])
            t = smaller / max(larger, TINY)
            s = t * t
            series = A0 + s * (A1 + s * (A2 + s * (A3 + s * (A4 + s * (A5 + s * (A6 + s * (A7 + s * (A8 + s * A9))))))))
            angle = t * series
            angle = QUARTER_TURN - angle if across[x] > size else angle
            angle = HALF_TURN - angle if along[x] < ZERO else angle
            chroma = np.sqrt(a_row[x] * a_row[x] + b_row[x] * b_row[x])
            line[x] = falling((angle - half) * per_soft) * falling(ONE - (chroma - grey) * per_grey)
