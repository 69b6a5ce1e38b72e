"""The frame's edge falls off to black, lifts to white, or fades into a colour."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np
from pydantic import BeforeValidator, PlainSerializer, ValidationInfo, WithJsonSchema, field_validator

from finishing.colour import transfer
from finishing.compiled import ONE, ZERO, compiled, cube_root, singles, smooth_step
from finishing.documents.fields import Centre, Fraction, Words, choice, number, parse_colour
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter
from finishing.units import format_number

#: A rectangle is drawn as a superellipse of this exponent, so that no crease runs to its corners.
RECTANGLE_EXPONENT = 6

EXPECTED_TOWARD = 'white, black, or a colour such as "#f3e6cf"'


def _parse_toward(value: object) -> Any:
    if value in ("white", "black"):
        return value
    try:
        return parse_colour(value)
    except ValueError:
        raise ValueError(f"expected {EXPECTED_TOWARD}") from None


def _print_toward(value: Any) -> str:
    return value if isinstance(value, str) else "#" + "".join(f"{round(part * 255):02x}" for part in value)


Toward = Annotated[
    str | tuple[float, float, float],
    BeforeValidator(_parse_toward),
    PlainSerializer(_print_toward),
    WithJsonSchema({"type": "string", "description": EXPECTED_TOWARD}),
    Words(EXPECTED_TOWARD, "white", choices=("white", "black")),
]


class EdgeVignette(Operation):
    """Blends toward a colour, in linear light, by a weight that grows outward.

    The distance d is 0 at the centre. For an ellipse, which follows the frame's proportions, d is 1 at the
    frame's corner: d = √((x/a)² + (y/b)²) / √2 with a and b the frame's half width and half height, so that
    along the diagonal it is the fraction of the half-diagonal. For a rectangle d is 1 at the frame's edge.
    With t = (d − starts_at) / (reaches − starts_at) held in 0…1, the weight is strength · t²(3 − 2t): no
    corner at either end of the ramp. Up to `starts_at` the weight is 0 and pixels stay bit for bit.
    """

    name: ClassVar[str] = "edge_vignette"
    summary: ClassVar[str] = "Lifts the frame's edge to white, or lets it fall to black or into a colour."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "edge_vignette: {toward: white, strength: 0.8, starts_at: 0.55, reaches: 1.0}"
    reach: ClassVar[Reach] = Reach.PLACE

    toward: Toward = parameter("what the edge becomes", "black")
    strength: Fraction = parameter("how much of it at the outer end, 0 to 1")
    starts_at: Annotated[float, number(0, 2, example="0.55")] = parameter(
        "where it begins: 0 the centre, 1 the frame's corner (ellipse) or edge (rectangle)", 0.5
    )
    reaches: Annotated[float, number(0, 3, example="1.0")] = parameter(
        "where it is complete, in the same measure, not below starts_at", 1.0, beside_another=True
    )
    shape: Annotated[str, choice("ellipse", "rectangle")] = parameter("the outline", "ellipse")
    centre: Centre = parameter("the middle of the untouched part", "frame")

    @field_validator("reaches")
    @classmethod
    def _outward(cls, value: float, info: ValidationInfo) -> float:
        start = info.data.get("starts_at", 0)
        if value < start:
            raise ValueError(
                f"expected a number not below starts_at, which is {format_number(start, 4)}; "
                "make reaches the larger one: it grows outward"
            )
        return value

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def target(self) -> tuple[float, float, float]:
        """The colour in linear light."""
        if isinstance(self.toward, str):
            return (1.0, 1.0, 1.0) if self.toward == "white" else (0.0, 0.0, 0.0)
        red, green, blue = transfer.srgb_decode(self.toward)
        return float(red), float(green), float(blue)

    def middle(self, geometry: Geometry) -> tuple[float, float]:
        """The centre in pixels, counted from the middle of the first pixel; the frame's where no subject is named."""
        place: tuple[float, float] = (0.5, 0.5)
        if self.centre == "subject":
            place = geometry.subject or place
        elif not isinstance(self.centre, str):
            place = self.centre
        return place[0] * geometry.width - 0.5, place[1] * geometry.height - 0.5

    def _span(self) -> tuple[float, float]:
        """Start and length of the ramp; a ramp of no length is a hard edge."""
        return self.starts_at, max(self.reaches - self.starts_at, 1e-6)

    def prepare(self, geometry: Geometry) -> Kernel:
        centre_x, centre_y = self.middle(geometry)
        across = np.abs(np.arange(geometry.width) - centre_x) / (geometry.width / 2)
        down = np.abs(np.arange(geometry.height) - centre_y) / (geometry.height / 2)
        ellipse = self.shape == "ellipse"
        power = 2 if ellipse else RECTANGLE_EXPONENT
        scale = 0.5 if ellipse else 1.0
        columns = (across**power * scale).astype(np.float32)
        rows = (down**power * scale).astype(np.float32)
        start, length = self._span()
        inside = np.float32(start**power)
        arguments = (not ellipse, inside, *singles(start, 1 / length, self.strength), singles(*self.target()))
        return PlaceKernel(blend, columns, rows, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        centre_x, centre_y = self.middle(geometry)
        across = np.abs(np.arange(geometry.width) - centre_x)[None, :] / (geometry.width / 2)
        down = np.abs(np.arange(geometry.height) - centre_y)[:, None] / (geometry.height / 2)
        if self.shape == "ellipse":
            distance = np.hypot(across, down) / math.sqrt(2)
        else:
            distance = (across**RECTANGLE_EXPONENT + down**RECTANGLE_EXPONENT) ** (1 / RECTANGLE_EXPONENT)
        start, length = self._span()
        t = np.clip((distance - start) / length, 0, 1)
        weight = (self.strength * t * t * (3 - 2 * t))[..., None]
        return pixels * (1 - weight) + weight * np.array(self.target())


@compiled
def blend(
    planes: Any,
    top: Any,
    left: Any,
    columns: Any,
    rows: Any,
    rectangle: Any,
    inside: Any,
    start: Any,
    per_length: Any,
    strength: Any,
    target: Any,
) -> None:
    """columns and rows: powers of the distances, whose sum is d² (ellipse) or d⁶ (rectangle); inside: the same power
    of `start`, so that a row that lies inside as a whole is left alone."""
    red_to, green_to, blue_to = target
    width = planes.shape[2]
    across = columns[left : left + width]
    farthest = max(across[0], across[-1])
    for row in range(planes.shape[1]):
        down = rows[top + row]
        if down + farthest <= inside:
            continue
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(width):
            power = across[x] + down
            distance = np.sqrt(cube_root(power) if rectangle else power)
            t = min(max((distance - start) * per_length, ZERO), ONE)
            weight = strength * smooth_step(t)
            rest = ONE - weight
            red[x] = red[x] * rest + weight * red_to
            green[x] = green[x] * rest + weight * green_to
            blue[x] = blue[x] * rest + weight * blue_to
