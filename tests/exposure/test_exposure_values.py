"""Exposure values and the printed series. APEX: ASA PH2.5-1960 and the annex of EXIF 2.32."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.exposure import series, values
from finishing.exposure.values import Exposure

F_NUMBERS = st.floats(0.7, 90)
TIMES = st.floats(1 / 32000, 480)
SPEEDS = st.floats(25, 102400)


def test_apex_values_derived_here() -> None:
    # derived here from Av = 2 log2 N, Tv = -log2 t (APEX)
    assert values.aperture_value(2.8) == pytest.approx(2.970854, abs=1e-6)
    assert values.aperture_value(8) == 6
    assert values.aperture_value(11) == pytest.approx(6.918863, abs=1e-6)
    assert values.time_value(1 / 60) == pytest.approx(5.906891, abs=1e-6)
    assert values.time_value(1 / 125) == pytest.approx(6.965784, abs=1e-6)
    assert values.time_value(1 / 200) == pytest.approx(7.643856, abs=1e-6)


def test_values_as_real_cameras_wrote_them() -> None:
    # EXIF of real camera files: ShutterSpeedValue of 1/400, ApertureValue of f/1.8
    assert values.time_value(1 / 400) == pytest.approx(8643856 / 1000000, abs=1e-6)
    assert values.aperture_value(1.8) == pytest.approx(1695994 / 1000000, abs=1e-6)


def test_speed_value_of_iso_100_is_5() -> None:
    assert values.speed_value(100) == 5  # APEX; EXIF 2.32 annex
    assert values.speed_value(400) == 7


def test_sunny_scene() -> None:
    # f/16 at 1/125: arithmetic 14.966, nominal EV 15 (APEX; Ray, Scientific Photography)
    assert values.exposure_value(16, 1 / 125) == pytest.approx(14.966, abs=5e-4)
    assert series.exact_exposure(Exposure(16, 1 / 125, 100)).ev100 == 15


def test_luminance_of_exposure_values() -> None:
    # ISO 2720 with K = 12.5
    assert values.luminance(0) == 0.125
    assert values.luminance(15) == 4096


@given(F_NUMBERS, TIMES, SPEEDS)
def test_exposure_values_at_any_iso(f_number: float, seconds: float, iso: float) -> None:
    ev = values.exposure_value(f_number, seconds)
    at_100 = values.exposure_value_100(f_number, seconds, iso)
    assert ev == pytest.approx(at_100 + values.speed_value(iso) - values.speed_value(100), abs=1e-9)
    assert 2**ev == pytest.approx(f_number**2 / seconds, rel=1e-9)
    assert values.exposure_value_100(f_number, seconds, 100) == pytest.approx(ev, abs=1e-12)


def test_difference_is_positive_where_the_plan_lets_in_more_light() -> None:
    plan, camera = Exposure(8, 1 / 60, 100), Exposure(8, 1 / 120, 100)
    assert values.difference_in_stops(plan, camera) == pytest.approx(1)
    assert values.difference_in_stops(Exposure(8, 1 / 60, 400), Exposure(8, 1 / 60, 100)) == pytest.approx(2)
    assert values.difference_in_stops(Exposure(8, 1 / 60, 100), Exposure(4, 1 / 60, 100)) == pytest.approx(-2)


@given(F_NUMBERS, TIMES, SPEEDS, F_NUMBERS, TIMES, SPEEDS)
def test_difference_turns_its_sign_with_its_sides(
    n1: float, t1: float, s1: float, n2: float, t2: float, s2: float
) -> None:
    a, b = Exposure(n1, t1, s1), Exposure(n2, t2, s2)
    assert values.difference_in_stops(a, b) == -values.difference_in_stops(b, a)
    # an independent way: light let in is t S / N^2
    light = math.log2((t1 * s1 / n1**2) / (t2 * s2 / n2**2))
    assert values.difference_in_stops(a, b) == pytest.approx(light, abs=1e-9)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_an_exposure_of_nothing_is_refused(bad: float) -> None:
    for triple in ((bad, 0.01, 100), (8, bad, 100), (8, 0.01, bad)):
        with pytest.raises(ValueError, match="must be above 0"):
            Exposure(*triple)


@pytest.mark.parametrize(
    ("printed", "off"),
    [(11, -0.081), (22, -0.081), (13, 0.068)],
)
def test_printed_f_numbers_are_this_far_from_the_exact_ones(printed: float, off: float) -> None:
    # derived here: 2 log2(printed / 2^(k/6))
    found = 2 * math.log2(printed / series.exact_aperture(printed))
    assert found == pytest.approx(off, abs=5e-4)


@pytest.mark.parametrize("under", [15, 30, 60])
def test_printed_times_that_are_not_powers_of_two(under: int) -> None:
    # derived here: log2(16/15) = 0.0931 for all three
    assert math.log2((1 / under) / series.exact_shutter(1 / under)) == pytest.approx(0.0931, abs=1e-4)


@given(st.integers(-45, 26))
def test_every_exact_third_has_a_name_that_leads_back(k: int) -> None:
    seconds = 2 ** (k / 3)
    printed = series.nearest_shutter(seconds)
    assert series.exact_shutter(printed) == pytest.approx(seconds, rel=1e-9)
    assert abs(math.log2(printed / seconds)) <= 0.1 + 1e-9


@given(st.integers(-3, 38))
def test_every_exact_f_number_has_a_name_that_leads_back(k: int) -> None:
    f_number = 2 ** (k / 6)
    assert series.exact_aperture(series.nearest_aperture(f_number)) == pytest.approx(f_number, rel=1e-9)


@given(st.integers(-6, 30))
def test_every_exact_sensitivity_has_a_name_that_leads_back(k: int) -> None:
    iso = 100 * 2 ** (k / 3)
    assert series.exact_iso(series.nearest_iso(iso)) == pytest.approx(iso, rel=1e-9)


@given(TIMES)
def test_the_nearest_time_is_within_half_a_third(seconds: float) -> None:
    exact = series.exact_shutter(seconds)
    found = series.exact_shutter(series.nearest_shutter(seconds))
    assert abs(math.log2(found / exact)) <= 1 / 6 + 1e-9
    assert series.nearest_shutter(series.nearest_shutter(seconds)) == series.nearest_shutter(seconds)


def test_stepping_by_stops_names_what_cameras_print() -> None:
    # the customary full-stop series, as printed on shutter dials (common practice; ISO 516 lists the times)
    times = [
        1 / 1000,
        1 / 500,
        1 / 250,
        1 / 125,
        1 / 60,
        1 / 30,
        1 / 15,
        1 / 8,
        1 / 4,
        0.5,
        1,
        2,
        4,
        8,
        15,
        30,
    ]
    for fast, slow in pairwise(times):
        assert series.shutter_by_stops(fast, 1) == pytest.approx(slow)
        assert series.shutter_by_stops(slow, -1) == pytest.approx(fast)
    numbers = [1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32]
    for wide, narrow in pairwise(numbers):
        assert series.aperture_by_stops(wide, -1) == narrow
        assert series.aperture_by_stops(narrow, 1) == wide
    assert series.iso_by_stops(400, -2) == 100
    assert series.iso_by_stops(125, 1) == 250


def test_half_stops_keep_their_names() -> None:
    assert series.exact_shutter(1 / 90) == pytest.approx(2**-6.5)
    assert series.shutter_by_stops(1 / 90, 1) == pytest.approx(1 / 45)
    assert series.exact_aperture(9.5) == pytest.approx(2**3.25)
    assert series.aperture_by_stops(9.5, 1) == 6.7


def test_what_is_not_printed_stays_itself() -> None:
    assert series.exact_aperture(9.8) == 9.8  # a flash meter's reading between the thirds
    assert series.exact_shutter(1 / 137) == 1 / 137
    assert series.exact_iso(110) == 110


def test_nothing_is_clamped_into_the_series() -> None:
    for outside in (1e-6, 2000):
        with pytest.raises(ValueError, match="out of the series"):
            series.nearest_shutter(outside)
    with pytest.raises(ValueError, match="out of the series"):
        series.nearest_aperture(200)
    for nothing in (series.nearest_shutter, series.nearest_aperture, series.nearest_iso):
        with pytest.raises(ValueError, match="above 0"):
            nothing(0)
