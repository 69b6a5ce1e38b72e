"""One colour alive, the rest grey."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, compiled, singles
from finishing.documents.fields import Hues, number
from finishing.hue_range import HueRamp, colourfulness, hue_weight, nearest_hue
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


class HueIsolation(Operation):
    """Keeps the chroma of some hues and scales that of all others, in OkLCh.

    A hue within width/2 of a kept one has its full chroma; from `softness` beyond that on, chroma is times
    `rest`; between, the factor follows t²(3 − 2t) where t runs with the cosine of the hue's distance. Lightness L is
    never touched. Greys, with a chroma below `least_chroma`, stay as they are; up to twice that the change sets in
    smoothly.
    """

    name: ClassVar[str] = "hue_isolation"
    summary: ClassVar[str] = "Keeps one colour (or several) and turns the rest grey."
    neutral: ClassVar[dict[str, Any]] = {"rest": 1.0}
    example: ClassVar[str] = "hue_isolation: {keep: 75, width: 40, softness: 20, rest: 0.0}"

    keep: Hues = parameter("the hue to keep, or several: an angle in degrees or a colour")
    width: Annotated[float, number(0, 360, "degrees", example="40")] = parameter(
        "how wide a range of hues is kept whole", 40.0
    )
    softness: Annotated[float, number(0, 180, "degrees", example="20")] = parameter(
        "the ramp beyond it on either side", 20.0
    )
    rest: Annotated[float, number(0, 2, example="0.0")] = parameter(
        "what the chroma of other hues is multiplied by", 0.0
    )
    least_chroma: Annotated[float, number(0, 0.4, example="0.002")] = parameter(
        "OkLCh chroma below which a pixel counts as grey", 0.002
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.rest == 1 or self.width >= 360)

    def _range(self) -> HueRamp:
        return HueRamp(self.keep, self.width, self.softness, self.least_chroma)

    def prepare(self, geometry: Geometry) -> Kernel:
        kept = self._range()
        directions, arguments = kept.directions, (*kept.arguments(), *singles(self.rest))
        return PixelKernel(isolate, directions, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        a, b = pixels[..., 1], pixels[..., 2]
        kept, coloured = self._range().reference(a, b)
        factor = 1 + (self.rest - 1) * (1 - kept) * coloured
        return np.stack([pixels[..., 0], a * factor, b * factor], axis=-1)


@compiled
def isolate(planes: Any, directions: Any, ends: Any, per_length: Any, grey: Any, per_grey: Any, rest: Any) -> None:
    """directions and the four behind it: see `HueRamp`."""
    width = planes.shape[2]
    nearest = np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        a_row, b_row = planes[1, row], planes[2, row]
        nearest_hue(a_row, b_row, directions, nearest)
        for x in range(width):
            a, b = a_row[x], b_row[x]
            chroma = np.sqrt(a * a + b * b)
            kept = hue_weight(nearest[x], chroma, ends, per_length)
            factor = ONE + (rest - ONE) * (ONE - kept) * colourfulness(chroma, grey, per_grey)
            a_row[x] = a * factor
            b_row[x] = b * factor
