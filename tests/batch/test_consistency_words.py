"""The consistency of a set-up in a photographer's words."""

import numpy as np
import pytest

from finishing.batch.evening.consistency_words import consistency_line
from finishing.colour.adaptation import white_xyz
from finishing.colour.oklab import linear_to_oklab
from finishing.colour.white import chromaticity, neutralising_matrix
from finishing.evenness.consistency import SetupConsistency, State
from finishing.evenness.words import A_PER_PERCENT, B_PER_KELVIN


def setup(*pairs: tuple[State, State], name: str | None = "A") -> SetupConsistency:
    names = tuple(f"A-{number}" for number in range(len(pairs)))
    return SetupConsistency(name, names, tuple(one for one, _ in pairs), tuple(other for _, other in pairs))


def test_a_line_tells_stops_warmth_tint_and_skin() -> None:
    told = setup(
        (State(0.0, (0.0, 0.0), 50.0), State(0.0, (0.0, 0.0), 50.0)),
        (State(1.3, (0.0086, 0.0104), 54.0), State(0.08, (0.0, 0.0007), 51.2)),
    )
    assert consistency_line(told) == (
        "set-up A: 2 frames within 0.08 stop (before 1.3 stops), 1 % of green or magenta (10 %), "
        "50 K of warmth (700 K) and 1.2° of skin hue (4°)"
    )


def test_what_cannot_be_seen_is_not_told_more_closely() -> None:
    same = State(0.0, (0.0, 0.0), 50.0)
    told = setup((same, same), (State(0.3, (0.0002, 0.001), 50.1), State(0.001, (0.0, 0.00001), 50.1)))
    line = "set-up A: 2 frames within 0.05 stop (before 0.3 stop), 50 K of warmth (50 K) and 0.5° of skin hue (0.5°)"
    assert consistency_line(told) == line


def test_what_was_not_measured_is_left_out() -> None:
    told = setup((State(0.0), State(0.0)), (State(0.5), State(0.1)), (State(), State()), name=None)
    line = "all frames: 3 frames within 0.1 stop (before 0.5 stop); 1 of them not measured"
    assert consistency_line(told) == line
    nothing = consistency_line(setup((State(), State()), (State(0.1), State(0.1))))
    assert nothing is not None
    assert "too few of them" in nothing


def test_a_single_frame_has_nothing_to_be_like() -> None:
    assert consistency_line(setup((State(0.0), State(0.0)))) is None


def test_kelvin_and_percent_are_those_of_a_grey() -> None:
    """Derived here: a middle grey in a daylight of 6004 K against 6504 K, and with a per cent more green."""

    def seen(linear: np.ndarray) -> np.ndarray:
        light = float(np.dot([0.2126, 0.7152, 0.0722], linear))
        return np.asarray(linear_to_oklab(linear * 0.18 / light))

    grey = np.full(3, 0.18)
    lights = [np.linalg.inv(neutralising_matrix(white_xyz(chromaticity(kelvin)))) @ grey for kelvin in (6504, 6004)]
    assert seen(lights[1])[2] - seen(lights[0])[2] == pytest.approx(500 * B_PER_KELVIN, rel=0.02)
    assert -seen(grey * [1, 1.01, 1])[1] == pytest.approx(A_PER_PERCENT, rel=0.02)
