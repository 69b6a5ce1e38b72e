"""Strobe and ambient against the truth of a drawn scene, and against the arithmetic of exposure."""

import math

import numpy as np
import pytest

from finishing.colour.spaces import LUMINANCE
from finishing.exposure.series import exact_shutter
from finishing.light.frames import LitFrame, reduced
from finishing.light.noise import estimate_noise
from finishing.light.separation import OVERVIEW, error_gain, separate
from tests.light.frames_of_scene import blended, both_lights, jpeg_frames, linear_frames, rms, scene_apart, taken_apart
from tests.light.scene import FULL_WELL, READ_NOISE, decoding_tables, encoded, lights, sixteen


def test_linear_frames_give_both_lights_back() -> None:
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 4), linear=True)
    for found, truth in zip(both_lights(separation), (ambient, strobe), strict=True):
        much = (truth > 0.02) & (4 * ambient + strobe < 0.98)
        assert much.mean() > 0.1
        assert np.abs(found[much] / truth[much] - 1).max() < 0.002


@pytest.mark.parametrize("stops", [-3.0, -0.4, 0.0, 1.3, 2.0])
def test_sum_law_on_frames_drawn_apart(stops: float) -> None:
    # the frame at another shutter is drawn by the scene's own sum, not blended by the package
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 4), linear=True)
    truth = 2.0**stops * ambient + strobe
    inside = (4 * ambient + strobe < 0.98) & (truth < 0.98) & (truth > 0.015)
    assert inside.mean() > 0.5
    found = blended(separation, stops)
    assert np.abs(found[inside] / truth[inside] - 1).max() < 0.002


def test_ambient_brought_up_under_a_constant_strobe() -> None:
    """Strobe f/11 at aperture f/11, the ambient at −2 at 1/200; opened to 1/50 the ambient is at 0, the strobe is
    unchanged, and together they are 0.678 stop over the start (derived here; the shutter sets the ambient, the aperture
    the strobe: common practice, no source)."""
    middle, ambient = 0.18, 0.18 / 4
    tables = decoding_tables(65536, linear=True)
    random = np.random.default_rng(2)
    surface = random.uniform(0.5, 1.5, (60, 90, 3))  # of different reflectance, about a middle tone

    def frame(shutter: float) -> LitFrame:
        seconds = exact_shutter(shutter)
        light = surface * (middle + ambient * seconds / exact_shutter(1 / 200))
        return LitFrame("grey", sixteen(light), tables, seconds)

    separation = taken_apart([frame(1 / 200), frame(1 / 100)])
    start, opened = blended(separation, 0), blended(separation, 2)
    level = np.log2(blended(separation, 2, None) / surface / middle).mean()
    assert level == pytest.approx(0, abs=2e-3)
    level = np.log2(blended(separation, None, 0) / surface / middle).mean()
    assert level == pytest.approx(0, abs=2e-3)
    assert np.log2(opened / start).mean() == pytest.approx(math.log2(2 / 1.25), abs=2e-3)
    assert math.log2(2 / 1.25) == pytest.approx(0.678, abs=1e-3)


def test_jpeg_frames_two_stops_apart() -> None:
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 4))
    for stops, most in ((0, 1.0), (0.5, 1.0), (1, 1.0), (1.5, 1.0), (2, 1.0), (-1, 2.0), (3, 2.0)):
        truth = 2.0**stops * ambient + strobe
        assert rms(encoded(blended(separation, stops)) - encoded(truth)) < most, stops


def test_strobe_within_a_tenth_of_a_stop() -> None:
    _, strobe, _ = lights()
    _, found = both_lights(scene_apart((1, 4)))
    truth, seen = strobe @ LUMINANCE, found @ LUMINANCE
    much = truth > 0.05
    assert much.mean() > 0.2
    assert rms(np.log2(seen[much] / truth[much])) < 0.05
    much_of_channel = strobe > 0.05
    assert rms(np.log2(np.maximum(found[much_of_channel], 1e-6) / strobe[much_of_channel])) < 0.1


def test_two_stops_beat_one_as_error_propagation_says() -> None:
    ambient, strobe, solid = lights()
    # the same noise in every frame, so that errors compare: two shutters of one scene, noise of one size
    random = np.random.default_rng(4)
    tables, size = decoding_tables(65536, linear=True), 0.002
    clear = (solid > 0.99) & (4 * ambient + strobe < 0.9).all(axis=-1) & (ambient > 0.02).all(axis=-1)
    errors = {}
    for ratio in (2, 4):
        seen = {t: t * ambient + strobe + size * random.standard_normal(ambient.shape) for t in (1, ratio)}
        frames = [LitFrame(str(t), sixteen(light), tables, t / 128) for t, light in seen.items()]
        found = both_lights(separate(frames, LUMINANCE, check_shutters=False, threads=1))
        errors[ratio] = [rms((one - truth)[clear]) for one, truth in zip(found, (ambient, strobe), strict=True)]
        predicted = [gain * size for gain in error_gain([1, ratio], [True, True])]
        assert errors[ratio] == pytest.approx(predicted, rel=0.05)
    assert errors[2][0] / errors[4][0] == pytest.approx(3, rel=0.07)
    assert errors[2][1] / errors[4][1] == pytest.approx(5**0.5 / (17**0.5 / 3), rel=0.07)


@pytest.mark.parametrize("quality", [None, 95])
def test_uncertainty_tells_the_error(quality: int | None) -> None:
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 4), quality=quality)
    over = separation.overview
    assert over.by == 1
    for found, truth, said in ((over.ambient, ambient, over.ambient_doubt), (over.strobe, strobe, over.strobe_doubt)):
        inside = np.isfinite(said) & (np.moveaxis(truth, -1, 0) > 0.02)
        error = rms((found - np.moveaxis(truth, -1, 0))[inside])
        # JPEG is told as it is where there is structure, so a calm picture does better than said
        assert 0.9 < rms(said[inside]) / error < (1.2 if quality is None else 3)


def test_noise_is_found_in_the_picture() -> None:
    noise = estimate_noise(jpeg_frames([1, 4], quality=None))
    for light in (0.05, 0.2, 0.5):
        # photons and reading, and rounding through the curve's slope (IEC 61966-2-1), added as variances
        code = (encoded(np.array(light + 1e-4)) - encoded(np.array(light - 1e-4))) / 2e-4
        truth = light / FULL_WELL + (READ_NOISE / FULL_WELL) ** 2 + 1 / code**2 / 12
        assert noise.variance(np.array(light)) == pytest.approx(truth, rel=0.35)


def test_a_frame_without_strobes() -> None:
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 1), strobes=(False, True), linear=True)
    assert separation.base == 1
    found = both_lights(separation)
    for one, truth in zip(found, (ambient, strobe), strict=True):
        assert np.abs(one - truth)[ambient + strobe < 0.97].max() < 2e-5
    noisy = scene_apart((1, 1), strobes=(False, True))
    assert rms(encoded(blended(noisy, 0)) - encoded(ambient + strobe)) < 1.0


def test_offsets_are_against_the_first_frame() -> None:
    ambient, strobe, _ = lights()
    longer_first = scene_apart((4, 1), linear=True)
    inside = 4 * ambient + strobe < 0.97
    assert np.abs(blended(longer_first, 0) - 4 * ambient - strobe)[inside].max() < 1e-4
    assert np.abs(blended(longer_first, -2) - ambient - strobe)[inside].max() < 1e-4


def test_three_frames_beat_two() -> None:
    ambient, _, _ = lights()
    two, _ = both_lights(scene_apart((1, 4), quality=None))
    three, _ = both_lights(scene_apart((1, 2, 4), quality=None))
    assert rms(three - ambient) < rms(two - ambient)


def test_nothing_is_below_black_and_inputs_stay() -> None:
    frames = jpeg_frames([1, 2])
    before = [frame.codes.copy() for frame in frames]
    ambient, strobe = both_lights(taken_apart(frames))
    assert ambient.min() >= 0
    assert strobe.min() >= 0
    for frame, codes in zip(frames, before, strict=True):
        np.testing.assert_array_equal(frame.codes, codes)


def test_rows_do_not_depend_on_how_they_are_read() -> None:
    separation = scene_apart((1, 4))
    whole = both_lights(separation)
    shape = (3, 37, separation.width)
    ambient, strobe = np.empty(shape, np.float32), np.empty(shape, np.float32)
    separation.rows(ambient, strobe, 211)
    np.testing.assert_array_equal(np.moveaxis(ambient, 0, -1), whole[0][211:248])
    np.testing.assert_array_equal(np.moveaxis(strobe, 0, -1), whole[1][211:248])


def test_clipped_sky_is_marked_and_estimated() -> None:
    ambient, strobe, solid = lights()
    bright = np.where(solid[..., None] < 0.5, np.where(np.arange(480)[:, None, None] < 170, 2.2, 1.0), 1.0) * ambient
    tables = decoding_tables(65536, linear=True)
    frames = [LitFrame(str(t), sixteen(t * bright + strobe), tables, t / 128) for t in (1, 4)]
    separation = taken_apart(frames)
    lost = (4 * bright + strobe >= 0.99).any(axis=-1)
    assert 0.15 < lost.mean() < 0.5
    marked = separation.overview.clipped == 2
    assert (marked == lost).mean() > 0.98
    found, flash = both_lights(separation)
    kept = lost & (bright + strobe < 0.98).all(axis=-1)
    np.testing.assert_allclose((found + flash)[kept], (bright + strobe)[kept], rtol=1e-3)  # the one good frame stays
    between = encoded(blended(separation, 1)) - encoded(2 * bright + strobe)
    inside = lost & (2 * bright + strobe < 1).all(axis=-1)
    assert rms(between[inside]) < 6


def test_a_large_frame_is_looked_at_reduced() -> None:
    codes = np.full((30, 2 * OVERVIEW, 3), 100, np.uint8)
    codes[11, 5] = 255
    frame = LitFrame("wide", codes, decoding_tables(), 1 / 128)
    small = reduced(frame, 3)
    light = decoding_tables()[0, 100]
    assert small.shape == (3, 10, 2 * OVERVIEW // 3)
    assert small[0, 0, 0] == pytest.approx(light, rel=1e-6)
    assert small[0, 3, 1] == pytest.approx(frame.white[0])  # one clipped pixel makes the block count as clipped


def test_frames_that_cannot_be_taken_apart() -> None:
    frames = linear_frames([1, 4])
    with pytest.raises(ValueError, match="apart"):
        taken_apart([frames[0], frames[0]])
    with pytest.raises(ValueError, match="two frames"):
        taken_apart(frames[:1])
    smaller = LitFrame("small", frames[1].codes[:100], frames[1].tables, 4 / 128)
    with pytest.raises(ValueError, match="one size"):
        taken_apart([frames[0], smaller])
