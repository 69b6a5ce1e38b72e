import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.burn_dodge import BurnDodge
from finishing.recipes.recipe import Step


def finish(
    operation: BurnDodge, linear: NDArray[np.floating], subject: tuple[float, float] | None = None
) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height, subject))
    return np.moveaxis(sink.planes, 0, -1)


def flat(height: int, width: int) -> NDArray[np.float64]:
    return np.full((height, width, 3), 0.25)


@pytest.mark.parametrize("stops", [-2, 0.5, 3])
def test_middle_takes_the_stops_and_the_outside_none(stops: float) -> None:
    result = finish(BurnDodge(stops=stops, centre=(0.5, 0.5), width=0.6, height=0.4), flat(201, 301))
    assert result[100, 150] == pytest.approx([0.25 * 2**stops] * 3, rel=1e-4)
    assert (result[:60] == 0.25).all()
    assert (result[:, :89] == 0.25).all()


def test_ramp_is_smoothstep_in_stops() -> None:
    # derived here: half way out t = 1/2, a quarter of the way in t = 1/4; smoothstep 0.5 and 0.15625
    result = finish(BurnDodge(stops=1, centre=(0.5, 0.5), width=0.8, height=0.8), flat(1001, 1001))
    stops = np.log2(result[500, :, 0] / 0.25)
    # the half axis is 0.4 · 1001 pixels
    assert np.interp(500 + 0.4 * 1001 * np.array([0.5, 0.75]), np.arange(1001), stops) == pytest.approx(
        [0.5, 0.15625], abs=1e-4
    )


@given(st.floats(-6, 6), st.floats(0, 1), st.floats(0.2, 3), st.floats(0.2, 3), st.floats(-180, 180))
def test_gain_lies_between_nothing_and_the_stops(
    stops: float, softness: float, width: float, height: float, angle: float
) -> None:
    operation = BurnDodge(stops=stops, softness=softness, width=width, height=height, angle=angle)
    gains = operation.reference(np.ones((23, 31, 3)), Geometry(31, 23, (0.3, 0.6)))
    assert gains.min() >= min(1, 2**stops) - 1e-12
    assert gains.max() <= max(1, 2**stops) + 1e-12


@pytest.mark.parametrize(("width", "height", "angle"), [(0.5, 0.8, 0), (0.9, 0.3, 25), (0.3, 0.9, -70)])
def test_outline_is_the_ellipse_that_another_library_draws(width: float, height: float, angle: float) -> None:
    result = finish(
        BurnDodge(stops=1, centre=(0.5, 0.5), width=width, height=height, angle=angle, softness=0), flat(401, 601)
    )
    drawn = np.zeros((401, 601), np.uint8)
    # OpenCV turns clockwise too, its y axis pointing down
    cv2.ellipse(drawn, ((300, 200), (width * 401, height * 401), angle), 1, -1)
    assert (result[..., 0] > 0.3).sum() == pytest.approx(drawn.sum(), rel=0.02)
    assert ((result[..., 0] > 0.3) != drawn.astype(bool)).sum() < 0.02 * drawn.sum()


def test_goes_with_the_subject() -> None:
    result = finish(BurnDodge(stops=1), flat(100, 200), subject=(0.2, 0.7))
    assert np.unravel_index(result[..., 0].argmax(), (100, 200)) in {(69, 39), (69, 40), (70, 39), (70, 40)}
    without = finish(BurnDodge(stops=1), flat(100, 200))
    assert np.array_equal(without, finish(BurnDodge(stops=1, centre="frame"), flat(100, 200)))


def test_outside_stays_bit_for_bit() -> None:
    linear = np.random.default_rng(1).uniform(-0.5, 8, (60, 90, 3)).astype(np.float32)
    result = finish(BurnDodge(stops=-1, centre=(0.2, 0.2), width=0.3, height=0.3), linear)
    assert np.array_equal(result[25:], linear[25:])
    assert not np.array_equal(result, linear)


@pytest.mark.parametrize("values", ["middle", [0.5], [0.5, 1.2], ["a", 0.5]])
def test_what_is_no_centre_is_refused(values: object) -> None:
    with pytest.raises(ValueError, match="expected frame, subject"):
        BurnDodge(stops=1, centre=values)


@pytest.mark.parametrize(
    "operation",
    [
        BurnDodge(stops=2, centre=(0.3, 0.4), angle=33),
        BurnDodge(stops=-6, width=6, height=0.3, angle=-100, softness=0.3),
        BurnDodge(stops=0.3, centre="frame", softness=0.8),
    ],
)
def test_engine_equals_the_reference(operation: BurnDodge) -> None:
    linear = np.random.default_rng(3).uniform(-0.5, 8, (40, 61, 3)).astype(np.float32)
    expected = carry_out([Step(operation)], linear, Geometry(61, 40))
    assert finish(operation, linear) == pytest.approx(expected, rel=3e-5, abs=2e-6)
