"""Both lights put together anew."""

import numpy as np
import pytest

from finishing.colour.spaces import COLOUR_SPACES, LUMINANCE
from finishing.light.blending import AMBIENT_ALONE, STROBE_ALONE, Blend, BlendSource, Light
from finishing.light.separation import separate
from tests.light.frames_of_scene import blended, jpeg_frames, linear_frames, scene_apart, taken_apart
from tests.light.scene import decoding_tables, lights


def test_neutral_gives_the_first_frame_back() -> None:
    frames = jpeg_frames([1, 4])
    first = decoding_tables()[0][frames[0].codes]
    found = blended(taken_apart(frames), 0)
    # within rounding of 16 bits, but where noise had to be set to no light at all
    assert np.quantile(np.abs(found - first), 0.75) < 2e-5
    assert np.abs(found - first).max() < 0.02


@pytest.mark.parametrize("threads", [1, 2])
def test_bytes_do_not_depend_on_threads(threads: int) -> None:
    separation = scene_apart((1, 4))
    codes, _, _ = BlendSource(separation, Blend(Light(1.0), Light(-0.5, 4300))).codes(threads)
    again, _, _ = BlendSource(separation, Blend(Light(1.0), Light(-0.5, 4300))).codes(1)
    np.testing.assert_array_equal(codes, again)


def test_the_two_alone_add_up() -> None:
    separation = scene_apart((1, 4), linear=True)
    parts = [BlendSource(separation, one).codes(1)[0].astype(int) for one in (AMBIENT_ALONE, STROBE_ALONE)]
    whole = BlendSource(separation, Blend()).codes(1)[0].astype(int)
    assert np.abs(parts[0] + parts[1] - whole).max() <= 1


def test_each_light_has_its_own_white_balance() -> None:
    separation = scene_apart((1, 4), linear=True)
    grey = np.ones(3)
    # light of a lower colour temperature made neutral turns blue; of a higher one, warm; luminance stays
    for kelvin, sign in ((4300, 1), (9000, -1)):
        turned = Light(0.0, kelvin).matrix @ grey
        assert sign * (turned[2] - turned[0]) > 0.1
        assert LUMINANCE @ turned == pytest.approx(1, abs=1e-3)
    np.testing.assert_allclose(Light(0.0, 6504.0).matrix, np.eye(3), atol=2e-3)
    shape = (3, separation.height, separation.width)
    plain, warmer = np.empty(shape, np.float32), np.empty(shape, np.float32)
    BlendSource(separation, STROBE_ALONE).read(plain, 0)
    gains = (1.2, 1.0, 0.7)
    BlendSource(separation, Blend(Light(None), Light(1.0, gains))).read(warmer, 0)
    np.testing.assert_allclose(warmer, plain * 2 * np.array(gains).reshape(3, 1, 1), rtol=1e-5)
    ambient_stays = np.empty(shape, np.float32)
    BlendSource(separation, Blend(Light(0.0), Light(None, gains))).read(ambient_stays, 0)
    BlendSource(separation, AMBIENT_ALONE).read(plain, 0)
    np.testing.assert_array_equal(ambient_stays, plain)


def test_frames_of_other_primaries_come_out_in_the_working_space() -> None:
    ambient, strobe, _ = lights()
    wide = COLOUR_SPACES["display_p3"]
    separation = separate(linear_frames([1, 4]), LUMINANCE @ wide.to_working, threads=1)
    planes = np.empty((3, separation.height, separation.width), np.float32)
    BlendSource(separation, Blend(), wide.to_working).read(planes, 0)
    truth = np.moveaxis((ambient + strobe) @ wide.to_working.T, -1, 0)
    inside = np.moveaxis(ambient * 4 + strobe, -1, 0).max(axis=0) < 0.97
    np.testing.assert_allclose(planes[:, inside], truth[:, inside], atol=3e-5)


def test_what_is_cut_is_counted() -> None:
    ambient, strobe, _ = lights()
    separation = scene_apart((1, 4), linear=True)
    codes, above, below = BlendSource(separation, Blend(Light(3.0), Light(1.0))).codes(1)
    truth = (8 * ambient + 2 * strobe > 1).any(axis=-1).mean()
    assert above == pytest.approx(truth, rel=0.02)
    assert below == 0
    assert codes.max() == 65535
