"""The non-negative least squares of a pixel, against SciPy's, and its error propagation against trials."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import nnls

from finishing.light.separation import error_gain
from finishing.light.solving import doubt, misfit, solve, weigh

Floats = NDArray[np.float32]


def solved(values: Floats, weights: Floats, times: Floats, fired: Floats) -> tuple[Floats, Floats]:
    """values, weights: (frames, pixels), the same in every channel; (pixels,) twice."""
    spread = [np.ascontiguousarray(np.broadcast_to(v[:, None, None, :], (len(v), 3, 1, v.shape[1])))
              for v in (values, weights)]  # fmt: skip
    ambient = np.empty((3, 1, values.shape[1]), np.float32)
    strobe = np.empty_like(ambient)
    solve(spread[0], spread[1], times, fired, ambient, strobe)
    return ambient[1, 0], strobe[1, 0]


@pytest.mark.parametrize(
    ("times", "fired"),
    [((1, 4), (1, 1)), ((1, 1), (0, 1)), ((1, 2, 4), (1, 1, 1)), ((1, 2, 4, 2), (1, 1, 1, 0)), ((4, 1), (1, 1))],
)
def test_equals_scipy(times: tuple[float, ...], fired: tuple[float, ...]) -> None:
    random = np.random.default_rng(3)
    t, f = np.array(times, np.float32), np.array(fired, np.float32)
    values = random.uniform(-0.05, 1, (len(t), 400)).astype(np.float32)
    weights = random.uniform(0.2, 5, (len(t), 400)).astype(np.float32)
    ambient, strobe = solved(values, weights, t, f)
    on_a_border = 0
    for pixel in range(400):
        root = np.sqrt(weights[:, pixel].astype(np.float64))
        rows = np.stack([t, f], axis=1) * root[:, None]
        expected, _ = nnls(rows, values[:, pixel] * root)
        assert (ambient[pixel], strobe[pixel]) == pytest.approx(tuple(expected), abs=3e-5)
        on_a_border += min(expected) == 0
    assert on_a_border > 40  # the borders were tried


def test_frames_that_say_one_thing_have_no_solution() -> None:
    values = np.full((3, 1), 0.4, np.float32)
    t, f = np.array([1, 1, 4], np.float32), np.ones(3, np.float32)
    ambient, strobe = solved(values, np.array([[1], [1], [0]], np.float32), t, f)  # the longer is clipped
    assert np.isnan(ambient).all()
    assert np.isnan(strobe).all()


def test_a_clipped_or_unseen_value_weighs_nothing() -> None:
    values = np.array([0.5, 0.96, np.nan, -0.01], np.float32).reshape(1, 1, 1, 4).repeat(3, axis=1)
    weights = np.empty_like(values)
    weigh(values, np.full((1, 3), 0.95, np.float32), np.float32(1e-4), np.float32(1e-3), np.float32(0), weights)
    assert weights[0, 0, 0] == pytest.approx([1 / (1e-4 + 0.5e-3), 0, 0, 1 / 1e-4], rel=1e-5)


def test_uncertainty_is_the_spread_of_many_trials() -> None:
    random = np.random.default_rng(8)
    t, f = np.array([1, 2, 4], np.float32), np.array([1, 1, 0], np.float32)
    spread = np.array([0.002, 0.003, 0.005])
    truth = np.array([0.15, 0.2])
    seen = (t * truth[0] + f * truth[1])[:, None] + spread[:, None] * random.standard_normal((3, 20_000))
    weights = np.broadcast_to((1 / spread**2)[:, None], seen.shape).astype(np.float32)
    ambient, strobe = solved(seen.astype(np.float32), weights, t, f)
    one = np.ascontiguousarray(weights[:, :1].reshape(3, 1, 1, 1).repeat(3, axis=1))
    found = [np.empty((3, 1, 1), np.float32) for _ in range(3)]
    doubt(one, t, f, *found)
    var_ambient, var_strobe, covariance = (float(part[1, 0, 0]) for part in found)
    assert np.var(ambient) == pytest.approx(var_ambient, rel=0.05)
    assert np.var(strobe) == pytest.approx(var_strobe, rel=0.05)
    assert np.cov(ambient, strobe)[0, 1] == pytest.approx(covariance, rel=0.06)


def test_misfit_of_three_frames_follows_chi_square() -> None:
    # with the right weights the sum of squares has one degree of freedom a channel: its mean is 1
    random = np.random.default_rng(5)
    t, f = np.array([1, 2, 4], np.float32), np.ones(3, np.float32)
    light = 0.1 * t + 0.3
    seen = (light[:, None, None, None] + 0.004 * random.standard_normal((3, 3, 40, 40))).astype(np.float32)
    weights = np.full_like(seen, 1 / 0.004**2)
    ambient, strobe = np.empty((3, 40, 40), np.float32), np.empty((3, 40, 40), np.float32)
    solve(seen, weights, t, f, ambient, strobe)
    out = np.empty((40, 40), np.float32)
    misfit(seen, weights, t, f, ambient, strobe, out)
    assert out.mean() == pytest.approx(3, rel=0.1)


@given(st.floats(1.3, 16), st.floats(1.3, 16))
def test_error_gain_of_two_shutters_in_closed_form(first: float, ratio: float) -> None:
    # derived here: a = (v2 − v1) / (r − 1), s = (r v1 − v2) / (r − 1), errors of v independent and equal
    ambient, strobe = error_gain([first, first * ratio], [True, True])
    assert ambient == pytest.approx(2**0.5 / (ratio - 1), rel=1e-6)
    assert strobe == pytest.approx((1 + ratio**2) ** 0.5 / (ratio - 1), rel=1e-6)


def test_error_gain_without_strobes() -> None:
    assert error_gain([1, 1], [False, True]) == pytest.approx((1, 2**0.5))
    assert error_gain([1, 1], [True, True]) == (float("inf"), float("inf"))
    assert error_gain([1, 4], [False, False]) == (float("inf"), float("inf"))
