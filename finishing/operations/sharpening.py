"""An unsharp mask on lightness that leaves skin and grain alone."""

from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, inlined, singles
from finishing.documents.fields import number
from finishing.operation import Domain, Geometry, Kernel, Operation, Pixels, Planes, Reach, parameter
from finishing.overview import gaussian_radius, gaussian_weights, plain_blur

#: Luma of encoded red, green and blue (ITU-R BT.709, part 1, item 3.2).
LUMA = (0.2126, 0.7152, 0.0722)
RED, GREEN, BLUE = singles(*LUMA)
TWO = np.float32(2)
THREE = np.float32(3)


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

    radius_pixels: number(0.2, 12, "pixels", example="1.2") = parameter(  # type: ignore[valid-type]
        "how fine the detail is: the blur's standard deviation in pixels of the full-size frame; fine 0.6 to 1.5, "
        "coarse 2 to 5",
        1.2,
    )
    amount: number(0, 5, example="0.8") = parameter("how much of the detail is added: 0 none, 1 as much again", 0.8)  # type: ignore[valid-type]
    threshold: number(0, 0.5, example="0.012") = parameter(  # type: ignore[valid-type]
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

    def prepare(self, geometry: Geometry) -> Kernel:
        radius = self.radius(geometry)
        weights = in_pairs(gaussian_weights(self._sigma(geometry))[radius:])
        padded = len(weights) - 1
        columns = mirrored(np.arange(-padded, geometry.width + padded), geometry.width)
        arguments = singles(self.amount, self.threshold, 1 / max(self.threshold, 1e-9))

        def run(planes: Planes, top: int) -> None:
            rows = planes.shape[1]
            around = mirrored(np.arange(top - padded, top + rows + padded), geometry.height) - top
            # Rows nearer to a cut than the radius lack their surroundings: they are halo, and nobody asks for them.
            first = 0 if top == 0 else min(radius, rows)
            last = rows if top + rows == geometry.height else max(rows - radius, first)
            sharpen(planes, first, last, np.clip(around, 0, rows - 1), columns, weights, *arguments)

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


def in_pairs(half: NDArray[np.float64]) -> NDArray[np.float32]:
    """Weights from the middle outward, with zeros at the end until those beside the middle go in pairs."""
    return np.append(half, np.zeros((len(half) - 1) % 2)).astype(np.float32)


@inlined
def both(one: Any, other: Any, middle: Any) -> Any:
    """Two neighbours' difference from the middle: 0, and not nearly 0, in an even area."""
    return (one - middle) + (other - middle)


@compiled
def sharpen(
    planes: Any, first: Any, last: Any, around: Any, columns: Any, weights: Any, amount: Any, threshold: Any, per: Any
) -> None:
    """Rows first…last − 1 of encoded planes. weights: the Gaussian from its middle outward, in pairs. around: which of
    the planes' rows stands at each position from as many above the planes as there are weights to as many below;
    columns: the same along a row."""
    rows, width = planes.shape[1:]
    radius = weights.shape[0] - 1
    luma = np.empty((rows, width), np.float32)
    for row in range(rows):
        red, green, blue, line = planes[0, row], planes[1, row], planes[2, row], luma[row]
        for x in range(width):
            line[x] = RED * red[x] + GREEN * green[x] + BLUE * blue[x]
    down = np.empty(width + 2 * radius, np.float32)
    across = np.empty(width, np.float32)
    for row in range(first, last):
        blur_down(luma, row, around, weights, down)
        for x in range(radius):
            down[x] = down[radius + columns[x]]
            down[radius + width + x] = down[radius + columns[radius + width + x]]
        blur_across(down, weights, across)
        middle, red, green, blue = luma[row], planes[0, row], planes[1, row], planes[2, row]
        for x in range(width):
            detail = middle[x] - across[x]
            t = min(max((abs(detail) - threshold) * per, ZERO), ONE)
            more = amount * t * t * (THREE - TWO * t) * detail
            red[x] += more
            green[x] += more
            blue[x] += more


@compiled
def blur_down(luma: Any, row: Any, around: Any, weights: Any, out: Any) -> None:
    """A row of luma blurred with those above and below; out has a margin of `radius` at either end."""
    radius = weights.shape[0] - 1
    middle, line = luma[row], out[radius : radius + luma.shape[1]]
    for x in range(line.shape[0]):
        line[x] = middle[x]
    at = radius + row
    for step in range(1, radius, 2):
        near, far = weights[step], weights[step + 1]
        a1, a2 = luma[around[at - step]], luma[around[at - step - 1]]
        b1, b2 = luma[around[at + step]], luma[around[at + step + 1]]
        for x in range(line.shape[0]):
            m = middle[x]
            line[x] += near * both(a1[x], b1[x], m) + far * both(a2[x], b2[x], m)


@compiled
def blur_across(line: Any, weights: Any, out: Any) -> None:
    """out: a row blurred along itself; line has as many more pixels at either end as there are weights."""
    radius = weights.shape[0] - 1
    middle = line[radius:]
    for x in range(out.shape[0]):
        out[x] = middle[x]
    for step in range(1, radius, 2):
        near, far = weights[step], weights[step + 1]
        a1, a2 = line[radius - step :], line[radius - step - 1 :]
        b1, b2 = line[radius + step :], line[radius + step + 1 :]
        for x in range(out.shape[0]):
            m = middle[x]
            out[x] += near * both(a1[x], b1[x], m) + far * both(a2[x], b2[x], m)
