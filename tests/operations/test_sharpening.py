import cv2
import numpy as np
import pytest
import skimage.filters
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.sharpening import Sharpening
from finishing.recipes.recipe import Step

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)


def encoded_result(operation: Sharpening, encoded: NDArray[np.floating], scale: float = 1.0) -> NDArray[np.float64]:
    """Encoded values (height, width, 3) through the engine in linear light, encoded again."""
    height, width = encoded.shape[:2]
    planes = np.ascontiguousarray(np.moveaxis(srgb_decode(encoded), -1, 0), np.float32)
    sink = LinearSink(height, width)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height, scale=scale), strip_rows=11)
    return srgb_encode(np.moveaxis(sink.planes, 0, -1).astype(np.float64))


def finish(operation: Sharpening, codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    out = np.empty_like(codes)
    geometry = Geometry(codes.shape[1], codes.shape[0])
    execute([Step(operation)], CodedSource(codes, TABLES, None), CodedSink(out, SRGB), geometry)
    return out


def luma(encoded: NDArray[np.floating]) -> NDArray[np.float64]:
    return encoded @ np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee"])
@pytest.mark.parametrize(("sigma", "amount"), [(0.8, 1.0), (1.2, 0.8), (3.0, 0.5)])
def test_without_threshold_it_is_the_unsharp_mask_of_other_libraries(
    photographs: dict[str, NDArray[np.uint8]], name: str, sigma: float, amount: float
) -> None:
    grey = luma(photographs[name][:201, :303] / 255)
    operation = Sharpening(radius_pixels=sigma, amount=amount, threshold=0)
    result = encoded_result(operation, np.repeat(grey[..., None], 3, axis=-1))
    blurred = cv2.GaussianBlur(grey, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    for channel in range(3):
        assert result[..., channel] == pytest.approx(grey + amount * (grey - blurred), abs=2e-4)  # cv2 cuts elsewhere
    # scikit-image cuts at 0…1, so it is compared where nothing is cut
    other = skimage.filters.unsharp_mask(grey, radius=sigma, amount=amount, preserve_range=True)
    inside = (other > 0.001) & (other < 0.999)
    assert inside.mean() > 0.7
    assert np.abs(result[..., 0] - other)[inside].max() < 2e-5


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee", "temple", "flower"])
def test_colour_differences_stay(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    before = photographs[name][:150, :200] / 255
    after = encoded_result(Sharpening(radius_pixels=1.5, amount=1.5, threshold=0.004), before)
    assert not np.allclose(luma(after), luma(before), atol=0.01)
    for channel in (0, 2):
        difference = after[..., channel] - luma(after)
        assert np.abs(difference - (before[..., channel] - luma(before))).max() < 2e-5


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), st.floats(0.2, 4), st.floats(0, 5))
def test_an_even_area_stays_bit_for_bit(red: float, green: float, blue: float, radius: float, amount: float) -> None:
    operation = Sharpening(radius_pixels=radius, amount=amount, threshold=0)
    planes = np.empty((3, 23, 31), np.float32)
    planes[:] = np.array([red, green, blue], np.float32)[:, None, None]
    out = np.empty_like(planes)
    operation.prepare(Geometry(31, 23))(planes, 0, out, 0)
    assert np.array_equal(out, planes)


def test_up_to_the_threshold_nothing_changes_and_from_twice_as_much_all_counts() -> None:
    # two even halves: at a step of height h the detail next to it is h · (1 − Φ) / …, here read off the reference
    # without threshold; the two laws meet below the threshold and above twice as much
    across = np.linspace(0, 0.2, 40)[:, None] * (np.arange(60) >= 30)
    encoded = np.repeat((0.4 + across)[..., None], 3, axis=-1)
    free, held = (Sharpening(radius_pixels=1, amount=1, threshold=t) for t in (0.0, 0.02))
    geometry = Geometry(60, 40)
    all_detail = free.reference(encoded, geometry) - encoded
    kept = held.reference(encoded, geometry) - encoded
    slight, strong = np.abs(all_detail) <= 0.02, np.abs(all_detail) >= 0.04
    between = ~slight & ~strong
    assert min(slight.sum(), strong.sum(), between.sum()) > 30
    assert np.all(kept[slight] == 0)
    assert kept[strong] == pytest.approx(all_detail[strong], abs=1e-12)
    # derived here: at one and a half times the threshold half of it counts
    share = kept[between] / all_detail[between]
    expected = np.interp(np.abs(all_detail[between]), [0.02, 0.025, 0.03, 0.035, 0.04], [0, 0.15625, 0.5, 0.84375, 1])
    assert share == pytest.approx(expected, abs=0.06)
    assert np.abs(encoded_result(held, encoded) - held.reference(encoded, geometry)).max() < 1e-5


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
    encoded = np.random.default_rng(1).random((30, 40, 3))
    half = encoded_result(Sharpening(radius_pixels=2, threshold=0), encoded, scale=0.5)
    assert half == pytest.approx(encoded_result(Sharpening(radius_pixels=1, threshold=0), encoded), abs=1e-6)
    assert Sharpening(radius_pixels=2).radius(Geometry(40, 30, scale=0.5)) == 4
    tiny = encoded_result(Sharpening(radius_pixels=0.8, threshold=0), encoded, scale=0.1)
    assert tiny == pytest.approx(encoded, abs=1e-6)


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
