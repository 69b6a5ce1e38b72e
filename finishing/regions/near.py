"""The surroundings of the subject."""

from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, WithJsonSchema

from finishing.documents.fields import Words, parse_number
from finishing.operation import Geometry, parameter
from finishing.regions.edges import ABOUT_SOFT, Soft
from finishing.regions.places import Centre, centre_in_pixels, parse_centre
from finishing.regions.rings import Rings, Round

EXPECTED_RADIUS = "a radius from 0 to 3 in fractions of the short side, or two of them: [across, down]"


def _parse_radius(value: object) -> float | tuple[float, ...]:
    try:
        parts = tuple(parse_number(item) for item in (value if isinstance(value, list | tuple) else [value]))
    except ValueError:
        raise ValueError(f"expected {EXPECTED_RADIUS}") from None
    if not 1 <= len(parts) <= 2 or not all(0 < part <= 3 for part in parts):
        raise ValueError(f"expected {EXPECTED_RADIUS}")
    return parts if len(parts) == 2 else parts[0]


_NUMBER = {"type": "number", "exclusiveMinimum": 0, "maximum": 3}
Radius = Annotated[
    float | tuple[float, float],
    BeforeValidator(_parse_radius),
    WithJsonSchema({"anyOf": [_NUMBER, {"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2}]}),
    Words(EXPECTED_RADIUS, "0.3", "the short side", 0, 3),
]


class Near(Round):
    """Like `ellipse`, but measured by the frame's short side, so that one radius is a circle in every format."""

    name: ClassVar[str] = "near"
    summary: ClassVar[str] = "A soft circle or ellipse around the subject, the same in upright and in wide frames."
    example: ClassVar[str] = "near: {point: subject, radius: [0.25, 0.4], soft: 0.2}"
    short: ClassVar[str] = "subject, or a point [x, y] in fractions of the frame's width and height"
    short_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [
            {"enum": ["subject", "frame"]},
            {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
        ]
    }

    point: Centre = parameter("the middle", "subject")
    radius: Radius = parameter("how far it is fully in, in fractions of the short side", 0.3)
    soft: Soft = parameter(ABOUT_SOFT, 0.2)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        return {"point": parse_centre(value)}

    @property
    def needs_subject(self) -> bool:
        return self.point == "subject"

    def rings(self, geometry: Geometry) -> Rings:
        radius = self.radius if isinstance(self.radius, tuple) else (self.radius, self.radius)
        inner = radius[0] * geometry.short_side, radius[1] * geometry.short_side
        soft = self.soft * geometry.short_side
        return Rings(centre_in_pixels(self.point, geometry), inner, (inner[0] + soft, inner[1] + soft))
