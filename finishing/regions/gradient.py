"""A straight gradient, as of a graduated filter in front of the lens."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationInfo, field_validator

from finishing.compiled import compiled
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.edges import falling, plain_falling, whole_pixels
from finishing.regions.places import any_point, in_pixels, parse_numbers
from finishing.regions.region import Region, WeightKernel, Weights


class Gradient(Region):
    """Fully in up to the line through `full_at` square to the way to `gone_at`, fading to nothing at `gone_at`."""

    name: ClassVar[str] = "gradient"
    summary: ClassVar[str] = "A straight gradient from one point to another."
    example: ClassVar[str] = "gradient: {full_at: [0.5, 0.2], gone_at: [0.5, 0.6]}"
    short: ClassVar[str] = (
        "[full at across, full at down, gone at across, gone at down] in fractions of width and height, "
        "two points that differ"
    )
    short_schema: ClassVar[dict[str, Any]] = {
        "type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 4
    }  # fmt: skip

    full_at: Annotated[tuple[float, float], any_point("[0.5, 0.2]")] = parameter("the point up to which it is fully in")
    gone_at: Annotated[tuple[float, float], any_point("[0.5, 0.6]")] = parameter("the point at which it has faded out")

    @field_validator("gone_at")
    @classmethod
    def _elsewhere(cls, value: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
        if value == info.data.get("full_at"):
            raise ValueError("expected a point other than full_at; move one of the two")
        return value

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        parts = parse_numbers(value, 4)
        return {"full_at": parts[:2], "gone_at": parts[2:]}

    def _beyond(self, geometry: Geometry) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The way from full to gone as 0…1, as the sum of a part by column and a part by row."""
        start_x, start_y = in_pixels(self.full_at, geometry)
        end_x, end_y = in_pixels(self.gone_at, geometry)
        way_x, way_y = end_x - start_x, end_y - start_y
        square = way_x**2 + way_y**2
        across = (np.arange(geometry.width, dtype=np.float64) - start_x) * (way_x / square)
        down = (np.arange(geometry.height, dtype=np.float64) - start_y) * (way_y / square)
        return across, down

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        across, down = self._beyond(geometry)
        return _bounds(down + across.min())

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        across, down = self._beyond(geometry)
        return _bounds(across + down.min())

    def prepare(self, geometry: Geometry) -> WeightKernel:
        across, down = (part.astype(np.float32) for part in self._beyond(geometry))

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            rows, width = weights.shape
            fill_gradient(weights, across[left : left + width], down[top : top + rows])

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        across, down = self._beyond(geometry)
        return plain_falling(across[None, :] + down[:, None])


def _bounds(beyond: NDArray[np.float64]) -> tuple[int, int]:
    inside = np.flatnonzero(beyond < 1)
    return whole_pixels(inside[0] - 1, inside[-1] + 1, len(beyond)) if len(inside) else (0, 0)


@compiled
def fill_gradient(weights: Any, across: Any, down: Any) -> None:
    """The two parts of the way by column and by row."""
    for row in range(weights.shape[0]):
        line = weights[row]
        for x in range(weights.shape[1]):
            line[x] = falling(across[x] + down[row])
