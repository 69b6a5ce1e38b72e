"""A tone curve through points: faded blacks, held highlights, contrast."""

from itertools import pairwise
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BeforeValidator, WithJsonSchema

from finishing.colour import transfer
from finishing.compiled import ZERO, compiled, cube_root, srgb_decode, srgb_encode
from finishing.documents.curve_points import LEAST_STEP, remedy_for_points
from finishing.documents.fields import Words, choice, parse_number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

LOWEST, HIGHEST, MOST_POINTS = -1.0, 4.0, 32
EXPECTED_POINTS = (
    "points [[from, to], …] with at least two of them, each `from` larger than the one before, "
    "values from -1 to 4 (0 is black, 1 is white)"
)


def _parse_points(value: object) -> tuple[tuple[float, float], ...]:
    """Points of a curve. Raises ValueError unless x rises strictly and all lies in −1…4."""
    told = remedy_for_points(value, LOWEST, HIGHEST)
    message = f"expected {EXPECTED_POINTS}" + (f"; {told}" if told else "")
    if not isinstance(value, list | tuple) or not 2 <= len(value) <= MOST_POINTS:
        raise ValueError(message)
    points = []
    for item in value:
        if not isinstance(item, list | tuple) or len(item) != 2:
            raise ValueError(message)
        try:
            points.append((parse_number(item[0]), parse_number(item[1])))
        except ValueError:
            raise ValueError(message) from None
    if any(not LOWEST <= number <= HIGHEST for point in points for number in point):
        raise ValueError(message)
    if any(b[0] - a[0] < LEAST_STEP for a, b in pairwise(points)):
        raise ValueError(message)
    return tuple(points)


Points = Annotated[
    tuple[tuple[float, float], ...],
    BeforeValidator(_parse_points),
    WithJsonSchema(
        {
            "type": "array",
            "minItems": 2,
            "maxItems": MOST_POINTS,
            "items": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
        }
    ),
    Words(EXPECTED_POINTS, "[[0, 0.06], [0.5, 0.5], [1, 0.97]]"),
]


class ToneCurve(Operation):
    """A monotone cubic through the points, on sRGB-encoded values.

    Between two points the curve is the cubic Hermite with the slopes of Fritsch and Butland ("A method for
    constructing local monotone piecewise cubic interpolants", SIAM J. Sci. Stat. Comput. 5-2, 1984, formula
    (5.3) in the weighted harmonic mean of Brodlie): it never overshoots, so no point makes a hump
    elsewhere. Outside the points it goes on in a straight line with the slope at the end.

    `lightness` takes the curve through OkLab L of each pixel, read as the encoded value of the grey of that
    lightness, and leaves a and b alone: greys come out as with `all`, colours keep hue and chroma.
    """

    name: ClassVar[str] = "tone_curve"
    summary: ClassVar[str] = "Bends the tones through points, without overshoot."
    neutral: ClassVar[dict[str, Any]] = {"points": ((0.0, 0.0), (1.0, 1.0))}
    example: ClassVar[str] = "tone_curve: {points: [[0, 0.06], [0.25, 0.22], [0.75, 0.80], [1, 0.97]]}"

    points: Points = parameter("encoded value before and after, from dark to light")
    channels: Annotated[str, choice("all", "red", "green", "blue", "lightness")] = parameter(
        "which channels go through the curve", "all"
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB if self.channels == "lightness" else Domain.ENCODED

    @property
    def per_channel(self) -> bool:
        return bool(self.channels != "lightness")

    def changes_nothing(self) -> bool:
        return all(x == y for x, y in self.points)

    def prepare(self, geometry: Geometry) -> Kernel:
        knots, cubics = _pieces(self.points)
        knots32, cubics32 = knots.astype(np.float32), cubics.astype(np.float32)
        if self.channels == "lightness":
            return PixelKernel(bend_lightness, knots32, cubics32)
        names = ("red", "green", "blue")
        first, last = (0, 3) if self.channels == "all" else (names.index(self.channels), names.index(self.channels) + 1)
        return PixelKernel(bend, first, last, knots32, cubics32)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        result = pixels.copy()
        if self.channels == "lightness":
            encoded = transfer.srgb_encode(pixels[..., 0] ** 3)
            result[..., 0] = np.cbrt(transfer.srgb_decode(evaluate(self.points, encoded)))
        elif self.channels == "all":
            result = evaluate(self.points, pixels)
        else:
            channel = ("red", "green", "blue").index(self.channels)
            result[..., channel] = evaluate(self.points, pixels[..., channel])
        return result


def slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """The slope of the curve at each point (Fritsch and Butland 1984; three-point formula at the ends)."""
    h = np.diff(x)
    delta = np.diff(y) / h
    if len(x) == 2:
        return np.array([delta[0], delta[0]])
    result = np.zeros_like(x)
    for i in range(1, len(x) - 1):
        before, after = delta[i - 1], delta[i]
        if before * after > 0:
            w1, w2 = 2 * h[i] + h[i - 1], h[i] + 2 * h[i - 1]
            with np.errstate(over="ignore"):  # beside a slope next to nothing the mean is nothing
                result[i] = (w1 + w2) / (w1 / before + w2 / after)
    result[0] = _end_slope(h[0], h[1], delta[0], delta[1])
    result[-1] = _end_slope(h[-1], h[-2], delta[-1], delta[-2])
    return result


def _end_slope(h0: float, h1: float, delta0: float, delta1: float) -> float:
    """Three-point end slope, held back where it would overshoot (Moler, Numerical Computing with MATLAB, 3.6)."""
    slope = ((2 * h0 + h1) * delta0 - h0 * delta1) / (h0 + h1)
    if slope * delta0 <= 0:
        return 0.0
    if delta0 * delta1 <= 0 and abs(slope) > 3 * abs(delta0):
        return float(3 * delta0)
    return float(slope)


def _pieces(points: tuple[tuple[float, float], ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Knots (n,) and cubics (n + 1, 5): for each piece, from below the first knot to above the last one, its
    origin and the four coefficients in powers of the distance from it."""
    x, y = (np.array(values, dtype=np.float64) for values in zip(*points, strict=True))
    d = slopes(x, y)
    h = np.diff(x)
    delta = np.diff(y) / h
    inner = np.stack(
        [x[:-1], y[:-1], d[:-1], (3 * delta - 2 * d[:-1] - d[1:]) / h, (d[:-1] + d[1:] - 2 * delta) / h**2],
        axis=1,
    )
    below = np.array([[x[0], y[0], d[0], 0, 0]])
    above = np.array([[x[-1], y[-1], d[-1], 0, 0]])
    return x, np.concatenate([below, inner, above])


def evaluate(points: tuple[tuple[float, float], ...], values: ArrayLike) -> NDArray[np.float64]:
    """The curve at encoded values of any shape, in float64."""
    knots, cubics = _pieces(points)
    v = np.asarray(values, dtype=np.float64)
    piece = cubics[np.searchsorted(knots, v, side="right")]
    t = v - piece[..., 0]
    return np.asarray(piece[..., 1] + t * (piece[..., 2] + t * (piece[..., 3] + t * piece[..., 4])))


@compiled
def bend(planes: Any, first: Any, last: Any, knots: Any, cubics: Any) -> None:
    """The curve on every value of the channels first…last − 1: a pass over the row for each piece, since a pass
    vectorises and a search does not."""
    width = planes.shape[2]
    before = np.empty(width, np.float32)
    for channel in range(first, last):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(width):
                before[x] = line[x]
            bend_row(before, line, knots, cubics)


@compiled
def bend_row(before: Any, line: Any, knots: Any, cubics: Any) -> None:
    """line becomes the curve of before."""
    for piece in range(cubics.shape[0]):
        origin, c0, c1 = cubics[piece, 0], cubics[piece, 1], cubics[piece, 2]
        c2, c3 = cubics[piece, 3], cubics[piece, 4]
        if piece == 0:
            for x in range(before.shape[0]):
                line[x] = c0 + (before[x] - origin) * c1
        else:
            start = knots[piece - 1]
            for x in range(before.shape[0]):
                t = before[x] - origin
                value = c0 + t * (c1 + t * (c2 + t * c3))
                line[x] = value if before[x] >= start else line[x]


@compiled
def bend_lightness(planes: Any, knots: Any, cubics: Any) -> None:
    """The curve on OkLab L, by way of the encoded grey of that lightness."""
    width = planes.shape[2]
    before = np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        line = planes[0, row]
        for x in range(width):
            lightness = line[x]
            before[x] = srgb_encode(lightness * lightness * lightness)
        bend_row(before, line, knots, cubics)
        for x in range(width):
            light = srgb_decode(line[x])
            line[x] = cube_root(light) if light != ZERO else ZERO
