"""How much light a clear sky and the sun give on level ground, by the sun's elevation, and how fast it falls.

The law is P. K. Seidelmann's, "Explanatory Supplement to the Astronomical Almanac" (1992), chapter 9, table of
illuminance by solar altitude: log10 of the lux is a cubic in the altitude over 90 degrees, segment by segment. The
coefficients were written down from memory and checked against each other: neighbouring segments, fitted apart,
meet within 1.2 % at every join, and the whole gives 129 klx in the zenith, 760 lx on the horizon and 3.4 lx at
6 degrees under it, the values that tables of natural illuminance agree on. Here the segments are moved (by 0.005 in
the logarithm at most), starting from the horizon, until they meet: the fall of the light has no steps.

Clouds take one to three stops from all of it and change the rate little; a mountain in the west changes both.
"""

import math
from datetime import datetime, timedelta

from finishing.exposure.sun import sun_position

#: From (degrees), and the coefficients of log10(lux) in x = altitude / 90, highest segment first.
_PUBLISHED = (
    (20.0, (3.74, 3.97, -4.07, 1.47)),
    (5.0, (3.05, 13.28, -45.98, 64.33)),
    (-0.8, (2.88, 22.26, -207.64, 1034.30)),
    (-5.0, (2.88, 21.81, -258.11, -858.36)),
    (-12.0, (2.70, 12.17, -431.69, -1899.83)),
    (-18.0, (13.84, 262.72, 1447.42, 2797.93)),
)
_HORIZON = 2  # the segment that stays as it is published


def _cubic(coefficients: tuple[float, ...], altitude: float) -> float:
    x = altitude / 90
    return coefficients[0] + x * (coefficients[1] + x * (coefficients[2] + x * coefficients[3]))


def _joined() -> list[tuple[float, tuple[float, ...]]]:
    """The segments moved so that they meet."""
    segments = [list(coefficients) for _, coefficients in _PUBLISHED]
    starts = [start for start, _ in _PUBLISHED]
    for i in range(_HORIZON - 1, -1, -1):
        segments[i][0] += _cubic(tuple(segments[i + 1]), starts[i]) - _cubic(tuple(segments[i]), starts[i])
    for i in range(_HORIZON + 1, len(segments)):
        segments[i][0] += _cubic(tuple(segments[i - 1]), starts[i - 1]) - _cubic(tuple(segments[i]), starts[i - 1])
    return [(start, tuple(segment)) for start, segment in zip(starts, segments, strict=True)]


_SEGMENTS = _joined()


def daylight(elevation: float) -> float:
    """Illuminance in lux on level ground under a clear sky; 0 at night (the sun 18 degrees under and lower).

    elevation: of the sun's centre in degrees, without refraction, up to 90. Raises ValueError above.
    """
    if elevation > 90:
        raise ValueError("the sun is never higher than 90 degrees")
    for start, coefficients in _SEGMENTS:
        if elevation >= start:
            return 10.0 ** _cubic(coefficients, elevation)
    return 0.0


def daylight_stops(elevation: float) -> float | None:
    """The same as log2 of the lux, so that differences are stops; None at night."""
    lux = daylight(elevation)
    return math.log2(lux) if lux > 0 else None


def fall_in_stops(start: datetime, end: datetime, latitude: float, longitude: float) -> float | None:
    """By how many stops daylight falls from one instant to another; negative where it rises, None at night."""
    first, last = (daylight_stops(sun_position(when, latitude, longitude).elevation) for when in (start, end))
    return None if first is None or last is None else first - last


def fall_per_minute(start: datetime, end: datetime, latitude: float, longitude: float) -> float | None:
    """The mean fall from start to end in stops a minute (over a minute around a single instant); None at night."""
    if end - start < timedelta(minutes=1):
        middle = start + (end - start) / 2
        start, end = middle - timedelta(seconds=30), middle + timedelta(seconds=30)
    fall = fall_in_stops(start, end, latitude, longitude)
    return None if fall is None else fall / ((end - start).total_seconds() / 60)


def when_fallen(stops: float, start: datetime, end: datetime, latitude: float, longitude: float) -> datetime | None:
    """The first instant by which daylight has fallen by so many stops since start, to a second; None if not by end.

    stops: above 0. The light must fall all the time from start to end, as it does in the afternoon.
    """
    total = fall_in_stops(start, end, latitude, longitude)
    if total is None or total < stops:
        return None
    early, late = start, end
    while late - early > timedelta(seconds=1):
        middle = early + (late - early) / 2
        fallen = fall_in_stops(start, middle, latitude, longitude)
        early, late = (middle, late) if fallen is not None and fallen < stops else (early, middle)
    return late
