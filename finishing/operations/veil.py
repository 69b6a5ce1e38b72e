"""Haze that thickens with distance: the far part of a scene fades into a colour of the air."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationInfo, field_validator

from finishing.colour import transfer
from finishing.compiled import (
    BIAS_FLOAT,
    E0,
    E1,
    E2,
    E3,
    E4,
    E5,
    MANTISSA_LENGTH,
    ONE,
    ZERO,
    compiled,
    inlined,
    singles,
)
from finishing.documents.fields import Colour, number, parse_colour
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter
from finishing.regions.places import any_point, in_pixels

TWO = np.float32(2)
THREE = np.float32(3)


class Veil(Operation):
    """Blends toward the colour of the air as light does on its way through haze, in linear light.

    Koschmieder's law ("Theorie der horizontalen Sichtweite", Beiträge zur Physik der freien Atmosphäre 12, 1924):
    a thing of radiance J at the distance d is seen as I = J t + A (1 − t) with t = exp(−β d), where A is the radiance
    of the air toward the horizon and β the haze's extinction. A picture knows no distances, so they are laid over it
    as a straight gradient: 0 up to the line through `near_at`, 1 from the line through `far_at` on, both square to
    the way from the one to the other, and on the way, at the fraction u of it, u²(3 − 2u), which begins and ends
    without a crease. β is the `density`, the optical depth at the far line: 0.7 leaves half of the contrast there,
    2.3 a tenth. What lies before the near line stays bit for bit.
    """

    name: ClassVar[str] = "veil"
    summary: ClassVar[str] = "Lays haze over the distance, thicker toward the horizon, in a colour of the air."
    neutral: ClassVar[dict[str, Any]] = {"density": 0.0}
    example: ClassVar[str] = 'veil: {density: 0.4, near_at: [0.5, 0.95], far_at: [0.5, 0.4], colour: "#d9dde0"}'
    reach: ClassVar[Reach] = Reach.PLACE

    density: Annotated[float, number(0, 6, example="0.4")] = parameter(
        "how thick the haze is at the far line: 0 none, 0.7 half of the contrast is left, 2.3 a tenth"
    )
    near_at: Annotated[tuple[float, float], any_point("[0.5, 0.95]")] = parameter(
        "a point of the line up to which the air is clear", (0.5, 0.95)
    )
    far_at: Annotated[tuple[float, float], any_point("[0.5, 0.4]")] = parameter(
        "a point of the line from which on the haze is whole, such as the horizon", (0.5, 0.4), beside_another=True
    )
    colour: Colour = parameter("the colour of the air, that of the sky just over the horizon", parse_colour("#d9dde0"))

    @field_validator("far_at")
    @classmethod
    def _elsewhere(cls, value: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
        if value == info.data.get("near_at"):
            raise ValueError("expected a point other than near_at; move one of the two")
        return value

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.density == 0)

    def _air(self) -> tuple[float, float, float]:
        """The colour in linear light."""
        red, green, blue = transfer.srgb_decode(self.colour)
        return float(red), float(green), float(blue)

    def _way(self, geometry: Geometry) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """u of the law before it is held in 0…1, as the sum of a part by column and a part by row."""
        start_x, start_y = in_pixels(self.near_at, geometry)
        end_x, end_y = in_pixels(self.far_at, geometry)
        way_x, way_y = end_x - start_x, end_y - start_y
        square = way_x**2 + way_y**2
        across = (np.arange(geometry.width, dtype=np.float64) - start_x) * (way_x / square)
        down = (np.arange(geometry.height, dtype=np.float64) - start_y) * (way_y / square)
        return across, down

    def prepare(self, geometry: Geometry) -> Kernel:
        across, down = (part.astype(np.float32) for part in self._way(geometry))
        (depth,) = singles(-self.density / np.log(2))
        air = singles(*self._air())
        return PlaceKernel(lay_over, across, down, depth, air)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        across, down = self._way(geometry)
        u = np.clip(across[None, :] + down[:, None], 0, 1)
        left = np.exp(-self.density * u * u * (3 - 2 * u))[..., None]
        return pixels * left + np.array(self._air()) * (1 - left)


@inlined
def power_of_two(y: Any) -> Any:
    """2^y for −126 ≤ y ≤ 0, to about 2e-7 of its value."""
    n = np.int32(y + BIAS_FLOAT)
    f = y - (np.float32(n) - BIAS_FLOAT)
    fraction = E0 + f * (E1 + f * (E2 + f * (E3 + f * (E4 + f * E5))))
    return np.int32(n << MANTISSA_LENGTH).view(np.float32) * fraction


@compiled
def lay_over(planes: Any, top: Any, left: Any, columns: Any, rows: Any, depth: Any, air: Any) -> None:
    """columns, rows: the parts of the way by column and by row; depth: −density / ln 2."""
    air_red, air_green, air_blue = air
    width = planes.shape[2]
    across = columns[left : left + width]
    farthest = max(across[0], across[-1])
    for row in range(planes.shape[1]):
        down = rows[top + row]
        if down + farthest <= ZERO:
            continue
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(width):
            u = min(max(across[x] + down, ZERO), ONE)
            passed = power_of_two(depth * u * u * (THREE - TWO * u))
            passed = passed if u > ZERO else ONE
            rest = ONE - passed
            red[x] = red[x] * passed + rest * air_red
            green[x] = green[x] * passed + rest * air_green
            blue[x] = blue[x] * passed + rest * air_blue
