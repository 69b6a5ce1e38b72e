"""One colour alive, the rest grey."""

import math
from typing import Any, ClassVar

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.documents.fields import Hues, number
from finishing.operation import Domain, Geometry, Kernel, Operation, Pixels, parameter

TINY = np.float32(1e-12)
TWO = np.float32(2)
THREE = np.float32(3)


class HueIsolation(Operation):
    """Keeps the chroma of some hues and scales that of all others, in OkLCh.

    A hue within width/2 of a kept one has its full chroma; from `softness` beyond that on, chroma is times
    `rest`; between, the factor follows t²(3 − 2t) where t runs with the cosine of the hue's distance, so that
    no arc tangent is needed and nothing jumps. Lightness L is never touched. Greys have no hue worth the
    name: below `least_chroma` nothing changes, and up to twice that the change sets in smoothly, so that
    noise in a grey wall does not break into two kinds of pixel.
    """

    name: ClassVar[str] = "hue_isolation"
    summary: ClassVar[str] = "Keeps one colour (or several) and turns the rest grey."
    neutral: ClassVar[dict[str, Any]] = {"rest": 1.0}
    example: ClassVar[str] = "hue_isolation: {keep: 75, width: 40, softness: 20, rest: 0.0}"

    keep: Hues = parameter("the hue to keep, or several: an angle in degrees or a colour")
    width: number(0, 360, "degrees", example="40") = parameter("how wide a range of hues is kept whole", 40.0)  # type: ignore[valid-type]
    softness: number(0, 180, "degrees", example="20") = parameter("the ramp beyond it on either side", 20.0)  # type: ignore[valid-type]
    rest: number(0, 2, example="0.0") = parameter("what the chroma of other hues is multiplied by", 0.0)  # type: ignore[valid-type]
    least_chroma: number(0, 0.4, example="0.002") = parameter("OkLCh chroma below which a pixel counts as grey", 0.002)  # type: ignore[valid-type]

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.rest == 1 or self.width >= 360)

    def _ramp(self) -> tuple[float, float]:
        """Cosine of the hue distance at which the ramp ends (weight 0), and 1 over its length in cosine."""
        inner = min(self.width / 2, 180.0)
        outer = min(inner + self.softness, 180.0)
        ends = math.cos(math.radians(outer))
        return ends, 1 / max(math.cos(math.radians(inner)) - ends, 1e-7)

    def prepare(self, geometry: Geometry) -> Kernel:
        angles = np.radians(np.array(self.keep))
        directions = np.stack([np.cos(angles), np.sin(angles)]).astype(np.float32)
        grey = max(self.least_chroma, 1e-9)
        arguments = singles(*self._ramp(), self.rest, grey, 1 / grey)
        return lambda planes, top: isolate(planes, directions, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        a, b = pixels[..., 1], pixels[..., 2]
        chroma = np.hypot(a, b)
        hue = np.arctan2(b, a)
        nearest = np.max([np.cos(hue - math.radians(angle)) for angle in self.keep], axis=0)
        ends, per_length = self._ramp()
        t = np.clip((nearest - ends) * per_length, 0, 1)
        kept = t * t * (3 - 2 * t)
        grey = max(self.least_chroma, 1e-9)
        coloured = np.clip((chroma - grey) / grey, 0, 1)
        factor = 1 + (self.rest - 1) * (1 - kept) * coloured
        return np.stack([pixels[..., 0], a * factor, b * factor], axis=-1)


@compiled
def isolate(planes: Any, directions: Any, ends: Any, per_length: Any, rest: Any, grey: Any, per_grey: Any) -> None:
    """directions: cosine and sine of each kept hue, (2, n); grey: least chroma."""
    width = planes.shape[2]
    nearest = np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        a_row, b_row = planes[1, row], planes[2, row]
        cosine, sine = directions[0, 0], directions[1, 0]
        for x in range(width):
            nearest[x] = a_row[x] * cosine + b_row[x] * sine
        for k in range(1, directions.shape[1]):
            cosine, sine = directions[0, k], directions[1, k]
            for x in range(width):
                nearest[x] = max(nearest[x], a_row[x] * cosine + b_row[x] * sine)
        for x in range(width):
            a, b = a_row[x], b_row[x]
            chroma = np.sqrt(a * a + b * b)
            t = (nearest[x] / max(chroma, TINY) - ends) * per_length
            t = min(max(t, ZERO), ONE)
            coloured = min(max((chroma - grey) * per_grey, ZERO), ONE)
            factor = ONE + (rest - ONE) * (ONE - t * t * (THREE - TWO * t)) * coloured
            a_row[x] = a * factor
            b_row[x] = b * factor
