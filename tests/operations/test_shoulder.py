import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.differentiate import derivative

from finishing.colour import oklab
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.shoulder import Shoulder
from finishing.recipes.recipe import Step

shoulders = st.builds(
    Shoulder, start=st.floats(0, 4), ceiling=st.floats(0, 8), paling=st.floats(0, 1), strength=st.floats(0, 1)
)
channel = st.floats(-0.5, 8)


def finish(operation: Shoulder, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def bent(operation: Shoulder, *pixel: float) -> NDArray[np.float64]:
    return operation.reference(np.array([[pixel]], np.float64), Geometry(1, 1))[0, 0]


def greys(operation: Shoulder, values: NDArray[np.float64]) -> NDArray[np.float64]:
    return operation.reference(np.repeat(values[None, :, None], 3, axis=2), Geometry(values.size, 1))[0, :, 0]


def test_values_of_the_curve() -> None:
    # derived here: t/√(1 + t²) is 1/√2 at t = 1 and 0.6 at t = 0.75
    operation = Shoulder(start=0.6, ceiling=1)
    assert greys(operation, np.array([0.3, 0.6, 0.9, 1.0])) == pytest.approx([0.3, 0.6, 0.84, 0.6 + 0.4 / 2**0.5])


@given(shoulders, st.tuples(channel, channel, channel))
def test_never_brighter_and_never_past_the_ceiling(operation: Shoulder, pixel: tuple[float, float, float]) -> None:
    result = bent(operation, *pixel)
    assert np.isfinite(result).all()
    assert result.max() <= max(pixel) + 1e-9
    if max(pixel) > operation.start:
        whole = bent(operation.model_copy(update={"strength": 1.0}), *pixel)
        assert whole.max() <= max(operation.ceiling, operation.start + 1e-4) + 1e-9


@given(shoulders)
def test_brighter_stays_brighter(operation: Shoulder) -> None:
    assert (np.diff(greys(operation, np.linspace(0, 8, 500))) >= -1e-12).all()


@pytest.mark.parametrize("strength", [0.5, 1.0])
def test_up_to_the_start_nothing_changes_bit_for_bit(strength: float) -> None:
    linear = np.random.default_rng(1).uniform(-0.5, 2, (20, 50, 3)).astype(np.float32)
    result = finish(Shoulder(start=0.8, strength=strength), linear)
    below = linear.max(axis=-1) <= np.float32(0.8)
    assert np.array_equal(result[below], linear[below])
    assert (result[~below] != linear[~below]).any(axis=-1).all()


def test_sets_in_with_slope_one_and_no_curvature() -> None:
    operation = Shoulder(start=0.6, ceiling=1)
    # SciPy's derivative from the right, and once more of that
    slope = derivative(lambda x: greys(operation, np.ravel(x)).reshape(np.shape(x)), 0.6, step_direction=1)
    assert slope.df == pytest.approx(1, abs=1e-6)
    near = greys(operation, 0.6 + np.array([0, 1e-3, 2e-3]))
    assert np.diff(near, 2) / 1e-6 == pytest.approx([0], abs=0.1)


@given(st.floats(0.1, 1), st.floats(0.1, 1), st.floats(0, 3))
def test_without_paling_hue_and_saturation_stay(green: float, blue: float, stops: float) -> None:
    pixel = 2**stops * np.array([1.0, green, blue])
    result = bent(Shoulder(start=0.5, paling=0), *pixel)
    assert result / result[0] == pytest.approx(pixel / pixel[0])


def test_skin_keeps_its_hue_where_cutting_turns_it_yellow() -> None:
    skin = srgb_decode(np.array([[[197, 144, 127]]]) / 255.0)  # light skin of the 24-patch chart, colour-science
    hue = oklab.oklab_to_oklch(oklab.linear_to_oklab(skin))[0, 0, 2]
    lifted = skin * 3.2
    for paling in (0.0, 0.3, 1.0):
        held = bent(Shoulder(paling=paling), *lifted[0, 0])
        assert abs(oklab.oklab_to_oklch(oklab.linear_to_oklab(held))[2] - hue) < 6
        assert held.max() < 1
    cut = np.minimum(lifted, 1)
    assert oklab.oklab_to_oklch(oklab.linear_to_oklab(cut))[0, 0, 2] - hue > 15


def test_paling_moves_bright_colours_toward_white() -> None:
    spread = [np.ptp(bent(Shoulder(paling=paling), 3, 2, 1.5)) for paling in (0, 0.3, 1)]
    assert spread[0] > spread[1] > spread[2] > 0


@pytest.mark.parametrize(
    "operation",
    [Shoulder(), Shoulder(start=0, ceiling=2, paling=1), Shoulder(start=3, ceiling=1), Shoulder(strength=0.3)],
)
def test_engine_equals_the_reference(operation: Shoulder) -> None:
    linear = np.random.default_rng(3).uniform(-0.5, 8, (4, 203, 3)).astype(np.float32)
    linear[0, 0], linear[0, 1] = 65504, -65504
    expected = carry_out([Step(operation)], linear, Geometry(203, 4))
    assert finish(operation, linear) == pytest.approx(expected, rel=1e-5, abs=5e-6)
