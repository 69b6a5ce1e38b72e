"""Round regions: an inner ellipse that is fully in, an outer one beyond which nothing is, a ramp between.

On each ray from the centre the ramp runs in proportion to the distance between the two ellipses. With d and e
the distances of a pixel in units of the inner and the outer ellipse (1 on them), the fraction of the way is
e·(d − 1) / (d − e).
"""

from abc import abstractmethod
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled
from finishing.operation import Geometry, Pixels, Planes
from finishing.regions.edges import falling, plain_falling, whole_pixels
from finishing.regions.region import Region, WeightKernel, Weights

#: Stands in for an inner radius of 0, in pixels.
LEAST_RADIUS = 1e-3
#: Stands in for no distance between the two ellipses.
LEAST_BETWEEN = np.float32(1e-30)


@dataclass(frozen=True)
class Rings:
    """Centre in pixel indices, inner and outer radii across and down in pixels; inner ≤ outer."""

    centre: tuple[float, float]
    inner: tuple[float, float]
    outer: tuple[float, float]

    def squares(self, axis: int, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(distance / radius)² along one axis for the inner and the outer ellipse, in float64."""
        distance = np.arange(count, dtype=np.float64) - self.centre[axis]
        inner = (distance / max(self.inner[axis], LEAST_RADIUS)) ** 2
        outer = (distance / self.outer[axis]) ** 2
        return inner, outer


class Round(Region):
    """Base of the round regions."""

    @abstractmethod
    def rings(self, geometry: Geometry) -> Rings:
        """Where they lie on this frame."""

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        rings = self.rings(geometry)
        middle, radius = rings.centre[1], rings.outer[1]
        return whole_pixels(middle - radius, middle + radius, geometry.height)

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        rings = self.rings(geometry)
        middle, radius = rings.centre[0], rings.outer[0]
        return whole_pixels(middle - radius, middle + radius, geometry.width)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        rings = self.rings(geometry)
        inner_x, outer_x = (square.astype(np.float32) for square in rings.squares(0, geometry.width))
        inner_y, outer_y = rings.squares(1, geometry.height)
        spans = _spans(rings, inner_y, outer_y)
        inner_y, outer_y = inner_y.astype(np.float32), outer_y.astype(np.float32)

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            rows, width = weights.shape
            across, down = slice(left, left + width), slice(top, top + rows)
            fill_rings(weights, spans[down], left, inner_x[across], outer_x[across], inner_y[down], outer_y[down])

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        rings = self.rings(geometry)
        inner_x, outer_x = rings.squares(0, geometry.width)
        inner_y, outer_y = rings.squares(1, geometry.height)
        inner = np.sqrt(inner_x[None, :] + inner_y[:, None])
        outer = np.sqrt(outer_x[None, :] + outer_y[:, None])
        between = (inner > 1) & (outer < 1)
        beyond = np.where(inner <= 1, 0.0, 1.0)
        beyond[between] = (outer * (inner - 1))[between] / (inner - outer)[between]
        return plain_falling(beyond)


def _spans(rings: Rings, inner_y: NDArray[np.float64], outer_y: NDArray[np.float64]) -> NDArray[np.int64]:
    """For each row the columns at which the outer ellipse begins, the inner begins, the inner ends, the outer ends."""
    spans = np.zeros((len(outer_y), 4), np.int64)
    for radius, squares, begin, end in ((rings.outer[0], outer_y, 0, 3), (rings.inner[0], inner_y, 1, 2)):
        half = radius * np.sqrt(np.maximum(1 - squares, 0))
        meets = squares < 1
        spans[:, begin] = np.where(meets, np.ceil(rings.centre[0] - half), 0)
        spans[:, end] = np.where(meets, np.floor(rings.centre[0] + half) + 1, 0)
    without_inner = spans[:, 1] >= spans[:, 2]
    spans[without_inner, 1] = spans[without_inner, 2] = spans[without_inner, 0]
    spans[:, 1] = np.maximum(spans[:, 1], spans[:, 0])
    spans[:, 3] = np.maximum(spans[:, 3], spans[:, 2])
    return spans


@compiled
def fill_rings(weights: Any, spans: Any, left: Any, inner_x: Any, outer_x: Any, inner_y: Any, outer_y: Any) -> None:
    """Squared distances by column and row; spans: as of `_spans`; left: the weights' first column."""
    width = weights.shape[1]
    for row in range(weights.shape[0]):
        starts = min(max(spans[row, 0] - left, 0), width)
        full = min(max(spans[row, 1] - left, 0), width)
        full_end = min(max(spans[row, 2] - left, 0), width)
        ends = min(max(spans[row, 3] - left, 0), width)
        line = weights[row]
        line[:starts] = ZERO
        line[full:full_end] = ONE
        line[ends:width] = ZERO
        inner_row, outer_row = inner_y[row], outer_y[row]
        for side in range(2):
            first, last = (starts, full) if side == 0 else (full_end, ends)
            part, inner_part, outer_part = line[first:last], inner_x[first:last], outer_x[first:last]
            for x in range(part.shape[0]):
                inner = np.sqrt(inner_part[x] + inner_row)
                outer = np.sqrt(outer_part[x] + outer_row)
                # where float32 does not tell them apart, what lies on both is in
                part[x] = falling(outer * (inner - ONE) / max(inner - outer, LEAST_BETWEEN))
