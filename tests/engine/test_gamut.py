import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import gamut, oklab
from finishing.colour.spaces import DISPLAY_P3, OPRGB, SRGB, ColourSpace
from finishing.engine.gamut import bring_in, matrices_of

SPACES = pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, OPRGB], ids=lambda s: s.name)


def colours(count: int = 4000, seed: int = 1) -> NDArray[np.float64]:
    """Working-space pixels of which many lie outside every gamut."""
    return np.random.default_rng(seed).uniform(-0.4, 1.4, (count, 3))


def lch(linear: NDArray[np.float64], space: ColourSpace) -> NDArray[np.float64]:
    return oklab.oklab_to_oklch(oklab.linear_to_oklab(linear @ space.to_working.T))


@SPACES
def test_lightness_and_hue_stay(space: ColourSpace) -> None:
    pixels = colours()
    found = gamut.bring_in(pixels, space)
    assert found.min() >= -1.1 * gamut.TOLERANCE
    assert found.max() <= 1 + 1.1 * gamut.TOLERANCE
    before, after = oklab.oklab_to_oklch(oklab.linear_to_oklab(pixels)), lch(found, space)
    within = (before[:, 0] > 0.02) & (before[:, 0] < 0.98)
    assert np.abs(after[within, 0] - before[within, 0]).max() < 2e-3
    coloured = within & (after[:, 1] > 0.01)
    turn = np.abs((after[:, 2] - before[:, 2] + 180) % 360 - 180)
    assert turn[coloured].max() < 1.0
    assert (after[within, 1] <= before[within, 1] + 1e-6).all()


@SPACES
def test_what_is_inside_stays_bit_for_bit(space: ColourSpace) -> None:
    inside = np.random.default_rng(2).uniform(0, 1, (500, 3))
    working = inside @ space.to_working.T
    np.testing.assert_allclose(gamut.bring_in(working, space), inside, atol=1e-9)
    planes = np.ascontiguousarray(inside.astype(np.float32).T[:, None, :])
    kept = planes.copy()
    assert bring_in(planes, *matrices_of(space)) == 0
    assert np.array_equal(planes, kept)


def test_against_coloraide() -> None:
    """CSS Color 4 chroma reduction as coloraide 8.13 does it, with a just noticeable difference of 0."""
    from coloraide import Color

    pixels = colours(150, seed=3)
    found = gamut.bring_in(pixels, SRGB)
    for pixel, mine in zip(pixels, found, strict=True):
        colour = Color("srgb-linear", pixel.tolist())
        theirs = colour.clone().fit("srgb-linear", method="oklch-chroma", jnd=0).coords()
        first, second = (oklab.oklab_to_oklch(oklab.linear_to_oklab(c)) for c in (mine, np.array(theirs)))
        assert first[0] == pytest.approx(second[0], abs=2e-3)
        assert first[1] == pytest.approx(second[1], abs=4e-3)
        if min(first[1], second[1]) > 0.01:
            assert abs((first[2] - second[2] + 180) % 360 - 180) < 1.0


@SPACES
def test_the_quick_way_equals_the_plain_one(space: ColourSpace) -> None:
    pixels = colours(6000, seed=4)
    own = (pixels @ space.from_working.T).astype(np.float32)
    planes = np.ascontiguousarray(own.T.reshape(3, 30, 200))
    count = bring_in(planes, *matrices_of(space))
    expected = gamut.bring_in(own.astype(np.float64) @ space.to_working.T, space)
    outside = ((own < -gamut.TOLERANCE) | (own > 1 + gamut.TOLERANCE)).any(axis=1)
    plain_white_or_black = (own >= 1).all(axis=1) | (own <= 0).all(axis=1)
    assert count == (outside & ~plain_white_or_black).sum()
    assert np.abs(np.clip(planes.reshape(3, -1).T, 0, 1) - np.clip(expected, 0, 1)).max() < 5e-4


@given(st.floats(1.0, 60), st.floats(-0.3, 60), st.floats(-0.3, 60))
def test_light_beyond_white_is_white_or_inside(red: float, green: float, blue: float) -> None:
    found = gamut.bring_in(np.array([[red, green, blue]]), SRGB)[0]
    assert found.min() >= -1.1e-5
    assert found.max() <= 1 + 1.1e-5
    if min(red, green, blue) >= 1:
        np.testing.assert_allclose(found, 1, atol=1e-9)
