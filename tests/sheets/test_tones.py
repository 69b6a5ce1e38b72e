"""Histograms, shares without tone and their marks: on codes, and at their places on the pages."""

from collections.abc import Hashable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.sheets.drawing import draw_png, leftover_pages, page_image, page_told
from finishing.sheets.layout import lay_out
from finishing.sheets.model import Cell, Group, Sheet, paper_called
from finishing.sheets.pdf import draw_pdf
from finishing.sheets.placed import Clipping, Histogram, Picture, Reading, Text, clipping_texts
from finishing.sheets.tones import BARS, reading_of, with_clipping_marks
from finishing.sheets.typeface import measure
from tests.sheets.scenes import PORTRAIT, cell, sheet

A4 = paper_called("a4", "portrait")
SHEET = Sheet(
    "Tones",
    groups=(Group("A", tuple((cell(n, size=PORTRAIT if n % 2 else (3000, 2000)),) for n in range(7))),),
    histograms=True,
    clipping=True,
)


def test_a_ramp_of_greys_gives_even_bars() -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    told = reading_of(ramp)
    assert told.bars == (1.0,) * BARS
    assert (told.black, told.white) == (1 / 256, 1 / 256)


def test_tones_are_weighed_as_the_eye_does() -> None:
    """ITU-R BT.709-6, item 3.2: green carries 0.7152 of the luma, so pure green lies in bar int(0.7152 * 255 / 4)."""
    told = reading_of(np.full((4, 4, 3), (0, 255, 0), np.uint8))
    assert told.bars.index(max(told.bars)) == int(0.7152 * 255 * BARS / 256)
    assert (told.black, told.white) == (0, 0)  # one channel at its end is a colour, not a hole


def test_marks_lie_only_where_no_tone_is_left() -> None:
    codes = np.full((40, 60, 3), 128, np.uint8)
    codes[:, :20], codes[:, 40:] = 0, 255
    codes[:, 55:, 2] = 254
    marked = with_clipping_marks(codes)
    assert (codes[:, :20] == 0).all()  # the input is not touched
    changed = (marked != codes).any(axis=2)
    assert not changed[:, 20:40].any()
    assert not changed[:, 55:].any()
    for part in (changed[:, :20], changed[:, 40:55]):
        assert 0.15 < part.mean() < 0.35  # two lines in eight
    assert (np.ptp(marked[changed].astype(int), axis=1) == 0).all()  # neutral


@pytest.mark.parametrize(
    ("black", "white", "expected"),
    [
        (0, 0, ("black 0 %", "white 0 %")),
        (0.0001, 0.021, ("black < 0.1 %", "white 2.1 %")),
        (0.1234, 1.0, ("black 12 %", "white 100 %")),
    ],
)
def test_shares_in_words(black: float, white: float, expected: tuple[str, str]) -> None:
    assert clipping_texts(black, white, words=True) == expected


def test_they_stand_below_their_pictures_and_above_the_captions() -> None:
    (page,) = lay_out(SHEET, A4, measure)
    pictures = {item.key: item for item in page.items if isinstance(item, Picture)}
    marks = {item.text: item for item in page.items if isinstance(item, Text) and item.size_pt == 9.5}
    for kind in (Histogram, Clipping):
        found = [item for item in page.items if isinstance(item, kind)]
        assert {item.key for item in found} == set(pictures)
        for item in found:
            above = pictures[item.key]
            assert item.x_mm == pytest.approx(above.x_mm)
            assert item.width_mm == pytest.approx(above.width_mm)
            assert item.y_mm > above.y_mm + above.height_mm
            assert isinstance(item.key, tuple)
            assert item.y_mm + item.height_mm <= marks[str(item.key[0])].y_mm + 1e-6


def test_a_cell_without_picture_keeps_its_line() -> None:
    made = Sheet(
        "x", groups=(Group("A", ((Cell(None, 0, 0, ("one",), message="lost"),), (cell(2),))),), histograms=True
    )
    (page,) = lay_out(made, A4, measure)
    names = [item for item in page.items if isinstance(item, Text) and item.text in ("one", "A-0002")]
    assert len({item.baseline_mm for item in names}) <= 2
    assert len([item for item in page.items if isinstance(item, Histogram)]) == 1


def test_drawn_bars_are_as_high_as_they_say(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    (page,) = lay_out(SHEET, A4, measure)
    told = Reading(tuple([1.0] * 32 + [0.0] * 32), 0.25, 0.5)

    def grey(key: Hashable, width: int, height: int) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
        return np.full((height, width, 3), 90, np.uint8)

    drawn = np.asarray(page_image(page, grey, 200, lambda key: told))
    scale = 200 / 25.4
    for item in page.items:
        if isinstance(item, Histogram):
            left, right = round(item.x_mm * scale), round((item.x_mm + item.width_mm) * scale)
            top, foot = round(item.y_mm * scale), round((item.y_mm + item.height_mm) * scale)
            middle = (left + right) // 2
            assert (drawn[top + 2 : foot, left : middle - 2] == item.grey).all()
            assert (drawn[top + 2 : foot - 1, middle + 2 : right] == 255).all()
    import io

    def jpeg(key: Hashable, width: int, height: int) -> bytes:
        file = io.BytesIO()
        Image.new("RGB", (width, height), (90, 90, 90)).save(file, "JPEG")
        return file.getvalue()

    path = draw_pdf([page], jpeg, tmp_path / "x.pdf", 60, readings=lambda key: told)
    assert path.stat().st_size > 1000


def test_pages_of_a_longer_sheet_are_known_again(tmp_path: Path) -> None:
    def grey(key: Hashable, width: int, height: int) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
        return np.full((height, width, 3), 90, np.uint8)

    path = tmp_path / "sheet.png"
    long = draw_png(lay_out(sheet(60), A4, measure), grey, path, 50)
    other = draw_png(lay_out(sheet(1), A4, measure), grey, tmp_path / "sheet-2026.png", 50)
    Image.new("RGB", (8, 8)).save(tmp_path / "sheet-7.png")
    (tmp_path / "sheet-8.png").write_bytes(b"no picture")
    assert page_told(long[1]) == (2, len(long))
    (short,) = draw_png(lay_out(sheet(1), A4, measure), grey, path, 50)
    ours, others = leftover_pages(path, [short])
    assert ours == long
    assert others == [tmp_path / "sheet-7.png", tmp_path / "sheet-8.png"]
    assert other[0] not in (*ours, *others)  # a sheet of its own, with a number in its name
