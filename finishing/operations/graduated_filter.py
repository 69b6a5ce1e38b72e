"""A graduated filter in front of the lens: dense on one side, clear on the other."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.colour import transfer
from finishing.colour.spaces import SRGB
from finishing.compiled import ONE, ZERO, compiled, power, smooth_step
from finishing.documents.fields import Colour, Point, number
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter

#: What a coloured filter lets through of each channel at the least, against its luminance.
LEAST_PASSED = 0.02


class GraduatedFilter(Operation):
    """Holds back light on one side of a line, in linear light.

    With p the distance from the line, positive toward the dense side, in short sides of the frame, and
    t = p / softness + 1/2 held in 0…1, the filter's density goes with w = t²(3 − 2t): each channel is multiplied
    by (2^−stops · tint)^w. One stop is a density of log₁₀ 2 = 0.30, so the usual glass of 0.3, 0.6 and 0.9 is 1, 2
    and 3 stops. tint is the linear `colour`, scaled to luminance 1, so that `stops` alone says how much light it
    takes; of no channel does it pass less than 0.02. Where w is 0 pixels stay bit for bit.
    """

    name: ClassVar[str] = "graduated_filter"
    summary: ClassVar[str] = "Darkens (or lightens, or tints) one side of the frame, as a graduated filter does."
    neutral: ClassVar[dict[str, Any]] = {"stops": 0.0, "colour": None}
    example: ClassVar[str] = "graduated_filter: {stops: 1.5, angle: 0, position: [0.5, 0.35], softness: 0.5}"
    reach: ClassVar[Reach] = Reach.PLACE

    stops: Annotated[float, number(-10, 10, "stops", example="1.5")] = parameter(
        "how much light the dense side holds back; a negative number lightens it", 0.0
    )
    angle: Annotated[float, number(-360, 360, "degrees", example="0")] = parameter(
        "where the dense side is, clockwise: 0 above, 90 on the right, 180 below", 0.0
    )
    position: Point = parameter("a point that the middle of the transition goes through", (0.5, 0.4))
    softness: Annotated[float, number(0, 4, "short sides", example="0.5")] = parameter(
        "how long the transition is", 0.6
    )
    colour: Colour | None = parameter("colour of the dense side, for a coloured filter", None)

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.stops == 0 and self.colour is None)

    def passed(self) -> tuple[float, float, float]:
        """What the dense side lets through of red, green and blue."""
        tint = np.ones(3)
        if self.colour is not None:
            linear = transfer.srgb_decode(self.colour)
            luminance = float(SRGB.luminance @ linear)
            tint = np.maximum(linear / max(luminance, 1e-9), LEAST_PASSED) if luminance > 0 else tint
        red, green, blue = 2.0**-self.stops * tint
        return float(red), float(green), float(blue)

    def _along(self, geometry: Geometry) -> tuple[Any, Any]:
        """p/softness + 1/2 as a sum of a number for each column and one for each row."""
        x, y = self.position
        across = (np.arange(geometry.width) + 0.5 - x * geometry.width) / geometry.short_side
        down = (np.arange(geometry.height) + 0.5 - y * geometry.height) / geometry.short_side
        angle, softness = math.radians(self.angle), max(self.softness, 1e-4)
        return across * math.sin(angle) / softness, 0.5 - down * math.cos(angle) / softness

    def prepare(self, geometry: Geometry) -> Kernel:
        columns, rows = (part.astype(np.float32) for part in self._along(geometry))
        passed = self.passed()
        alike = len(set(passed)) == 1
        gains = np.array(passed, np.float32)
        return PlaceKernel(hold_back, columns, rows, gains, alike)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        columns, rows = self._along(geometry)
        t = np.clip(columns[None, :] + rows[:, None], 0, 1)
        w = (t * t * (3 - 2 * t))[..., None]
        return np.where(w > 0, pixels * np.array(self.passed()) ** w, pixels)


@compiled
def hold_back(planes: Any, top: Any, left: Any, columns: Any, rows: Any, gains: Any, alike: Any) -> None:
    """columns and rows: whose sum is t before it is held in 0…1; gains: of the dense side; alike: they are equal."""
    width = planes.shape[2]
    across = columns[left : left + width]
    nearest = max(across[0], across[-1])
    weights, factors = np.empty(width, np.float32), np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        down = rows[top + row]
        if down + nearest <= ZERO:
            continue
        for x in range(width):
            t = min(max(across[x] + down, ZERO), ONE)
            weights[x] = smooth_step(t)
        for channel in range(3):
            gain = gains[channel]
            if channel == 0 or not alike:
                for x in range(width):
                    factors[x] = power(gain, weights[x]) if weights[x] > ZERO else ONE
            line = planes[channel, row]
            for x in range(width):
                line[x] = line[x] * factors[x]
