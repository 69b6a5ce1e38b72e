"""A rectangle parallel to the frame."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator

from finishing.compiled import ONE, ZERO, compiled
from finishing.documents.fields import numbers
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.edges import ABOUT_SOFT, Soft, falling, plain_falling, whole_pixels
from finishing.regions.places import in_pixels, parse_numbers
from finishing.regions.region import Region, WeightKernel, Weights

EXPECTED_SIDES = (
    "[left, top, right, bottom] in fractions of the frame's width and height, 0 to 1, "
    "left smaller than right and top smaller than bottom"
)


def _in_order(sides: tuple[float, ...]) -> tuple[float, ...]:
    if sides[0] >= sides[2] or sides[1] >= sides[3]:
        raise ValueError(f"expected {EXPECTED_SIDES}")
    return sides


Sides = Annotated[
    tuple[float, ...], numbers(4, 0, 1, EXPECTED_SIDES, "[0.2, 0.1, 0.8, 0.9]"), AfterValidator(_in_order)
]


class Box(Region):
    """Fully in between the four sides; the soft edge lies outside, round at the corners."""

    name: ClassVar[str] = "box"
    summary: ClassVar[str] = "A rectangle given by its four sides."
    example: ClassVar[str] = "box: {sides: [0.2, 0.1, 0.8, 0.9], soft: 0.05}"
    short: ClassVar[str] = EXPECTED_SIDES
    short_schema: ClassVar[dict[str, Any]] = {
        "type": "array", "items": {"type": "number", "minimum": 0, "maximum": 1}, "minItems": 4, "maxItems": 4
    }  # fmt: skip

    sides: Sides = parameter("left, top, right, bottom in fractions of the frame")
    soft: Soft = parameter(ABOUT_SOFT, 0.05)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        return {"sides": parse_numbers(value, 4)}

    def _corners(self, geometry: Geometry) -> tuple[float, float, float, float]:
        left, top, right, bottom = self.sides
        return *in_pixels((left, top), geometry), *in_pixels((right, bottom), geometry)

    def _soft(self, geometry: Geometry) -> float:
        return max(float(self.soft) * geometry.short_side, 1e-6)

    def _beyond(self, geometry: Geometry) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How far each column and each row lies outside, in lengths of the soft edge."""
        left, top, right, bottom = self._corners(geometry)
        x, y = np.arange(geometry.width), np.arange(geometry.height)
        soft = self._soft(geometry)
        across = np.maximum(np.maximum(left - x, x - right), 0) / soft
        return across, np.maximum(np.maximum(top - y, y - bottom), 0) / soft

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        _, top, _, bottom = self._corners(geometry)
        soft = self._soft(geometry)
        return whole_pixels(top - soft, bottom + soft, geometry.height)

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        left, _, right, _ = self._corners(geometry)
        soft = self._soft(geometry)
        return whole_pixels(left - soft, right + soft, geometry.width)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        # Held below the square root of the largest float32, so that far corners do not overflow.
        across, down = (np.minimum(part, 1e9).astype(np.float32) for part in self._beyond(geometry))
        whole = plain_falling(across).astype(np.float32)

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            part = slice(left, left + weights.shape[1])
            fill_box(weights, across[part], whole[part], down[top : top + weights.shape[0]])

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        across, down = self._beyond(geometry)
        return plain_falling(np.hypot(across[None, :], down[:, None]))


@compiled
def fill_box(weights: Any, across: Any, whole: Any, down: Any) -> None:
    """across, down: distances outside in lengths of the soft edge; whole: the weights of a row between the sides."""
    for row in range(weights.shape[0]):
        line = weights[row]
        if down[row] == ZERO:
            line[:] = whole
        elif down[row] >= ONE:
            line[:] = ZERO
        else:
            for x in range(weights.shape[1]):
                line[x] = falling(np.sqrt(across[x] * across[x] + down[row] * down[row]))
