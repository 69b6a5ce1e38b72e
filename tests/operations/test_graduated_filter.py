import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from finishing.colour.spaces import SRGB, luminance
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.graduated_filter import GraduatedFilter
from finishing.recipes.recipe import Step


def finish(operation: GraduatedFilter, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def flat(height: int, width: int, value: float = 0.5) -> NDArray[np.float64]:
    return np.full((height, width, 3), value)


@pytest.mark.parametrize(("density", "stops"), [(0.3, 1), (0.6, 2), (0.9, 3)])
def test_dense_side_of_the_usual_glass(density: float, stops: float) -> None:
    # derived here: a density D passes 10^−D; the trade rounds log₁₀ 2 = 0.30103 to 0.3
    result = finish(GraduatedFilter(stops=stops, position=(0.5, 0.5), softness=0.3), flat(200, 300))
    assert result[0] == pytest.approx(np.full((300, 3), 0.5 * 10**-density), rel=0.01)
    assert result[0] == pytest.approx(np.full((300, 3), 0.5 * 2**-stops), rel=1e-5)
    assert (result[-1] == 0.5).all()


def test_ramp_is_smoothstep_in_stops() -> None:
    # derived here: smoothstep of 1/4, 1/2, 3/4 is 0.15625, 0.5, 0.84375; short side 400, transition 200 pixels
    result = finish(GraduatedFilter(stops=2, position=(0.5, 0.5), softness=0.5), flat(400, 401))
    stops = -np.log2(result[:, 200, 0] / 0.5)
    middles = (stops[1:] + stops[:-1]) / 2
    assert middles[[149, 199, 249]] == pytest.approx([2 * 0.84375, 1, 2 * 0.15625], abs=2e-4)
    assert (np.diff(stops) <= 1e-6).all()


def test_clear_side_stays_bit_for_bit() -> None:
    linear = np.random.default_rng(1).uniform(-0.5, 8, (60, 90, 3)).astype(np.float32)
    result = finish(GraduatedFilter(stops=3, position=(0.5, 0.3), softness=0.2), linear)
    assert np.array_equal(result[30:], linear[30:])
    assert not np.array_equal(result[:20], linear[:20])


@pytest.mark.parametrize(
    ("angle", "dense", "clear"),
    [(0, (0, 50), (99, 50)), (90, (50, 99), (50, 0)), (180, (99, 50), (0, 50)), (-90, (50, 0), (50, 99))],
)
def test_angle_says_where_the_dense_side_is(angle: float, dense: tuple[int, int], clear: tuple[int, int]) -> None:
    result = finish(GraduatedFilter(stops=1, angle=angle, position=(0.5, 0.5), softness=0.4), flat(100, 100))
    assert result[dense] == pytest.approx([0.25] * 3, rel=1e-5)
    assert (result[clear] == 0.5).all()


def test_a_turned_filter_is_the_filter_turned() -> None:
    # SciPy turns the picture of the upright filter
    upright = finish(GraduatedFilter(stops=1, position=(0.5, 0.5), softness=0.8), flat(301, 301))[..., 0]
    turned = finish(GraduatedFilter(stops=1, angle=30, position=(0.5, 0.5), softness=0.8), flat(301, 301))[..., 0]
    expected = ndimage.rotate(upright, -30, reshape=False, order=1)
    assert turned[60:-60, 60:-60] == pytest.approx(expected[60:-60, 60:-60], abs=2e-4)


@given(st.floats(-10, 10), st.tuples(st.integers(0, 255), st.integers(0, 255), st.integers(0, 255)))
def test_a_coloured_filter_takes_the_light_that_stops_say(stops: float, codes: tuple[int, int, int]) -> None:
    colour = "#" + "".join(f"{code:02x}" for code in codes)
    passed = np.array(GraduatedFilter(stops=stops, colour=colour).passed())
    assert np.isfinite(passed).all()
    linear = SRGB.decode(np.array(codes) / 255)
    if linear.min() >= 0.02 * luminance(linear) and max(codes) > 0:
        assert luminance(passed) == pytest.approx(2**-stops, rel=1e-4)
        assert passed / passed.max() == pytest.approx(linear / linear.max(), rel=1e-6)


def test_a_grey_filter_colour_is_neutral() -> None:
    assert GraduatedFilter(stops=1, colour="#777777").passed() == pytest.approx((0.5, 0.5, 0.5), rel=1e-6)


@pytest.mark.parametrize(
    "operation",
    [
        GraduatedFilter(stops=2, angle=33),
        GraduatedFilter(stops=-2, angle=-140, position=(0, 1), softness=4),
        GraduatedFilter(colour="#e09040", softness=0),
        GraduatedFilter(stops=10, colour="#0000ff", angle=90),
    ],
)
def test_engine_equals_the_reference(operation: GraduatedFilter) -> None:
    linear = np.random.default_rng(3).uniform(-0.5, 8, (40, 61, 3)).astype(np.float32)
    expected = carry_out([Step(operation)], linear, Geometry(61, 40))
    assert finish(operation, linear) == pytest.approx(expected, rel=2e-5, abs=2e-6)
