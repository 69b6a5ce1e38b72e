"""An unsharp mask on lightness that leaves colour, skin and grain alone."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, singles, smooth_step
from finishing.documents.fields import number
from finishing.gaussian import (
    blur_across,
    blur_down,
    gaussian_radius,
    gaussian_weights,
    in_threes,
    mirrored,
    plain_blur,
)
from finishing.kernel import AroundKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Planes, Reach, parameter
from finishing.strips import row_of

#: Detail that is less than this share of the lightness is what rounding left in an even area.
ROUNDING = np.float32(1e-6)
#: Columns that are worked on at a time, times the rows that a pixel looks at to one side; and the fewest.
STRIPE, LEAST_STRIPE = 3072, 128


class Sharpening(Operation):
    """Adds to each pixel's lightness what sets it off from its surroundings; its colour stays as it is.

    With L, a, b the pixel in OkLab, the detail is D = L − G(L), where G is a Gaussian blur of the standard deviation
    `radius_pixels` (the unsharp mask: Gonzalez and Woods, Digital Image Processing, "Unsharp masking and highboost
    filtering"). L becomes L + amount · w · D; a and b, so hue and chroma, stay. The weight w is 0 up to a detail of
    `threshold` and 1 from twice as much on, in between t²(3 − 2t) at the fraction t of the way: grain and the pores of
    skin, whose detail is slight, come out as they were, and no edge sets in at once.

    The Gaussian is cut off at 4 standard deviations; the frame's edge is mirrored. An even area is left alone bit for
    bit, whatever the threshold. Nothing is held back at black or white: what goes beyond is brought in by the writer.
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
        "detail up to this stays as it is, from twice as much on it counts whole; in OkLab lightness (0 black, 1 "
        "white), where 0.003 is one step of an 8-bit file in the middle tones",
        0.012,
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

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
        height = geometry.height
        arguments = singles(self.amount, self.threshold, 1 / max(self.threshold, 1e-9))

        def run(memory: NDArray[np.float32], table: NDArray[np.int64], out: Planes, out_top: int) -> None:
            sharpen(memory, table, out, out_top, height, radius, weights, *arguments)

        return run

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        result = pixels.copy()
        detail = pixels[..., 0] - plain_blur(pixels[..., 0], self._sigma(geometry))
        t = np.clip((np.abs(detail) - self.threshold) / max(self.threshold, 1e-9), 0, 1)
        result[..., 0] += self.amount * t * t * (3 - 2 * t) * detail
        return result


@compiled
def sharpen(
    memory: Any,
    table: Any,
    out: Any,
    out_top: Any,
    height: Any,
    reach: Any,
    weights: Any,
    amount: Any,
    threshold: Any,
    per: Any,
) -> None:
    """Fills out as an AroundKernel does, on a frame of `height` rows. reach: how many pixels around count; weights: as
    for `gaussian.blur_down`, perhaps a few more.

    Done in upright stripes, in which all rows that a pixel looks at stay in the nearest cache.
    """
    rows, width = out.shape[1:]
    radius = weights.shape[0] - 1
    around = np.empty(rows + 2 * radius, np.int64)
    highest, lowest = max(out_top - reach, 0), min(out_top + rows + reach, height) - 1
    for place in range(around.shape[0]):
        # a weight of 0 that makes up three would look at a row that is not there: any does
        row = min(max(mirrored(out_top - radius + place, height), highest), lowest)
        around[place] = row_of(table, 0, row)
    stripe = max(STRIPE // (radius + 1), 2 * radius, LEAST_STRIPE)
    down = np.empty(stripe + 2 * radius, np.float32)
    soft = np.empty(stripe, np.float32)
    for left in range(0, width, stripe):
        size = min(stripe, width - left)
        begin, end = max(left - radius, 0), min(left + size + radius, width)
        first, last = begin - left + radius, end - left + radius
        for row in range(rows):
            blur_down(memory, begin, around, row + radius, weights, down[first:last])
            for place in range(first):
                down[place] = down[mirrored(left - radius + place, width) - left + radius]
            for place in range(last, size + 2 * radius):
                down[place] = down[mirrored(left - radius + place, width) - left + radius]
            blur_across(down, weights, soft[:size])
            line, result = memory[around[row + radius], left : left + size], out[0, row, left : left + size]
            for x in range(size):
                detail = line[x] - soft[x]
                t = min(max((abs(detail) - threshold - ROUNDING * abs(line[x])) * per, ZERO), ONE)
                result[x] = line[x] + amount * smooth_step(t) * detail
    for channel in range(1, 3):
        for row in range(rows):
            line, result = memory[row_of(table, channel, out_top + row)], out[channel, row]
            for x in range(width):
                result[x] = line[x]
