"""A round gradient: full in the middle, fading outward."""

from typing import Annotated, Any, ClassVar

from pydantic import ValidationInfo, field_validator

from finishing.documents.fields import number
from finishing.operation import Geometry, parameter
from finishing.regions.places import Centre, centre_in_pixels, parse_numbers
from finishing.regions.rings import Rings, Round


class Radial(Round):
    """A circle around its centre. `not` turns it round: nothing in the middle, full at the edge."""

    name: ClassVar[str] = "radial"
    summary: ClassVar[str] = "A round gradient that fades from its centre outward."
    example: ClassVar[str] = "radial: {centre: subject, full_to: 0.1, gone_at: 0.7}"
    short: ClassVar[str] = (
        "[centre across, centre down, full to, gone at]: the centre in fractions of width and height, "
        "the two radii in fractions of the short side"
    )
    short_schema: ClassVar[dict[str, Any]] = {
        "type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 4
    }  # fmt: skip

    centre: Centre = parameter("the middle", "frame")
    full_to: Annotated[float, number(0, 3, "the short side", example="0.1")] = parameter(
        "radius up to which it is fully in"
    )
    gone_at: Annotated[float, number(0, 5, "the short side", example="0.7")] = parameter(
        "radius at which it has faded out"
    )

    @field_validator("gone_at")
    @classmethod
    def _outside(cls, value: float, info: ValidationInfo) -> float:
        if value <= info.data.get("full_to", -1):
            raise ValueError("expected a radius larger than full_to; make gone_at the larger one, or use not")
        return value

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        across, down, full_to, gone_at = parse_numbers(value, 4)
        return {"centre": [across, down], "full_to": full_to, "gone_at": gone_at}

    @property
    def needs_subject(self) -> bool:
        return self.centre == "subject"

    def rings(self, geometry: Geometry) -> Rings:
        inner, outer = self.full_to * geometry.short_side, self.gone_at * geometry.short_side
        return Rings(centre_in_pixels(self.centre, geometry), (inner, inner), (outer, outer))
