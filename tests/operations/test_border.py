import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.border import Border
from finishing.recipes.recipe import Step

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)


def finish(operation: Border, codes: NDArray[np.uint8], **how: int) -> NDArray[np.uint8]:
    out = np.empty_like(codes)
    geometry = Geometry(codes.shape[1], codes.shape[0])
    execute([Step(operation)], CodedSource(codes, TABLES, None), CodedSink(out, SRGB), geometry, **how)
    return out


@pytest.mark.parametrize("name", ["astronaut", "portrait", "temple"])
def test_equals_a_border_that_another_library_lays(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    codes = photographs[name]
    height, width = codes.shape[:2]
    out = finish(Border(width=0.08, bottom=2, colour="#f3e6cf"), codes)
    side, below = round(0.08 * min(height, width)), round(0.16 * min(height, width))
    inside = np.ascontiguousarray(codes[side : height - below, side : width - side])
    expected = cv2.copyMakeBorder(inside, side, below, side, side, cv2.BORDER_CONSTANT, value=(0xF3, 0xE6, 0xCF))
    assert np.array_equal(out, expected)


@given(st.integers(0, 0xFFFFFF))
def test_colours_come_out_exactly(colour: int) -> None:
    written = f"#{colour:06x}"
    out = finish(Border(width=0.3, colour=written), np.zeros((10, 10, 3), np.uint8))
    assert "".join(f"{code:02x}" for code in out[0, 0]) == written[1:]
    assert (out[5, 5] == 0).all()


def test_key_line_lies_in_the_margin() -> None:
    codes = np.full((100, 140, 3), 50, np.uint8)
    out = finish(Border(width=0.1, line_width=0.02, line_gap=0.03, line_colour="#ff0000"), codes)[..., 0]
    # derived here, in pixels from the edge: margin 10, of which the gap takes 7…9 and the line 5 and 6
    assert out[50, :11].tolist() == [255] * 10 + [50]
    row = finish(Border(width=0.1, line_width=0.02, line_gap=0.03, line_colour="#000000"), codes)[50, :11, 0]
    assert row.tolist() == [255] * 5 + [0] * 2 + [255] * 3 + [50]
    column = finish(Border(width=0.1, bottom=2, line_width=0.02, line_colour="#000000"), codes)[:, 70, 0]
    assert column.tolist() == [255] * 8 + [0] * 2 + [50] * 70 + [0] * 2 + [255] * 18


def test_a_line_too_fine_for_the_picture_is_one_pixel() -> None:
    codes = np.full((100, 140, 3), 50, np.uint8)
    row = finish(Border(width=0.1, line_width=0.0001, line_colour="#000000"), codes)[50, :11, 0]
    assert row.tolist() == [255] * 9 + [0, 50]


@given(
    st.floats(0.001, 0.4),
    st.floats(0, 4),
    st.floats(0, 0.05),
    st.floats(0, 0.2),
    st.integers(1, 40),
    st.integers(1, 40),
)
def test_margins_of_any_width_stay_inside_the_frame(
    width: float, bottom: float, line: float, gap: float, columns: int, rows: int
) -> None:
    operation = Border(width=width, bottom=bottom, line_width=line, line_gap=gap)
    codes = np.full((rows, columns, 3), 128, np.uint8)
    pixels = np.full((rows, columns, 3), 0.5)
    sink = LinearSink(rows, columns)
    planes = np.full((3, rows, columns), 0.5, np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(columns, rows), strip_rows=3)
    expected = carry_out([Step(operation)], pixels, Geometry(columns, rows))
    assert np.moveaxis(sink.planes, 0, -1) == pytest.approx(expected, abs=1e-6)
    assert finish(operation, codes).shape == codes.shape


def test_strips_and_threads_make_no_difference() -> None:
    codes = np.random.default_rng(1).integers(0, 256, (90, 60, 3), np.uint8)
    operation = Border(width=0.13, bottom=1.7, line_width=0.02, line_gap=0.03)
    whole = finish(operation, codes, strip_rows=90)
    assert np.array_equal(finish(operation, codes, strip_rows=1), whole)
    assert np.array_equal(finish(operation, codes, strip_rows=7, threads=2), whole)
