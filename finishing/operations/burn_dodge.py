"""More or less light on one part of the frame, as under the enlarger."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, power, singles, smooth_step
from finishing.documents.fields import Centre, Fraction, number
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter


class BurnDodge(Operation):
    """Multiplies linear light by 2^(stops · w) inside an ellipse: dodging lightens (+), burning darkens (−).

    d is 0 at the ellipse's centre and 1 at its edge. With t = (1 − d) / softness held in 0…1 the weight is
    w = t²(3 − 2t): full in the middle, nothing at the edge, with no crease at either end, as a card moved under the
    enlarger leaves it. The ramp is even in stops, which is how the eye takes light. Outside the ellipse pixels stay
    bit for bit.
    """

    name: ClassVar[str] = "burn_dodge"
    summary: ClassVar[str] = "Lightens or darkens an ellipse of the frame with a soft edge."
    neutral: ClassVar[dict[str, Any]] = {"stops": 0.0}
    example: ClassVar[str] = "burn_dodge: {stops: 0.4, centre: subject, width: 0.6, height: 0.8}"
    reach: ClassVar[Reach] = Reach.PLACE

    stops: Annotated[float, number(-6, 6, "stops", example="0.4")] = parameter(
        "how much lighter (+, dodging) or darker (−, burning)"
    )
    centre: Centre = parameter("the middle of the ellipse", "subject")
    width: Annotated[float, number(0.01, 6, "short sides", example="0.6")] = parameter("how wide the ellipse is", 0.6)
    height: Annotated[float, number(0.01, 6, "short sides", example="0.8")] = parameter("how high it is", 0.8)
    angle: Annotated[float, number(-360, 360, "degrees", example="0")] = parameter(
        "how far it is turned, clockwise", 0.0
    )
    softness: Fraction = parameter("the part of the way from the edge to the middle that the ramp takes", 1.0)

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.stops == 0)

    def _offsets(self, geometry: Geometry) -> tuple[Any, Any, Any, Any]:
        """Along the ellipse's own two axes, in its half axes: two numbers for each column and two for each row."""
        x, y = 0.5, 0.5
        if self.centre == "subject":
            x, y = geometry.subject or (x, y)
        elif not isinstance(self.centre, str):
            x, y = self.centre
        across = (np.arange(geometry.width) + 0.5 - x * geometry.width) / geometry.short_side
        down = (np.arange(geometry.height) + 0.5 - y * geometry.height) / geometry.short_side
        cosine, sine = math.cos(math.radians(self.angle)), math.sin(math.radians(self.angle))
        half_width, half_height = self.width / 2, self.height / 2
        return (
            across * cosine / half_width,
            -across * sine / half_height,
            down * sine / half_width,
            down * cosine / half_height,
        )

    def prepare(self, geometry: Geometry) -> Kernel:
        column_u, column_v, row_u, row_v = (part.astype(np.float32) for part in self._offsets(geometry))
        arguments = singles(1 / max(self.softness, 1e-4), 2.0**self.stops)
        return PlaceKernel(expose, column_u, column_v, row_u, row_v, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        column_u, column_v, row_u, row_v = self._offsets(geometry)
        distance = np.hypot(column_u[None, :] + row_u[:, None], column_v[None, :] + row_v[:, None])
        t = np.clip((1 - distance) / max(self.softness, 1e-4), 0, 1)
        w = (t * t * (3 - 2 * t))[..., None]
        return np.where(w > 0, pixels * 2 ** (self.stops * w), pixels)


@compiled
def expose(
    planes: Any,
    top: Any,
    left: Any,
    column_u: Any,
    column_v: Any,
    row_u: Any,
    row_v: Any,
    per_softness: Any,
    gain: Any,
) -> None:
    """column_…, row_…: whose sums are a place along the ellipse's two axes; gain: in the middle."""
    width = planes.shape[2]
    columns_u, columns_v = column_u[left : left + width], column_v[left : left + width]
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        along, across = row_u[top + row], row_v[top + row]
        for x in range(width):
            u, v = columns_u[x] + along, columns_v[x] + across
            t = min(max((ONE - np.sqrt(u * u + v * v)) * per_softness, ZERO), ONE)
            weight = smooth_step(t)
            factor = power(gain, weight) if weight > ZERO else ONE
            red[x] = red[x] * factor
            green[x] = green[x] * factor
            blue[x] = blue[x] * factor
