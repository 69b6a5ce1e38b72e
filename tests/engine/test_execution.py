"""The engine against the plain reference, on random recipes and wild pixels."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import gamut
from finishing.colour.spaces import COLOUR_SPACES, SRGB, ColourSpace
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.catalogue import EdgeVignette, Exposure, HueIsolation, Saturation, SplitTone, ToneCurve
from finishing.recipes.recipe import Step

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)

unit = st.floats(0, 1).map(lambda value: round(value, 3))
curve_points = st.lists(st.tuples(st.floats(0.05, 0.4), st.floats(0, 0.4)), min_size=1, max_size=5).map(
    lambda steps: [tuple(p) for p in np.cumsum([(0.0, 0.05), *steps], axis=0).tolist()]
)
operations = st.one_of(
    st.builds(Exposure, stops=st.floats(-3, 3)),
    st.builds(ToneCurve, points=curve_points, channels=st.sampled_from(["all", "red", "green", "blue", "lightness"])),
    st.builds(
        EdgeVignette,
        toward=st.sampled_from(["white", "black", "#c8a21b"]),
        strength=unit,
        starts_at=unit,
        reaches=st.floats(1.05, 2),
        shape=st.sampled_from(["ellipse", "rectangle"]),
        centre=st.sampled_from(["frame", "subject", (0.2, 0.7)]),
    ),
    st.builds(
        HueIsolation,
        keep=st.floats(0, 359),
        width=st.floats(10, 200),
        softness=st.floats(10, 90),
        rest=unit,
        least_chroma=st.just(0.02),
    ),
    st.builds(Saturation, amount=st.floats(0, 2)),
    st.builds(
        SplitTone, shadow_chroma=st.floats(0, 0.1), highlight_chroma=st.floats(0, 0.1), balance=st.floats(0.2, 0.8)
    ),
)
recipes = st.lists(operations.map(Step), min_size=1, max_size=6)


def wild(seed: int, height: int, width: int) -> NDArray[np.float32]:
    random = np.random.default_rng(seed)
    planes = random.uniform(0, 1, (3, height, width))
    planes[:, ::3] = random.uniform(-0.5, 8, planes[:, ::3].shape)
    for value in (np.nan, np.inf, -np.inf):
        planes[random.integers(3), random.integers(height), random.integers(width)] = value
    return planes.astype(np.float32)


@settings(max_examples=150)
@given(recipes, st.integers(0, 2**32 - 1), st.integers(2, 40), st.integers(2, 40), st.integers(1, 9), st.integers(1, 3))
def test_equals_the_reference(steps: list[Step], seed: int, height: int, width: int, rows: int, threads: int) -> None:
    planes = wild(seed, height, width)
    geometry = Geometry(width, height, subject=(0.3, 0.4))
    sink = LinearSink(height, width)
    execute(steps, LinearSource(planes), sink, geometry, strip_rows=rows, threads=threads)
    expected = carry_out(steps, np.moveaxis(planes, 0, -1), geometry)
    result = np.moveaxis(sink.planes, 0, -1)
    assert np.isfinite(result).all()
    # float32 against float64: relative to the largest value that the pixel had on its way, since matrices mix
    # channels (infinity comes in as 65504, of which float32 keeps seven digits)
    entered = np.clip(np.nan_to_num(np.moveaxis(planes, 0, -1)), -65504, 65504)
    scale = 1 + np.maximum(np.abs(expected), np.abs(entered)).max(axis=2, keepdims=True)
    # A bright pixel of little chroma has its hue from what is left of a difference: float32 gives its cosine to about
    # 1e-6 · L / C, and a narrow ramp (1/0.03 in cosine) and the cube on the way back stretch that.
    bound = 1e-3 if any(isinstance(step.operation, HueIsolation) for step in steps) else 2e-4
    assert (np.abs(result - expected) / scale).max() < bound * len(steps)
    whole = LinearSink(height, width)
    execute(steps, LinearSource(planes), whole, geometry, strip_rows=height)
    assert np.array_equal(whole.planes, sink.planes)


@given(recipes, st.integers(0, 2**32 - 1), st.booleans())
def test_codes_equal_the_reference_to_one_code(steps: list[Step], seed: int, in_place: bool) -> None:
    codes = np.random.default_rng(seed).integers(0, 256, (23, 31, 3), dtype=np.uint8)
    geometry = Geometry(31, 23)
    linear = carry_out(steps, TABLES[0].astype(np.float64)[codes], geometry)
    expected = SRGB.encode(gamut.bring_in(linear, SRGB)) * 255
    source = codes.copy()
    out = source if in_place else np.empty_like(codes)
    execute(steps, CodedSource(source, TABLES, None), CodedSink(out, SRGB), geometry, strip_rows=5, threads=2)
    off = np.abs(out - expected).max(axis=2)
    inside = ((linear >= 0) & (linear <= 1)).all(axis=2)
    assert off[inside].max(initial=0) < 0.75
    # far outside the gamut a rounding of float32 is stretched on the way in
    assert np.quantile(off, 0.99) < 2


@pytest.mark.parametrize("space", [s for s in COLOUR_SPACES.values() if s.name != "linear"], ids=lambda s: s.name)
def test_every_code_comes_back_through_every_space(space: ColourSpace) -> None:
    """Codes of a space, to the working space and back, are the same codes."""
    levels = np.arange(256, dtype=np.uint8)
    codes = np.stack(np.meshgrid(levels[::5], levels[::5], levels[::17], indexing="ij"), axis=-1).reshape(52, -1, 3)
    tables = np.stack([space.decode(np.arange(256) / 255).astype(np.float32)] * 3)
    matrix = None if space.name == "srgb" else space.to_working
    out = np.empty_like(codes)
    geometry = Geometry(codes.shape[1], codes.shape[0])
    execute([], CodedSource(codes, tables, matrix), CodedSink(out, space), geometry)
    assert np.array_equal(out, codes)


def test_a_linear_sink_leaves_an_untouched_picture_bit_for_bit() -> None:
    planes = np.random.default_rng(5).uniform(-1, 9, (3, 20, 30)).astype(np.float32)
    sink = LinearSink(20, 30)
    execute([], LinearSource(planes), sink, Geometry(30, 20))
    assert np.array_equal(sink.planes, planes)


def test_nan_is_black_and_infinity_is_bounded() -> None:
    planes: NDArray[Any] = np.array([np.nan, np.inf, -np.inf, 0.25], np.float32).reshape(1, 1, 4).repeat(3, axis=0)
    sink = LinearSink(1, 4)
    execute([], LinearSource(planes), sink, Geometry(4, 1))
    assert sink.planes[0, 0].tolist() == [0, 65504, -65504, 0.25]
