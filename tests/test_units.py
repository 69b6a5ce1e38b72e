"""What a photographer writes is read as meant; what is printed can be read again."""

import datetime
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing import units


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1/125", 0.008),
        ("1/125 s", 0.008),
        ("1 / 125", 0.008),
        ("0.4", 0.4),
        (".5", 0.5),
        ('2"', 2.0),
        ("2 s", 2.0),
        ("2″", 2.0),
        ("1/2.5", 0.4),
        ("30", 30.0),
    ],
)
def test_shutter(text: str, seconds: float) -> None:
    assert units.parse_shutter(text) == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize("text", ["12:30", "1/0", "0", "-1/125", "fast", "", None, True, "1/125/2", "nan", "1e9"])
def test_what_is_no_shutter(text: object) -> None:
    with pytest.raises(ValueError, match="expected a shutter time"):
        units.parse_shutter(text)


@pytest.mark.parametrize(("text", "number"), [("f/8", 8), ("f8", 8), ("F/5.6", 5.6), ("5.6", 5.6), ("f 11", 11)])
def test_aperture(text: str, number: float) -> None:
    assert units.parse_aperture(text) == number


@pytest.mark.parametrize("text", ["f/0", "8:1", "f/200", "wide", None, "f/-8"])
def test_what_is_no_aperture(text: object) -> None:
    with pytest.raises(ValueError, match="expected an f-number"):
        units.parse_aperture(text)


@pytest.mark.parametrize(("text", "iso"), [("100", 100), ("ISO 400", 400), ("3", 3), ("12.5", 12.5)])
def test_iso(text: str, iso: float) -> None:
    assert units.parse_iso(text) == iso


@pytest.mark.parametrize("text", ["1.600", "12.800", "1,600", "1", "2.5", "fast", None])
def test_what_is_no_iso(text: object) -> None:
    with pytest.raises(ValueError, match="expected an ISO"):
        units.parse_iso(text)


@pytest.mark.parametrize(("text", "power"), [("1/1", 1), ("1/128", 1 / 128), ("0.25", 0.25), ("1", 1)])
def test_power(text: str, power: float) -> None:
    assert units.parse_power(text) == power


@pytest.mark.parametrize("text", ["5/4", "0", "1/0", "full", None])
def test_what_is_no_power(text: object) -> None:
    with pytest.raises(ValueError, match="expected a power"):
        units.parse_power(text)


@pytest.mark.parametrize(
    ("text", "stops"),
    [("-2", -2), ("+0.7", 0.7), ("1/3", 1 / 3), ("-1 1/3", -4 / 3), ("−2", -2), ("-2 stops", -2), ("0", 0)],
)
def test_stops(text: str, stops: float) -> None:
    assert units.parse_stops(text) == pytest.approx(stops, rel=1e-12)


@pytest.mark.parametrize("text", ["two", "1/0", "--2", "", None])
def test_what_is_no_stops(text: object) -> None:
    with pytest.raises(ValueError, match="expected a number of stops"):
        units.parse_stops(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("00:01:30", 90), ("1:30:00", 5400), ("-00:00:05", -5), ("01:30", 90), ("90", 90), ("90 s", 90)],
)
def test_duration(text: str, seconds: float) -> None:
    assert units.parse_duration(text) == seconds


@pytest.mark.parametrize(("text", "seconds"), [("18:50", 67800), ("18:50:30", 67830), ("00:00", 0)])
def test_clock(text: str, seconds: float) -> None:
    assert units.parse_clock(text) == seconds


@pytest.mark.parametrize("text", ["24:00", "18.50", "1850", "7 pm", None])
def test_what_is_no_clock(text: object) -> None:
    with pytest.raises(ValueError, match="expected a time of day"):
        units.parse_clock(text)


@pytest.mark.parametrize(("text", "seconds"), [("+02:00", 7200), ("-05:30", -19800), ("Z", 0), ("+0200", 7200)])
def test_utc_offset(text: str, seconds: float) -> None:
    assert units.parse_utc_offset(text) == seconds


@pytest.mark.parametrize(("text", "ratio"), [("4:5", 0.8), ("3:2", 1.5), ("16/9", 16 / 9), ("1:1", 1), ("1.5", 1.5)])
def test_aspect(text: str, ratio: float) -> None:
    assert units.parse_aspect(text) == pytest.approx(ratio)


def test_date() -> None:
    assert units.parse_date("2026-09-19") == datetime.date(2026, 9, 19)


@pytest.mark.parametrize("text", ["2026-09-31", "19.9.2026", "20260919", None, "2026-9-1"])
def test_what_is_no_date(text: object) -> None:
    with pytest.raises(ValueError, match="expected a date"):
        units.parse_date(text)


@pytest.mark.parametrize(("text", "metres"), [("2 m", 2), ("2.5", 2.5), ("150 cm", 1.5), ("10 ft", 3.048)])
def test_distance(text: str, metres: float) -> None:
    assert units.parse_distance(text) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["0 m", "-1 m", "near", None, "2 km"])
def test_what_is_no_distance(text: object) -> None:
    with pytest.raises(ValueError, match="expected a distance"):
        units.parse_distance(text)


@given(st.integers(4, 32000))
def test_a_whole_fraction_of_a_second_prints_and_reads_back(n: int) -> None:
    assert units.parse_shutter(units.format_shutter(1 / n)) == pytest.approx(1 / n, rel=1e-9)


@given(st.floats(0.3, 3600))
def test_a_long_time_reads_back_to_the_tenth(seconds: float) -> None:
    assert units.parse_shutter(units.format_shutter(seconds)) == pytest.approx(seconds, abs=0.0501)


@given(st.floats(0.7, 128))
def test_an_f_number_reads_back_to_the_tenth(number: float) -> None:
    assert units.parse_aperture(units.format_aperture(number)) == pytest.approx(number, abs=0.0501)


@given(st.integers(0, 9))
def test_a_power_reads_back(halvings: int) -> None:
    text = units.format_power(2.0**-halvings)
    assert text == f"1/{2**halvings}"
    assert units.parse_power(text) == 2.0**-halvings


@given(st.floats(-20, 20))
def test_stops_read_back_to_the_tenth(stops: float) -> None:
    assert units.parse_stops(units.format_stops(stops)) == pytest.approx(stops, abs=0.0501)


@given(st.integers(-359999, 359999))
def test_a_time_span_reads_back(seconds: int) -> None:
    assert units.parse_duration(units.format_duration(seconds)) == seconds


@given(st.integers(0, 86399))
def test_a_time_of_day_reads_back(seconds: int) -> None:
    assert units.parse_clock(units.format_clock(seconds)) == seconds


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_a_number_has_no_needless_zeros(value: float, places: int) -> None:
    text = units.format_number(value, places)
    assert math.isclose(float(text), value, abs_tol=0.51 * 10.0**-places)
    assert text != "-0"
    assert not ("." in text and text.endswith(("0", ".")))
