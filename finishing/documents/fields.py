"""The kinds of values that stand in a user's files, each with the words that describe it.

A kind stands beside a type in `Annotated`: how its text is read, what is expected, and an example to copy. The words
are used by error messages, by the reference pages and by the JSON Schema alike.
"""

import datetime
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Annotated, Any

from annotated_types import GroupedMetadata
from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from finishing import units


@dataclass(frozen=True)
class Words:
    """What a value is called when it is asked for, and one to copy. unit is empty for pure numbers and words; also:
    words that people write, each with the value that it means; each: the lowest and the highest that each number of a
    list may be."""

    expected: str
    example: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    also: tuple[tuple[str, str], ...] = ()
    each: tuple[float, float] | None = None


@dataclass(frozen=True)
class Kind(GroupedMetadata):
    """How a value of a user's file is read (`read` raises ValueError with what is expected), told, and described to an
    editor."""

    read: Callable[[object], Any]
    words: Words
    schema: Any = field(hash=False)  # a dict; types must be hashable

    def __iter__(self) -> Iterator[object]:
        yield BeforeValidator(self.read)
        yield WithJsonSchema(self.schema)


def scalar(
    parse: Callable[[object], Any],
    expected: str,
    example: str,
    *,
    unit: str = "",
    schema: Any = None,
    choices: tuple[str, ...] = (),
    also: tuple[tuple[str, str], ...] = (),
) -> Kind:
    """A value read by `parse`, which raises ValueError for what it cannot read. choices: words that it may be."""

    def read(value: object) -> object:
        try:
            return parse(value)
        except (ValueError, TypeError, OverflowError):
            raise ValueError(f"expected {expected}") from None

    json_schema = schema or {"type": ["string", "number"], "description": expected}
    return Kind(read, Words(expected, example, unit, choices=choices, also=also), json_schema)


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


def is_number(value: object) -> bool:
    """Whether `parse_number` reads it."""
    try:
        parse_number(value)
    except ValueError:
        return False
    return True


def _counting(unit: str) -> str:
    """What a number counts, behind it: of stops, in fractions of the short side."""
    if not unit:
        return ""
    whole = unit.removeprefix("of ")
    return f"in fractions of {whole} " if whole.startswith("the ") else f"of {unit} "


def number(low: float, high: float, unit: str = "", *, example: str | None = None) -> Kind:
    """A number from low to high inclusive; the unit is printed behind it ("stops", "degrees", "" for fractions)."""
    span = f"{units.format_number(low, 4)} to {units.format_number(high, 4)}"
    expected = f"a number {_counting(unit)}from {span}"

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
    return Kind(read, words, schema)


def whole_number(low: int, high: int, unit: str = "", *, example: str | None = None) -> Kind:
    """An integer from low to high inclusive."""
    expected = f"a whole number of {unit} from {low} to {high}" if unit else f"a whole number from {low} to {high}"

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
    return Kind(read, words, schema)


def choice(*names: str) -> Kind:
    """One of several words."""
    expected = "one of " + ", ".join(names)

    def read(value: object) -> str:
        if not isinstance(value, str) or value not in names:
            raise ValueError(f"expected {expected}")
        return value

    words = Words(expected, names[0], choices=names)
    return Kind(read, words, {"enum": list(names)})


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

Text = Annotated[str, scalar(_text, "a text", "a few words", schema={"type": "string"})]
Flag = Annotated[bool, scalar(_flag, "yes or no", "yes", schema={"type": "boolean"}, choices=("yes", "no"))]
Shutter = Annotated[float, scalar(units.parse_shutter, units.EXPECTED_SHUTTER, "1/125", unit="seconds")]
Aperture = Annotated[float, scalar(units.parse_aperture, units.EXPECTED_APERTURE, "f/8", unit="f-number")]
Iso = Annotated[float, scalar(units.parse_iso, units.EXPECTED_ISO, "100", unit="ISO")]
#: Common practice, no source.
_POWER_WORDS = (("full", "1/1"), ("max", "1/1"), ("maximum", "1/1"), ("half", "1/2"), ("quarter", "1/4"))
Power = Annotated[
    float, scalar(units.parse_power, units.EXPECTED_POWER, "1/4", unit="of full power", also=_POWER_WORDS)
]
Stops = Annotated[float, scalar(units.parse_stops, units.EXPECTED_STOPS, "-2", unit="stops")]
Duration = Annotated[float, scalar(units.parse_duration, units.EXPECTED_DURATION, '"00:01:30"', unit="seconds")]
Clock = Annotated[float, scalar(units.parse_clock, units.EXPECTED_CLOCK, '"18:50"', unit="seconds after midnight")]
UtcOffset = Annotated[float, scalar(units.parse_utc_offset, units.EXPECTED_OFFSET, '"+02:00"', unit="seconds")]
Date = Annotated[datetime.date, scalar(units.parse_date, units.EXPECTED_DATE, "2026-09-19")]
Distance = Annotated[float, scalar(units.parse_distance, units.EXPECTED_DISTANCE, "2 m", unit="metres")]
Aspect = Annotated[
    float, scalar(units.parse_aspect, units.EXPECTED_ASPECT, "4:5", also=(("square", "1:1"), ("quadratic", "1:1")))
]
Colour = Annotated[
    tuple[float, float, float],
    scalar(parse_colour, EXPECTED_COLOUR, '"#c8a21b"', schema={"type": "string", "pattern": "^#[0-9a-fA-F]{6}$"}),
    PlainSerializer(lambda rgb: _format_colour(rgb)),
]
Fraction = Annotated[float, number(0, 1)]


def _texts(value: object) -> tuple[str, ...]:
    listed = value if isinstance(value, list | tuple) else [value]
    if not listed:
        raise ValueError("expected at least one text")
    return tuple(_text(item) for item in listed)


def texts(expected: str, example: str) -> Kind:
    """One text or a list of them, read as a tuple; an empty list is refused."""
    one = {"type": "string"}
    schema = {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}], "description": expected}
    return scalar(_texts, expected, example, schema=schema)


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
Hue = Annotated[float, scalar(parse_hue, EXPECTED_HUE, "75", unit="degrees", schema=_HUE_SCHEMA)]
Hues = Annotated[
    tuple[float, ...],
    scalar(
        _parse_hues, EXPECTED_HUE + ", or a list of up to 8 of them", "75", unit="degrees",
        schema={"anyOf": [_HUE_SCHEMA, {"type": "array", "items": _HUE_SCHEMA, "minItems": 1, "maxItems": 8}]},
    ),
]  # fmt: skip


def numbers(count: int, low: float, high: float, expected: str, example: str) -> Kind:
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
    return Kind(read, Words(expected, example, each=(low, high)), schema)


EXPECTED_POINT = "a point [x, y] in fractions of the frame's width and height, 0 to 1"
EXPECTED_BOX = "a box [left, top, right, bottom] in fractions of the frame's width and height, 0 to 1"
Point = Annotated[tuple[float, float], numbers(2, 0, 1, EXPECTED_POINT, "[0.5, 0.4]")]
Box = Annotated[tuple[float, float, float, float], numbers(4, 0, 1, EXPECTED_BOX, "[0.4, 0.4, 0.6, 0.6]")]


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
    Kind(
        _parse_centre,
        Words(EXPECTED_CENTRE, "subject", choices=("frame", "subject"), each=(0, 1)),
        {"description": EXPECTED_CENTRE},
    ),
]
