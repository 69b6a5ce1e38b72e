"""Shutters that did not do what they say."""

import pytest

from tests.light.frames_of_scene import blended, jpeg_frame, jpeg_frames, rms, scene_apart, taken_apart
from tests.light.scene import encoded, lights


@pytest.mark.parametrize("excess", [0.04, 0.12])
def test_a_longer_exposure_is_found_where_no_strobe_falls(excess: float) -> None:
    ambient, strobe, _ = lights()
    frames = [jpeg_frame(ambient + strobe, 1, 0), jpeg_frame(4 * 2**excess * ambient + strobe, 4, 1)]
    separation = taken_apart(frames)
    assert separation.shutters[0].excess_stops == pytest.approx(excess, abs=0.006)
    assert rms(encoded(blended(separation, 1)) - encoded(2 * ambient + strobe)) < 1.0


def test_it_is_found_whichever_frame_comes_first() -> None:
    ambient, strobe, _ = lights()
    frames = [jpeg_frame(4 * 2**0.06 * ambient + strobe, 4, 0), jpeg_frame(ambient + strobe, 1, 1)]
    assert taken_apart(frames).shutters[0].excess_stops == pytest.approx(-0.06, abs=0.006)


def test_daylight_that_rose_before_a_frame_without_strobes() -> None:
    ambient, strobe, _ = lights()
    frames = [jpeg_frame(ambient + strobe, 1, 0), jpeg_frame(2**0.05 * ambient, 1, 1, strobes=False)]
    assert taken_apart(frames).shutters[0].excess_stops == pytest.approx(0.05, abs=0.006)


def test_right_shutters_are_left_alone() -> None:
    for times in ((1, 4), (1, 2), (4, 1), (1, 2, 4)):
        separation = scene_apart(times)
        assert [check.excess_stops for check in separation.shutters] == [0.0] * (len(times) - 1)


def test_a_ratio_below_the_shutters_says_nothing() -> None:
    # a weak strobe everywhere does the same as a shutter that was too short
    ambient, strobe, _ = lights()
    veil = strobe + 0.06 * ambient
    frames = [jpeg_frame(t * ambient + veil, t, index) for index, t in enumerate((1, 4))]
    assert taken_apart(frames).shutters[0].excess_stops == 0.0


def test_frames_keep_their_name_and_codes() -> None:
    frames = jpeg_frames([1, 4])
    placed = taken_apart(frames).frames
    assert placed[1].codes is frames[1].codes
    assert [frame.name for frame in placed] == ["frame 0", "frame 1"]
