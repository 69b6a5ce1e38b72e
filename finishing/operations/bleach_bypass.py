"""The silver image stays in the colour film: dark, hard, and pale in its colours."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, compiled, power, singles
from finishing.documents.fields import Fraction, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

#: ITU-R BT.709-6: weights of linear red, green and blue in relative luminance.
LUMINANCE = (0.2126, 0.7152, 0.0722)
LEAST = np.float32(1e-6)


class BleachBypass(Operation):
    """Lays a black and white image over the colours, as when the bleach that takes the silver out is left off.

    Densities of layers that light goes through one after the other add, so brightnesses multiply: with the luminance
    Y the silver has the density −silver · log₁₀ Y (none above white, and 6 · silver at most), and each channel c of
    the dye image becomes dye · min(Y, 1)^silver · 2^lighten, where dye = Y + colour · (c − Y). The dyes are made
    weaker (`colour`) since the silver brings contrast enough, and the whole is printed lighter by `lighten` stops to
    make good for its density.
    """

    name: ClassVar[str] = "bleach_bypass"
    summary: ClassVar[str] = "Lays the silver image over the colours: harder, darker shadows, paler hues."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "bleach_bypass: {silver: 0.4, colour: 0.65, lighten: 0.6}"

    silver: Fraction = parameter("how much of the silver image stays: 0 none, 1 all of it", 0.4)
    colour: Annotated[float, number(0, 1.5, example="0.65")] = parameter(
        "what the colours of the dye image are multiplied by", 0.65
    )
    lighten: Annotated[float, number(-1, 3, "stops", example="0.6")] = parameter("how much lighter it is printed", 0.6)
    strength: Fraction = parameter("0 leaves the frame as it is, 1 is the whole effect, between them a mix", 1.0)

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def prepare(self, geometry: Geometry) -> Kernel:
        weights = singles(*LUMINANCE)
        arguments = singles(self.silver, self.colour, 2.0**self.lighten * self.strength, 1 - self.strength)
        return PixelKernel(lay_over, weights, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        luminance = (pixels @ np.array(LUMINANCE))[..., None]
        dye = luminance + self.colour * (pixels - luminance)
        through_silver = np.clip(luminance, 1e-6, 1) ** self.silver
        result: Pixels = pixels * (1 - self.strength) + dye * through_silver * 2.0**self.lighten * self.strength
        return result


@compiled
def lay_over(planes: Any, weights: Any, silver: Any, colour: Any, gain: Any, rest: Any) -> None:
    """gain: of the whole effect; rest: what stays of the frame beside it."""
    red_weight, green_weight, blue_weight = weights
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            luminance = red_weight * r + green_weight * g + blue_weight * b
            layer = power(min(max(luminance, LEAST), ONE), silver) * gain
            red[x] = r * rest + (luminance + colour * (r - luminance)) * layer
            green[x] = g * rest + (luminance + colour * (g - luminance)) * layer
            blue[x] = b * rest + (luminance + colour * (b - luminance)) * layer
