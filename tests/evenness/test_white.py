"""Evening out colour: each frame's white to the key frame's, held or let go."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from finishing.evenness.exposure import KEY, LEFT, MEASURED, PREDICTED
from finishing.evenness.reading import Reading
from finishing.evenness.white import balanced, cast_to, even_white, neutral_of_grey
from tests.evenness.dusk import cast
from tests.evenness.test_reading import picture, read

BASE = picture(21)


def under(kelvin: float) -> Reading:
    """The same scene in light of another kelvin, drawn with Bradford by colour-science."""
    return read(np.asarray(np.einsum("ij,jhw->ihw", cast(kelvin), BASE), np.float32))


def grey_after(matrix: NDArray[np.float64] | None, kelvin: float) -> float:
    """CIEDE2000 of a grey from neutral, after the correction, at its own lightness."""
    grey = cast(kelvin) @ np.full(3, 0.18)
    mended = grey if matrix is None else matrix @ grey
    mended = mended * 0.18 / float(luminance(mended))
    return float(ciede2000(linear_to_lab(mended), linear_to_lab(np.full(3, 0.18))))


@given(st.floats(5700, 7300))
def test_a_cast_comes_out(kelvin: float) -> None:
    evened = even_white([under(6504), under(kelvin)], 0)
    assert evened[0].how == KEY
    assert evened[0].matrix is None
    assert evened[1].how == MEASURED
    assert grey_after(evened[1].matrix, kelvin) < 0.6
    assert grey_after(None, kelvin) > 0.6 or abs(kelvin - 6504) < 200


@given(st.floats(5700, 7300))
def test_a_corrected_frame_needs_no_correction(kelvin: float) -> None:
    first = even_white([under(6504), under(kelvin)], 0)[1].matrix
    again = even_white([under(6504), under(kelvin).corrected(first)], 0)[1].matrix
    assert again is not None
    assert np.abs(again - np.eye(3)).max() < 2e-3


@given(st.tuples(*[st.floats(0.7, 1.4)] * 3))
def test_what_comes_out_grey_keeps_its_luminance(gains: tuple[float, float, float]) -> None:
    matrix = balanced(np.array(gains))
    came = np.linalg.solve(matrix, np.ones(3))
    assert float(luminance(came)) == pytest.approx(1, abs=1e-9)


def test_following_the_dusk() -> None:
    """Eleven frames cool from 6000 to 7000 K with a cast of their own in one. Held, all have the key's white; followed,
    they keep the course and lose only what departs from it."""
    kelvins = list(np.linspace(6000, 7000, 11))
    kelvins[7] += 500
    readings = [under(k) for k in kelvins]
    held, followed, half = (even_white(readings, 0, follow) for follow in (0.0, 1.0, 0.5))
    cools = [np.log2(float(m[2, 2])) if m is not None else 0.0 for m in (frame.matrix for frame in held)]
    kept = [np.log2(float(m[2, 2])) if m is not None else 0.0 for m in (frame.matrix for frame in followed)]
    between = [np.log2(float(m[2, 2])) if m is not None else 0.0 for m in (frame.matrix for frame in half)]
    assert cools[10] < -0.15  # the blue of the cool frames is taken down
    assert max(abs(value) for at, value in enumerate(kept) if at != 7) < 0.02
    assert kept[7] == pytest.approx(cools[7] - (cools[6] + cools[8]) / 2, abs=0.02)
    assert between[10] == pytest.approx((cools[10] + kept[10]) / 2, abs=0.01)


def test_what_cannot_be_measured_takes_the_course_of_its_neighbours() -> None:
    readings: list[Reading | str] = [under(6504), under(7000), "90% of the region is clipped", under(7000), under(7000)]
    evened = even_white(readings, 0)
    assert evened[2].how == PREDICTED
    assert "the course of its neighbours was followed" in evened[2].why
    assert evened[2].cast is None
    assert grey_after(evened[2].matrix, 7000) < 1.5
    alone = even_white(["100% of the region is too dark", under(7000)], 0)
    assert alone[1].how == LEFT
    assert alone[1].matrix is None


def test_a_strip_that_clips_is_no_change_of_colour() -> None:
    """Blue sky at the edge of the region goes out of range in one frame: its absence there is no cast."""
    planes = BASE.copy()
    planes[:, :8] = np.array([0.30, 0.36, 0.55], np.float32)[:, None, None]
    lifted = planes * np.float32(2.0)
    over = (lifted >= 1).any(axis=0)
    found = cast_to(read(planes), read(np.minimum(lifted, 1), over))
    assert found is not None
    assert np.abs(found).max() < 0.03


def test_a_grey_becomes_neutral_and_keeps_its_luminance() -> None:
    grey = np.array([0.22, 0.18, 0.13])
    mended = neutral_of_grey(grey) @ grey
    assert np.ptp(mended) < 1e-9
    assert float(luminance(mended)) == pytest.approx(float(luminance(grey)))
