"""What is measured of a region: laws that hold whatever the pixels, and what is clipped or too dark."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.errors import Problem
from finishing.evenness.reading import DARK, KEPT, Reading, common_ranks, read_light, shift_to
from finishing.operation import Geometry, Planes
from finishing.regions.box import Box
from finishing.regions.ellipse import Ellipse

seeds = st.integers(0, 10_000)


def picture(seed: int, low: float = -4.0, high: float = -1.0, size: int = 60) -> Planes:
    """Light spread evenly over stops under white, in mixed colours."""
    random = np.random.default_rng(seed)
    light = 2.0 ** random.uniform(low, high, (1, size, size))
    return np.asarray(light * random.uniform(0.7, 1.0, (3, size, size)), np.float32)


def read(planes: Planes, clipped: NDArray[np.bool_] | None = None, region: Box | Ellipse | None = None) -> Reading:
    cut = np.zeros(planes.shape[1:], bool) if clipped is None else clipped
    return read_light(planes, cut, region, Geometry(planes.shape[2], planes.shape[1]))


@given(seeds, st.floats(-0.9, 0.9))
def test_a_gain_scales_the_measure_exactly(seed: int, stops: float) -> None:
    planes = picture(seed)
    plain, gained = read(planes), read(planes * np.float32(2.0**stops))
    assert gained.level - plain.level == pytest.approx(stops, abs=1e-5)
    shift = shift_to(plain, gained)
    assert shift is not None
    assert shift.stops == pytest.approx(-stops, abs=1e-5)
    assert plain.corrected(None, stops).level - plain.level == pytest.approx(stops, abs=1e-9)


@given(seeds)
def test_a_frame_against_itself_is_no_shift(seed: int) -> None:
    reading = read(picture(seed))
    shift = shift_to(reading, reading)
    assert shift is not None
    assert shift.stops == 0


@given(seeds, st.floats(0.6, 1.5))
def test_what_clips_does_not_bend_the_measure(seed: int, stops: float) -> None:
    """Light from -3 to 0 stops, lifted: a third and more is clipped. Left out of the ranking as well, the others alone
    would give up to a stop less; ranked above them, the shift is that of the gain."""
    planes = picture(seed, -3, 0, 120)
    lifted = planes * np.float32(2.0**stops)
    over = (lifted >= 1).any(axis=0)
    key, frame = read(planes), read(np.minimum(lifted, 1), over)
    assert frame.clipped > 0.1
    shift = shift_to(key, frame)
    if frame.usable < 0.3:
        assert shift is None
        return
    assert shift is not None
    assert shift.stops == pytest.approx(-stops, abs=0.12)
    naive = float(np.median(np.log2(key.pixels @ [0.2126, 0.7152, 0.0722]))) - float(
        np.median(np.log2(frame.pixels @ [0.2126, 0.7152, 0.0722]))
    )
    assert abs(naive + stops) > abs(shift.stops + stops)


def test_dark_pixels_are_left_out_and_ranked_below() -> None:
    planes = np.full((3, 10, 10), 0.1, np.float32)
    planes[:, :, :4] = DARK / 2
    reading = read(planes)
    assert (reading.dark, reading.clipped) == (pytest.approx(0.4), 0)
    assert len(reading.pixels) == 60
    assert reading.level == pytest.approx(np.log2(0.1), abs=1e-6)


def test_why_a_reading_is_unsafe() -> None:
    planes = np.full((3, 10, 10), 0.1, np.float32)
    cut = np.zeros((10, 10), bool)
    cut[:, :8] = True
    assert read(planes, cut).unsafe == "80% of the region is clipped"
    assert read(planes * np.float32(0.01)).unsafe == "100% of the region is too dark"
    cut[:, 7:] = False
    assert read(planes, cut).unsafe == ""  # 70 % clipped leaves the 30 % that is asked for
    outside = Box(sides=(0.2, 0.2, 0.2001, 0.2001), soft=0)
    assert read(planes, region=outside).unsafe == "the region is empty in this frame"


def test_a_region_that_needs_a_subject() -> None:
    with pytest.raises(Problem, match="this frame has no subject point"):
        read(picture(1), region=Ellipse(**Ellipse.spelled_out("subject")))


def test_the_median_is_that_of_numpy() -> None:
    planes = picture(3, size=41)
    light = 0.2126390 * planes[0] + 0.7151687 * planes[1] + 0.0721923 * planes[2]
    assert read(planes).level == pytest.approx(float(np.median(np.log2(light))), abs=0.01)


def test_many_pixels_are_thinned_out_evenly() -> None:
    planes = picture(4, size=300)
    reading = read(planes)
    assert len(reading.pixels) == KEPT
    light = planes.reshape(3, -1).T @ [0.2126390, 0.7151687, 0.0721923]
    for rank in (0.1, 0.5, 0.9):
        assert float(reading.at(rank)) == pytest.approx(float(np.log2(np.quantile(light, rank))), abs=0.01)


def test_frames_with_too_little_in_common_are_not_compared() -> None:
    planes = picture(5)
    ranks = np.argsort(planes.sum(axis=0), axis=None).reshape(60, 60)
    over, under = ranks >= 0.55 * 3600, planes.copy()
    under[:, ranks < 0.5 * 3600] = 0
    bright, dark = read(planes, over), read(under)
    assert bright.unsafe == ""
    assert dark.unsafe == ""
    assert common_ranks(bright, dark) is None
    assert shift_to(bright, dark) is None


def test_a_change_of_content_shows_as_doubt() -> None:
    planes = picture(6)
    other = planes.copy()
    other[:, :20] *= np.float32(4)
    same, changed = shift_to(read(planes), read(planes)), shift_to(read(planes), read(other))
    assert same is not None
    assert changed is not None
    assert changed.doubt > 3 * same.doubt
