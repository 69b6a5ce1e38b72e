import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink
from finishing.engine.execution import execute
from finishing.operation import Geometry
from finishing.operations.hue_isolation import HueIsolation
from finishing.recipes.recipe import Step
from tests.colour.other_ways import oklab_of_lch

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)
NAMES = ["astronaut", "coffee", "portrait", "temple", "flower"]


def lch(linear: NDArray[np.floating]) -> NDArray[np.float64]:
    return oklab.oklab_to_oklch(oklab.linear_to_oklab(linear))


def finish(codes: NDArray[np.uint8], operation: HueIsolation) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Codes and linear light of the result."""
    out, sink = np.empty_like(codes), LinearSink(*codes.shape[:2])
    geometry = Geometry(codes.shape[1], codes.shape[0])
    execute([Step(operation)], CodedSource(codes, TABLES, None), CodedSink(out, SRGB), geometry)
    execute([Step(operation)], CodedSource(codes, TABLES, None), sink, geometry)
    return out, np.moveaxis(sink.planes, 0, -1)


@pytest.mark.parametrize("name", NAMES)
def test_laws_on_real_photographs(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    codes = photographs[name]
    keep, width, softness = 55.0, 50.0, 15.0
    out, linear = finish(codes, HueIsolation(keep=keep, width=width, softness=softness, rest=0.0))
    before, after = lch(srgb_decode(codes / 255.0)), lch(linear)
    # lightness never changes (the bar of the law is 0.002; float32 keeps it far closer)
    assert np.abs(after[..., 0] - before[..., 0]).max() < 2e-5
    written = lch(srgb_decode(out / 255.0))
    # written as 8-bit codes, half a code of rounding in each channel comes on top: at most 0.004 from code 20 up
    bright = codes.min(axis=2) > 20
    assert np.abs(written[..., 0] - before[..., 0])[bright].max() < 0.006
    distance = np.abs((before[..., 2] - keep + 180) % 360 - 180)
    coloured = before[..., 1] > 0.01
    # kept whole inside: less than one code value
    inside = coloured & (distance < width / 2 - 0.5)
    assert np.abs(out[inside].astype(int) - codes[inside]).max(initial=0) <= 1
    # grey beyond the ramp
    assert after[coloured & (distance > width / 2 + softness + 0.5), 1].max(initial=0) < 1e-4


@pytest.mark.parametrize("rest", [0.0, 0.4, 1.7])
def test_greys_stay_grey_and_codes_stay_codes(rest: float) -> None:
    codes = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    out, _ = finish(codes, HueIsolation(keep=70, rest=rest))
    assert np.array_equal(out, codes)


@given(st.floats(0, 359), st.floats(0, 200), st.floats(1, 100), st.floats(0, 1), st.floats(0, 359))
def test_factor_follows_the_hue_distance(keep: float, width: float, softness: float, rest: float, hue: float) -> None:
    operation = HueIsolation(keep=keep, width=width, softness=softness, rest=rest)
    pixel = oklab_of_lch(np.array([[[0.6, 0.1, hue]]]))
    if operation.changes_nothing():
        return
    result = oklab.oklab_to_oklch(operation.reference(pixel, Geometry(1, 1)))[0, 0]
    distance = abs((hue - keep + 180) % 360 - 180)
    assert result[0] == pixel[0, 0, 0]
    assert 0.1 * rest - 1e-9 <= result[1] <= 0.1 + 1e-9
    if distance <= width / 2 - 1e-3:
        assert result[1] == pytest.approx(0.1)
    if distance >= min(width / 2 + softness, 180) + 1e-3:
        assert result[1] == pytest.approx(0.1 * rest)


def test_several_hues_and_colours_can_be_kept() -> None:
    colours = np.array([[200, 30, 30], [30, 60, 200], [40, 160, 60]], np.uint8)[None]
    out, _ = finish(colours, HueIsolation(keep=["#c81e1e", "#1e3cc8"], width=20, softness=10))
    assert np.abs(out[0, :2].astype(int) - colours[0, :2]).max() <= 1
    assert np.ptp(out[0, 2].astype(int)) <= 1
