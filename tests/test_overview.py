"""The reduced copy of a frame against other libraries' means and blurs."""

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import cv2
import numpy as np
import pytest
import scipy.ndimage
import skimage.measure
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.gaussian import gaussian_radius, gaussian_weights, plain_blur
from finishing.overview import Overview, Reducer


def planes_of(codes: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Linear light, float32 (3, height, width)."""
    return np.ascontiguousarray(np.moveaxis(srgb_decode(codes / 255), -1, 0), np.float32)


def reduced(planes: NDArray[np.float32], by: int, tops: list[int] | None = None) -> Overview:
    """The overview of planes that come in strips which begin at `tops`."""
    height, width = planes.shape[1:]
    reducer = Reducer(height, width, -(-height // by), -(-width // by))
    edges = [*sorted(tops or [0]), height]
    ends = dict(pairwise(edges))
    for top in edges[:-1]:
        reducer.add(planes[:, top : ends[top]], top)
    return reducer.overview()


@pytest.mark.parametrize("sigma", [0.3, 0.94, 1.2, 3.0, 7.7])
def test_gaussian_is_that_of_scipy(sigma: float) -> None:
    assert len(gaussian_weights(sigma)) == 2 * gaussian_radius(sigma) + 1
    pixels = np.random.default_rng(3).uniform(-1, 5, (31, 23, 3))
    expected = scipy.ndimage.gaussian_filter(pixels, sigma, axes=(0, 1), mode="reflect")
    assert np.abs(plain_blur(pixels, sigma) - expected).max() < 1e-12


def test_gaussian_of_no_width_changes_nothing() -> None:
    pixels = np.random.default_rng(3).random((5, 4))
    assert np.array_equal(plain_blur(pixels, 0.05), pixels)


@given(st.integers(1, 9), st.integers(1, 9), st.floats(0.05, 20))
def test_blur_keeps_the_mean_and_even_areas_even_in_the_smallest_frames(height: int, width: int, sigma: float) -> None:
    pixels = np.random.default_rng(8).random((height, width))
    blurred = plain_blur(pixels, sigma)
    assert blurred.mean() == pytest.approx(pixels.mean(), abs=1e-12)
    planes = np.repeat(pixels[None].astype(np.float32), 3, axis=0)
    overview = Overview(planes, width, height).blurred(sigma)
    assert np.abs(overview.planes - blurred).max() < 1e-5
    even = Overview(np.full_like(planes, 0.3), width, height).blurred(sigma)
    assert even.rows(0, height) == pytest.approx(0.3, abs=1e-6)


@pytest.mark.parametrize("by", [2, 4, 8])
def test_overview_is_the_means_of_blocks(photographs: dict[str, NDArray[np.uint8]], by: int) -> None:
    planes = planes_of(photographs["astronaut"])  # 512 × 512
    expected = [skimage.measure.block_reduce(plane.astype(np.float64), by, np.mean) for plane in planes]
    assert np.abs(reduced(planes, by).planes - expected).max() < 1e-6


@pytest.mark.parametrize("by", [3, 5, 7, 11])
def test_overview_is_the_mean_over_areas_where_blocks_do_not_fit(
    photographs: dict[str, NDArray[np.uint8]], by: int
) -> None:
    planes = planes_of(photographs["portrait"])
    height, width = planes.shape[1:]
    assert height % by or width % by
    size = (-(-width // by), -(-height // by))
    expected = [cv2.resize(plane, size, interpolation=cv2.INTER_AREA) for plane in planes]
    result = reduced(planes, by).planes
    assert np.abs(result - expected).max() < 2e-6
    assert result.mean() == pytest.approx(planes.mean(), rel=1e-5)


@given(st.integers(1, 12), st.sets(st.integers(1, 46), max_size=12))
def test_strips_of_any_height_give_the_same_bits(by: int, cuts: set[int]) -> None:
    planes = np.random.default_rng(5).random((3, 47, 61)).astype(np.float32)
    assert np.array_equal(reduced(planes, by, [0, *cuts]).planes, reduced(planes, by).planes)


@pytest.mark.parametrize("top", [0, 20, 47])
def test_no_rows_are_none_whatever_was_asked_for_before(top: int) -> None:
    overview = reduced(np.random.default_rng(5).random((3, 47, 61)).astype(np.float32), 4)
    with ThreadPoolExecutor(1) as fresh:
        assert fresh.submit(overview.rows, top, 0).result().shape == (3, 0, 61)
        whole = fresh.submit(overview.rows, 0, 47).result()
        assert fresh.submit(overview.rows, top, 0).result().shape == (3, 0, 61)
    assert np.array_equal(whole, overview.rows(0, 47))


@given(st.integers(1, 47), st.integers(1, 47), st.randoms())
def test_parts_in_any_order_give_the_same_bits_and_the_means_of_areas(
    blocks: int, together: int, random: object
) -> None:
    planes = np.random.default_rng(5).random((3, 47, 61)).astype(np.float32)

    class Small(Reducer):
        TOGETHER = together

    def in_order(tops: list[int]) -> NDArray[np.float32]:
        reducer = Small(47, 61, blocks, 9)
        for top in tops:
            reducer.add(planes[:, top : top + together], top)
        return reducer.overview().planes

    tops = list(range(0, 47, together))
    expected = np.stack([cv2.resize(plane, (9, blocks), interpolation=cv2.INTER_AREA) for plane in planes])
    result = in_order(tops)
    assert np.abs(result - expected).max() < 2e-6
    random.shuffle(tops)  # type: ignore[attr-defined]
    assert np.array_equal(in_order(tops), result)


def test_unreduced_it_is_the_frame_itself() -> None:
    planes = np.random.default_rng(5).uniform(-1, 70000, (3, 13, 17)).astype(np.float32)
    overview = reduced(planes, 1, [0, 4, 9])
    assert np.array_equal(overview.planes, planes)
    assert np.array_equal(overview.rows(0, 13), planes)
    assert np.array_equal(overview.blurred(0.01).rows(0, 13), planes)


@given(st.integers(1, 9), st.integers(0, 46))
def test_rows_do_not_depend_on_how_many_are_asked_for(by: int, row: int) -> None:
    planes = np.random.default_rng(6).random((3, 47, 61)).astype(np.float32)
    overview = reduced(planes, by)
    assert np.array_equal(overview.rows(row, 1), overview.rows(0, 47)[:, row : row + 1])


@pytest.mark.parametrize("by", [2, 5, 8])
def test_an_even_slope_comes_back_whole_between_the_outer_blocks_centres(by: int) -> None:
    across, down = np.meshgrid(np.arange(80), np.arange(40))
    slope = (0.01 * across - 0.02 * down).astype(np.float32)
    rows = reduced(np.stack([slope] * 3), by).rows(0, 40)
    inside = (slice(None), slice(by, 40 - by), slice(by, 80 - by))
    assert np.abs(rows - slope)[inside].max() < 1e-6


@pytest.mark.parametrize("name", ["astronaut", "coffee", "portrait", "temple"])
@pytest.mark.parametrize("sigma", [5.0, 10.0, 23.0])
def test_a_blur_by_way_of_a_fifth_is_the_blur(
    photographs: dict[str, NDArray[np.uint8]], name: str, sigma: float
) -> None:
    # blocks of a fifth of sigma, against scipy at full size: within 0.004 of linear light and less than 1 of 255 codes
    planes = planes_of(photographs[name])
    overview = reduced(planes, int(sigma / 5)).blurred(sigma)
    result = overview.rows(0, planes.shape[1])
    expected = np.stack([scipy.ndimage.gaussian_filter(p.astype(np.float64), sigma, mode="reflect") for p in planes])
    assert np.abs(result - expected).max() < 0.004
    assert np.abs(srgb_encode(result) - srgb_encode(expected)).max() * 255 < 1
    assert np.sqrt(np.mean((result - expected) ** 2)) < 3e-4


def test_blur_is_no_wider_than_asked_for() -> None:
    # variances add: without taking off that of blocks of 5 and of the way back, 10² would be 10² + 24 / 4
    variances = []
    for place in range(100, 105):  # every place that a point may have in its block
        planes = np.zeros((3, 200, 200), np.float32)
        planes[:, 100, place] = 1
        rows = reduced(planes, 5).blurred(10).rows(0, 200)[0].astype(np.float64)
        assert rows.sum() == pytest.approx(1, abs=1e-3)
        profile = rows.sum(axis=0) / rows.sum()
        variances.append(np.sum(profile * (np.arange(200) - place) ** 2))
    assert np.mean(variances) == pytest.approx(100, rel=0.002)


@pytest.mark.parametrize("by", [1, 2])
def test_a_very_wide_blur_by_way_of_a_second_overview_is_the_blur(
    photographs: dict[str, NDArray[np.uint8]], by: int
) -> None:
    planes = planes_of(photographs["portrait"])
    overview = reduced(planes, by).blurred(40)
    assert overview.planes.shape == reduced(planes, by).planes.shape
    expected = np.stack([scipy.ndimage.gaussian_filter(p.astype(np.float64), 40, mode="reflect") for p in planes])
    assert np.abs(overview.rows(0, planes.shape[1]) - expected).max() < 0.002


def test_spread_is_the_sum_of_blurs() -> None:
    planes = np.random.default_rng(6).random((3, 40, 60)).astype(np.float32)
    overview = reduced(planes, 2)
    parts = 0.7 * overview.blurred(4).planes + 0.3 * overview.blurred(11).planes
    assert np.abs(overview.spread([(0.7, 4), (0.3, 11)]).planes - parts).max() < 1e-6


@pytest.mark.parametrize(("spot", "flanks"), [(1, 0.08), (10, 0.02), (40, 0.02)])
@pytest.mark.parametrize("sigma", [26.0, 40.0])
def test_a_bright_spot_spreads_as_at_full_size(spot: int, flanks: float, sigma: float) -> None:
    for left in range(140, 148):  # every place that it may have in its block
        planes = np.zeros((3, 300, 300), np.float32)
        planes[:, 150 : 150 + spot, left : left + spot] = 5
        expected = plain_blur(planes[0].astype(np.float64), sigma)
        result = reduced(planes, int(sigma / 5)).blurred(sigma).rows(0, 300)[0]
        assert result.max() == pytest.approx(expected.max(), rel=0.01)
        assert np.abs(result - expected).max() < flanks * expected.max()
