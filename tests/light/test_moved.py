"""A subject that moved between the frames."""

import cv2
import numpy as np
import pytest

from tests.light.frames_of_scene import blended, jpeg_frame, jpeg_frames, rms, scene_apart, taken_apart
from tests.light.scene import encoded, lights


@pytest.mark.parametrize("step", [12, 40, 90])
@pytest.mark.parametrize("times", [(1, 2, 4), (1, 4)])
def test_moved_subject_is_marked(step: int, times: tuple[int, ...]) -> None:
    ambient, strobe, subject = lights()
    later_ambient, later_strobe, later_subject = lights(step_aside=step)
    frames = [
        jpeg_frame(t * later_ambient + later_strobe if t == times[-1] else t * ambient + strobe, t, index)
        for index, t in enumerate(times)
    ]
    marked = taken_apart(frames).overview.moved_mask
    moved = np.maximum(subject, later_subject) > 0.5
    # the subject's soft shadow went with it: what changed otherwise is no part of the rest
    changed = np.abs(4 * (later_ambient - ambient) + later_strobe - strobe).max(axis=-1) > 0.004
    rest = ~(moved | changed)
    assert marked[moved].mean() > 0.9
    assert marked[rest].mean() < 0.05


@pytest.mark.parametrize("times", [(1, 4), (1, 2), (1, 2, 4)])
def test_nothing_moved(times: tuple[int, ...]) -> None:
    assert scene_apart(times).overview.moved_mask.mean() < 0.001
    assert scene_apart((1, 1), strobes=(False, True)).overview.moved_mask.mean() < 0.001


def test_what_moved_keeps_the_light_of_one_frame() -> None:
    ambient, strobe, subject = lights()
    later_ambient, later_strobe, later_subject = lights(step_aside=40)
    seen = (ambient + strobe, 2 * ambient + strobe, 4 * later_ambient + later_strobe)
    frames = [jpeg_frame(light, 2**index, index, quality=None) for index, light in enumerate(seen)]
    separation = taken_apart(frames)
    both = np.maximum(subject, later_subject) > 0.5
    off = encoded(blended(separation, 0)) - frames[0].codes
    assert np.abs(off[both]).max() < 0.6  # the first frame comes back as it was
    # and with more ambient the subject looks as it would have there, not as a ghost of two
    truth = encoded(2 * ambient + strobe)
    inside = cv2.erode((subject > 0.5).astype(np.uint8), np.ones((9, 9))) > 0
    ghost = encoded(2 * later_ambient + later_strobe)
    found = encoded(blended(separation, 1))
    assert rms((found - truth)[inside]) < 0.25 * rms((ghost - truth)[inside])


def test_the_mark_fades_at_its_border() -> None:
    later_ambient, later_strobe, _ = lights(step_aside=40)
    frames = [*jpeg_frames([1, 2]), jpeg_frame(4 * later_ambient + later_strobe, 4, 2)]
    over = taken_apart(frames).overview
    assert (over.moved[over.moved_mask] > 0.95).all()
    steps = np.abs(np.diff(over.moved, axis=1)).max()
    assert 0 < steps < 0.35
