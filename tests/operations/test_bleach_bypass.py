import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.colour.spaces import luminance
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.bleach_bypass import BleachBypass
from finishing.recipes.recipe import Step

shares = st.floats(0, 1)


def finish(operation: BleachBypass, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def treated(operation: BleachBypass, *pixel: float) -> NDArray[np.float64]:
    return operation.reference(np.array([[pixel]], np.float64), Geometry(1, 1))[0, 0]


@given(st.floats(0.001, 1), shares, st.floats(-1, 3))
def test_densities_add(grey: float, silver: float, lighten: float) -> None:
    # derived here: a stop is log₁₀ 2 = 0.30103 of density
    density = -np.log10(treated(BleachBypass(silver=silver, lighten=lighten), grey, grey, grey))
    assert density == pytest.approx([-np.log10(grey) * (1 + silver) - 0.30103 * lighten] * 3, abs=1e-4)


def test_all_the_silver_over_middle_grey() -> None:
    # derived here: 18 % through 18 % is 3.24 %
    assert treated(BleachBypass(silver=1, lighten=0), 0.18, 0.18, 0.18) == pytest.approx([0.0324] * 3)


@given(st.tuples(*[st.floats(0.01, 1)] * 3), st.floats(0, 1.5))
def test_dyes_keep_their_luminance(pixel: tuple[float, float, float], colour: float) -> None:
    result = treated(BleachBypass(silver=0, lighten=0, colour=colour), *pixel)
    assert luminance(result) == pytest.approx(luminance(np.array(pixel)), abs=1e-4)


@pytest.mark.parametrize("name", ["astronaut", "portrait", "temple"])
def test_default_is_harder_and_paler(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    linear = srgb_decode(photographs[name] / 255.0)
    result = finish(BleachBypass(), linear)
    before, after = (oklab.oklab_to_oklch(oklab.linear_to_oklab(pixels)) for pixels in (linear, result))
    assert np.mean(after[..., 1]) < 0.8 * np.mean(before[..., 1])
    bright = luminance(linear) > 0.02
    assert np.std(np.log(luminance(result)[bright])) > 1.3 * np.std(np.log(luminance(linear)[bright]))


def test_nothing_of_it_left_is_the_frame() -> None:
    linear = np.random.default_rng(2).random((3, 20, 3)).astype(np.float32)
    assert finish(BleachBypass(silver=0, colour=1, lighten=0), linear) == pytest.approx(linear, abs=1e-6)


@given(shares, st.tuples(*[st.floats(-0.5, 8)] * 3))
def test_strength_is_a_mix(strength: float, pixel: tuple[float, float, float]) -> None:
    whole = treated(BleachBypass(), *pixel)
    assert np.isfinite(whole).all()
    mixed = np.array(pixel) * (1 - strength) + whole * strength
    assert treated(BleachBypass(strength=strength), *pixel) == pytest.approx(mixed, abs=1e-9)


@pytest.mark.parametrize(
    "operation",
    [BleachBypass(), BleachBypass(silver=1, colour=1.5, lighten=3), BleachBypass(silver=0.02, strength=0.7)],
)
def test_engine_equals_the_reference(operation: BleachBypass) -> None:
    random = np.random.default_rng(3)
    linear = np.concatenate([random.uniform(-0.5, 8, (3, 203, 3)), random.uniform(-0.05, 1, (3, 203, 3))]).astype(
        np.float32
    )
    expected = carry_out([Step(operation)], linear, Geometry(203, 6))
    assert finish(operation, linear) == pytest.approx(expected, rel=2e-5, abs=2e-5)
