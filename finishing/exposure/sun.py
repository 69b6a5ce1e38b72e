"""Where the sun stands: elevation and azimuth for a place and an instant, sunset, the end of civil twilight.

The formulas are those of low accuracy in J. Meeus, "Astronomical Algorithms" (2nd edition, 1998): the sun's
coordinates of chapter 25 (0.01 degrees), sidereal time of chapter 12, nutation of chapter 22 cut to its largest
terms, horizontal coordinates of chapter 13, with the parallax of chapter 40. Refraction is Saemundsson's, as in
chapter 16 and in NREL/TP-560-34302 (Reda and Andreas, 2003), for 1010 hPa and 10 degrees C.

Angles are in degrees. Latitude counts north, longitude east. Instants are datetimes with a zone.
"""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

#: The sun's centre at sunset, without refraction: 34' of refraction and 16' of radius (Meeus, chapter 15).
SUNSET_ELEVATION = -0.8333
#: The sun's centre at the end of civil twilight (Meeus, chapter 15).
CIVIL_ELEVATION = -6.0

_EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)  # J2000.0, to the minute that matters here
#: Terrestrial less universal time in the years around 2020, in seconds; 10 s more move the sun by 0.0001 degrees.
_DELTA_T = 69.0
_PARALLAX = 8.794 / 3600  # of the sun at the horizon
#: Where refraction is counted: as long as the sun's upper edge may be seen.
_REFRACTED_FROM = SUNSET_ELEVATION


@dataclass(frozen=True)
class SunPosition:
    """elevation: of the sun's centre over the level horizon, without refraction; apparent_elevation: as it is
    seen through the air; azimuth: 0 to 360, clockwise from true north."""

    elevation: float
    azimuth: float
    apparent_elevation: float


def sun_position(when: datetime, latitude: float, longitude: float) -> SunPosition:
    """The sun at an instant. Raises ValueError for an instant without a zone and for places that are none."""
    if when.utcoffset() is None:
        raise ValueError("an instant needs a zone")
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError("expected a latitude from -90 to 90 and a longitude from -180 to 180 degrees")
    hour_angle, declination = _hour_angle(when, longitude)
    hour, north, tilt = (math.radians(angle) for angle in (hour_angle, latitude, declination))
    up = math.sin(north) * math.sin(tilt) + math.cos(north) * math.cos(tilt) * math.cos(hour)
    east = -math.cos(tilt) * math.sin(hour)
    ahead = math.cos(north) * math.sin(tilt) - math.sin(north) * math.cos(tilt) * math.cos(hour)
    elevation = math.degrees(math.atan2(up, math.hypot(east, ahead)))
    elevation -= _PARALLAX * math.cos(math.radians(elevation))
    azimuth = math.degrees(math.atan2(east, ahead)) % 360
    return SunPosition(elevation, azimuth, elevation + refraction(elevation))


def refraction(elevation: float) -> float:
    """How much higher the sun is seen than it stands, in degrees; 0 once it is wholly below the horizon."""
    if elevation < _REFRACTED_FROM:
        return 0.0
    return 1.02 / (60 * math.tan(math.radians(elevation + 10.3 / (elevation + 5.11))))


def _hour_angle(when: datetime, longitude: float) -> tuple[float, float]:
    """The sun's local hour angle, -180 to 180 (positive after noon), and its apparent declination."""
    days = (when - _EPOCH).total_seconds() / 86400
    centuries = (days + _DELTA_T / 86400) / 36525
    mean = 280.46646 + centuries * (36000.76983 + centuries * 0.0003032)
    anomaly = math.radians(357.52911 + centuries * (35999.05029 - centuries * 0.0001537))
    centre = (
        (1.914602 - centuries * (0.004817 + centuries * 0.000014)) * math.sin(anomaly)
        + (0.019993 - centuries * 0.000101) * math.sin(2 * anomaly)
        + 0.000289 * math.sin(3 * anomaly)
    )
    node = math.radians(125.04452 - centuries * 1934.136261)
    sun, moon = math.radians(2 * mean), math.radians(2 * (218.3165 + centuries * 481267.8813))
    nutation = (
        -17.20 * math.sin(node) - 1.32 * math.sin(sun) - 0.23 * math.sin(moon) + 0.21 * math.sin(2 * node)
    ) / 3600
    aberration = -20.4898 / 3600
    along = math.radians(mean + centre + nutation + aberration)
    obliquity = 23.4392911 - centuries * 0.0130042 + (9.20 * math.cos(node) + 0.57 * math.cos(sun)) / 3600
    tilt = math.radians(obliquity)
    ascension = math.degrees(math.atan2(math.cos(tilt) * math.sin(along), math.cos(along)))
    declination = math.degrees(math.asin(math.sin(tilt) * math.sin(along)))
    sidereal = 280.46061837 + 360.98564736629 * days + nutation * math.cos(tilt)
    return (sidereal + longitude - ascension + 180) % 360 - 180, declination


def sunset(day: date, zone: tzinfo, latitude: float, longitude: float) -> datetime | None:
    """When the sun's upper edge sinks below the level horizon on a day of that zone; None where it does not."""
    return descends_to(SUNSET_ELEVATION, day, zone, latitude, longitude)


def civil_twilight_end(day: date, zone: tzinfo, latitude: float, longitude: float) -> datetime | None:
    """When the sun is 6 degrees under the horizon after that day's noon; None where it is not, or never over it."""
    return descends_to(CIVIL_ELEVATION, day, zone, latitude, longitude)


def descends_to(elevation: float, day: date, zone: tzinfo, latitude: float, longitude: float) -> datetime | None:
    """When the sun comes down to an elevation (without refraction), between its highest and its lowest point.

    The highest point is the one nearest to noon of the zone's clock; to a tenth of a second. None where the sun
    stays above or below all the time.
    """
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone)
    above = noon - timedelta(hours=_hour_angle(noon, longitude)[0] / 15)
    below = above + timedelta(hours=12)

    def over(when: datetime) -> bool:
        return sun_position(when, latitude, longitude).elevation > elevation

    if not over(above) or over(below):
        return None
    while below - above > timedelta(seconds=0.1):
        middle = above + (below - above) / 2
        above, below = (middle, below) if over(middle) else (above, middle)
    return below
