"""One range of hues strengthened or held back, deepened or lightened."""

import math
from typing import Any, ClassVar

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.documents.fields import Hues, number
from finishing.operation import Domain, Geometry, Kernel, Operation, Pixels, parameter

TINY = np.float32(1e-12)
TWO = np.float32(2)
THREE = np.float32(3)


class HueEmphasis(Operation):
    """Scales the chroma of a range of hues and moves their lightness, in OkLCh; hues stay as they are.

    A hue within width/2 of a chosen one has the weight 1, from `softness` beyond that on 0, between them t²(3 − 2t)
    where t runs with the cosine of the hue's distance. Chroma C becomes C · (1 + (chroma − 1) · weight · g), where g
    is 0 up to `least_chroma` and 1 from twice that. Lightness becomes L + lightness · weight · u²(3 − 2u),
    u = C / `full_chroma` held in 0…1: a sky darkens with its blue, while a grey wall with a breath of blue in it
    hardly moves, and black and white, which have no chroma, do not move at all.
    """

    name: ClassVar[str] = "hue_emphasis"
    summary: ClassVar[str] = "Strengthens, weakens, deepens or lightens one colour (or several)."
    neutral: ClassVar[dict[str, Any]] = {"chroma": 1.0, "lightness": 0.0}
    example: ClassVar[str] = "hue_emphasis: {hue: 255, width: 60, softness: 30, chroma: 1.1, lightness: -0.08}"

    hue: Hues = parameter("the hue to work on, or several: an angle in degrees or a colour")
    chroma: number(0, 4, example="1.1") = parameter("what its chroma is multiplied by", 1.0)  # type: ignore[valid-type]
    lightness: number(-0.5, 0.5, example="-0.08") = parameter(  # type: ignore[valid-type]
        "what is added to its OkLab lightness (0 black, 1 white): − deepens, + lightens", 0.0
    )
    width: number(0, 360, "degrees", example="60") = parameter("how wide a range of hues is changed in full", 40.0)  # type: ignore[valid-type]
    softness: number(0, 180, "degrees", example="30") = parameter("the ramp beyond it on either side", 25.0)  # type: ignore[valid-type]
    least_chroma: number(0, 0.4, example="0.002") = parameter("OkLCh chroma below which a pixel counts as grey", 0.002)  # type: ignore[valid-type]
    full_chroma: number(0.01, 0.4, example="0.08") = parameter(  # type: ignore[valid-type]
        "OkLCh chroma from which lightness moves in full", 0.08
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.chroma == 1 and self.lightness == 0)

    def _ramp(self) -> tuple[float, float]:
        """Cosine of the hue distance at which the ramp ends (weight 0), and 1 over its length in cosine."""
        inner = min(self.width / 2, 180.0)
        outer = min(inner + self.softness, 180.0)
        ends = math.cos(math.radians(outer))
        return ends, 1 / max(math.cos(math.radians(inner)) - ends, 1e-7)

    def prepare(self, geometry: Geometry) -> Kernel:
        angles = np.radians(np.array(self.hue))
        directions = np.stack([np.cos(angles), np.sin(angles)]).astype(np.float32)
        grey = max(self.least_chroma, 1e-9)
        arguments = singles(*self._ramp(), self.chroma - 1, self.lightness, grey, 1 / grey, 1 / self.full_chroma)
        return lambda planes, top: emphasise(planes, directions, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        lightness, a, b = pixels[..., 0], pixels[..., 1], pixels[..., 2]
        chroma = np.hypot(a, b)
        hue = np.arctan2(b, a)
        nearest = np.max([np.cos(hue - math.radians(angle)) for angle in self.hue], axis=0)
        ends, per_length = self._ramp()
        t = np.clip((nearest - ends) * per_length, 0, 1)
        weight = t * t * (3 - 2 * t)
        grey = max(self.least_chroma, 1e-9)
        factor = 1 + (self.chroma - 1) * weight * np.clip((chroma - grey) / grey, 0, 1)
        u = np.clip(chroma / self.full_chroma, 0, 1)
        moved = lightness + self.lightness * weight * u * u * (3 - 2 * u)
        return np.stack([moved, a * factor, b * factor], axis=-1)


@compiled
def emphasise(
    planes: Any,
    directions: Any,
    ends: Any,
    per_length: Any,
    gain: Any,
    offset: Any,
    grey: Any,
    per_grey: Any,
    per_full: Any,
) -> None:
    """directions: cosine and sine of each chosen hue, (2, n); gain: chroma factor less 1; grey: least chroma."""
    width = planes.shape[2]
    nearest = np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        lightness, a_row, b_row = planes[0, row], planes[1, row], planes[2, row]
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
            t = min(max((nearest[x] / max(chroma, TINY) - ends) * per_length, ZERO), ONE)
            weight = t * t * (THREE - TWO * t)
            factor = ONE + gain * weight * min(max((chroma - grey) * per_grey, ZERO), ONE)
            u = min(chroma * per_full, ONE)
            lightness[x] = lightness[x] + offset * weight * u * u * (THREE - TWO * u)
            a_row[x] = a * factor
            b_row[x] = b * factor
