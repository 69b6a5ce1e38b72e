"""One range of hues strengthened or held back, deepened or lightened."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, compiled, singles, smooth_step
from finishing.documents.fields import Hues, number
from finishing.hue_range import HueRamp, colourfulness, hue_weight, nearest_hue
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


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
    chroma: Annotated[float, number(0, 4, example="1.1")] = parameter("what its chroma is multiplied by", 1.0)
    lightness: Annotated[float, number(-0.5, 0.5, example="-0.08")] = parameter(
        "what is added to its OkLab lightness (0 black, 1 white): − deepens, + lightens", 0.0
    )
    width: Annotated[float, number(0, 360, "degrees", example="60")] = parameter(
        "how wide a range of hues is changed in full", 40.0
    )
    softness: Annotated[float, number(0, 180, "degrees", example="30")] = parameter(
        "the ramp beyond it on either side", 25.0
    )
    least_chroma: Annotated[float, number(0, 0.4, example="0.002")] = parameter(
        "OkLCh chroma below which a pixel counts as grey", 0.002
    )
    full_chroma: Annotated[float, number(0.01, 0.4, example="0.08")] = parameter(
        "OkLCh chroma from which lightness moves in full", 0.08
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.chroma == 1 and self.lightness == 0)

    def _range(self) -> HueRamp:
        return HueRamp(self.hue, self.width, self.softness, self.least_chroma)

    def prepare(self, geometry: Geometry) -> Kernel:
        chosen = self._range()
        directions = chosen.directions
        arguments = (*chosen.arguments(), *singles(self.chroma - 1, self.lightness, 1 / self.full_chroma))
        return PixelKernel(emphasise, directions, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        lightness, a, b = pixels[..., 0], pixels[..., 1], pixels[..., 2]
        weight, coloured = self._range().reference(a, b)
        factor = 1 + (self.chroma - 1) * weight * coloured
        u = np.clip(np.hypot(a, b) / self.full_chroma, 0, 1)
        moved = lightness + self.lightness * weight * u * u * (3 - 2 * u)
        return np.stack([moved, a * factor, b * factor], axis=-1)


@compiled
def emphasise(
    planes: Any,
    directions: Any,
    ends: Any,
    per_length: Any,
    grey: Any,
    per_grey: Any,
    gain: Any,
    offset: Any,
    per_full: Any,
) -> None:
    """directions and the four behind it: see `HueRamp`; gain: chroma factor less 1."""
    width = planes.shape[2]
    nearest = np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        lightness, a_row, b_row = planes[0, row], planes[1, row], planes[2, row]
        nearest_hue(a_row, b_row, directions, nearest)
        for x in range(width):
            a, b = a_row[x], b_row[x]
            chroma = np.sqrt(a * a + b * b)
            weight = hue_weight(nearest[x], chroma, ends, per_length)
            factor = ONE + gain * weight * colourfulness(chroma, grey, per_grey)
            lightness[x] = lightness[x] + offset * weight * smooth_step(min(chroma * per_full, ONE))
            a_row[x] = a * factor
            b_row[x] = b * factor
