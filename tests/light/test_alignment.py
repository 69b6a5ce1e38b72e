"""Frames that do not lie on each other: what is found, and what is left of the error."""

import cv2
import numpy as np
import pytest

from finishing.colour.spaces import LUMINANCE
from finishing.light.alignment import align
from tests.light.frames_of_scene import blended, both_lights, jpeg_frame, rms, taken_apart
from tests.light.scene import Floats, encoded, lights, photographed


def planes(light: Floats, seed: int) -> np.ndarray:
    return np.ascontiguousarray(np.moveaxis(photographed(light, seed), -1, 0).astype(np.float32))


@pytest.mark.parametrize(
    ("shift", "degrees"), [((0, 0), 0), ((8, -5), 0.5), ((-8, 8), -0.5), ((3.4, 0.3), 0.2), ((22, -9), 1.5)]
)
@pytest.mark.parametrize("longer", [4, 0])
def test_shift_and_turn_are_found(shift: tuple[float, float], degrees: float, longer: int) -> None:
    # against a frame two stops longer, and against one without the strobe
    ambient, strobe, _ = lights()
    moved_ambient, moved_strobe, _ = lights(shift=shift, degrees=degrees)
    second = longer * moved_ambient + moved_strobe if longer else moved_ambient
    found = align(planes(ambient + strobe, 1), planes(second, 2), LUMINANCE)
    assert found.found
    assert found.shift == pytest.approx(shift, abs=0.1)
    assert found.degrees == pytest.approx(degrees, abs=0.012)
    assert found.scale == pytest.approx(1, abs=3e-4)


def test_another_scene_is_refused() -> None:
    ambient, strobe, _ = lights()
    other = np.ascontiguousarray((ambient + strobe)[::-1, ::-1])
    assert not align(planes(ambient + strobe, 1), planes(other, 2), LUMINANCE).found


def test_misaligned_frames_come_out_nearly_as_well() -> None:
    ambient, strobe, _ = lights()
    moved_ambient, moved_strobe, _ = lights(shift=(8, -5), degrees=0.5)
    first = jpeg_frame(ambient + strobe, 1, 0)
    # away from the frame's border and from outlines, which half a pixel's sampling draws differently in each frame
    edge = np.abs(np.gradient((4 * ambient + strobe).max(axis=-1))).max(axis=0) > 0.03
    away = cv2.dilate(edge.astype(np.uint8), np.ones((7, 7), np.uint8)) == 0
    away[:20] = away[-20:] = away[:, :20] = away[:, -20:] = False
    assert away.mean() > 0.7
    aligned = taken_apart([first, jpeg_frame(4 * ambient + strobe, 4, 1)])
    misaligned = taken_apart([first, jpeg_frame(4 * moved_ambient + moved_strobe, 4, 1)])
    assert misaligned.frames[1].placed is not None
    assert aligned.frames[1].placed is None  # on a tripod no pixel is interpolated
    for stops in (-1, 0, 1, 2, 3):
        truth = encoded(2.0**stops * ambient + strobe)
        good, other = (rms((encoded(blended(one, stops)) - truth)[away]) for one in (aligned, misaligned))
        assert other <= 1.5 * good, stops
    for truth, good, other in zip((ambient, strobe), both_lights(aligned), both_lights(misaligned), strict=True):
        assert rms((other - truth)[away]) <= 1.5 * rms((good - truth)[away])


def test_what_one_frame_did_not_see_keeps_the_light_of_the_first() -> None:
    ambient, strobe, _ = lights()
    moved_ambient, moved_strobe, _ = lights(shift=(8, -5), degrees=0.5)
    separation = taken_apart(
        [
            jpeg_frame(ambient + strobe, 1, 0, quality=None, noise=False),
            jpeg_frame(4 * moved_ambient + moved_strobe, 4, 1, quality=None, noise=False),
        ]
    )
    border = np.s_[:, -6:]
    off = encoded(blended(separation, 0))[border] - separation.frames[0].codes[border]
    assert np.abs(off).max() < 0.6
