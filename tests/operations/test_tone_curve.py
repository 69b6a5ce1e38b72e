import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from finishing.colour import oklab, transfer
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.operation import Geometry
from finishing.operations.tone_curve import ToneCurve, evaluate, slopes
from finishing.recipes.recipe import Step

steps_up = st.lists(st.tuples(st.floats(0.01, 0.5), st.floats(0, 0.5)), min_size=1, max_size=12)
steps_any = st.lists(st.tuples(st.floats(0.01, 0.5), st.floats(-0.5, 0.5)), min_size=1, max_size=12)


def points_of(steps: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    x, y = np.cumsum(np.array([(0.0, 0.0), *steps]), axis=0).T
    return tuple(zip(x.tolist(), y.tolist(), strict=True))


@given(steps_any)
def test_equals_scipy_on_the_span(steps: list[tuple[float, float]]) -> None:
    points = points_of(steps)
    x, y = np.array(points).T
    assume(len(x) > 2)
    inside = np.linspace(x[0], x[-1], 301)
    # SciPy's PchipInterpolator: Fritsch–Butland slopes
    np.testing.assert_allclose(evaluate(points, inside), PchipInterpolator(x, y)(inside), atol=1e-9)


def test_published_points() -> None:
    # SciPy PchipInterpolator through these points
    points = ((0, 0), (0.25, 0.15), (0.5, 0.5), (0.75, 0.85), (1, 1))
    np.testing.assert_allclose(evaluate(points, [0.125, 0.375]), [0.055, 0.3075], atol=5e-4)


@given(steps_up, st.integers(0, 10**6))
def test_never_overshoots_and_never_falls(steps: list[tuple[float, float]], seed: int) -> None:
    points = points_of(steps)
    x, y = np.array(points).T
    inside = np.sort(np.random.default_rng(seed).uniform(x[0], x[-1], 200))
    values = evaluate(points, inside)
    assert (np.diff(values) >= -1e-12).all()
    piece = np.clip(np.searchsorted(x, inside, side="right") - 1, 0, len(x) - 2)
    assert (values >= y[piece] - 1e-12).all()
    assert (values <= y[piece + 1] + 1e-12).all()


@given(steps_up)
def test_goes_on_in_a_straight_line(steps: list[tuple[float, float]]) -> None:
    points = points_of(steps)
    x, y = np.array(points).T
    ends = slopes(x, y)
    np.testing.assert_allclose(evaluate(points, [x[0] - 1, x[-1] + 2]), [y[0] - ends[0], y[-1] + 2 * ends[-1]])


@pytest.mark.parametrize("channels", ["red", "green", "blue"])
def test_one_channel_leaves_the_others_alone(channels: str) -> None:
    planes = np.random.default_rng(2).random((3, 8, 8)).astype(np.float32)
    sink = LinearSink(8, 8)
    curve = ToneCurve(points=[(0, 0.1), (1, 0.9)], channels=channels)
    execute([Step(curve)], LinearSource(planes), sink, Geometry(8, 8))
    for index, name in enumerate(("red", "green", "blue")):
        moved = np.abs(sink.planes[index] - planes[index]).max()
        assert (moved > 0.02) if name == channels else (moved < 2e-6)


def test_lightness_moves_greys_as_all_does_and_keeps_hue_and_chroma() -> None:
    points = [(0, 0.1), (0.5, 0.6), (1, 0.95)]
    geometry = Geometry(50, 1)
    greys = np.repeat(np.linspace(0.001, 1.2, 50)[None, :, None], 3, axis=2)
    everything = transfer.srgb_decode(ToneCurve(points=points).reference(transfer.srgb_encode(greys), geometry))
    lightness = ToneCurve(points=points, channels="lightness")
    alone = oklab.oklab_to_linear(lightness.reference(oklab.linear_to_oklab(greys), geometry))
    np.testing.assert_allclose(alone, everything, atol=1e-6)
    colours = oklab.linear_to_oklab(np.random.default_rng(3).random((1, 50, 3)))
    np.testing.assert_array_equal(lightness.reference(colours, geometry)[..., 1:], colours[..., 1:])
