import coloraide
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.hue_shift import HueShift, turns
from finishing.recipes.recipe import Step
from tests.colour.other_ways import oklab_of_lch

hues = st.floats(0, 359)


def finish(operation: HueShift, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def turned(operation: HueShift, lightness: float, chroma: float, hue: float) -> NDArray[np.float64]:
    """OkLCh after of OkLCh before."""
    pixel = oklab_of_lch(np.array([[[lightness, chroma, hue]]]))
    return oklab.oklab_to_oklch(operation.reference(pixel, Geometry(1, 1)))[0, 0]


def apart(first: float, second: float) -> float:
    return abs((first - second + 180) % 360 - 180)


@given(hues, st.floats(-180, 180), st.floats(0, 200), st.floats(1, 100), hues)
def test_turn_follows_the_hue_distance(
    centre: float, degrees: float, width: float, softness: float, hue: float
) -> None:
    operation = HueShift(hue=centre, degrees=degrees, width=width, softness=softness)
    lightness, chroma, after = turned(operation, 0.6, 0.1, hue)
    assert lightness == 0.6
    assert chroma == pytest.approx(0.1)
    distance = apart(hue, centre)
    if distance <= width / 2 - 1e-3:
        assert apart(after, hue + degrees) < 1e-6
    elif distance >= min(width / 2 + softness, 180) + 1e-3:
        assert apart(after, hue) < 1e-6
    else:
        assert apart(after, hue) <= abs(degrees) + 1e-6


def test_hues_of_another_library() -> None:
    green = coloraide.Color("oklch", [0.7, 0.12, 140])
    linear = np.array([[green.convert("srgb-linear").coords()]])
    result = finish(HueShift(hue=140, degrees=-35, width=30), linear)[0, 0]
    found = coloraide.Color("srgb-linear", [float(value) for value in result]).convert("oklch")
    assert found["h"] == pytest.approx(105, abs=0.01)
    assert found["c"] == pytest.approx(0.12, abs=1e-5)
    assert found["l"] == pytest.approx(0.7, abs=1e-5)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "portrait"])
def test_lightness_and_chroma_stay_and_nothing_else_moves(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    linear = srgb_decode(photographs[name] / 255.0).astype(np.float32)
    result = finish(HueShift(hue=255, degrees=-25, width=60, softness=20), linear)
    before, after = (oklab.oklab_to_oklch(oklab.linear_to_oklab(pixels)) for pixels in (linear, result))
    assert np.abs(after[..., :2] - before[..., :2]).max() < 3e-5
    outside = np.abs((before[..., 2] - 255 + 180) % 360 - 180) > 50.5
    assert np.abs(result - linear)[outside].max() < 2e-5


def test_greys_stay_and_noise_in_them_is_not_torn_apart() -> None:
    greys = np.repeat(np.linspace(0, 1, 50)[None, :, None], 3, axis=2)
    assert finish(HueShift(hue=[0, 90, 180, 270], width=90, degrees=180), greys) == pytest.approx(greys, abs=1e-5)
    # the turn sets in without a jump: chroma up by a hundredth of the bound moves a and b by as little
    operation = HueShift(hue=30, width=60, degrees=180)
    ab = [oklab_of_lch(turned(operation, 0.5, chroma, 30))[1:] for chroma in np.linspace(0, 0.006, 301)]
    assert np.hypot(*np.diff(ab, axis=0).T).max() < 2e-4


def test_several_hues_turn_together() -> None:
    operation = HueShift(hue=[30, 150], degrees=20, width=20, softness=10)
    assert turned(operation, 0.5, 0.1, 30)[2] == pytest.approx(50)
    assert turned(operation, 0.5, 0.1, 150)[2] == pytest.approx(170)
    assert turned(operation, 0.5, 0.1, 90)[2] == pytest.approx(90)


@pytest.mark.parametrize("degrees", [-180, -90, 5, 120, 180])
def test_polynomials_are_cosine_and_sine(degrees: float) -> None:
    w, angle = np.linspace(0, 1, 1001), np.radians(degrees)
    along, across = (np.polynomial.polynomial.polyval(w * w, row.astype(np.float64)) for row in turns(angle))
    assert np.abs(along - np.cos(w * angle)).max() < 4e-7
    assert np.abs(w * across - np.sin(w * angle)).max() < 4e-7


@pytest.mark.parametrize(
    "operation",
    [
        HueShift(hue=40, degrees=-90),
        HueShift(hue="#c81e1e", degrees=180, width=0, softness=180),
        HueShift(hue=[100, 200], degrees=15, width=360, softness=0, least_chroma=0),
    ],
)
def test_engine_equals_the_reference(operation: HueShift) -> None:
    random = np.random.default_rng(3)
    linear = np.concatenate([random.uniform(-0.5, 8, (3, 103, 3)), random.random((3, 103, 3))]).astype(np.float32)
    expected = carry_out([Step(operation)], linear, Geometry(103, 6))
    assert finish(operation, linear) == pytest.approx(expected, rel=1e-4, abs=1e-4)
