import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pydantic import ValidationError

from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.veil import Veil
from finishing.recipes.recipe import Step


def finish(operation: Veil, linear: NDArray[np.floating], **how: int) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height), **how)
    return np.moveaxis(sink.planes, 0, -1)


def random_light(height: int = 100, width: int = 60) -> NDArray[np.float32]:
    return np.random.default_rng(3).uniform(0, 2, (height, width, 3)).astype(np.float32)


def test_beyond_the_far_line_it_is_koschmieder_s_law() -> None:
    # I = J·exp(−βd) + A·(1 − exp(−βd)) at βd = the density: 0.7 leaves 0.4966 of the contrast, 2.3 leaves 0.1003
    linear = random_light()
    air = srgb_decode(np.array([0x80, 0x90, 0xA0]) / 255)
    for density, left in ((0.7, 0.496585), (2.3, 0.100259)):
        veil = Veil(density=density, near_at=(0.5, 0.9), far_at=(0.5, 0.4), colour="#8090a0")
        assert finish(veil, linear)[:40] == pytest.approx(linear[:40] * left + air * (1 - left), abs=2e-6)


def test_before_the_near_line_all_stays_bit_for_bit() -> None:
    linear = random_light()
    result = finish(Veil(density=2, near_at=(0.5, 0.75), far_at=(0.5, 0.25)), linear, strip_rows=8)
    assert np.array_equal(result[75:], linear[75:])
    assert not np.array_equal(result[70], linear[70])


def test_halfway_the_distance_is_a_half() -> None:
    # derived here: the middle of row 50 of 101 lies halfway between lines through 0 and 1; 0.5²·(3 − 2·0.5) = 0.5
    veil = Veil(density=1, near_at=(0.5, 1), far_at=(0.5, 0), colour="#000000")
    result = finish(veil, np.ones((101, 5, 3)))
    assert result[50] == pytest.approx(math.exp(-0.5), abs=1e-6)
    # a quarter of the way: 0.15625
    result = finish(Veil(density=1, near_at=(0.5, 1), far_at=(0.5, 0), colour="#000000"), np.ones((2, 5, 3)))
    assert result[1] == pytest.approx(math.exp(-0.15625), abs=1e-6)


def test_haze_thickens_upward_evenly_across() -> None:
    linear = np.full((200, 90, 3), 0.05)
    result = finish(Veil(density=0.7), linear)
    assert (np.diff(result[..., 0], axis=0) <= 1e-7).all()
    assert result[0, 0, 0] > 0.3
    assert np.ptp(result, axis=1).max() == 0


def test_contrast_falls_and_a_thing_of_the_air_s_colour_cannot_be_seen() -> None:
    veil = Veil(density=1.5, colour="#c0c8d0")
    air = np.broadcast_to(srgb_decode(np.array([0xC0, 0xC8, 0xD0]) / 255), (100, 60, 3))
    assert finish(veil, air) == pytest.approx(air, abs=1e-6)
    # each pixel's distance to the air shrinks by the same share
    linear = random_light()
    share = (finish(veil, linear) - air) / (linear - air)
    assert share[:30] == pytest.approx(math.exp(-1.5), abs=1e-3)


def test_two_hazes_one_after_the_other_add_their_densities() -> None:
    linear = random_light()
    twice = finish(Veil(density=0.4), finish(Veil(density=0.6), linear))
    assert twice == pytest.approx(finish(Veil(density=1.0), linear), abs=2e-6)


def test_a_slanting_way() -> None:
    linear = random_light(80, 120)
    veil = Veil(density=1, near_at=(0, 1), far_at=(1, 0))
    result = finish(veil, linear)
    air = np.asarray(srgb_decode(np.array(veil.colour)))
    share = ((result - air) / (linear - air)).mean(axis=2)
    assert share[-1, 0] == pytest.approx(1, abs=1e-3)
    assert share[0, -1] == pytest.approx(math.exp(-1), abs=1e-3)
    # square to the way, in pixels: (60, 40) on the frame's middle, and 12 right, 18 down from it on the same line
    assert share[40, 60] == pytest.approx(share[58, 72], abs=1e-3)


@pytest.mark.parametrize("far", [(0.5, 0.5), [0.5, 0.5]])
def test_the_two_points_must_differ(far: object) -> None:
    with pytest.raises(ValidationError, match="other than near_at"):
        Veil(density=1, near_at=(0.5, 0.5), far_at=far)


points = st.tuples(st.floats(-0.5, 1.5), st.floats(-0.5, 1.5))


@given(st.floats(0.01, 6), points, points, st.integers(0, 2**32 - 1))
def test_engine_equals_the_reference(
    density: float, near: tuple[float, float], far: tuple[float, float], seed: int
) -> None:
    if math.dist(near, far) < 0.05:
        return
    linear = np.random.default_rng(seed).uniform(-0.5, 8, (23, 31, 3)).astype(np.float32)
    veil = Veil(density=density, near_at=near, far_at=far)
    expected = carry_out([Step(veil)], linear, Geometry(31, 23))
    assert finish(veil, linear, strip_rows=6) == pytest.approx(expected, rel=1e-5, abs=1e-4)
