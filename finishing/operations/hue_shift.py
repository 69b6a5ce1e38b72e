"""One range of hues turned toward another."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ZERO, compiled
from finishing.documents.fields import Hues, number
from finishing.hue_range import HueRamp, colourfulness, hue_weight, nearest_hue
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


class HueShift(Operation):
    """Turns the hue of a range of colours, in OkLCh; lightness and chroma stay as they are.

    A hue within width/2 of a chosen one is turned by `degrees`; from `softness` beyond that on by nothing; between,
    the angle is degrees · t²(3 − 2t) where t runs with the cosine of the hue's distance. Greys have no hue worth the
    name: below `least_chroma` nothing turns, and up to twice that the turn sets in smoothly. A turn by more than
    the softness brings hues at the edge of the range into another order.
    """

    name: ClassVar[str] = "hue_shift"
    summary: ClassVar[str] = "Turns one colour (or several) toward another hue."
    neutral: ClassVar[dict[str, Any]] = {"degrees": 0.0}
    example: ClassVar[str] = "hue_shift: {hue: 130, degrees: -12, width: 50, softness: 25}"

    hue: Hues = parameter("the hue to turn, or several: an angle in degrees or a colour")
    degrees: Annotated[float, number(-180, 180, "degrees", example="-12")] = parameter(
        "how far: + from red toward yellow, green, blue; − the other way round"
    )
    width: Annotated[float, number(0, 360, "degrees", example="50")] = parameter(
        "how wide a range of hues is turned in full", 40.0
    )
    softness: Annotated[float, number(0, 180, "degrees", example="25")] = parameter(
        "the ramp beyond it on either side", 25.0
    )
    least_chroma: Annotated[float, number(0, 0.4, example="0.002")] = parameter(
        "OkLCh chroma below which a pixel counts as grey", 0.002
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.degrees == 0)

    def _range(self) -> HueRamp:
        return HueRamp(self.hue, self.width, self.softness, self.least_chroma)

    def prepare(self, geometry: Geometry) -> Kernel:
        chosen = self._range()
        directions, arguments = chosen.directions, chosen.arguments()
        turn = turns(math.radians(self.degrees))
        return PixelKernel(rotate, directions, turn, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        a, b = pixels[..., 1], pixels[..., 2]
        weight, coloured = self._range().reference(a, b)
        angle = math.radians(self.degrees) * weight * coloured
        cosine, sine = np.cos(angle), np.sin(angle)
        return np.stack([pixels[..., 0], a * cosine - b * sine, a * sine + b * cosine], axis=-1)


def turns(angle: float) -> NDArray[np.float32]:
    """Coefficients (2, 7) in powers of w² of the polynomials that give cos(w·angle) and sin(w·angle)/w for w in 0…1,
    through Chebyshev nodes: right to 2e-7 up to half a turn."""
    nodes = (np.cos((np.arange(7) + 0.5) * np.pi / 7) + 1) / 2
    w = np.sqrt(nodes)
    values = np.stack([np.cos(w * angle), np.sin(w * angle) / w], axis=1)
    return np.polynomial.polynomial.polyfit(nodes, values, 6).T.astype(np.float32)


@compiled
def rotate(planes: Any, directions: Any, turn: Any, ends: Any, per_length: Any, grey: Any, per_grey: Any) -> None:
    """turn: see `turns`; directions and the last four: see `HueRamp`."""
    width = planes.shape[2]
    nearest = np.empty(width, np.float32)
    c0, c1, c2, c3, c4, c5, c6 = turn[0, 0], turn[0, 1], turn[0, 2], turn[0, 3], turn[0, 4], turn[0, 5], turn[0, 6]
    s0, s1, s2, s3, s4, s5, s6 = turn[1, 0], turn[1, 1], turn[1, 2], turn[1, 3], turn[1, 4], turn[1, 5], turn[1, 6]
    for row in range(planes.shape[1]):
        a_row, b_row = planes[1, row], planes[2, row]
        nearest_hue(a_row, b_row, directions, nearest)
        for x in range(width):
            a, b = a_row[x], b_row[x]
            chroma = np.sqrt(a * a + b * b)
            w = hue_weight(nearest[x], chroma, ends, per_length) * colourfulness(chroma, grey, per_grey)
            v = w * w
            along = c0 + v * (c1 + v * (c2 + v * (c3 + v * (c4 + v * (c5 + v * c6)))))
            across = w * (s0 + v * (s1 + v * (s2 + v * (s3 + v * (s4 + v * (s5 + v * s6))))))
            a_row[x] = a * along - b * across if w > ZERO else a
            b_row[x] = a * across + b * along if w > ZERO else b
