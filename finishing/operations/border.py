"""A print's margin inside the frame, with a key line where you want one."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.colour import transfer
from finishing.compiled import compiled
from finishing.documents.fields import Colour, number
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, Rectangle, parameter

Ring = tuple[Rectangle, Rectangle, tuple[float, float, float]]


class Border(Operation):
    """Paints the outer part of the frame in one flat colour; the picture's size does not change.

    The margin is `width` short sides wide on three sides and `width` · `bottom` below, rounded to whole pixels so that
    its edge is sharp; the colour comes out in the file exactly as it is written. A key line of `line_width` runs inside
    the margin, `line_gap` outside of the picture; it is at least one pixel wide and never wider than the margin.
    """

    name: ClassVar[str] = "border"
    summary: ClassVar[str] = "Leaves a white or tinted margin round the picture, with or without a key line."
    neutral: ClassVar[dict[str, Any]] = {"width": 0.0}
    example: ClassVar[str] = 'border: {width: 0.05, colour: "#ffffff", line_width: 0.001, line_colour: "#1a1a1a"}'
    reach: ClassVar[Reach] = Reach.PLACE

    width: Annotated[float, number(0, 0.4, "short sides", example="0.05")] = parameter("how wide the margin is")
    bottom: Annotated[float, number(0, 4, example="1.0")] = parameter("the margin below, as a multiple of `width`", 1.0)
    colour: Colour = parameter("the paper's colour", (1.0, 1.0, 1.0))
    line_width: Annotated[float, number(0, 0.05, "short sides", example="0.001")] = parameter(
        "the key line; 0 is none", 0.0
    )
    line_gap: Annotated[float, number(0, 0.2, "short sides", example="0.004")] = parameter(
        "paper between picture and key line", 0.0
    )
    line_colour: Colour = parameter("the key line's colour", (26 / 255, 26 / 255, 26 / 255))

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.width == 0)

    def _margins(self, geometry: Geometry) -> tuple[int, int]:
        """The margin on three sides and below, in pixels."""
        short = geometry.short_side
        return round(self.width * short), round(self.width * self.bottom * short)

    def picture(self, geometry: Geometry) -> Rectangle | None:
        return _inset(geometry, *self._margins(geometry))

    def rings(self, geometry: Geometry) -> list[Ring]:
        """What is painted, in this order: between an outer and an inner rectangle, in a linear colour."""
        side, below = self._margins(geometry)
        frame = (0, 0, geometry.width, geometry.height)
        rings = [(frame, _inset(geometry, side, below), _linear(self.colour))]
        if self.line_width > 0:
            gap = round(self.line_gap * geometry.short_side)
            line = max(round(self.line_width * geometry.short_side), 1)
            outer = _inset(geometry, max(side - gap - line, 0), max(below - gap - line, 0))
            inner = _inset(geometry, max(side - gap, 0), max(below - gap, 0))
            rings.append((outer, inner, _linear(self.line_colour)))
        return rings

    def prepare(self, geometry: Geometry) -> Kernel:
        outer, inner, colours = zip(*self.rings(geometry), strict=True)
        return PlaceKernel(paint, np.array([outer, inner], np.int64), np.array(colours, np.float32))

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        result = pixels.copy()
        for outer, inner, colour in self.rings(geometry):
            painted = np.zeros(pixels.shape[:2], bool)
            painted[outer[1] : outer[3], outer[0] : outer[2]] = True
            painted[inner[1] : inner[3], inner[0] : inner[2]] = False
            result[painted] = colour
        return result


def _inset(geometry: Geometry, side: int, below: int) -> Rectangle:
    """The frame less its margins; empty, but never turned inside out, where they meet."""
    left, top = min(side, geometry.width), min(side, geometry.height)
    return left, top, max(geometry.width - side, left), max(geometry.height - below, top)


def _linear(colour: tuple[float, float, float]) -> tuple[float, float, float]:
    red, green, blue = (float(part) for part in transfer.srgb_decode(colour))
    return red, green, blue


@compiled
def paint(planes: Any, top: Any, left: Any, rectangles: Any, colours: Any) -> None:
    """rectangles: int (2, rings, 4), the outer and the inner ones in pixels of the frame; colours: (rings, 3)."""
    rows, width = planes.shape[1], planes.shape[2]
    for ring in range(rectangles.shape[1]):
        outer, inner = rectangles[0, ring], rectangles[1, ring]
        begin, end = min(max(outer[0] - left, 0), width), min(max(outer[2] - left, 0), width)
        for row in range(max(outer[1] - top, 0), min(outer[3] - top, rows)):
            crosses = inner[1] <= row + top < inner[3]
            first = min(max(inner[0] - left, 0), width) if crosses else end
            last = min(max(inner[2] - left, 0), width) if crosses else end
            for channel in range(3):
                planes[channel, row, begin:first] = colours[ring, channel]
                planes[channel, row, last:end] = colours[ring, channel]
