import cv2
import numpy as np
import pytest
import skimage.filters
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.oklab import linear_to_oklab, oklab_to_linear
from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.sharpening import Sharpening
from finishing.recipes.recipe import Step

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)


def oklab_result(operation: Sharpening, oklab: NDArray[np.floating], scale: float = 1.0) -> NDArray[np.float64]:
    """OkLab (height, width, 3) through the engine in linear light, and OkLab again."""
    height, width = oklab.shape[:2]
    planes = np.ascontiguousarray(np.moveaxis(oklab_to_linear(oklab), -1, 0), np.float32)
    sink = LinearSink(height, width)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height, scale=scale), strip_rows=11)
    return linear_to_oklab(np.moveaxis(sink.planes, 0, -1).astype(np.float64))


def in_grey(lightness: NDArray[np.floating]) -> NDArray[np.float64]:
    """OkLab of greys."""
    return np.stack([lightness, np.zeros_like(lightness), np.zeros_like(lightness)], axis=-1)


def colours(photograph: NDArray[np.uint8]) -> NDArray[np.float64]:
    """OkLab of a photograph's codes."""
    return linear_to_oklab(srgb_decode(photograph / 255))


def finish(operation: Sharpening, codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    out = np.empty_like(codes)
    geometry = Geometry(codes.shape[1], codes.shape[0])
    execute([Step(operation)], CodedSource(codes, TABLES, None), CodedSink(out, SRGB), geometry)
    return out


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee"])
@pytest.mark.parametrize(("sigma", "amount"), [(0.8, 1.0), (1.2, 0.8), (3.0, 0.5)])
def test_without_threshold_it_is_the_unsharp_mask_of_other_libraries(
    photographs: dict[str, NDArray[np.uint8]], name: str, sigma: float, amount: float
) -> None:
    lightness = colours(photographs[name][:201, :303])[..., 0]
    operation = Sharpening(radius_pixels=sigma, amount=amount, threshold=0)
    result = oklab_result(operation, in_grey(lightness))[..., 0]
    blurred = cv2.GaussianBlur(lightness, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    assert result == pytest.approx(lightness + amount * (lightness - blurred), abs=2e-4)  # cv2 cuts elsewhere
    # scikit-image cuts at 0…1, so it is compared where nothing is cut
    other = skimage.filters.unsharp_mask(lightness, radius=sigma, amount=amount, preserve_range=True)
    inside = (other > 0.001) & (other < 0.999)
    assert inside.mean() > 0.7
    assert np.abs(result - other)[inside].max() < 2e-5


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee", "temple", "flower"])
def test_hue_and_chroma_stay(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    before = colours(photographs[name][:150, :200])
    after = oklab_result(Sharpening(radius_pixels=1.5, amount=1.5, threshold=0.004), before)
    assert np.abs(after[..., 0] - before[..., 0]).max() > 0.05
    # where a cone response is next to none, float32 light tells less of a and b
    assert np.abs(after[..., 1:] - before[..., 1:]).max() < 1e-3
    assert np.median(np.abs(after[..., 1:] - before[..., 1:])) < 1e-6


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), st.floats(0.2, 4), st.floats(0, 5))
def test_an_even_area_stays_bit_for_bit(red: float, green: float, blue: float, radius: float, amount: float) -> None:
    operation = Sharpening(radius_pixels=radius, amount=amount, threshold=0)
    planes = np.empty((3, 23, 31), np.float32)
    planes[:] = np.array([red, green, blue], np.float32)[:, None, None]
    out = np.empty_like(planes)
    operation.prepare(Geometry(31, 23))(planes.reshape(-1, 31), np.array([[0, 23, 0]]), out, 0)
    assert np.array_equal(out, planes)


def test_up_to_the_threshold_nothing_changes_and_from_twice_as_much_all_counts() -> None:
    # two even halves: at a step of height h the detail next to it is h · (1 − Φ) / …, here read off the reference
    # without threshold; the two laws meet below the threshold and above twice as much
    across = np.linspace(0, 0.2, 60)[:, None] * (np.arange(60) >= 30)
    before = in_grey(0.4 + across)
    free, held = (Sharpening(radius_pixels=1, amount=1, threshold=t) for t in (0.0, 0.02))
    geometry = Geometry(60, 60)
    all_detail = (free.reference(before, geometry) - before)[..., 0]
    kept = (held.reference(before, geometry) - before)[..., 0]
    slight, strong = np.abs(all_detail) <= 0.02, np.abs(all_detail) >= 0.04
    between = ~slight & ~strong
    assert min(slight.sum(), strong.sum(), between.sum()) > 30
    assert np.all(kept[slight] == 0)
    assert kept[strong] == pytest.approx(all_detail[strong], abs=1e-12)
    # derived here: at one and a half times the threshold half of it counts
    share = kept[between] / all_detail[between]
    expected = np.interp(np.abs(all_detail[between]), [0.02, 0.025, 0.03, 0.035, 0.04], [0, 0.15625, 0.5, 0.84375, 1])
    assert share == pytest.approx(expected, abs=0.06)
    assert np.abs(oklab_result(held, before) - held.reference(before, geometry)).max() < 1e-5


def test_grain_in_an_even_wall_stays_while_edges_gain() -> None:
    random = np.random.default_rng(2)
    codes = np.full((120, 160, 3), 110, np.int16) + random.integers(-1, 2, (120, 160, 1), np.int16)
    codes[:, 80:] += 60
    codes = codes.astype(np.uint8)
    out = finish(Sharpening(), codes)
    assert np.array_equal(out[:, :70], codes[:, :70])
    assert np.array_equal(out[:, 90:], codes[:, 90:])
    assert out[:, 80].astype(int).mean() > codes[:, 80].mean() + 8
    assert out[:, 79].astype(int).mean() < codes[:, 79].mean() - 8
    free = finish(Sharpening(threshold=0), codes)
    assert free[:, :70].std() > 1.3 * codes[:, :70].std()


def test_radius_is_in_pixels_of_the_full_frame() -> None:
    before = in_grey(np.random.default_rng(1).random((30, 40)))
    half = oklab_result(Sharpening(radius_pixels=2, threshold=0), before, scale=0.5)
    assert half == pytest.approx(oklab_result(Sharpening(radius_pixels=1, threshold=0), before), abs=1e-6)
    assert Sharpening(radius_pixels=2).radius(Geometry(40, 30, scale=0.5)) == 4
    tiny = oklab_result(Sharpening(radius_pixels=0.8, threshold=0), before, scale=0.1)
    assert tiny == pytest.approx(before, abs=1e-6)


@given(st.floats(0.2, 5), st.floats(0, 3), st.floats(0, 0.1), st.integers(0, 2**32 - 1))
def test_engine_equals_the_reference(radius: float, amount: float, threshold: float, seed: int) -> None:
    operation = Sharpening(radius_pixels=radius, amount=amount, threshold=threshold)
    random = np.random.default_rng(seed)
    linear = random.choice([0.02, 0.4, 3], (19, 26, 1)) * random.uniform(-0.1, 1, (19, 26, 3))
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    sink = LinearSink(19, 26)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(26, 19), strip_rows=4)
    expected = carry_out([Step(operation)], np.moveaxis(planes, 0, -1), Geometry(26, 19))
    # a threshold of next to nothing has a ramp as short, on which float32 may stand elsewhere
    near = 1e-4 if threshold > 1e-3 or threshold == 0 else 1e-2
    assert np.moveaxis(sink.planes, 0, -1) == pytest.approx(expected, rel=near, abs=near)
