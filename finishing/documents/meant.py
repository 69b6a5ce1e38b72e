"""Values written from the heart (½ a stop, 0,3, 0.8°, full): what they were meant as, in the way that they are read."""

import contextlib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError

from finishing import units
from finishing.documents.fields import Words
from finishing.documents.names import nearest
from finishing.exposure.series import aperture_by_stops


@dataclass(frozen=True)
class Meant:
    """What is odd about a value, and how it is written; other: how it is written where it was meant in another way that
    is as likely, and the words for when that is so."""

    what: str
    written: str
    other: tuple[str, str] | None = None

    def remedy(self, name: str) -> str:
        """What to write behind a key; of two ways, both."""
        other = "" if self.other is None else f", or {name}: {self.other[0]} {self.other[1]}"
        return f"write {name}: {self.written}{other}"


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
#: The sides of the globe that latitudes and longitudes are on, by the highest that there is.
_SIDES: dict[float | None, str] = {90.0: "NS", 180.0: "EW"}
#: Units written out, as their fields have them.
_SHORT = (
    (r"\s*\bmet(?:re|er)s?$", " m"), (r"\s*\bcentimet(?:re|er)s?$", " cm"), (r"\s*\bmillimet(?:re|er)s?$", " mm"),
    (r"\s*(?:\bfeet|\bfoot|')$", " ft"), (r"(?<=\d)\s*(?:\binches|in\.|\")$", " inch"), (r"\s*\binches$", " inch"),
    (r"\s*(?:\bmegabytes?|mb)$", " MB"), (r"\s*(?:\bkilobytes?|kb)$", " kB"),
)  # fmt: skip
#: Units of what is counted in fractions of 1.
_FRACTIONS = ("seconds", "of full power")
#: What a percentage can be of: a whole that has no unit of its own.
_SHARES = ("", "of full power", "of the long edge", "the short side", "short sides", "of the pixels")
#: Units whose numbers go into the thousands: 1,600 and 1.600 are 1600 there.
_IN_THOUSANDS = ("ISO", "kelvin", "pixels")
#: A number whose digits stand in groups of three, with what stands around it.
_GROUPED = re.compile("((?:.*[^\\d.,])?)([1-9]\\d{0,2}(?:[.,'’\u2009 ]\\d{3})+)(\\D*)")
_DEGREES = re.compile("\\s*[°º˚]")
_DASHES = re.compile("^[\u2010-\u2015]")
#: Without a sign: +20 % is a change, and 1.2 to what is multiplied by it.
_PERCENT = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:%|per ?cent)\s*")
#: Names of colours as CSS Color Module Level 4 has them (named colours), those of everyday language.
_COLOURS = {
    "red": "#ff0000", "orange": "#ffa500", "yellow": "#ffff00", "green": "#008000", "blue": "#0000ff",
    "purple": "#800080", "pink": "#ffc0cb", "brown": "#a52a2a", "gold": "#ffd700", "turquoise": "#40e0d0",
    "teal": "#008080", "cyan": "#00ffff", "magenta": "#ff00ff", "violet": "#ee82ee", "navy": "#000080",
    "olive": "#808000", "beige": "#f5f5dc", "ivory": "#fffff0", "grey": "#808080", "gray": "#808080",
    "silver": "#c0c0c0", "white": "#ffffff", "black": "#000000",
}  # fmt: skip


def _grouped(text: str, words: Words | None) -> Iterator[Meant]:
    """Numbers with a comma or with digits in groups of three. 1,250 is both a decimal comma and a thousand: the unit
    tells which, or what stands around it (1/1,250)."""
    point = re.sub(r"(?<=\d),(?=\d)", ".", text)
    found = _GROUPED.fullmatch(text)
    if found:
        before, number, behind = found.groups()
        whole = Meant(
            "with a sign between the thousands, which is left out", before + re.sub(r"\D", "", number) + behind
        )
        if (words is not None and words.unit in _IN_THOUSANDS) or re.search(r"\d\s*/\s*$", before):
            yield whole
        elif "," in number:
            yield Meant("with a comma", point, (whole.written, "where the comma parts the thousands"))
    if point != text:
        yield Meant("with a decimal comma; here it is a point", point)
    if found:
        yield whole


def _without_one(text: str, words: Words | None) -> Iterator[Meant]:
    """200 as 1/200 where times and powers are counted; a power that strobes do not have, and that is no more than 100,
    may be a percentage as well."""
    if words is None or words.unit not in _FRACTIONS or not re.fullmatch(r"[1-9]\d*", text):
        return
    number = int(text)
    if words.unit in _SHARES and number <= 100 and number & (number - 1):
        other = units.format_number(number / 100), "where that is a percentage"
        yield Meant("neither as a fraction nor as a percentage", f"1/{text}", other)
    yield Meant("without its 1/", f"1/{text}")


def _candidates(text: str, words: Words | None) -> Iterator[Meant]:
    """What the slip may be, and the text without it."""
    yield from _grouped(text, words)
    yield from _without_one(text, words)
    yield from (Meant(what, mended) for what, mended in _others(text, words))
    for _, bare in _with_unit(text, words):  # a slip of the number, with its unit behind it
        yield from (Meant(what, mended) for what, mended in _others(bare, words))


def _others(text: str, words: Words | None) -> Iterator[tuple[str, str]]:
    """The slips that can be read in one way only."""
    if any(unicodedata.category(char) == "No" for char in text):
        yield from (("with a fraction sign", one) for one in _fractions(text))
    if _DEGREES.search(text):
        yield "with a degree sign, which is left out", _DEGREES.sub("", text)
    if _DASHES.match(text):
        yield "with a dash in place of a minus", _DASHES.sub("-", text)
    if re.match(r"(minus|plus)\s", text):
        yield "with its sign as a word", re.sub(r"^minus\s+", "-", re.sub(r"^plus\s+", "+", text))
    percent = _PERCENT.fullmatch(text)
    share = of_hundred(float(percent.group(1)), words) if percent else None
    if share is not None:
        yield "as a percentage", share
    yield from _with_unit(text, words)
    if words is not None and words.unit == "stops" and re.fullmatch(r"[+-]?(\d+ )?\d+/[1-9]\d*", text):
        yield "as a fraction; here it is a decimal number", _decimal(text)
    if words is not None and words.unit == "f-number":
        yield from (("with a part of a stop behind it; here it is the f-number itself", one) for one in _closed(text))
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


def of_hundred(number: float, words: Words | None) -> str | None:
    """A percentage as its field takes it: as a share of 1, where that is what it counts; None where it counts something
    else (stops, pixels)."""
    if words is not None and (words.unit not in _SHARES or (not words.unit and words.high is None)):
        return None
    share = words is None or words.high is None or words.high < 10
    return units.format_number(number / 100 if share else number, 4)


def _with_unit(text: str, words: Words | None) -> Iterator[tuple[str, str]]:
    unit = _UNITS.get(words.unit) if words else None
    found = re.search(rf"(?<=[\d\s.])\s*(?:{unit})$", text, re.IGNORECASE) if unit else None
    if found:
        yield "with its unit, which is left out", text[: found.start()].rstrip()
    sides = _SIDES.get(words.high) if words is not None and words.unit == "degrees" else None
    if sides is not None:
        where = re.fullmatch(rf"(\d+(?:\.\d+)?)\s*°?\s*([{sides}])", text)
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
    day = re.fullmatch(r"(\d{1,2})(?:[.:h ]?(\d{2}))?\s*(?:([ap])\.?\s?m\.?|uhr|h)?", text.lower())
    if day and (day.group(2) or day.group(3)):
        hours, half = int(day.group(1)), day.group(3)
        if half is not None and hours <= 12:  # 12 am is midnight, 12 pm is noon
            hours = hours % 12 + (12 if half == "p" else 0)
        if half != "a" or hours < 12:
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


def lists_meant(value: Any) -> Iterator[tuple[str, list[str]]]:
    """What lists of numbers are written as, and the numbers."""
    if isinstance(value, str):
        apart = [part for part in re.split(r"[,;x×\s]+", value) if part]
        if len(apart) > 1:
            yield "without brackets and commas", apart
            yield from ((f"without brackets, and {what}", found) for what, found in lists_meant(apart))
        return
    if not isinstance(value, list) or not all(isinstance(part, str) for part in value):
        return
    joined = _joined(value)
    if joined is not None:
        yield "with decimal commas; here they are points", joined
    if len(value) == 1 and re.search(r"\d\s*[x×]\s*\d", value[0]):
        yield "with an × in place of the comma", re.split(r"\s*[x×]\s*", value[0])
    parts = [part.strip() for one in value for part in one.split(";")]
    if len(parts) > len(value) and all(parts):
        yield "with a semicolon in place of the comma", parts
    percents = [_PERCENT.fullmatch(part) for part in value]
    if all(percents):
        numbers = [float(found.group(1)) for found in percents if found]
        yield "as percentages; here they are fractions", [units.format_number(one / 100, 4) for one in numbers]
    if all(re.fullmatch(r"\d+(\.\d+)?", part) and float(part) <= 100 for part in value):
        parts = [float(part) for part in value]
        # beside a fraction, or where none is large, a number above 1 is rather a slip
        if parts and max(parts) > 2 and not any(0 < part < 1 for part in parts):
            yield "as percentages; here they are fractions", [units.format_number(one / 100, 4) for one in parts]


#: From here on a number of a list in fractions of the frame is one of pixels.
_LEAST_PIXELS = 100


def in_pixels(value: Any) -> str | None:
    """The remedy for a list in fractions of the frame's sides that is written in pixels; None where it is not."""
    texts = value if isinstance(value, list) else []
    if not texts or not all(isinstance(one, str) and re.fullmatch(r"-?\d+(\.\d+)?", one) for one in texts):
        return None
    largest = max(texts, key=float)
    if float(largest) <= _LEAST_PIXELS:
        return None
    return f"{largest} looks like pixels: divide each number by the side of the frame that it is a fraction of"


def as_meant(value: Any, info: Any, words: Words | None) -> Meant | None:
    """How a value is meant; None where no such slip leads to a value that can be read.

    info: the model's field that it stands in.
    """
    if isinstance(value, str):
        for one in _candidates(value.strip(), words):
            if reads(one.written, info) and (one.other is None or reads(one.other[0], info)):
                return replace(one, written=_as_text(one.written))
    if isinstance(value, dict) and len(value) == 1 and words is not None:
        ((key, item),) = value.items()
        known = nearest(str(key), words.choices)
        for text in [item, *(one.written for one in _candidates(str(item), Words("", "", "stars")))]:
            if known is not None and reads({known: text}, info):
                return Meant("in another way than is read here", f"{{{known}: {text}}}")
    for what, numbers in lists_meant(value):
        if reads(numbers, info):
            return Meant(what, f"[{', '.join(numbers)}]")
    return None


def _as_text(written: str) -> str:
    """A value in quotes where YAML would take it for something else without them."""
    return f'"{written}"' if re.match(r"#|[+-]?\d\d:", written) else written


def reads(value: Any, info: Any) -> bool:
    """Whether a model's field takes a value."""
    kind: Any = Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
    try:
        TypeAdapter(kind).validate_python(value)
    except ValidationError:
        return False
    return True
