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
from finishing.operations.hue_emphasis import HueEmphasis
from finishing.recipes.recipe import Step
from tests.colour.other_ways import oklab_of_lch

hues = st.floats(0, 359)


def finish(operation: HueEmphasis, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def changed(operation: HueEmphasis, lightness: float, chroma: float, hue: float) -> NDArray[np.float64]:
    """OkLCh after of OkLCh before."""
    pixel = oklab_of_lch(np.array([[[lightness, chroma, hue]]]))
    return oklab.oklab_to_oklch(operation.reference(pixel, Geometry(1, 1)))[0, 0]


def apart(first: float, second: float) -> float:
    return abs((first - second + 180) % 360 - 180)


@given(hues, st.floats(0, 4), st.floats(-0.5, 0.5), st.floats(0, 200), st.floats(1, 100), hues)
def test_change_follows_the_hue_distance(
    centre: float, factor: float, offset: float, width: float, softness: float, hue: float
) -> None:
    operation = HueEmphasis(hue=centre, chroma=factor, lightness=offset, width=width, softness=softness)
    lightness, chroma, after = changed(operation, 0.6, 0.1, hue)
    if chroma > 1e-9:
        assert apart(after, hue) < 1e-6
    distance = apart(hue, centre)
    if distance <= width / 2 - 1e-3:
        assert (lightness, chroma) == pytest.approx((0.6 + offset, 0.1 * factor), abs=1e-9)
    elif distance >= min(width / 2 + softness, 180) + 1e-3:
        assert (lightness, chroma) == pytest.approx((0.6, 0.1), abs=1e-9)
    else:
        assert min(1, factor) * 0.1 - 1e-9 <= chroma <= max(1, factor) * 0.1 + 1e-9
        assert min(0, offset) - 1e-9 <= lightness - 0.6 <= max(0, offset) + 1e-9


def test_values_of_another_library() -> None:
    linear = np.array([[coloraide.Color("oklch", [0.6, 0.12, 250]).convert("srgb-linear").coords()]])
    result = finish(HueEmphasis(hue=255, width=60, chroma=1.25, lightness=-0.1), linear)[0, 0]
    found = coloraide.Color("srgb-linear", [float(value) for value in result]).convert("oklch")
    assert found["h"] == pytest.approx(250, abs=0.01)
    assert found["c"] == pytest.approx(0.15, abs=1e-5)
    assert found["l"] == pytest.approx(0.5, abs=1e-5)


def test_lightness_moves_with_chroma() -> None:
    operation = HueEmphasis(hue=60, lightness=0.1, full_chroma=0.08)
    # smoothstep of 0, 1/4, 1/2, 1 is 0, 0.15625, 0.5, 1
    moved = [changed(operation, 0.5, chroma, 60)[0] - 0.5 for chroma in (0, 0.02, 0.04, 0.08, 0.2)]
    assert moved == pytest.approx([0, 0.015625, 0.05, 0.1, 0.1])


def test_greys_stay() -> None:
    greys = np.repeat(np.linspace(-0.2, 2, 80)[None, :, None], 3, axis=2)
    operation = HueEmphasis(hue=[0, 90, 180, 270], width=90, chroma=4, lightness=0.5)
    assert finish(operation, greys) == pytest.approx(greys, abs=1e-5)


def test_a_sky_deepens_and_skin_does_not(photographs: dict[str, NDArray[np.uint8]]) -> None:
    linear = srgb_decode(photographs["portrait"] / 255.0).astype(np.float32)
    result = finish(HueEmphasis(hue=255, width=60, softness=30, chroma=1.1, lightness=-0.08), linear)
    before, after = (oklab.oklab_to_oklch(oklab.linear_to_oklab(pixels)) for pixels in (linear, result))
    blue = (np.abs(before[..., 2] - 255) < 30) & (before[..., 1] > 0.1)
    skin = (np.abs(before[..., 2] - 55) < 30) & (before[..., 1] > 0.02)
    assert blue.sum() > 1000
    assert skin.sum() > 1000
    assert (after - before)[blue, 0] == pytest.approx(np.full(blue.sum(), -0.08), abs=1e-4)
    assert np.abs(result - linear)[skin].max() < 2e-5


@pytest.mark.parametrize(
    "operation",
    [
        HueEmphasis(hue=40, chroma=0.2, lightness=0.3),
        HueEmphasis(hue="#1e3cc8", chroma=4, lightness=-0.5, width=0, softness=180),
        HueEmphasis(hue=[100, 200], chroma=1.5, width=360, softness=0, least_chroma=0, full_chroma=0.01),
    ],
)
def test_engine_equals_the_reference(operation: HueEmphasis) -> None:
    random = np.random.default_rng(3)
    linear = np.concatenate([random.uniform(-0.5, 8, (3, 103, 3)), random.random((3, 103, 3))]).astype(np.float32)
    expected = carry_out([Step(operation)], linear, Geometry(103, 6))
    assert finish(operation, linear) == pytest.approx(expected, rel=1e-4, abs=1e-4)
