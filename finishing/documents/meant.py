"""Values written from the heart (½ a stop, 0,3, 0.8°): what they were meant as, in the way that they are read."""

import re
import unicodedata
from collections.abc import Iterator
from fractions import Fraction
from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError

from finishing import units
from finishing.documents.fields import Words

#: Units that people write behind numbers which have that unit anyway.
_UNITS = re.compile(r"\s*(degrees?|deg|pixels?|px|stops?|ev|dpi|ppi|kelvin|k|iso|seconds?)$", re.IGNORECASE)
_DEGREES = re.compile("\\s*[°º˚]")
_DASHES = re.compile("^[\u2010-\u2015]")


def _candidates(text: str, words: Words | None) -> Iterator[tuple[str, str]]:
    """What the slip may be, and the text without it."""
    if re.search(r"\d,\d", text):
        yield "with a decimal comma; here it is a point", re.sub(r"(?<=\d),(?=\d)", ".", text)
    if any(unicodedata.category(char) == "No" for char in text):
        yield from (("with a fraction sign", one) for one in _fractions(text))
    if _DEGREES.search(text):
        yield "with a degree sign, which is left out", _DEGREES.sub("", text)
    if _DASHES.match(text):
        yield "with a dash in place of a minus", _DASHES.sub("-", text)
    if re.fullmatch(r"\s*[+-]?\d+(\.\d+)?\s*%\s*", text):
        number = float(text.replace("%", ""))
        share = words is not None and words.high is not None and words.high <= 1
        yield "as a percentage", units.format_number(number / 100 if share else number, 4)
    if _UNITS.search(text):
        yield "with its unit, which is left out", _UNITS.sub("", text)


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


def _joined(items: list[Any]) -> list[str] | None:
    """[0,5, 0,4] as two numbers: YAML makes four of them."""
    pairs = list(zip(items[::2], items[1::2], strict=False))
    if len(items) % 2 or not all(
        isinstance(one, str) and isinstance(other, str) and re.fullmatch(r"[+-]?\d+", one) and other.isdigit()
        for one, other in pairs
    ):
        return None
    return [f"{one}.{other}" for one, other in pairs]


def as_meant(value: Any, info: Any, words: Words | None) -> tuple[str, str] | None:
    """What is odd about a value, and how it is written; None where no such slip leads to a value that can be read.

    info: the model's field that it stands in.
    """
    if isinstance(value, list):
        joined = _joined(value)
        if joined is not None and _reads(joined, info):
            return "with decimal commas; here they are points", f"[{', '.join(joined)}]"
        return None
    if not isinstance(value, str):
        return None
    return next(((what, mended) for what, mended in _candidates(value, words) if _reads(mended, info)), None)


def _reads(value: Any, info: Any) -> bool:
    kind: Any = Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
    try:
        TypeAdapter(kind).validate_python(value)
    except ValidationError:
        return False
    return True
