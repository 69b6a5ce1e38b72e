"""Sequences: constants stay, flicker goes, jumps and true outliers stand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.evenness.smoothing import course, neighbours_of, smoothed, weighted_median

stops = st.floats(-3, 3)


@given(stops, st.integers(1, 12), st.floats(0.02, 1))
def test_a_constant_is_the_constant(value: float, count: int, doubt: float) -> None:
    assert smoothed([value] * count, [doubt] * count) == [value] * count


@given(st.lists(st.one_of(st.none(), stops), min_size=1, max_size=15), st.floats(0.02, 0.5))
def test_no_frame_is_moved_beyond_its_neighbours_or_its_doubt(values: list[float | None], doubt: float) -> None:
    for at, (before, after) in enumerate(zip(values, smoothed(values, [doubt] * len(values)), strict=True)):
        found = neighbours_of(values, at, both_sides=True)
        if before is None or after is None or found is None:
            continue
        low, high = min(before, found[0]), max(before, found[0])
        assert low - 1e-12 <= after <= high + 1e-12
        assert abs(after - before) <= 4 * doubt


def test_flicker_of_measuring_is_taken_out() -> None:
    random = np.random.default_rng(1)
    noise = random.normal(0, 0.05, 60)
    calm = np.array(smoothed(list(0.3 + noise), [0.1] * 60), float)
    assert calm.std() < 0.75 * noise.std()
    assert np.abs(np.diff(calm)).mean() < 0.75 * np.abs(np.diff(noise)).mean()


def test_a_frame_that_really_differs_stays() -> None:
    """A strobe that gave a stop less in one frame: measured for sure, so it is no flicker."""
    values = [0.0] * 5 + [1.0] + [0.0] * 5
    assert smoothed(values, [0.02] * 11) == values


def test_a_lasting_step_stays_a_step() -> None:
    values = [0.0] * 6 + [0.7] * 6
    assert np.abs(np.array(smoothed(values, [0.03] * 12), float) - values).max() < 1e-3


@given(st.floats(-0.3, 0.3), st.integers(3, 12))
def test_an_even_fall_of_the_light_stays(slope: float, count: int) -> None:
    values = [slope * at for at in range(count)]
    assert np.abs(np.array(smoothed(values, [0.2] * count), float) - values).max() < 1e-9


def test_what_was_not_measured_follows_neighbours_that_agree() -> None:
    assert smoothed([0.2, 0.2, None, 0.2, 0.2], [0.02] * 5)[2] == pytest.approx(0.2)
    assert smoothed([-1.4, 1.2, None, 0.1, -0.9], [0.02] * 5)[2] is None
    assert smoothed([0.2, None, None, None], [0.02] * 4)[3] is None


def test_the_weighted_median() -> None:
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.ones(3)) == 2
    assert weighted_median(np.array([1.0, 2.0]), np.ones(2)) == 1.5
    assert weighted_median(np.array([1.0, 2.0, 9.0]), np.array([1.0, 1.0, 50.0])) > 8


@given(st.floats(-1, 1), st.floats(-0.2, 0.2), st.integers(3, 20))
def test_the_course_of_a_straight_line_is_the_line(start: float, slope: float, count: int) -> None:
    values = (start + slope * np.arange(count))[:, None]
    assert np.abs(course(values) - values).max() < 1e-9


def test_the_course_of_a_dusk_is_smooth_and_near() -> None:
    """A quarter sine with noise and one wild frame: what is left of the noise is less than half of it."""
    random = np.random.default_rng(2)
    true = np.sin(np.linspace(0, np.pi / 2, 40))[:, None]
    noise = random.normal(0, 0.05, true.shape)
    noise[17] = 2.0
    found = course(true + noise)
    assert np.abs(found - true).mean() < 0.5 * np.abs(np.delete(noise, 17)).mean()
    assert abs(float(found[17, 0] - true[17, 0])) < 0.08


def test_the_course_over_gaps() -> None:
    values = np.linspace(0, 1, 9)[:, None]
    holed = values.copy()
    holed[[0, 4, 8]] = np.nan
    found = course(holed)
    assert found[4, 0] == pytest.approx(0.5)
    assert found[0, 0] == pytest.approx(values[1, 0])  # held beyond the first measured frame
    assert found[8, 0] == pytest.approx(values[7, 0])
    assert np.isnan(course(np.full((3, 2), np.nan))).all()
    assert course(np.array([[np.nan], [0.4], [np.nan]]))[:, 0] == pytest.approx(0.4)
