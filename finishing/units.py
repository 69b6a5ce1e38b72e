"""The trade's quantities: how they are read from what a photographer writes, and how they are printed.

Each `parse_…` takes the text (or the number) as it stands in a file and returns a float in the
unit named in its docstring; text that is not such a quantity raises `ValueError` whose message
says what was expected. Nominal values stay as written: 1/125 is 0.008 s and f/11 is 11.0; the
exact series behind the nominal one is the business of `finishing.exposure`.
"""

import datetime
import math
import re
from fractions import Fraction

EXPECTED_SHUTTER = 'a shutter time such as 1/125, 0.4, 2" or 2 s'
EXPECTED_APERTURE = "an f-number such as f/8 or f/5.6"
EXPECTED_POWER = "a power such as 1/1, 1/4 or 1/128, or a number above 0 and up to 1"
EXPECTED_ISO = "an ISO such as 100 or ISO 400"
EXPECTED_STOPS = "a number of stops such as -2, 0 or +0.7"
EXPECTED_DURATION = "a time span such as 00:01:30 (hours:minutes:seconds)"
EXPECTED_CLOCK = "a time of day such as 18:50 or 18:50:30"
EXPECTED_OFFSET = "a UTC offset such as +02:00 or -05:30"
EXPECTED_DATE = "a date such as 2026-09-19 (year-month-day)"
EXPECTED_DISTANCE = "a distance such as 2 m, 150 cm or 6 ft"
EXPECTED_ASPECT = "an aspect ratio such as 4:5, 3:2 or 1:1"

_NUMBER = r"(\d+(?:\.\d+)?|\.\d+)"
_MINUS = str.maketrans({"−": "-", "–": "-", "″": '"', "”": '"'})


def _text(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    return str(value).translate(_MINUS).strip()


def parse_shutter(value: object) -> float:
    """A shutter time in seconds from `1/125`, `1/125 s`, `0.4`, `2"`, `2 s` or `1/2.5`.

    Raises ValueError for anything else, and for times that are not above 0 and up to 3600 s.
    """
    found = re.fullmatch(rf'(?:{_NUMBER}\s*/\s*)?{_NUMBER}\s*(?:s|sec|")?', _text(value))
    if not found:
        raise ValueError(f"expected {EXPECTED_SHUTTER}")
    over, number = found.groups()
    divisor = float(number)
    if over is not None and divisor == 0:
        raise ValueError(f"expected {EXPECTED_SHUTTER}")
    seconds = float(over) / divisor if over is not None else divisor
    if not 0 < seconds <= 3600:
        raise ValueError(f"expected {EXPECTED_SHUTTER}")
    return seconds


def parse_aperture(value: object) -> float:
    """An f-number from `f/8`, `f8`, `F8`, `f/5.6` or `8`; above 0.5 and up to 128.

    Raises ValueError for anything else.
    """
    found = re.fullmatch(rf"(?:[fF]\s*/?\s*)?{_NUMBER}", _text(value))
    number = float(found.group(1)) if found else 0.0
    if not 0.5 < number <= 128:
        raise ValueError(f"expected {EXPECTED_APERTURE}")
    return number


def parse_iso(value: object) -> float:
    """A sensitivity from `100` or `ISO 100`; at least 3, up to 10 million.

    12.800 is no sensitivity with three decimals, but one whose thousands are set apart. Raises ValueError.
    """
    found = re.fullmatch(rf"(?:ISO\s*)?{_NUMBER}(?<!\.\d\d\d)", _text(value), re.IGNORECASE)
    number = float(found.group(1)) if found else 0.0
    if not 3 <= number <= 1e7:
        raise ValueError(f"expected {EXPECTED_ISO}")
    return number


def parse_power(value: object) -> float:
    """A strobe's power as a fraction of its full power, from `1/4`, `1/1` or `0.25`. Raises ValueError."""
    found = re.fullmatch(rf"(?:{_NUMBER}\s*/\s*)?{_NUMBER}", _text(value))
    power = 0.0
    if found:
        over, number = found.groups()
        divisor = float(number)
        power = divisor if over is None else float(over) / divisor if divisor else 0.0
    if not 0 < power <= 1:
        raise ValueError(f"expected {EXPECTED_POWER}")
    return power


def parse_stops(value: object) -> float:
    """A difference in stops from `-2`, `+0.7`, `1/3`, `-1 1/3` or `-2 stops`. Raises ValueError."""
    text = re.sub(r"\s*(stops?|EV)$", "", _text(value))
    found = re.fullmatch(rf"([+-]?)\s*(?:{_NUMBER}|(?:(\d+)\s+)?(\d+)\s*/\s*(\d+))", text)
    if not found:
        raise ValueError(f"expected {EXPECTED_STOPS}")
    sign, number, whole, top, bottom = found.groups()
    if number is not None:
        stops = float(number)
    elif int(bottom) == 0:
        raise ValueError(f"expected {EXPECTED_STOPS}")
    else:
        stops = int(whole or 0) + int(top) / int(bottom)
    return -stops if sign == "-" else stops


def parse_duration(value: object) -> float:
    """A time span in seconds from `00:01:30`, `1:30:00`, `-00:00:05` or a number of seconds.

    Two parts are minutes and seconds. Raises ValueError for anything else.
    """
    text = _text(value)
    if re.fullmatch(rf"[+-]?{_NUMBER}(\s*s)?", text):
        return float(text.removesuffix("s"))
    found = re.fullmatch(r"([+-]?)(?:(\d+):)?(\d{1,2}):([0-5]?\d(?:\.\d+)?)", text)
    if not found:
        raise ValueError(f"expected {EXPECTED_DURATION}")
    sign, hours, minutes, seconds = found.groups()
    if hours is not None and int(minutes) > 59:
        raise ValueError(f"expected {EXPECTED_DURATION}")
    total = int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)
    return -total if sign == "-" else total


def parse_clock(value: object) -> float:
    """A time of day as seconds after midnight, from `18:50` or `18:50:30`. Raises ValueError."""
    found = re.fullmatch(r"(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?", _text(value))
    if not found or int(found.group(1)) > 23:
        raise ValueError(f"expected {EXPECTED_CLOCK}")
    hours, minutes, seconds = found.groups()
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds or 0)


def parse_utc_offset(value: object) -> float:
    """An offset from UTC in seconds, from `+02:00`, `-05:30` or `Z`. Raises ValueError."""
    text = _text(value)
    if text in {"Z", "UTC"}:
        return 0.0
    found = re.fullmatch(r"([+-])(\d{1,2}):?([0-5]\d)", text)
    if not found or int(found.group(2)) > 14:
        raise ValueError(f"expected {EXPECTED_OFFSET}")
    sign, hours, minutes = found.groups()
    seconds = int(hours) * 3600.0 + int(minutes) * 60
    return -seconds if sign == "-" else seconds


def parse_date(value: object) -> datetime.date:
    """A day from `2026-09-19`. Raises ValueError for anything else, and for days no calendar has."""
    text = _text(value)
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        raise ValueError(f"expected {EXPECTED_DATE}")
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"expected {EXPECTED_DATE}") from None


def parse_distance(value: object) -> float:
    """A distance in metres from `2 m`, `2.5`, `150 cm` or `6 ft`; above 0, up to 1000 m. Raises ValueError."""
    found = re.fullmatch(rf"{_NUMBER}\s*(m|cm|ft)?", _text(value))
    metres = float(found.group(1)) * {"cm": 0.01, "ft": 0.3048}.get(found.group(2), 1.0) if found else 0.0
    if not 0 < metres <= 1000:
        raise ValueError(f"expected {EXPECTED_DISTANCE}")
    return metres


def parse_aspect(value: object) -> float:
    """Width over height from `4:5`, `3:2`, `16/9` or a number. Raises ValueError."""
    found = re.fullmatch(rf"{_NUMBER}(?:\s*[:/x]\s*{_NUMBER})?", _text(value))
    width, height = (float(found.group(1)), float(found.group(2) or 1)) if found else (0.0, 0.0)
    if width <= 0 or height <= 0:
        raise ValueError(f"expected {EXPECTED_ASPECT}")
    return width / height


def format_number(value: float, places: int = 2) -> str:
    """A number without needless zeros: 0.30 is 0.3, 2.0 is 2, and minus zero is 0."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def format_shutter(seconds: float) -> str:
    """As cameras print it: 1/125 below a third of a second where the fraction is whole, else 0.4 or 2 s."""
    if seconds < 0.3:
        inverse = 1 / seconds
        nearest = round(inverse)
        return f"1/{nearest}" if math.isclose(inverse, nearest, rel_tol=0.01) else f"1/{format_number(inverse, 1)}"
    return format_number(seconds, 1) if seconds < 1 else f"{format_number(seconds, 1)} s"


def format_aperture(f_number: float) -> str:
    """f/8, f/5.6, f/9.8."""
    return f"f/{format_number(f_number, 1)}"


def format_iso(iso: float) -> str:
    """ISO 100."""
    return f"ISO {format_number(iso, 0)}"


def format_power(power: float) -> str:
    """1/1, 1/4, 1/128; a power that is no such fraction prints as a number."""
    fraction = Fraction(power).limit_denominator(512)
    if math.isclose(float(fraction), power, rel_tol=1e-6) and fraction.numerator <= 3:
        return f"{fraction.numerator}/{fraction.denominator}"
    return format_number(power)


def format_stops(stops: float, places: int = 1) -> str:
    """With its sign, since a difference in stops always has one: +0.7, −2, 0."""
    text = format_number(abs(stops), places)
    if text == "0":
        return "0"
    return ("+" if stops > 0 else "−") + text


def format_duration(seconds: float) -> str:
    """00:01:30, with a sign in front where negative."""
    whole = round(abs(seconds))
    text = f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"-{text}" if seconds < 0 and whole else text


def format_clock(seconds: float) -> str:
    """18:50, or 18:50:30 where there are seconds; wraps round midnight."""
    whole = round(seconds) % 86400
    text = f"{whole // 3600:02d}:{whole // 60 % 60:02d}"
    return text + (f":{whole % 60:02d}" if whole % 60 else "")
