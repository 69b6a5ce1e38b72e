import numpy as np
import pytest
import scipy.ndimage
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.glow import Glow
from finishing.recipes.recipe import Step


def finish(operation: Glow, linear: NDArray[np.floating], **how: int) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height), **how)
    return np.moveaxis(sink.planes, 0, -1)


def linear_of(codes: NDArray[np.uint8]) -> NDArray[np.float64]:
    return np.asarray(srgb_decode(codes / 255), np.float64)


strengths = st.floats(0.01, 1)
levels = st.sampled_from([0.0, 0.3, 0.6, 0.9])


@pytest.mark.parametrize("above", [0.0, 0.6])
@pytest.mark.parametrize("name", ["astronaut", "portrait", "temple"])
def test_light_is_moved_and_none_is_added(photographs: dict[str, NDArray[np.uint8]], name: str, above: float) -> None:
    linear = linear_of(photographs[name])
    result = finish(Glow(strength=0.5, spread=0.05, above=above), linear)
    assert result.mean(axis=(0, 1)) == pytest.approx(linear.mean(axis=(0, 1)), rel=2e-3)
    assert np.abs(result - linear).max() > 0.05


@given(strengths, levels, st.floats(0, 2), st.floats(0, 2), st.floats(0, 2))
def test_an_even_area_stays(strength: float, above: float, red: float, green: float, blue: float) -> None:
    linear = np.empty((20, 30, 3))
    linear[:] = red, green, blue
    result = finish(Glow(strength=strength, spread=0.1, above=above), linear)
    assert result == pytest.approx(linear, abs=2e-6)


def test_a_point_of_light_spreads_by_the_law_s_two_gaussians() -> None:
    # derived here: 0.6 of what spreads has the standard deviation of half the spread, 0.4 twice the spread, so that
    # the variance along one axis is 0.6 / 4 + 0.4 · 4 = 1.75 of the spread's square
    linear = np.zeros((200, 200, 3))
    linear[100, 100] = 100
    spread = 0.05 * 200
    result = finish(Glow(strength=0.5, spread=0.05, above=0), linear).astype(np.float64)
    assert result[100, 100, 0] == pytest.approx(50 + 50 * (0.6 / (2 * np.pi * 25) + 0.4 / (2 * np.pi * 400)), rel=2e-3)
    spilled = result[..., 1].copy()
    spilled[100, 100] -= 50
    profile = spilled.sum(axis=0) / spilled.sum()
    variance = np.sum(profile * (np.arange(200) - 100) ** 2)
    assert variance == pytest.approx(1.75 * spread**2, rel=0.02)


def test_all_light_spread_is_scipy_s_blur(photographs: dict[str, NDArray[np.uint8]]) -> None:
    linear = linear_of(photographs["coffee"])
    sigma = 0.1 * 400
    assert min(linear.shape[:2]) == 400
    parts = [
        share * scipy.ndimage.gaussian_filter(linear, times * sigma, axes=(0, 1), mode="reflect")
        for share, times in ((0.6, 0.5), (0.4, 2))
    ]
    expected = 0.4 * linear + 0.6 * sum(parts)
    result = finish(Glow(strength=0.6, spread=0.1, above=0), linear)
    assert np.abs(result - expected).max() < 2e-3
    assert np.abs(srgb_encode(result) - srgb_encode(expected)).max() * 255 < 0.75


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee"])
@pytest.mark.parametrize("spread", [0.02, 0.06])
def test_the_reduced_way_is_the_plain_way_on_photographs(
    photographs: dict[str, NDArray[np.uint8]], name: str, spread: float
) -> None:
    linear = linear_of(photographs[name])[:300, :300]
    operation = Glow(strength=0.6, spread=spread, above=0.6)
    expected = carry_out([Step(operation)], linear, Geometry(300, 300))
    result = finish(operation, linear)
    assert np.abs(srgb_encode(result) - srgb_encode(expected)).max() * 255 < 0.75


@given(strengths, levels, st.integers(0, 2**32 - 1))
def test_engine_equals_the_reference_where_nothing_is_reduced(strength: float, above: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    linear = (random.choice([0.02, 0.4, 8], (23, 31, 1)) * random.uniform(-0.1, 1, (23, 31, 3))).astype(np.float32)
    operation = Glow(strength=strength, spread=0.1, above=above)
    assert operation.reduction(Geometry(31, 23)) == 1
    expected = carry_out([Step(operation)], linear, Geometry(31, 23))
    assert finish(operation, linear, strip_rows=6) == pytest.approx(expected, rel=1e-5, abs=1e-5)


def test_shadows_far_from_light_keep_their_depth_only_above_a_level() -> None:
    linear = np.full((120, 180, 3), 0.01)
    linear[:, :40] = 0.04
    linear[50:60, 140:150] = 1.0
    above = finish(Glow(strength=0.5, spread=0.05, above=0.6), linear)
    assert np.array_equal(above[:, :60], linear[:, :60].astype(np.float32))
    assert above[55, 153, 0] > 0.03
    everything = finish(Glow(strength=0.5, spread=0.05, above=0), linear)
    assert everything[60, 45, 0] > 0.012


@given(st.floats(0.05, 1), st.floats(0.01, 1), st.lists(st.floats(0, 4), min_size=2, max_size=30))
def test_no_tone_overtakes_another(strength: float, above: float, values: list[float]) -> None:
    # what a pixel keeps of itself rises with its light
    tones = np.sort(np.array(values))
    pixels = np.repeat(tones[None, :, None], 3, axis=2)
    operation = Glow(strength=strength, above=above)
    kept = pixels - strength * operation._excess(pixels)
    assert np.diff(kept[0, :, 0]).min() >= -1e-12


@given(st.floats(0.01, 1), st.floats(0, 8))
def test_the_light_over_a_level(above: float, luminance: float) -> None:
    level = float(srgb_decode(above))
    light = Glow(above=above)._excess(np.full((1, 1, 3), luminance))[0, 0, 0]
    if luminance <= level / 2:
        assert light == 0
    elif luminance >= 1.5 * level:
        assert light == pytest.approx(luminance - level, abs=1e-9)
    else:
        assert max(luminance - level, 0) - 1e-12 <= light <= luminance / 2


def test_coloured_light_spreads_in_its_colour() -> None:
    linear = np.zeros((90, 90, 3))
    linear[40:50, 40:50] = (2.0, 0.8, 0.1)
    spilled = finish(Glow(strength=0.5, spread=0.1), linear)[30, 45]
    assert spilled / spilled[0] == pytest.approx([1, 0.4, 0.05], rel=1e-3)


def test_spread_follows_the_frame_not_the_pixels(photographs: dict[str, NDArray[np.uint8]]) -> None:
    linear = linear_of(photographs["astronaut"])
    small = linear.reshape(256, 2, 256, 2, 3).mean(axis=(1, 3))
    operation = Glow(strength=0.6, spread=0.05, above=0)
    after = finish(operation, linear).reshape(256, 2, 256, 2, 3).mean(axis=(1, 3))
    assert np.abs(finish(operation, small) - after).max() < 0.004
