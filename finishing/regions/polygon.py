"""An area of any outline."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, WithJsonSchema

from finishing.compiled import ONE, ZERO, compiled
from finishing.documents.fields import Words
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.edges import ABOUT_SOFT, Soft, falling, plain_falling, whole_pixels
from finishing.regions.places import LEAST, MOST, in_pixels, parse_numbers
from finishing.regions.region import Region, WeightKernel, Weights

MOST_POINTS = 200
EXPECTED_POINTS = f"3 to {MOST_POINTS} points [x, y] in fractions of the frame's width and height, not all on one line"


def _parse_points(value: object) -> tuple[tuple[float, ...], ...]:
    try:
        if isinstance(value, list | tuple) and 3 <= len(value) <= MOST_POINTS:
            points = tuple(tuple(parse_numbers(point, 2)) for point in value)
            if all(LEAST <= part <= MOST for point in points for part in point) and _have_area(points):
                return points
    except ValueError:
        pass
    raise ValueError(f"expected {EXPECTED_POINTS}")


def _have_area(points: tuple[tuple[float, ...], ...]) -> bool:
    away = np.array(points) - points[0]
    return bool(np.linalg.matrix_rank(away, tol=1e-9) == 2)


_POINT = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
_SCHEMA = {"type": "array", "items": _POINT, "minItems": 3, "maxItems": MOST_POINTS}
Points = Annotated[
    tuple[tuple[float, float], ...],
    BeforeValidator(_parse_points),
    WithJsonSchema(_SCHEMA),
    Words(EXPECTED_POINTS, "[[0.3, 0.2], [0.7, 0.2], [0.5, 0.9]]"),
]


class Polygon(Region):
    """Fully in inside the outline; the soft edge follows it outside, at equal distance.

    Where the outline crosses itself, a place is inside when a ray from it meets the outline an odd number of
    times (the even-odd rule).
    """

    name: ClassVar[str] = "polygon"
    summary: ClassVar[str] = "An area drawn from point to point."
    example: ClassVar[str] = "polygon: {points: [[0.3, 0.2], [0.7, 0.25], [0.8, 0.9], [0.25, 0.8]], soft: 0.05}"
    short: ClassVar[str] = EXPECTED_POINTS
    short_schema: ClassVar[dict[str, Any]] = _SCHEMA

    points: Points = parameter("the corners, in order round the area")
    soft: Soft = parameter(ABOUT_SOFT, 0.05)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        return {"points": value}

    def _edges(self, geometry: Geometry) -> NDArray[np.float64]:
        """(n, 4): each edge from x, y to x, y in pixel indices; an edge without length is left out."""
        corners = np.array([in_pixels(point, geometry) for point in self.points])
        edges = np.hstack([corners, np.roll(corners, -1, axis=0)])
        return edges[(edges[:, :2] != edges[:, 2:]).any(axis=1)]

    def _soft(self, geometry: Geometry) -> float:
        return float(self.soft) * geometry.short_side

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        down, soft = self._edges(geometry)[:, 1], self._soft(geometry)
        return whole_pixels(float(down.min()) - soft, float(down.max()) + soft, geometry.height)

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        across, soft = self._edges(geometry)[:, 0], self._soft(geometry)
        return whole_pixels(float(across.min()) - soft, float(across.max()) + soft, geometry.width)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        edges, soft = self._edges(geometry), self._soft(geometry)

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            fill_polygon(weights, edges, soft, top, left)

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        x, y = np.meshgrid(np.arange(geometry.width, dtype=float), np.arange(geometry.height, dtype=float))
        inside = np.zeros(x.shape, bool)
        square = np.full(x.shape, np.inf)
        for x0, y0, x1, y1 in self._edges(geometry):
            way_x, way_y = x1 - x0, y1 - y0
            if way_y:
                inside ^= ((y0 <= y) != (y1 <= y)) & (x < x0 + (y - y0) * way_x / way_y)
            along = np.clip(((x - x0) * way_x + (y - y0) * way_y) / (way_x**2 + way_y**2), 0, 1)
            square = np.minimum(square, (x - x0 - along * way_x) ** 2 + (y - y0 - along * way_y) ** 2)
        beyond = np.sqrt(square) / max(self._soft(geometry), 1e-9)
        return np.where(inside, 1.0, plain_falling(beyond))


@compiled
def fill_polygon(weights: Any, edges: Any, soft: Any, top: Any, left: Any) -> None:
    """edges: (n, 4) in pixel indices. Distances are worked out only for the columns that an edge's soft band meets."""
    width = weights.shape[1]
    crossings = np.empty(edges.shape[0], np.float64)
    per_square = np.float32(1 / max(soft * soft, 1e-12))
    for row in range(weights.shape[0]):
        line = weights[row]
        y = np.float64(top + row)
        line[:] = ONE
        met = 0
        for k in range(edges.shape[0]):
            x0, y0, x1, y1 = edges[k]
            way_x, way_y = x1 - x0, y1 - y0
            if (y0 <= y) != (y1 <= y):
                crossings[met] = x0 + (y - y0) * way_x / way_y
                met += 1
            # The part of the edge that lies within `soft` of the row, and the columns it may reach.
            near, far = 0.0, 1.0
            if way_y != 0:
                one, other = (y - soft - y0) / way_y, (y + soft - y0) / way_y
                near, far = max(near, min(one, other)), min(far, max(one, other))
            elif abs(y - y0) >= soft:
                continue
            if soft <= 0 or near > far:
                continue
            low = min(x0 + near * way_x, x0 + far * way_x) - soft - left
            high = max(x0 + near * way_x, x0 + far * way_x) + soft - left
            first = np.int64(min(max(low, 0), width))
            part = line[first : np.int64(min(max(high + 2, 0), width))]
            # Squared distance, in squares of the soft edge, with x counted from the part's first column.
            square = way_x * way_x + way_y * way_y
            from_x, from_y = first + left - x0, y - y0
            along_start = np.float32((from_x * way_x + from_y * way_y) / square)
            along_step = np.float32(way_x / square)
            away_x, away_y = np.float32(from_x), np.float32(from_y)
            edge_x, edge_y = np.float32(way_x), np.float32(way_y)
            for x in range(part.shape[0]):
                column = np.float32(np.int32(x))
                along = min(max(along_start + column * along_step, ZERO), ONE)
                dx = away_x + column - along * edge_x
                dy = away_y - along * edge_y
                part[x] = min(part[x], (dx * dx + dy * dy) * per_square)
        for x in range(width):
            line[x] = falling(np.sqrt(line[x]))
        crossings[:met].sort()
        for k in range(0, met - 1, 2):
            first = np.int64(min(max(np.ceil(crossings[k] - left), 0), width))
            last = np.int64(min(max(np.ceil(crossings[k + 1] - left), 0), width))
            line[first:last] = ONE
