import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.halation import Halation
from finishing.recipes.recipe import Step


def finish(operation: Halation, linear: NDArray[np.floating], **how: int) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height), **how)
    return np.moveaxis(sink.planes, 0, -1)


def lamp(value: float = 2.0) -> NDArray[np.float32]:
    linear = np.full((120, 180, 3), 0.02, np.float32)
    linear[50:70, 80:100] = value
    return linear


def test_the_halo_is_red_and_the_lamp_and_the_distance_stay() -> None:
    before = lamp()
    after = finish(Halation(strength=1, spread=0.03), before)
    halo = after[60, 103] - before[60, 103]
    assert halo[0] > 0.05
    assert halo[0] > 3 * halo[1] > 9 * halo[2] > 0
    _, _, hue = oklab.oklab_to_oklch(oklab.linear_to_oklab(halo.astype(np.float64)))
    assert 25 < hue < 55
    assert np.array_equal(after[50:70, 80:100], before[50:70, 80:100])
    assert np.array_equal(after[:, :50], before[:, :50])


def test_default_spread_is_that_of_a_film_base() -> None:
    # derived here: 2 t tan(arcsin(1/n)) for a base of t = 0.13 mm with n = 1.48 (from memory), of a short side of 24 mm
    distance = 2 * 0.13 * math.tan(math.asin(1 / 1.48))
    assert distance == pytest.approx(0.238, abs=0.001)
    assert Halation().spread == pytest.approx(distance / 24, abs=2e-4)


@given(st.floats(0, 3), st.floats(0, 3), st.floats(0, 3), st.floats(0.1, 1))
def test_even_areas_stay(red: float, green: float, blue: float, above: float) -> None:
    linear = np.empty((20, 30, 3), np.float32)
    linear[:] = red, green, blue
    assert finish(Halation(strength=2, spread=0.1, above=above), linear) == pytest.approx(linear, abs=5e-6)


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee", "temple"])
def test_nothing_gets_darker_and_without_bright_light_nothing_changes(
    photographs: dict[str, NDArray[np.uint8]], name: str
) -> None:
    linear = np.asarray(srgb_decode(photographs[name] / 255), np.float32)
    after = finish(Halation(strength=1), linear)
    assert (after >= linear).all()
    assert (after[..., 0] > linear[..., 0] + 0.02).any()
    # half of the level and less gives nothing
    dim = np.minimum(linear, np.float32(srgb_decode(0.85) / 2))
    assert np.array_equal(finish(Halation(strength=1), dim), dim)


def test_each_layer_answers_to_its_own_light() -> None:
    linear = np.zeros((90, 90, 3), np.float32)
    linear[40:50, 40:50] = (0, 0, 3)
    operation = Halation(strength=1, spread=0.05)
    around = finish(operation, linear)[36, 45]
    assert around[:2].tolist() == [0, 0]
    assert 0 < around[2] < 0.1
    linear[40:50, 40:50] = (3, 0, 0)
    red = finish(operation, linear)[36, 45]
    assert red[0] > 10 * around[2]
    assert red[1:].tolist() == [0, 0]


def test_the_tint_is_the_colour_around_a_white_light() -> None:
    after = finish(Halation(strength=0.7, spread=0.05, tint="#40ff80"), lamp() - np.float32(0.02))
    halo = after[60, 105].astype(np.float64)
    assert srgb_encode(halo / halo[1]) * 255 == pytest.approx([0x40, 0xFF, 0x80], abs=0.05)
    assert Halation(tint="#000000").changes_nothing()


def test_strength_is_in_proportion() -> None:
    before = lamp()
    once, twice = (finish(Halation(strength=strength), before) - before for strength in (0.5, 1.0))
    assert twice == pytest.approx(2 * once, abs=1e-6)


@pytest.mark.parametrize("name", ["astronaut", "portrait", "coffee"])
@pytest.mark.parametrize("spread", [0.02, 0.06])
def test_the_reduced_way_is_the_plain_way_on_photographs(
    photographs: dict[str, NDArray[np.uint8]], name: str, spread: float
) -> None:
    linear = srgb_decode(photographs[name][:400, :400] / 255)
    operation = Halation(strength=1, spread=spread, above=0.7)
    expected = carry_out([Step(operation)], linear, Geometry(400, 400))
    assert np.abs(srgb_encode(finish(operation, linear)) - srgb_encode(expected)).max() * 255 < 1.5


@given(st.floats(0.01, 3), st.floats(0.1, 1), st.integers(0, 2**32 - 1))
def test_engine_equals_the_reference_where_nothing_is_reduced(strength: float, above: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    linear = (random.choice([0.02, 0.4, 8], (23, 31, 1)) * random.uniform(-0.1, 1, (23, 31, 3))).astype(np.float32)
    operation = Halation(strength=strength, spread=0.1, above=above)
    assert operation.reduction(Geometry(31, 23)) == 1
    expected = carry_out([Step(operation)], linear, Geometry(31, 23))
    assert finish(operation, linear, strip_rows=6) == pytest.approx(expected, rel=1e-5, abs=2e-5)
