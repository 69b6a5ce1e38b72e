"""Points of a frame: how they are written, and where they lie in pixels."""

from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from finishing.documents.fields import Kind, Words, numbers, parse_number
from finishing.errors import Problem
from finishing.operation import Geometry

EXPECTED_CENTRE = "subject, frame, or a point [x, y] in fractions of the frame's width and height"
#: How far outside of the frame a point may lie, in fractions of it.
LEAST, MOST = -2.0, 3.0


def parse_centre(value: object) -> Any:
    """`subject`, `frame`, or two numbers. Raises ValueError."""
    if value in ("frame", "subject"):
        return value
    try:
        if isinstance(value, list | tuple) and len(value) == 2:
            point = (parse_number(value[0]), parse_number(value[1]))
            if all(LEAST <= part <= MOST for part in point):
                return point
    except ValueError:
        pass
    raise ValueError(f"expected {EXPECTED_CENTRE}")


_POINT_SCHEMA = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
Centre = Annotated[
    str | tuple[float, float],
    BeforeValidator(parse_centre),
    WithJsonSchema({"anyOf": [{"enum": ["subject", "frame"]}, _POINT_SCHEMA], "description": EXPECTED_CENTRE}),
    Words(EXPECTED_CENTRE, "subject"),
]


def any_point(example: str) -> Kind:
    """A point of a frame or beside it. example: one to copy; two that must differ have two."""
    return numbers(2, LEAST, MOST, "a point [x, y] in fractions of the frame's width and height", example)


def in_pixels(point: tuple[float, float], geometry: Geometry) -> tuple[float, float]:
    """Pixel indices of a point in fractions: the middle of the first pixel has index 0."""
    return point[0] * geometry.width - 0.5, point[1] * geometry.height - 0.5


def centre_in_pixels(centre: str | tuple[float, float], geometry: Geometry) -> tuple[float, float]:
    """Pixel indices of a centre. Raises Problem where it is the subject and the frame names none."""
    if isinstance(centre, tuple):
        return in_pixels(centre, geometry)
    if centre == "frame":
        return in_pixels((0.5, 0.5), geometry)
    if geometry.subject is None:
        raise no_subject()
    return in_pixels(geometry.subject, geometry)


def no_subject() -> Problem:
    """The problem of a frame that does not name the subject point which a look asks for."""
    return Problem(
        "this frame has no subject point",
        expected="the point that the region lies around",
        remedy="name it in session.yaml under per_frame, FRAME: {subject: [0.5, 0.4]}, "
        "or write the point itself in place of subject",
    )


def parse_numbers(value: object, count: int) -> list[float]:
    """A list of `count` numbers. Raises ValueError."""
    if not isinstance(value, list | tuple) or len(value) != count:
        raise ValueError(f"expected {count} numbers")
    return [parse_number(item) for item in value]
