"""An unsharp mask on lightness that leaves skin and grain alone."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, THREE, TWO, ZERO, compiled, singles
from finishing.documents.fields import number
from finishing.operation import AroundKernel, Domain, Geometry, Operation, Pixels, Planes, Reach, parameter
from finishing.overview import gaussian_radius, gaussian_weights, plain_blur

#: Luma of encoded red, green and blue (ITU-R BT.709, part 1, item 3.2).
LUMA = (0.2126, 0.7152, 0.0722)
RED, GREEN, BLUE = singles(*LUMA)
#: Detail that is less than this share of the lightness is what rounding left in an even area.
ROUNDING = np.float32(1e-6)
#: Columns that are worked on at a time, times the rows that a pixel looks at to one side.
STRIPE = 3072


class Sharpening(Operation):
    """Adds to each pixel's lightness what sets it off from its surroundings; colour differences stay as they are.

    Lightness is luma, the encoded value of a pixel: Y = 0.2126 R + 0.7152 G + 0.0722 B of sRGB-encoded values
    (ITU-R BT.709). The detail is D = Y − G(Y), where G is a Gaussian blur of the standard deviation `radius_pixels`
    (the unsharp mask: Gonzalez and Woods, Digital Image Processing, "Unsharp masking and highboost filtering"). Red,
    green and blue each become more by the same amount · w · D, so that R − Y and B − Y, the colour, stay. The weight w
    is 0 up to a detail of `threshold` and 1 from twice as much on, in between t²(3 − 2t) at the fraction t of the way:
    grain and the pores of skin, whose detail is slight, come out as they were, and no edge sets in at once.

    The Gaussian is cut off at 4 standard deviations; the frame's edge is mirrored. An even area is left alone bit for
    bit, whatever the threshold. Nothing is held back at black or white: what goes beyond is cut by the writer.
    """

    name: ClassVar[str] = "sharpening"
    summary: ClassVar[str] = "Makes edges crisper without touching colour, grain or skin."
    neutral: ClassVar[dict[str, Any]] = {"amount": 0.0}
    example: ClassVar[str] = "sharpening: {radius_pixels: 1.2, amount: 0.8, threshold: 0.012}"
    reach: ClassVar[Reach] = Reach.NEIGHBOURHOOD

    radius_pixels: Annotated[float, number(0.2, 12, "pixels", example="1.2")] = parameter(
        "how fine the detail is: the blur's standard deviation in pixels of the full-size frame; fine 0.6 to 1.5, "
        "coarse 2 to 5",
        1.2,
    )
    amount: Annotated[float, number(0, 5, example="0.8")] = parameter(
        "how much of the detail is added: 0 none, 1 as much again", 0.8
    )
    threshold: Annotated[float, number(0, 0.5, example="0.012")] = parameter(
        "detail up to this stays as it is, from twice as much on it counts whole; in encoded values, where 0.004 is "
        "one step of an 8-bit file",
        0.012,
    )

    @property
    def domain(self) -> Domain:
        return Domain.ENCODED

    def changes_nothing(self) -> bool:
        return bool(self.amount == 0)

    def radius(self, geometry: Geometry) -> int:
        return gaussian_radius(self._sigma(geometry))

    def _sigma(self, geometry: Geometry) -> float:
        """The blur's standard deviation in pixels of the picture at hand."""
        return float(self.radius_pixels * geometry.scale)

    def prepare(self, geometry: Geometry) -> AroundKernel:
        radius = self.radius(geometry)
        weights = in_threes(gaussian_weights(self._sigma(geometry))[radius:])
        padded = len(weights) - 1
        columns = mirrored(np.arange(-padded, geometry.width + padded), geometry.width)
        arguments = singles(self.amount, self.threshold, 1 / max(self.threshold, 1e-9))

        def run(planes: Planes, top: int, out: Planes, out_top: int) -> None:
            rows = out.shape[1]
            first = max(out_top - radius, top)
            last = min(out_top + rows + radius, geometry.height, top + planes.shape[1])
            around = mirrored(np.arange(out_top - padded, out_top + rows + padded), geometry.height)
            around = np.clip(around, first, last - 1) - first  # a weight of 0 that makes up three may stand beyond
            sharpen(planes, first - top, last - first, out, out_top - first, around, columns, weights, *arguments)

        return run

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        luma = pixels @ np.array(LUMA)
        detail = luma - plain_blur(luma, self._sigma(geometry))
        t = np.clip((np.abs(detail) - self.threshold) / max(self.threshold, 1e-9), 0, 1)
        return pixels + (self.amount * t * t * (3 - 2 * t) * detail)[..., None]


def mirrored(positions: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    """Pixels 0…size − 1 that positions beyond the frame's edge stand for: … 1 0 | 0 1 2 … size−1 | size−1 …"""
    within = positions % (2 * size)
    return np.minimum(within, 2 * size - 1 - within)


def in_threes(half: NDArray[np.float64]) -> NDArray[np.float32]:
    """Weights from the middle outward, with zeros at the end until those beside the middle go in threes."""
    return np.append(half, np.zeros(-(len(half) - 1) % 3)).astype(np.float32)


@compiled
def sharpen(
    planes: Any,
    begin: Any,
    count: Any,
    out: Any,
    out_first: Any,
    around: Any,
    columns: Any,
    weights: Any,
    amount: Any,
    threshold: Any,
    per: Any,
) -> None:
    """Fills out. weights: the Gaussian from its middle outward, in threes. Looked at are `count` rows of the planes
    from `begin` on, the first of out among them is out_first; around: which of these stands at each position from as
    many above the first as there are weights to as many below the last; columns: the same along a row.

    Done in upright stripes, in which all rows that a pixel looks at stay in the nearest cache.
    """
    width = planes.shape[2]
    radius = weights.shape[0] - 1
    stripe = max(64, STRIPE // (radius + 1))
    luma = np.empty((count, stripe + 2 * radius), np.float32)
    down = np.empty(stripe + 2 * radius, np.float32)
    more = np.empty(stripe, np.float32)
    for left in range(0, width, stripe):
        size = min(stripe, width - left)
        places = columns[left : left + size + 2 * radius]
        inner, outer = max(radius - left, 0), max(left + size + radius - width, 0)
        at = begin
        for row in range(count):
            measure(planes[0, at], planes[1, at], planes[2, at], places, inner, outer, luma[row])
            at += 1
        at, middle_row = begin + out_first, out_first
        for row in range(out.shape[1]):
            blur_down(luma, size + 2 * radius, middle_row, around[row : row + 2 * radius + 1], weights, down)
            blur_across(down, weights, more[:size])
            middle = luma[middle_row, radius : radius + size]
            for x in range(size):
                detail = middle[x] - more[x]
                t = min(max((abs(detail) - threshold - ROUNDING * abs(middle[x])) * per, ZERO), ONE)
                more[x] = amount * t * t * (THREE - TWO * t) * detail
            for channel in range(3):
                line = planes[channel, at, left : left + size]
                result = out[channel, row, left : left + size]
                for x in range(size):
                    result[x] = line[x] + more[x]
            at += 1
            middle_row += 1


@compiled
def measure(red: Any, green: Any, blue: Any, places: Any, inner: Any, outer: Any, out: Any) -> None:
    """Luma at places of a row, which lie side by side but for the first `inner` and the last `outer`."""
    last = places.shape[0] - outer
    first = places[inner]
    r, g, b, line = red[first:], green[first:], blue[first:], out[inner:]
    for x in range(last - inner):
        line[x] = RED * r[x] + GREEN * g[x] + BLUE * b[x]
    for x in range(inner):
        at = places[x]
        out[x] = RED * red[at] + GREEN * green[at] + BLUE * blue[at]
    for x in range(last, places.shape[0]):
        at = places[x]
        out[x] = RED * red[at] + GREEN * green[at] + BLUE * blue[at]


@compiled
def blur_down(luma: Any, size: Any, row: Any, around: Any, weights: Any, out: Any) -> None:
    """The first `size` pixels of a row of luma blurred with those above and below, which `around` tells from as many
    above on as there are weights."""
    radius = weights.shape[0] - 1
    middle, weight = luma[row], weights[0]
    for x in range(size):
        out[x] = weight * middle[x]
    for step in range(1, radius, 3):
        w1, w2, w3 = weights[step], weights[step + 1], weights[step + 2]
        a1, b1 = luma[around[radius - step]], luma[around[radius + step]]
        a2, b2 = luma[around[radius - step - 1]], luma[around[radius + step + 1]]
        a3, b3 = luma[around[radius - step - 2]], luma[around[radius + step + 2]]
        for x in range(size):
            out[x] += w1 * (a1[x] + b1[x]) + w2 * (a2[x] + b2[x]) + w3 * (a3[x] + b3[x])


@compiled
def blur_across(line: Any, weights: Any, out: Any) -> None:
    """out: a row blurred along itself; line has as many more pixels at either end as there are weights."""
    radius = weights.shape[0] - 1
    middle, weight = line[radius:], weights[0]
    for x in range(out.shape[0]):
        out[x] = weight * middle[x]
    for step in range(1, radius, 3):
        w1, w2, w3 = weights[step], weights[step + 1], weights[step + 2]
        a1, b1 = line[radius - step :], line[radius + step :]
        a2, b2 = line[radius - step - 1 :], line[radius + step + 1 :]
        a3, b3 = line[radius - step - 2 :], line[radius + step + 2 :]
        for x in range(out.shape[0]):
            out[x] += w1 * (a1[x] + b1[x]) + w2 * (a2[x] + b2[x]) + w3 * (a3[x] + b3[x])
