"""16-bit and float ends: codes come back as they were, and what lies between them is exact."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import gamut
from finishing.colour.spaces import COLOUR_SPACES, DISPLAY_P3, OPRGB, SRGB, ColourSpace
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.output import DitheredSink
from finishing.operation import Geometry
from finishing.operations.catalogue import Exposure, HueIsolation, ToneCurve
from finishing.recipes.recipe import Step


def tables_of(space: ColourSpace, levels: int) -> NDArray[np.float32]:
    return np.stack([space.decode(np.linspace(0, 1, levels)).astype(np.float32)] * 3)


def every_code() -> NDArray[np.uint16]:
    """A 16-bit gradient: each code in each channel, in three different orders."""
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    return np.stack([codes, codes[::-1, ::-1], codes.T], axis=-1)


@pytest.mark.parametrize("space", COLOUR_SPACES.values(), ids=lambda s: s.name)
def test_every_sixteen_bit_code_comes_back(space: ColourSpace) -> None:
    codes, out = every_code(), np.empty((256, 256, 3), np.uint16)
    matrix = None if np.array_equal(space.to_working, np.eye(3)) else space.to_working
    execute([], CodedSource(codes, tables_of(space, 65536), matrix), CodedSink(out, space), Geometry(256, 256))
    assert np.array_equal(out, codes)


@pytest.mark.parametrize("space", [SRGB, COLOUR_SPACES["linear"]], ids=lambda s: s.name)
def test_the_float_path_keeps_every_code_too(space: ColourSpace) -> None:
    codes, out = every_code(), np.empty((256, 256, 3), np.uint16)
    planes = np.ascontiguousarray(np.moveaxis(space.decode(codes / 65535), -1, 0), dtype=np.float32)
    execute([], LinearSource(planes), CodedSink(out, space), Geometry(256, 256), strip_rows=17)
    assert np.array_equal(out, codes)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, OPRGB], ids=lambda s: s.name)
def test_light_becomes_the_nearest_code(space: ColourSpace) -> None:
    light = np.random.default_rng(4).uniform(0, 1.1, (3, 64, 50)).astype(np.float32) ** 3
    out = np.empty((64, 50, 3), np.uint16)
    execute([], LinearSource(light), CodedSink(out, space), Geometry(50, 64), threads=2)
    exact = space.encode(np.clip(gamut.bring_in(np.moveaxis(light, 0, -1), space), 0, 1)) * 65535
    wanted = np.moveaxis(light, 0, -1).astype(np.float64) @ space.from_working.T
    inside = ((wanted >= 0) & (wanted <= 1)).all(axis=-1)[..., None] & np.ones(3, bool)
    near_black = exact < 600  # where a power's slope has no bound, float32 keeps fewer places
    assert np.abs(out - exact)[inside & ~near_black].max() < 0.8
    # brought into the gamut by way of OkLab in float32: within a thirtieth of an 8-bit code
    assert np.abs(out - exact)[~near_black].max() < 9
    assert np.abs(out - exact)[near_black].max() < 12


def test_steps_worked_into_the_table_of_65536_codes_equal_the_long_way() -> None:
    codes = np.random.default_rng(1).integers(0, 65536, (40, 50, 3), dtype=np.uint16)
    steps = [Step(Exposure(stops=0.7)), Step(ToneCurve(points=[(0, 0.06), (0.5, 0.6), (1, 0.9)]))]
    source = CodedSource(codes, tables_of(SRGB, 65536), None)
    quick, long_way = np.empty_like(codes), np.empty_like(codes)
    execute(steps, source, CodedSink(quick, SRGB), Geometry(50, 40))
    light = LinearSink(40, 50)
    execute([], source, light, Geometry(50, 40))
    execute(steps, LinearSource(light.planes), CodedSink(long_way, SRGB), Geometry(50, 40))
    assert np.abs(quick.astype(int) - long_way).max() <= 1


def test_sixteen_bits_are_used_by_steps_that_no_table_holds() -> None:
    """A slow ramp keeps its fineness through OkLab and back."""
    ramp = np.linspace(20000, 21000, 800).astype(np.uint16)
    codes = np.repeat(np.repeat(ramp[None, :, None], 4, axis=0), 3, axis=2)
    codes[..., 0] += 9000
    out = np.empty_like(codes)
    step = Step(HueIsolation(keep=200, width=40, softness=20, rest=0.5))
    execute([step], CodedSource(codes, tables_of(SRGB, 65536), None), CodedSink(out, SRGB), Geometry(800, 4))
    assert len(np.unique(out[0, :, 1])) > 600  # 8 bits have four codes there


def test_eight_bits_become_the_sixteen_bit_codes_that_mean_the_same() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    out = np.empty((16, 16, 3), np.uint16)
    execute([], CodedSource(codes, tables_of(SRGB, 256), None), CodedSink(out, SRGB), Geometry(16, 16))
    assert np.array_equal(out, codes.astype(np.uint16) * 257)


@given(
    st.integers(1, 40),
    st.integers(1, 40),
    st.integers(1, 40),
    st.integers(1, 40),
    st.sampled_from([np.uint8, np.uint16]),
)
def test_reducing_codes_is_the_mean_over_each_area_in_linear_light(
    height: int, width: int, rows: int, columns: int, kind: type
) -> None:
    rows, columns = min(rows, height), min(columns, width)
    levels = int(np.iinfo(kind).max) + 1
    codes = np.random.default_rng(height * 41 + width).integers(0, levels, (height, width, 3)).astype(kind)
    table = tables_of(SRGB, levels)
    found = CodedSource(codes, table, None).reduced(rows, columns)
    assert found is not None

    def shares(full: int, parts: int) -> NDArray[np.float64]:
        """How much of each part's length each line covers, from the definition."""
        edges = np.arange(parts + 1) * full / parts
        overlap = np.minimum(edges[1:, None], np.arange(1, full + 1)) - np.maximum(edges[:-1, None], np.arange(full))
        return np.maximum(overlap, 0) * parts / full

    decoded = table[0].astype(np.float64)[codes]
    expected = np.einsum("yr,rcx,zc->xyz", shares(height, rows), decoded, shares(width, columns))
    np.testing.assert_allclose(found.planes, expected, atol=2e-6)


def test_reducing_equals_opencv_and_goes_through_the_matrix() -> None:
    codes = np.random.default_rng(2).integers(0, 256, (301, 457, 3), dtype=np.uint8)
    found = CodedSource(codes, tables_of(OPRGB, 256), OPRGB.to_working).reduced(100, 151)
    assert found is not None
    light = tables_of(OPRGB, 256)[0][codes]
    area = cv2.resize(light, (151, 100), interpolation=cv2.INTER_AREA).astype(np.float64) @ OPRGB.to_working.T
    np.testing.assert_allclose(np.moveaxis(found.planes, 0, -1), area, atol=2e-6)
    unequal = tables_of(SRGB, 256)
    unequal[1] *= 0.5
    assert CodedSource(codes, unequal, None).reduced(100, 151) is None


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("space", COLOUR_SPACES.values(), ids=lambda s: s.name)
def test_black_is_black_whatever_sign_its_zero_has(space: ColourSpace, kind: type) -> None:
    """Float files have zeros of either sign, and so have products of nothing and a negative number."""
    planes = np.full((3, 2, 37), -0.0, np.float32)
    planes[:, 1] = 0
    out = np.full((2, 37, 3), 9, kind)
    execute([], LinearSource(planes), CodedSink(out, space), Geometry(37, 2))
    assert not out.any()


@pytest.mark.parametrize("sink", [CodedSink, DitheredSink])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_row_s_codes_do_not_depend_on_the_rows_beside_it(kind: type, sink: type[CodedSink]) -> None:
    """A curve is the last step, so that values come encoded; some rows of them are beyond white or black."""
    planes = np.random.default_rng(8).random((3, 60, 200)).astype(np.float32)
    planes[:, ::7, 20] = 4
    planes[0, 30:33] = -1
    steps = [Step(ToneCurve(points=[(0, 0.02), (0.4, 0.5), (1, 0.98)]))]

    def codes(rows: int, threads: int = 1) -> NDArray[np.integer]:
        out = np.empty((60, 200, 3), kind)
        execute(steps, LinearSource(planes), sink(out, SRGB), Geometry(200, 60), strip_rows=rows, threads=threads)
        return out

    alone = codes(1)
    for rows, threads in ((60, 1), (13, 1), (8, 2), (2, 2)):
        assert np.array_equal(codes(rows, threads), alone)
