"""Output sharpening and dithering: what they add, and what they leave alone."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from finishing.colour.spaces import OPRGB, SRGB, luminance
from finishing.engine.ends import LinearSource
from finishing.engine.execution import execute
from finishing.engine.output import SCREEN, DitheredSink, OutputSharpening, sharpen, sharpening_for
from finishing.operation import Geometry


def test_it_is_an_unsharp_mask_on_encoded_luminance() -> None:
    """SciPy's Gaussian, the formula written out: Y' = decode(encode(Y) + amount · (encode(Y) − blurred))."""
    planes = np.random.default_rng(0).uniform(0.2, 0.4, (3, 40, 50)).astype(np.float32)
    before = np.moveaxis(planes, 0, -1).astype(np.float64)
    encoded = SRGB.encode(luminance(before))
    how = OutputSharpening(sigma=1.3, amount=0.7, most=1.0)
    target = SRGB.decode(encoded + 0.7 * (encoded - ndimage.gaussian_filter(encoded, 1.3, mode="reflect")))
    sharpen(planes, how)
    after = np.moveaxis(planes, 0, -1).astype(np.float64)
    np.testing.assert_allclose(luminance(after), target, atol=2e-5)
    np.testing.assert_allclose(after / before, np.repeat((after / before)[..., :1], 3, axis=2), rtol=1e-5)  # one hue


def test_flat_areas_stay_bit_for_bit() -> None:
    planes = np.full((3, 20, 30), (0.3), np.float32)
    planes[1] = 0.7
    kept = planes.copy()
    sharpen(planes, SCREEN)
    assert np.array_equal(planes, kept)


def test_edges_get_steeper_but_no_seam_is_beyond_its_bound() -> None:
    step = np.full((3, 9, 40), 0.1, np.float32)
    step[..., 20:] = 0.5
    soft = np.stack([ndimage.gaussian_filter1d(plane, 0.7, axis=1) for plane in step]).astype(np.float32)
    sharp = soft.copy()
    sharpen(sharp, SCREEN)
    assert np.diff(sharp[0, 4]).max() > 1.1 * np.diff(soft[0, 4]).max()
    change = np.abs(SRGB.encode(sharp) - SRGB.encode(soft))
    assert 0.01 < change.max() <= SCREEN.most + 1e-6


def test_what_is_beyond_black_and_white_stays_finite() -> None:
    planes = np.random.default_rng(1).uniform(-0.5, 4, (3, 30, 30)).astype(np.float32)
    planes[:, :3] = 0
    sharpen(planes, SCREEN)
    assert np.isfinite(planes).all()
    assert planes.max() < 8


def test_for_print_the_radius_is_a_length_on_paper() -> None:
    at_300, at_150 = sharpening_for("print", 300), sharpening_for("print", 150)
    assert at_300.sigma == pytest.approx(2 * at_150.sigma)
    assert at_300.sigma * 25.4 / 300 == pytest.approx(0.08)  # millimetres
    assert sharpening_for("screen", 300) == sharpening_for("screen", 72) == SCREEN
    assert at_300.amount > SCREEN.amount


def dithered(light: NDArray[np.float32], **how: int) -> NDArray[np.uint8]:
    out = np.empty((*light.shape[1:], 3), np.uint8)
    execute([], LinearSource(light), DitheredSink(out, SRGB), Geometry(light.shape[2], light.shape[1]), **how)
    return out


def test_dithering_keeps_the_mean_and_has_the_size_of_triangular_noise() -> None:
    ramp = np.linspace(0.2, 0.4, 1000, dtype=np.float64)
    light = SRGB.decode(np.broadcast_to(ramp, (3, 600, 1000))).astype(np.float32)
    error = dithered(light) - ramp[None, :, None] * 255
    assert np.abs(error.mean(axis=0)).max() < 0.15  # of 600 rows: five standard errors
    assert abs(error.mean()) < 0.005
    # triangular noise of ±1 has a variance of 1/6, rounding adds 1/12: together 1/4, whatever the tone
    # (Lipshitz, Wannamaker, Vanderkooy 1992)
    assert error.std() == pytest.approx(0.5, abs=0.005)
    assert error.std(axis=(0, 2)).max() < 0.56
    assert np.abs(error).max() <= 1.5
    for one, other in ((error[..., 0], error[..., 1]), (error[:, :-1, 0], error[:, 1:, 0]), (error[:-1], error[1:])):
        assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 0.01


def test_dithering_depends_on_the_place_alone() -> None:
    light = np.random.default_rng(3).uniform(0, 1, (3, 40, 60)).astype(np.float32)
    whole = dithered(light, strip_rows=40)
    assert np.array_equal(whole, dithered(light, strip_rows=7, threads=2))


def test_black_and_white_stay_clean() -> None:
    light = np.zeros((3, 20, 20), np.float32)
    light[:, 10:] = 1
    light[:, 15:] = 3
    out = dithered(light)
    assert (out[:10] == 0).all()
    assert (out[10:] == 255).all()


def test_dithering_in_another_space() -> None:
    light = np.full((3, 100, 100), 0.2, np.float32)
    out = np.empty((100, 100, 3), np.uint8)
    execute([], LinearSource(light), DitheredSink(out, OPRGB), Geometry(100, 100))
    assert out.mean() == pytest.approx(float(OPRGB.encode(0.2)) * 255, abs=0.03)
