"""Black and white, as a panchromatic film sees it, through a filter or without one."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationInfo, field_validator

from finishing.compiled import ONE, compiled, singles
from finishing.documents.fields import Fraction, choice, numbers
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

#: What each filter lets through of red, green and blue light. Smooth numbers of our own for the named colours of
#: contrast filters: a yellow one takes most of the blue, a red one all but the red.
FILTERS: dict[str, tuple[float, float, float]] = {
    "none": (1.0, 1.0, 1.0),
    "yellow": (1.0, 0.7, 0.1),
    "orange": (1.0, 0.4, 0.03),
    "red": (1.0, 0.06, 0.0),
    "green": (0.2, 1.0, 0.2),
    "blue": (0.03, 0.15, 1.0),
}
#: ITU-R BT.709-6: weights of linear red, green and blue in relative luminance.
LUMINANCE = (0.2126, 0.7152, 0.0722)
EXPECTED_WEIGHTS = "the weights [red, green, blue], from -2 to 2 each, with a sum of at least 0.1"


class Monochrome(Operation):
    """Replaces each pixel by one grey: a weighted mean of linear red, green and blue.

    Grey = Σ wᵢ·tᵢ·cᵢ / Σ wᵢ·tᵢ, where w is the film's sensitivity to red, green and blue (`weights`; the default is
    relative luminance as ITU-R BT.709 has it, so that tones keep the brightness the eye sees) and t what the
    filter lets through of each: yellow 1, 0.7, 0.1; orange 1, 0.4, 0.03; red 1, 0.06, 0; green 0.2, 1, 0.2;
    blue 0.03, 0.15, 1. Dividing by the sum is the filter factor of the trade: greys stay as they are, a filter
    only moves colours against each other, lighter what has its own colour, darker what has the opposite one.
    """

    name: ClassVar[str] = "monochrome"
    summary: ClassVar[str] = "Turns the frame black and white, with channel weights or a contrast filter."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "monochrome: {filter: yellow}"

    filter: Annotated[str, choice(*FILTERS)] = parameter("colour of the filter in front of the lens", "none")
    weights: Annotated[tuple[float, ...], numbers(3, -2, 2, EXPECTED_WEIGHTS, "[0.3, 0.6, 0.1]")] = parameter(
        "how much red, green and blue light count", LUMINANCE
    )
    strength: Fraction = parameter("0 leaves the colours, 1 takes them out, between them they pale", 1.0)

    @field_validator("weights")
    @classmethod
    def _give_a_picture(cls, weights: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
        passed = FILTERS[info.data.get("filter", "none")]
        if sum(weight * part for weight, part in zip(weights, passed, strict=True)) < 0.01 or sum(weights) < 0.1:
            raise ValueError(f"expected {EXPECTED_WEIGHTS}, and some of it where the filter lets light through")
        return weights

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    @property
    def matrix(self) -> NDArray[np.float64]:
        return np.eye(3) * (1 - self.strength) + np.tile(self.shares(), (3, 1)) * self.strength

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def shares(self) -> tuple[float, float, float]:
        """What red, green and blue have in the grey; they sum to 1."""
        red, green, blue = (w * t for w, t in zip(self.weights, FILTERS[self.filter], strict=True))
        total = red + green + blue
        return red / total, green / total, blue / total

    def prepare(self, geometry: Geometry) -> Kernel:
        arguments = singles(*self.shares(), self.strength)
        return PixelKernel(mix, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        red, green, blue = self.shares()
        grey = red * pixels[..., 0] + green * pixels[..., 1] + blue * pixels[..., 2]
        result: Pixels = pixels * (1 - self.strength) + grey[..., None] * self.strength
        return result


@compiled
def mix(planes: Any, red_share: Any, green_share: Any, blue_share: Any, strength: Any) -> None:
    """Every channel goes toward the grey by strength."""
    rest = ONE - strength
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            grey = (red_share * red[x] + green_share * green[x] + blue_share * blue[x]) * strength
            red[x] = red[x] * rest + grey
            green[x] = green[x] * rest + grey
            blue[x] = blue[x] * rest + grey
