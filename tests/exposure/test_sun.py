"""The sun's place and the light it gives, against other programs and published values."""

import math
import random
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.exposure import daylight as light
from finishing.exposure import sun

PLUS_2 = timezone(timedelta(hours=2))
ORCHARD = (47.4, 8.6)


def test_the_published_example() -> None:
    # NREL/TP-560-34302 (Reda and Andreas 2003), appendix: 39.742476 N, 105.1786 W, 12:30:30 at UTC−7: zenith 50.1116
    # (refraction at 820 hPa and 11 degrees C), azimuth 194.3402
    when = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    found = sun.sun_position(when, 39.742476, -105.1786)
    assert 90 - found.apparent_elevation == pytest.approx(50.1116, abs=0.01)
    assert found.azimuth == pytest.approx(194.3402, abs=0.01)


def test_two_hundred_places_and_times_against_another_program() -> None:
    pandas = pytest.importorskip("pandas", reason="pandas is not installed")
    pvlib = pytest.importorskip("pvlib", reason="pvlib is not installed")
    chance = random.Random(20260919)
    for _ in range(200):
        latitude, longitude = chance.uniform(-89, 89), chance.uniform(-180, 180)
        when = datetime(2000, 1, 1, tzinfo=UTC) + timedelta(days=chance.uniform(0, 50 * 365.25))
        found = sun.sun_position(when, latitude, longitude)
        other = pvlib.solarposition.get_solarposition(
            pandas.DatetimeIndex([when]), latitude, longitude, altitude=0, pressure=101000, temperature=10
        ).iloc[0]
        assert found.elevation == pytest.approx(other.elevation, abs=0.05)
        if abs(other.elevation - sun.SUNSET_ELEVATION) > 0.05:  # there refraction begins to be counted, at once
            assert found.apparent_elevation == pytest.approx(other.apparent_elevation, abs=0.05)
        turn = (found.azimuth - other.azimuth + 180) % 360 - 180
        assert abs(turn) * math.cos(math.radians(found.elevation)) < 0.05  # on the sky, also near the zenith


def test_sunset_against_another_program() -> None:
    pandas = pytest.importorskip("pandas", reason="pandas is not installed")
    pvlib = pytest.importorskip("pvlib", reason="pvlib is not installed")
    for day, latitude, longitude, hours in ((date(2026, 9, 19), *ORCHARD, 2), (date(2026, 3, 2), -33.9, 151.2, 11)):
        zone = timezone(timedelta(hours=hours))
        midnight = pandas.DatetimeIndex([datetime(day.year, day.month, day.day, tzinfo=zone)])
        other = pvlib.solarposition.sun_rise_set_transit_spa(midnight, latitude, longitude).sunset.iloc[0]
        found = sun.sunset(day, zone, latitude, longitude)
        assert found is not None
        assert abs(found.timestamp() - other.timestamp()) < 15


def test_twilight_follows_sunset_and_both_stand_at_their_elevations() -> None:
    down = sun.sunset(date(2026, 9, 19), PLUS_2, *ORCHARD)
    dark = sun.civil_twilight_end(date(2026, 9, 19), PLUS_2, *ORCHARD)
    assert down is not None
    assert dark is not None
    assert down < dark
    assert sun.sun_position(down, *ORCHARD).elevation == pytest.approx(-0.8333, abs=5e-4)
    assert sun.sun_position(dark, *ORCHARD).elevation == pytest.approx(-6, abs=5e-4)


def test_where_the_sun_never_sets_or_never_rises() -> None:
    assert sun.sunset(date(2026, 6, 21), PLUS_2, 70, 20) is None
    assert sun.sunset(date(2026, 12, 21), PLUS_2, 70, 20) is None
    assert sun.civil_twilight_end(date(2026, 12, 21), PLUS_2, 70, 20) is not None  # a twilight at noon


def test_an_instant_needs_a_zone_and_a_place_must_be_one() -> None:
    with pytest.raises(ValueError, match="zone"):
        sun.sun_position(datetime(2026, 9, 19, 12), *ORCHARD)
    with pytest.raises(ValueError, match="latitude"):
        sun.sun_position(datetime(2026, 9, 19, 12, tzinfo=UTC), 91, 0)


@given(st.floats(-89, 89), st.floats(-180, 180), st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1)))
def test_the_sun_is_somewhere_on_the_sky(latitude: float, longitude: float, when: datetime) -> None:
    found = sun.sun_position(when.replace(tzinfo=UTC), latitude, longitude)
    assert -90 <= found.elevation <= 90
    assert 0 <= found.azimuth < 360
    assert found.elevation <= found.apparent_elevation < found.elevation + 0.65  # 34' at the horizon (Meeus)
    # the same sun half a minute later has gone by an eighth of a degree at most
    later = sun.sun_position(when.replace(tzinfo=UTC) + timedelta(seconds=30), latitude, longitude)
    assert abs(later.elevation - found.elevation) < 0.126


@pytest.mark.parametrize(
    ("elevation", "lux"),
    [(90, 124_000), (60, 102_000), (30, 47_000), (10, 10_900), (0, 732), (-0.8, 453), (-5, 10.8), (-6, 3.4),
     (-12, 8.3e-3), (-18, 6.5e-4)],
)  # fmt: skip
def test_daylight_as_the_charts_of_natural_illuminance_have_it(elevation: float, lux: float) -> None:
    # D. R. E. Brown, Natural Illumination Charts (US Navy, Bureau of Ships, Report 374-1, 1952), from memory
    assert math.log2(light.daylight(elevation) / lux) == pytest.approx(0, abs=0.06)


@pytest.mark.parametrize("elevation", [90, 70, 45, 30, 20, 10, 5, 0])
def test_daylight_as_an_almanac_programme_has_it(elevation: float) -> None:
    # US Naval Observatory Circular 171 (Janiczek and DeYoung 1987), its formula for the sun by day, from memory
    up, across = math.sin(math.radians(elevation)), math.cos(math.radians(elevation))
    height = 753.66156
    slant = math.asin(height * across / (height + 1))
    mass = height * (math.cos(slant) - up) + math.cos(slant)
    direct = math.exp(-0.21 * mass) * up
    lux = 133775 * (direct + 0.0289 * math.exp(-0.042 * mass) * (1 + (elevation + 90) * up / 57.29577951))
    assert math.log2(light.daylight(elevation) / lux) == pytest.approx(0, abs=0.2)


def test_daylight_falls_without_a_step_all_the_way_down() -> None:
    levels = [math.log2(light.daylight(90 - i / 100)) for i in range(10801)]
    drops = [one - other for one, other in pairwise(levels)]
    assert min(drops) > 0
    assert max(drops) < 0.02  # less than two stops a degree anywhere, so no step of 1/50 stop in 1/100 degree
    assert light.daylight(-18.01) == 0
    assert light.daylight_stops(-30) is None
    with pytest.raises(ValueError, match="never higher"):
        light.daylight(91)


def test_the_segments_as_published_all_but_meet() -> None:
    for (start, upper), (_, lower) in pairwise(light._PUBLISHED):
        assert abs(light._cubic(upper, start) - light._cubic(lower, start)) < 0.0055  # 1.3 %
    for (_, published), (_, used) in zip(light._PUBLISHED, light._SEGMENTS, strict=True):
        assert used[1:] == published[1:]
        assert abs(used[0] - published[0]) < 0.005


def test_when_the_light_has_fallen_by_a_stop() -> None:
    start = datetime(2026, 9, 19, 19, 0, tzinfo=PLUS_2)
    end = start + timedelta(minutes=45)
    when = light.when_fallen(1, start, end, *ORCHARD)
    assert when is not None
    fallen = light.fall_in_stops(start, when, *ORCHARD)
    assert fallen == pytest.approx(1, abs=0.003)
    rate = light.fall_per_minute(start, end, *ORCHARD)
    whole = light.fall_in_stops(start, end, *ORCHARD)
    assert rate is not None
    assert whole == pytest.approx(45 * rate)
    assert light.when_fallen(20, start, end, *ORCHARD) is None
    # the rate at one instant is that of a minute around it
    assert light.fall_per_minute(start, start, *ORCHARD) == pytest.approx(0.07, abs=0.03)
    morning = start.replace(hour=8)
    assert (light.fall_per_minute(morning, morning + timedelta(minutes=5), *ORCHARD) or 0) < 0
    midnight = start.replace(hour=0)
    assert light.fall_per_minute(midnight, midnight + timedelta(minutes=5), *ORCHARD) is None
