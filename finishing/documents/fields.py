"""The kinds of values that stand in a user's files, each with the words that describe it.

A kind is an annotated type: how its text is read, what is expected, and an example to copy. The words are
used by error messages, by the reference pages and by the JSON Schema alike.
"""

import datetime
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from finishing import units


@dataclass(frozen=True)
class Words:
    """What a value is called when it is asked for, and one to copy. unit is empty for pure numbers and words."""

    expected: str
    example: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


def scalar(
    parse: Callable[[object], Any],
    result: type,
    expected: str,
    example: str,
    *,
    unit: str = "",
    schema: Any = None,
) -> Any:
    """An annotated type read by `parse`, which raises ValueError for what it cannot read."""

    def read(value: object) -> object:
        try:
            return parse(value)
        except (ValueError, TypeError, OverflowError):
            raise ValueError(f"expected {expected}") from None

    json_schema = schema or {"type": ["string", "number"], "description": expected}
    return Annotated[result, BeforeValidator(read), WithJsonSchema(json_schema), Words(expected, example, unit)]


def parse_number(value: object) -> float:
    """A finite number from its text (0.3, -2, 1e-3, 08). Raises ValueError."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError("expected a number")
    text = str(value).replace("−", "-").strip()
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text):
        raise ValueError("expected a number")
    number = float(text)
    if not math.isfinite(number):
        raise ValueError("expected a number")
    return number


def number(low: float, high: float, unit: str = "", *, example: str | None = None) -> Any:
    """A number from low to high inclusive; the unit is printed behind it ("stops", "degrees", "" for fractions)."""
    span = f"{units.format_number(low, 4)} to {units.format_number(high, 4)}"
    expected = f"a number of {unit} from {span}" if unit else f"a number from {span}"

    def read(value: object) -> float:
        try:
            result = parse_number(value)
        except ValueError:
            raise ValueError(f"expected {expected}") from None
        if not low <= result <= high:
            raise ValueError(f"expected {expected}")
        return result

    words = Words(expected, example or units.format_number((low + high) / 2, 3), unit, low, high)
    schema = {"type": "number", "minimum": low, "maximum": high}
    return Annotated[float, BeforeValidator(read), WithJsonSchema(schema), words]


def whole_number(low: int, high: int, unit: str = "", *, example: str | None = None) -> Any:
    """An integer from low to high inclusive."""
    expected = f"a whole number from {low} to {high}"

    def read(value: object) -> int:
        try:
            result = parse_number(value)
        except ValueError:
            raise ValueError(f"expected {expected}") from None
        if result != int(result) or not low <= result <= high:
            raise ValueError(f"expected {expected}")
        return int(result)

    words = Words(expected, example or str(low), unit, low, high)
    schema = {"type": "integer", "minimum": low, "maximum": high}
    return Annotated[int, BeforeValidator(read), WithJsonSchema(schema), words]


def choice(*names: str) -> Any:
    """One of several words."""
    expected = "one of " + ", ".join(names)

    def read(value: object) -> str:
        if not isinstance(value, str) or value not in names:
            raise ValueError(f"expected {expected}")
        return value

    words = Words(expected, names[0], choices=names)
    return Annotated[str, BeforeValidator(read), WithJsonSchema({"enum": list(names)}), words]


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("expected a text")
    return value


def _flag(value: object) -> bool:
    if isinstance(value, bool):
        return value
    words = {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}
    if not isinstance(value, str) or value.lower() not in words:
        raise ValueError("expected yes or no")
    return words[value.lower()]


def parse_colour(value: object) -> tuple[float, float, float]:
    """sRGB-encoded red, green, blue, 0…1, from `#c8a21b`. Raises ValueError."""
    if isinstance(value, tuple) and len(value) == 3:
        return value
    found = re.fullmatch(r"#([0-9a-fA-F]{6})", str(value).strip()) if isinstance(value, str) else None
    if not found:
        raise ValueError("expected a colour")
    digits = found.group(1)
    return tuple(int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4))  # type: ignore[return-value]


EXPECTED_COLOUR = 'a colour such as "#c8a21b" (red, green, blue as two hexadecimal digits each, in quotes)'

Text = scalar(_text, str, "a text", "a few words", schema={"type": "string"})
Flag = scalar(_flag, bool, "yes or no", "yes", schema={"type": "boolean"})
Shutter = scalar(units.parse_shutter, float, units.EXPECTED_SHUTTER, "1/125", unit="seconds")
Aperture = scalar(units.parse_aperture, float, units.EXPECTED_APERTURE, "f/8", unit="f-number")
Iso = scalar(units.parse_iso, float, units.EXPECTED_ISO, "100", unit="ISO")
Power = scalar(units.parse_power, float, units.EXPECTED_POWER, "1/4", unit="of full power")
Stops = scalar(units.parse_stops, float, units.EXPECTED_STOPS, "-2", unit="stops")
Duration = scalar(units.parse_duration, float, units.EXPECTED_DURATION, '"00:01:30"', unit="seconds")
Clock = scalar(units.parse_clock, float, units.EXPECTED_CLOCK, '"18:50"', unit="seconds after midnight")
UtcOffset = scalar(units.parse_utc_offset, float, units.EXPECTED_OFFSET, '"+02:00"', unit="seconds")
Date = scalar(units.parse_date, datetime.date, units.EXPECTED_DATE, "2026-09-19")
Distance = scalar(units.parse_distance, float, units.EXPECTED_DISTANCE, "2 m", unit="metres")
Aspect = scalar(units.parse_aspect, float, units.EXPECTED_ASPECT, "4:5")
Colour: Any = Annotated[
    scalar(
        parse_colour, tuple, EXPECTED_COLOUR, '"#c8a21b"',
        schema={"type": "string", "pattern": "^#[0-9a-fA-F]{6}$"},
    ),
    PlainSerializer(lambda rgb: _format_colour(rgb)),
]  # fmt: skip
Fraction = number(0, 1)


def _texts(value: object) -> tuple[str, ...]:
    listed = value if isinstance(value, list | tuple) else [value]
    if not listed:
        raise ValueError("expected at least one text")
    return tuple(_text(item) for item in listed)


def texts(expected: str, example: str) -> Any:
    """One text or a list of them, read as a tuple; an empty list is refused."""
    one = {"type": "string"}
    schema = {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}], "description": expected}
    return scalar(_texts, tuple[str, ...], expected, example, schema=schema)


def _format_colour(rgb: tuple[float, float, float]) -> str:
    return "#" + "".join(f"{round(value * 255):02x}" for value in rgb)


def hue_of(colour: tuple[float, float, float]) -> float:
    """OkLCh hue in degrees of an sRGB-encoded colour. Raises ValueError for greys, which have none."""
    from finishing.colour import oklab, transfer

    _, chroma, hue = oklab.oklab_to_oklch(oklab.linear_to_oklab(transfer.srgb_decode(colour)))
    if chroma < 0.002:
        raise ValueError("a grey has no hue")
    return round(float(hue), 4)


def parse_hue(value: object) -> float:
    """An OkLCh hue in degrees, 0…360, from an angle or from a colour such as `#c8a21b`. Raises ValueError."""
    if isinstance(value, str) and value.strip().startswith("#"):
        return hue_of(parse_colour(value))
    angle = parse_number(value)
    if not -360 <= angle <= 360:
        raise ValueError("expected a hue")
    return angle % 360


EXPECTED_HUE = 'a hue: an angle from 0 to 360 degrees (OkLCh), or a colour such as "#c8a21b"'


def _parse_hues(value: object) -> tuple[float, ...]:
    hues = tuple(parse_hue(item) for item in (value if isinstance(value, list | tuple) else [value]))
    if not 1 <= len(hues) <= 8:
        raise ValueError("expected a hue")
    return hues


_HUE_SCHEMA = {"type": ["number", "string"], "description": EXPECTED_HUE}
Hue = scalar(parse_hue, float, EXPECTED_HUE, "75", unit="degrees", schema=_HUE_SCHEMA)
Hues = scalar(
    _parse_hues, tuple[float, ...], EXPECTED_HUE + ", or a list of up to 8 of them", "75", unit="degrees",
    schema={"anyOf": [_HUE_SCHEMA, {"type": "array", "items": _HUE_SCHEMA, "minItems": 1, "maxItems": 8}]},
)  # fmt: skip


def numbers(count: int, low: float, high: float, expected: str, example: str) -> Any:
    """A list of exactly `count` numbers, such as a point or a box in fractions of the frame."""

    def read(value: object) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or len(value) != count:
            raise ValueError(f"expected {expected}")
        try:
            result = tuple(parse_number(item) for item in value)
        except ValueError:
            raise ValueError(f"expected {expected}") from None
        if not all(low <= item <= high for item in result):
            raise ValueError(f"expected {expected}")
        return result

    item = {"type": "number", "minimum": low, "maximum": high}
    schema = {"type": "array", "items": item, "minItems": count, "maxItems": count}
    return Annotated[
        tuple[float, ...],
        BeforeValidator(read),
        WithJsonSchema(schema),
        Words(expected, example),
    ]


Point = numbers(2, 0, 1, "a point [x, y] in fractions of the frame's width and height, 0 to 1", "[0.5, 0.4]")
Box = numbers(
    4, 0, 1, "a box [left, top, right, bottom] in fractions of the frame's width and height, 0 to 1",
    "[0.4, 0.4, 0.6, 0.6]",
)  # fmt: skip


EXPECTED_CENTRE = "frame, subject, or a point [x, y] in fractions of the frame, 0 to 1"


def _parse_centre(value: object) -> Any:
    if value in ("frame", "subject"):
        return value
    try:
        if isinstance(value, list | tuple) and len(value) == 2:
            point = (parse_number(value[0]), parse_number(value[1]))
            if all(0 <= part <= 1 for part in point):
                return point
    except ValueError:
        pass
    raise ValueError(f"expected {EXPECTED_CENTRE}")


Centre = Annotated[
    str | tuple[float, float],
    BeforeValidator(_parse_centre),
    WithJsonSchema({"description": EXPECTED_CENTRE}),
    Words(EXPECTED_CENTRE, "subject"),
]
