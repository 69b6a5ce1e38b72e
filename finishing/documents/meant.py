"""Values written from the heart (½ a stop, 0,3, 0.8°, full): what they were meant as, in the way that they are read."""

import contextlib
import re
import unicodedata
from collections.abc import Iterator
from fractions import Fraction
from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError

from finishing import units
from finishing.documents.fields import Words
from finishing.documents.names import nearest
from finishing.exposure.series import aperture_by_stops

#: Units that people write behind numbers which have that unit anyway, by the field's own unit.
_UNITS = {
    "degrees": "degrees?|deg",
    "pixels": "pixels?|px",
    "stops": "stops?|ev|f-?stops?",
    "pixels an inch": "dpi|ppi|px/in|(?:pixels|dots) (?:per|an) inch",
    "kelvin": "kelvin|k",
    "ISO": "iso|asa",
    "seconds": "seconds?|secs?|s",
    "million pixels": "mp|mpx|megapixels?|million pixels",
    "bits": "-?bits?",
    "stars": "stars?",
    "of full power": "(?:of )?(?:full )?power",
    "metres": "m|met(?:re|er)s?",
    "f-number": "f",
}
#: Units written out, as their fields have them.
_SHORT = (
    (r"\s*\bmet(?:re|er)s?$", " m"), (r"\s*\bcentimet(?:re|er)s?$", " cm"), (r"\s*\bmillimet(?:re|er)s?$", " mm"),
    (r"\s*(?:\bfeet|\bfoot|')$", " ft"), (r"(?<=\d)\s*(?:\binches|in\.|\")$", " inch"), (r"\s*\binches$", " inch"),
    (r"\s*(?:\bmegabytes?|mb)$", " MB"), (r"\s*(?:\bkilobytes?|kb)$", " kB"),
)  # fmt: skip
#: What a percentage can be of: a whole that has no unit of its own.
_SHARES = ("", "of full power", "of the long edge", "the short side", "short sides", "of the pixels")
_DEGREES = re.compile("\\s*[°º˚]")
_DASHES = re.compile("^[\u2010-\u2015]")
_PERCENT = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(?:%|per ?cent)\s*")
#: Names of colours as CSS Color Module Level 4 has them (named colours), those of everyday language.
_COLOURS = {
    "red": "#ff0000", "orange": "#ffa500", "yellow": "#ffff00", "green": "#008000", "blue": "#0000ff",
    "purple": "#800080", "pink": "#ffc0cb", "brown": "#a52a2a", "gold": "#ffd700", "turquoise": "#40e0d0",
    "teal": "#008080", "cyan": "#00ffff", "magenta": "#ff00ff", "violet": "#ee82ee", "navy": "#000080",
    "olive": "#808000", "beige": "#f5f5dc", "ivory": "#fffff0", "grey": "#808080", "gray": "#808080",
    "silver": "#c0c0c0", "white": "#ffffff", "black": "#000000",
}  # fmt: skip


def _candidates(text: str, words: Words | None) -> Iterator[tuple[str, str]]:
    """What the slip may be, and the text without it."""
    if re.search(r"\d,\d", text):
        yield "with a decimal comma; here it is a point", re.sub(r"(?<=\d),(?=\d)", ".", text)
    if re.fullmatch(r"\d{1,3}(?:[.,'’\u2009 ]\d{3})+", text):
        yield "with a sign between the thousands, which is left out", re.sub(r"\D", "", text)
    if any(unicodedata.category(char) == "No" for char in text):
        yield from (("with a fraction sign", one) for one in _fractions(text))
    if _DEGREES.search(text):
        yield "with a degree sign, which is left out", _DEGREES.sub("", text)
    if _DASHES.match(text):
        yield "with a dash in place of a minus", _DASHES.sub("-", text)
    if re.match(r"(minus|plus)\s", text):
        yield "with its sign as a word", re.sub(r"^minus\s+", "-", re.sub(r"^plus\s+", "+", text))
    percent = _PERCENT.fullmatch(text)
    if percent:
        yield "as a percentage", _of_hundred(float(percent.group(1)), words)
    yield from _with_unit(text, words)
    if words is not None and words.unit == "stops" and re.fullmatch(r"[+-]?(\d+ )?\d+/[1-9]\d*", text):
        yield "as a fraction; here it is a decimal number", _decimal(text)
    if words is not None and words.unit == "f-number":
        yield from (("with a part of a stop behind it; here it is the f-number itself", one) for one in _closed(text))
    if re.fullmatch(r"[1-9]\d*", text):
        yield "without its 1/", f"1/{text}"
    if re.fullmatch(r"1:\d+", text):
        yield "with a colon in place of the slash", text.replace(":", "/")
    if re.search(r"\S\s*\(.*\)$", text):
        yield "with a remark, which is left out", re.sub(r"\s*\(.*\)$", "", text)
    meant = dict(words.also if words else ()).get(re.sub(r"\s*power$", "", text.lower()))
    if meant is not None:
        yield "as a word", meant
    if words is not None and words.unit == "stars" and re.fullmatch(r"[*★⭐]+[☆\ufe0f]*", text):
        yield "as stars; here it is their number", str(len(re.sub("[☆\ufe0f]", "", text)))
    if text.lower() in _COLOURS:
        yield "as a colour's name; here it is the colour's code", _COLOURS[text.lower()]
    if re.fullmatch(r"[0-9a-fA-F]{6}", text):
        yield "without its #", f"#{text}"
    yield from (("as a date of another order", one) for one in _dates(text))
    yield from (("in another way than is read here", one) for one in _times(text))


def _of_hundred(number: float, words: Words | None) -> str:
    """A percentage as its field takes it: as a share of 1, where that is what it counts."""
    share = words is None or (words.unit in _SHARES and (words.high is None or words.high < 10))
    return units.format_number(number / 100 if share else number, 4)


def _with_unit(text: str, words: Words | None) -> Iterator[tuple[str, str]]:
    unit = _UNITS.get(words.unit) if words else None
    found = re.search(rf"(?<=[\d\s.])\s*(?:{unit})$", text, re.IGNORECASE) if unit else None
    if found:
        yield "with its unit, which is left out", text[: found.start()].rstrip()
    if unit is not None and unit == _UNITS["degrees"]:
        where = re.fullmatch(r"(\d+(?:\.\d+)?)\s*°?\s*([NSEW])", text)
        if where:
            yield "with its side of the globe", ("-" if where.group(2) in "SW" else "") + where.group(1)
    for pattern, short in _SHORT:
        if re.search(pattern, text, re.IGNORECASE):
            yield "with a unit that is written otherwise here", re.sub(pattern, short, text, flags=re.IGNORECASE)


def _decimal(text: str) -> str:
    """-1 1/3 as -1.33."""
    return units.format_number(units.parse_stops(text), 2)


def _closed(text: str) -> Iterator[str]:
    """5.6 1/2, f/8 + 1/3 and f/5.6 +0.5 as the f-number that is so many stops further closed: f/6.7."""
    found = re.fullmatch(r"(?:[fF]\s*/?\s*)?(\d+(?:\.\d+)?)(?:\s*\+\s*|\s+)(\d/[2-9]|0?\.\d+)(?:\s*stops?)?", text)
    if found:
        stops = units.parse_stops(found.group(2))
        with contextlib.suppress(ValueError):
            yield units.format_aperture(aperture_by_stops(float(found.group(1)), -stops))


def _fractions(text: str) -> Iterator[str]:
    """A text with ½ and the like as decimals, and as fractions where these are no round decimals."""
    found = re.fullmatch(r"([+\u2212-]?)\s*(\d*)\s*(\D)(.*)", text)
    if not found or unicodedata.category(found.group(3)) != "No":
        return
    sign, whole, char, rest = found.groups()
    part = Fraction(unicodedata.numeric(char)).limit_denominator(10)
    number = units.format_number(float(int(whole or 0) + part), 3)
    written = f"{whole} {part}".strip()
    minus = sign.replace("\u2212", "-")
    yield from (
        f"{minus}{one}{rest}" for one in ((written, number) if part.denominator % 3 == 0 else (number, written))
    )


def _dates(text: str) -> Iterator[str]:
    """Dates that can be read in one way only: 19.9.2026, 9/19/2026, 2026/09/19."""
    found = re.fullmatch(r"(\d{1,4})[./ -](\d{1,2})[./ -](\d{1,4})", text)
    if not found:
        return
    first, second, third = (int(part) for part in found.groups())
    if len(found.group(1)) == 4:
        yield f"{first:04}-{second:02}-{third:02}"
    elif len(found.group(3)) == 4 and (first > 12 or second == first or "." in text):
        yield f"{third:04}-{second:02}-{first:02}"
    elif len(found.group(3)) == 4 and second > 12:
        yield f"{third:04}-{first:02}-{second:02}"


def _times(text: str) -> Iterator[str]:
    """18.50, 18h50, 1850 and 6:50 pm as times of day; +2 and UTC+2 as offsets."""
    day = re.fullmatch(r"(\d{1,2})(?:[.:h ]?(\d{2}))?\s*(?:(am|pm)|uhr|h)?", text.lower().replace("p.m.", "pm"))
    if day and (day.group(2) or day.group(3)):
        hours = int(day.group(1)) % 12 + 12 if day.group(3) == "pm" and int(day.group(1)) <= 12 else int(day.group(1))
        yield f"{hours:02}:{day.group(2) or '00'}"
    offset = re.fullmatch(r"(?:UTC|GMT)?\s*([+-]?)\s*(\d{1,2})(?::?([0-5]\d))?", text)
    if offset:
        yield f"{offset.group(1) or '+'}{int(offset.group(2)):02}:{offset.group(3) or '00'}"
    span = re.fullmatch(r"(?:(\d+)\s*h\w*)?\s*(?:(\d+)\s*min\w*)?\s*(?:(\d+)\s*s\w*)?", text.lower())
    if span and any(span.groups()):
        hours, minutes, seconds = (int(part or 0) for part in span.groups())
        yield f"{hours:02}:{minutes:02}:{seconds:02}"


def _joined(items: list[Any]) -> list[str] | None:
    """[0,5, 0,4] as two numbers: YAML makes four of them."""
    pairs = list(zip(items[::2], items[1::2], strict=False))
    if len(items) % 2 or not all(
        isinstance(one, str) and isinstance(other, str) and re.fullmatch(r"[+-]?\d+", one) and other.isdigit()
        for one, other in pairs
    ):
        return None
    return [f"{one}.{other}" for one, other in pairs]


def _lists(value: Any) -> Iterator[tuple[str, list[str]]]:
    """What lists of numbers are written as, and the numbers."""
    if isinstance(value, str):
        apart = [part for part in re.split(r"[,;x×\s]+", value) if part]
        if len(apart) > 1:
            yield "without brackets and commas", apart
            yield from ((f"without brackets, and {what}", found) for what, found in _lists(apart))
        return
    if not isinstance(value, list) or not all(isinstance(part, str) for part in value):
        return
    joined = _joined(value)
    if joined is not None:
        yield "with decimal commas; here they are points", joined
    if len(value) == 1 and re.search(r"\d\s*[x×]\s*\d", value[0]):
        yield "with an × in place of the comma", re.split(r"\s*[x×]\s*", value[0])
    percents = [_PERCENT.fullmatch(part) for part in value]
    if all(percents):
        numbers = [float(found.group(1)) for found in percents if found]
        yield "as percentages; here they are fractions", [units.format_number(one / 100, 4) for one in numbers]
    if all(re.fullmatch(r"\d+(\.\d+)?", part) and float(part) <= 100 for part in value):
        yield "as percentages; here they are fractions", [units.format_number(float(one) / 100, 4) for one in value]


def as_meant(value: Any, info: Any, words: Words | None) -> tuple[str, str] | None:
    """What is odd about a value, and how it is written; None where no such slip leads to a value that can be read.

    info: the model's field that it stands in.
    """
    if isinstance(value, str):
        for what, mended in _candidates(value.strip(), words):
            if reads(mended, info):
                return what, f'"{mended}"' if re.match(r"#|[+-]?\d\d:", mended) else mended
    if isinstance(value, dict) and len(value) == 1 and words is not None:
        ((key, item),) = value.items()
        known = nearest(str(key), words.choices)
        for one in [item, *(text for _, text in _candidates(str(item), Words("", "", "stars")))]:
            if known is not None and reads({known: one}, info):
                return "in another way than is read here", f"{{{known}: {one}}}"
    for what, numbers in _lists(value):
        if reads(numbers, info):
            return what, f"[{', '.join(numbers)}]"
    return None


def reads(value: Any, info: Any) -> bool:
    """Whether a model's field takes a value."""
    kind: Any = Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
    try:
        TypeAdapter(kind).validate_python(value)
    except ValidationError:
        return False
    return True
