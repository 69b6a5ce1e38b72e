"""Strobe against daylight: sums, ratios, ladders, laws."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.exposure import light, possible
from finishing.exposure.light import Head
from finishing.exposure.series import (
    exact_aperture,
    exact_exposure,
    exact_shutter,
    nearest_aperture,
    nearest_iso,
    nearest_shutter,
)
from finishing.exposure.values import Exposure

LEVELS = st.floats(-12, 12)
# the whole printed series: by its numbers' exact thirds, each as it is printed
PRINTED_TIMES = st.integers(-45, 26).map(lambda k: nearest_shutter(2 ** (k / 3)))
PRINTED_NUMBERS = st.integers(-3, 38).map(lambda k: nearest_aperture(2 ** (k / 6)))
PRINTED_SPEEDS = st.integers(-6, 30).map(lambda k: nearest_iso(100 * 2 ** (k / 3)))
EXPOSURES = st.builds(Exposure, PRINTED_NUMBERS, PRINTED_TIMES, PRINTED_SPEEDS)


@pytest.mark.parametrize(("under", "over"), [(0, 1), (1, 0.585), (2, 0.322), (3, 0.170), (4, 0.0875)])
def test_ambient_under_the_strobe_adds_this_much(under: float, over: float) -> None:
    # derived here: log2(1 + 2^-under)
    assert light.together([0, -under]) == pytest.approx(over, abs=5e-4)


def test_two_heads_together() -> None:
    # derived here: exposures add, so N^2 adds
    assert light.combined_reading([8, 5.6]) == pytest.approx(9.77, abs=0.005)
    assert light.combined_reading([8, 8]) == pytest.approx(11.31, abs=0.005)


@pytest.mark.parametrize(("over", "ratio"), [(0, 2), (1, 3), (2, 5), (3, 9)])
def test_lighting_ratio_of_key_over_fill(over: int, ratio: float) -> None:
    # (key + fill) : fill; common practice, no source
    numbers = [4, 5.6, 8, 11]
    assert light.lighting_ratio([Head("key", numbers[over]), Head("fill", 4)]) == pytest.approx(ratio)


def test_guide_number_and_distance() -> None:
    # derived here: guide number = f-number x distance (ISO 1230)
    assert light.reading_from_guide_number(43, 5) == pytest.approx(8.6)
    assert light.reading_from_guide_number(43, 5, power=0.25) == pytest.approx(4.3)
    assert light.reading_from_guide_number(43, 5, iso=400) == pytest.approx(17.2)


def test_opening_the_shutter_raises_the_ambient_to_balance() -> None:
    # strobe f/11, ambient -2 at 1/200, shutter opened to 1/50: ambient 0, strobe unchanged, together +0.678 over
    # the start (derived here; "shutter sets the ambient, aperture the strobe": common practice)
    planned, opened = Exposure(11, 1 / 200, 100), Exposure(11, 1 / 50, 100)
    assert light.shutter_for_ambient(0, -2, 1 / 200) == pytest.approx(1 / 50)
    ambient = light.ambient_at(-2, planned, opened)
    strobe = light.strobe_at(light.strobe_stops(11, 11), planned, opened)
    assert ambient == pytest.approx(0, abs=1e-9)
    assert strobe == 0
    start, end = light.together([0, -2]), light.together([strobe, ambient])
    assert start is not None
    assert end is not None
    assert end - start == pytest.approx(0.678, abs=5e-4)


def test_the_ladder_of_an_evening() -> None:
    # aperture on the strobe, scene two stops under, opened stop by stop until the two blend (common practice)
    assert light.shutter_ladder(-2, 1 / 125) == {
        -2: pytest.approx(1 / 125),
        -1: pytest.approx(1 / 60),
        0: pytest.approx(1 / 30),
    }


def test_a_rung_without_a_printed_time_is_none() -> None:
    ladder = light.shutter_ladder(-9, 30)
    assert ladder[0] is None


@given(EXPOSURES, PRINTED_TIMES, LEVELS)
def test_the_shutter_moves_the_ambient_only(planned: Exposure, seconds: float, level: float) -> None:
    taken = Exposure(planned.f_number, seconds, planned.iso)
    stops = math.log2(exact_shutter(seconds) / exact_shutter(planned.seconds))
    assert light.strobe_at(level, planned, taken) == level
    assert light.ambient_at(level, planned, taken) == pytest.approx(level + stops, abs=1e-9)


@given(EXPOSURES, PRINTED_NUMBERS, PRINTED_SPEEDS, LEVELS)
def test_aperture_and_iso_move_both_alike(planned: Exposure, f_number: float, iso: float, level: float) -> None:
    taken = Exposure(f_number, planned.seconds, iso)
    moved = exact_exposure(planned).ev100 - exact_exposure(taken).ev100
    assert light.strobe_at(level, planned, taken) == pytest.approx(level + moved, abs=1e-9)
    assert light.ambient_at(level, planned, taken) == pytest.approx(level + moved, abs=1e-9)


@given(EXPOSURES, EXPOSURES, EXPOSURES, LEVELS)
def test_going_there_by_a_detour_is_the_same(a: Exposure, b: Exposure, c: Exposure, level: float) -> None:
    for move in (light.ambient_at, light.strobe_at):
        assert move(move(level, a, b), b, c) == pytest.approx(move(level, a, c), abs=1e-9)


@given(st.lists(LEVELS, min_size=1, max_size=6), LEVELS)
def test_light_adds_up(levels: list[float], more: float) -> None:
    whole = light.together(levels)
    assert whole is not None
    assert 2**whole == pytest.approx(sum(2**level for level in levels), rel=1e-9)
    assert light.together(levels[::-1]) == pytest.approx(whole, abs=1e-9)
    together = light.together([*levels, more])
    assert together == pytest.approx(light.together([whole, more]), abs=1e-9)
    assert together is not None
    assert together >= whole


def test_no_light_has_no_level() -> None:
    assert light.together([]) is None
    with pytest.raises(ValueError, match="no reading"):
        light.combined_reading([])


@given(st.lists(PRINTED_NUMBERS, min_size=1, max_size=5), PRINTED_NUMBERS)
def test_readings_and_levels_add_alike(readings: list[float], aperture: float) -> None:
    by_levels = light.together(light.strobe_stops(reading, aperture) for reading in readings)
    exact = [exact_aperture(reading) for reading in readings]
    by_readings = 2 * math.log2(light.combined_reading(exact) / exact_aperture(aperture))
    assert by_levels == pytest.approx(by_readings, abs=1e-9)


def test_which_head_is_key_and_which_is_fill() -> None:
    key, fill, rim = Head("key", 8), Head("fill", 4), Head("rim", 11)
    assert light.key_and_fill([rim, fill, key]) == ([key], [fill])
    assert light.key_and_fill([key]) is None
    assert light.key_and_fill([key, rim]) is None  # a rim fills nothing
    assert light.key_and_fill([rim, Head("hair", 8)]) is None
    left, right = Head("octagon left", 8), Head("umbrella right", 5.6)
    assert light.key_and_fill([right, left]) == ([left], [right])  # unnamed: the stronger is the key
    behind = Head("strip", 8, "behind the subject")
    assert light.key_and_fill([key, behind]) is None
    assert light.key_and_fill([key, behind, right]) == ([key], [right])
    both = [Head("key left", 8), Head("key right", 8)]
    assert light.lighting_ratio([*both, Head("fill", 8)]) == pytest.approx(3)  # two keys count together


def test_power_and_readings() -> None:
    assert light.reading_at_power(11, 0.25) == pytest.approx(11.3137 / 2, abs=1e-4)


def test_sync() -> None:
    assert light.within_sync(1 / 200, 1 / 200)
    assert light.within_sync(1 / 125, 1 / 200)
    assert not light.within_sync(1 / 250, 1 / 200)
    assert possible.stops_over_sync(1 / 125, 1 / 200) == 0
    assert possible.stops_over_sync(1 / 400, 1 / 200) == pytest.approx(1)


def test_ways_out_of_a_shutter_that_is_too_fast() -> None:
    ways = {way.kind: way for way in possible.ways_within_sync(Exposure(8, 1 / 800, 400), 1 / 200)}
    assert set(ways) == {"aperture", "filter", "iso"}
    assert ways["aperture"].exposure == Exposure(16, 1 / 200, 400)
    assert ways["filter"].filter_stops == pytest.approx(2)
    assert ways["iso"].exposure == Exposure(8, 1 / 200, 100)
    for way in ways.values():
        assert way.strobe_stops == pytest.approx(2)
        assert way.power_factor == pytest.approx(4)
        assert way.distance_factor == pytest.approx(0.5)
    assert possible.ways_within_sync(Exposure(8, 1 / 200, 400), 1 / 200) == []
    # ISO 25 is the end of the series: that way is left out
    kinds = [way.kind for way in possible.ways_within_sync(Exposure(8, 1 / 800, 25), 1 / 200)]
    assert kinds == ["aperture", "filter"]


@given(
    PRINTED_NUMBERS,
    st.sampled_from([1 / 8000, 1 / 2000, 1 / 500, 1 / 320, 1 / 250]),
    st.sampled_from([400, 1600]),
)
def test_every_way_keeps_the_ambient_and_is_within_sync(f_number: float, seconds: float, iso: float) -> None:
    planned = Exposure(f_number, seconds, iso)
    for way in possible.ways_within_sync(planned, 1 / 200):
        assert light.within_sync(way.exposure.seconds, 1 / 200)
        kept = light.ambient_at(0, planned, way.exposure) - way.filter_stops
        assert kept == pytest.approx(way.ambient_change, abs=1e-9)
        assert abs(kept) < 1 / 3
        # the strobe loses exactly what it must then give more
        lost = light.strobe_at(0, planned, way.exposure) - way.filter_stops
        assert lost == pytest.approx(-way.strobe_stops, abs=1e-9)


def test_power_that_is_not_there() -> None:
    assert possible.stops_beyond_full_power(1.0, 1.5) == pytest.approx(1.5)
    assert possible.stops_beyond_full_power(0.25, 1.5) == 0
