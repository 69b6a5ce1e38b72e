"""An ellipse that follows the frame's proportions."""

from typing import Annotated, Any, ClassVar

from finishing.documents.fields import numbers
from finishing.operation import Geometry, parameter
from finishing.regions.edges import ABOUT_SOFT, Soft
from finishing.regions.places import Centre, centre_in_pixels, parse_centre, parse_numbers
from finishing.regions.rings import Rings, Round

Radii = Annotated[
    tuple[float, ...],
    numbers(2, 0.001, 3, "two radii [across, down] in fractions of the frame's width and height", "[0.2, 0.3]"),
]


class Ellipse(Round):
    """Fully in inside the ellipse; the soft edge lies outside of it and is as wide across as down."""

    name: ClassVar[str] = "ellipse"
    summary: ClassVar[str] = "An ellipse around the subject or any point."
    example: ClassVar[str] = "ellipse: {centre: [0.5, 0.4], radii: [0.2, 0.3], soft: 0.2}"
    short: ClassVar[str] = (
        "subject, or [centre across, centre down, radius across, radius down] in fractions of width and height"
    )
    short_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [
            {"enum": ["subject", "frame"]},
            {"type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 4},
        ]
    }

    centre: Centre = parameter("the middle", "subject")
    radii: Radii = parameter("half its width and half its height, in fractions of the frame's", (0.2, 0.3))
    soft: Soft = parameter(ABOUT_SOFT, 0.2)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        if isinstance(value, str):
            return {"centre": parse_centre(value)}
        across, down, *radii = parse_numbers(value, 4)
        return {"centre": [across, down], "radii": radii}

    @property
    def needs_subject(self) -> bool:
        return self.centre == "subject"

    def rings(self, geometry: Geometry) -> Rings:
        inner = self.radii[0] * geometry.width, self.radii[1] * geometry.height
        soft = self.soft * geometry.short_side
        return Rings(centre_in_pixels(self.centre, geometry), inner, (inner[0] + soft, inner[1] + soft))
