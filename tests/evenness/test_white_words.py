"""A white balance told in kelvin, green and magenta, and channel gains."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour.adaptation import white_xyz
from finishing.colour.white import chromaticity, nearest_light, neutralising_matrix
from finishing.evenness.correction import correction_of
from finishing.evenness.white_words import matrix_words, white_words


def neutral(kelvin: float, duv: float = 0.0) -> np.ndarray:
    return neutralising_matrix(white_xyz(chromaticity(kelvin, duv)))


@pytest.mark.parametrize(
    ("kelvin", "words"),
    [
        (7200, "about 700 K warmer"),
        (3200, "about 3300 K cooler"),
        (5600, "about 900 K cooler"),
        (10000, "about 3500 K"),
    ],
)
def test_kelvin_are_those_of_the_light_that_becomes_neutral(kelvin: float, words: str) -> None:
    """Against neutral daylight of 6504 K, rounded to 50."""
    told = matrix_words(neutral(kelvin))
    assert told.startswith(words)
    assert "magenta" not in told
    assert "greener" not in told


def test_a_green_light_is_made_more_magenta() -> None:
    assert re.match(r"about 1[3-7][05]0 K cooler, \d+ % more magenta \(", matrix_words(neutral(5000, 0.01)))
    assert re.match(r"about 1[3-7][05]0 K cooler, \d+ % greener \(", matrix_words(neutral(5000, -0.01)))


@pytest.mark.parametrize(("percent", "words"), [(10, "10 % more magenta"), (-10, "10 % greener")])
def test_green_is_told_in_percent_of_the_green_channel(percent: float, words: str) -> None:
    """A grey with a tenth more light in its green channel, which is taken out again."""
    told = matrix_words(np.diag([1, 1 / (1 + percent / 100), 1]))
    found = int(re.findall(r"(\d+) %", told)[0])
    assert abs(found - 10) <= 2
    assert words.split(" % ")[1] in told


def test_gains_are_stops_against_green() -> None:
    told = matrix_words(np.diag([2 * 1.1, 1.1, 1.1 / np.sqrt(2)]))
    assert told.endswith("a grey: red +1, blue −0.5 stops against green)")


def test_a_record_keeps_how_it_was_found() -> None:
    for how in ("grey card in A-0001", "to its set-up's key frame, measured, then light of 5600 K", "chart in A: 7"):
        written = correction_of(0, neutral(7200), how).white_text
        assert written is not None
        found = white_words(written)
        assert found is not None
        assert found[0] == how
        assert found[1].startswith("about 700 K warmer")
        assert len(re.findall(r"\d+\.\d{3,}", found[1])) == 0
    alone = correction_of(0, neutral(7200)).white_text
    assert alone is not None
    assert white_words(alone) == ("", matrix_words(neutral(7200)))


@pytest.mark.parametrize("written", ["", "white", "1 2 3; 4 5 6", "a: 1 0 0; 0 1 0; 0 0 x"])
def test_what_somebody_else_wrote_is_not_read(written: str) -> None:
    assert white_words(written) is None


@given(st.lists(st.floats(-1e9, 1e9), min_size=9, max_size=9))
def test_any_matrix_has_words(parts: list[float]) -> None:
    assert matrix_words(np.array(parts).reshape(3, 3))


@given(st.lists(st.floats(-1.5, 1.5), min_size=9, max_size=9))
def test_any_usual_matrix_has_words(parts: list[float]) -> None:
    assert matrix_words(np.array(parts).reshape(3, 3))


@pytest.mark.parametrize("kelvin", [1500, 2000, 3200, 4500, 6504, 9000, 20000])
def test_the_nearest_light_to_a_light_is_itself(kelvin: float) -> None:
    from finishing.colour.spaces import SRGB
    from finishing.colour.white import blackbody_uv

    u, v = blackbody_uv(kelvin)
    place = (3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)) if kelvin < 2000 else chromaticity(kelvin)
    found, away = nearest_light(np.linalg.solve(SRGB.to_xyz, white_xyz(place)))
    assert found == pytest.approx(kelvin, rel=0.002)
    assert away < 2e-4
