"""Pages drawn to PNG: sizes, places, chunks, names, whole files only."""

import struct
import zlib
from collections.abc import Hashable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.drawing import draw_png, page_image, page_paths
from finishing.sheets.layout import Page, Picture, Rectangle, Text, lay_out
from finishing.sheets.model import paper_called
from finishing.sheets.placed import Said
from finishing.sheets.typeface import measure
from tests.sheets.scenes import PORTRAIT, sheet

A4 = paper_called("a4", "portrait")


def ramp(key: Hashable, width: int, height: int) -> npt.NDArray[np.uint8]:
    """A picture whose every pixel tells its place."""
    rows, columns = np.mgrid[0:height, 0:width]
    blue = np.full_like(rows, hash(key) % 200)
    return np.stack([rows % 256, columns % 256, blue], axis=2).astype(np.uint8)


def chunks_of(data: bytes) -> dict[bytes, bytes]:
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    found: dict[bytes, bytes] = {}
    at = 8
    while at < len(data):
        length, kind = struct.unpack_from(">L4s", data, at)
        body = data[at + 8 : at + 8 + length]
        assert struct.unpack_from(">L", data, at + 8 + length)[0] == zlib.crc32(kind + body)
        found.setdefault(kind, body)
        at += 12 + length
    return found


def test_a_single_page_keeps_its_name_and_more_are_numbered(tmp_path: Path) -> None:
    one = draw_png(lay_out(sheet(1), A4, measure), ramp, tmp_path / "sheet.png", 60)
    assert one == [tmp_path / "sheet.png"]
    pages = lay_out(sheet(60), A4, measure)
    more = draw_png(pages, ramp, tmp_path / "more.png", 60)
    assert [path.name for path in more] == [f"more-{number}.png" for number in range(1, len(pages) + 1)]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["sheet.png", *(path.name for path in more)])
    assert page_paths(Path("s.png"), 12)[0].name == "s-01.png"
    assert page_paths(Path("s.png"), 12)[-1].name == "s-12.png"


@pytest.mark.parametrize(("inch", "size", "metre"), [(200, (1654, 2339), 7874), (72, (595, 842), 2835)])
def test_size_resolution_and_colour_space_are_written(
    tmp_path: Path, inch: int, size: tuple[int, int], metre: int
) -> None:
    """A4 is 8.268 x 11.693 inches (ISO 216); pHYs counts pixels a metre (PNG specification)."""
    (path,) = draw_png(lay_out(sheet(1), A4, measure), ramp, tmp_path / "sheet.png", inch)
    chunks = chunks_of(path.read_bytes())
    assert struct.unpack(">LL", chunks[b"IHDR"][:8]) == size
    assert chunks[b"IHDR"][8:10] == bytes((8, 2))  # eight bits, RGB
    assert struct.unpack(">LLB", chunks[b"pHYs"]) == (metre, metre, 1)
    assert chunks[b"sRGB"] == b"\x00"
    assert chunks[b"gAMA"] == struct.pack(">L", 45455)
    assert b"tIME" not in chunks


def test_same_pages_same_bytes(tmp_path: Path) -> None:
    pages = lay_out(sheet(3, 2), A4, measure)
    first = draw_png(pages, lambda key, w, h: ramp(0, w, h), tmp_path / "a.png", 90)
    second = draw_png(pages, lambda key, w, h: ramp(0, w, h), tmp_path / "b.png", 90)
    assert [one.read_bytes() for one in first] == [one.read_bytes() for one in second]


def test_pictures_arrive_untouched_on_the_grey(tmp_path: Path) -> None:
    (page,) = lay_out(sheet(4, 1, ((3000, 2000), PORTRAIT)), A4, measure)
    (path,) = draw_png([page], ramp, tmp_path / "sheet.png", 150)
    drawn = np.asarray(Image.open(path))
    placed = [item for item in page.items if isinstance(item, Picture)]
    assert len(placed) == 4
    for item in placed:
        left, top = round(item.x_mm * 150 / 25.4), round(item.y_mm * 150 / 25.4)
        width, height = round(item.width_mm * 150 / 25.4), round(item.height_mm * 150 / 25.4)
        np.testing.assert_array_equal(drawn[top : top + height, left : left + width], ramp(item.key, width, height))
        around = np.concatenate([drawn[top - 6, left : left + width], drawn[top + height + 6, left : left + width]])
        assert (around == style.PANEL_GREY).all()
    assert (drawn[:20] == style.PAPER_GREY).all()


def test_the_grey_is_neutral_and_half_as_bright_as_the_paper() -> None:
    """IEC 61966-2-1 decoding of the panel's code; ISO 3664's bounds are from memory."""
    code = style.PANEL_GREY / 255
    reflectance = ((code + 0.055) / 1.055) ** 2.4
    assert reflectance == pytest.approx(0.5, abs=0.005)
    assert 0.1 <= reflectance <= 0.6


def test_a_smaller_picture_is_centred() -> None:
    page = Page(100, 100, 1, 1, (Rectangle(0, 0, 100, 100, 188), Picture("a", 25.4, 25.4, 25.4, 25.4)))
    drawn = np.asarray(page_image(page, lambda key, w, h: np.zeros((50, 100, 3), np.uint8), 100))
    black = np.argwhere((drawn == 0).all(axis=2))
    assert black.min(axis=0).tolist() == [125, 100]
    assert black.max(axis=0).tolist() == [174, 199]


@pytest.mark.parametrize(
    "wrong",
    [
        np.zeros((400, 10, 3), np.uint8),
        np.zeros((9, 9), np.uint8),
        np.zeros((9, 9, 3), np.float32),
        np.zeros((0, 9, 3), np.uint8),
    ],
)
def test_a_wrong_picture_is_refused(wrong: npt.NDArray[np.uint8]) -> None:
    page = Page(100, 100, 1, 1, (Picture("a", 10, 10, 20, 20),))
    with pytest.raises(ValueError, match="'a'"):
        page_image(page, lambda key, w, h: wrong, 100)


@pytest.mark.parametrize("inch", [72, 96, 150, 200, 300])
@pytest.mark.parametrize("bold", [False, True])
def test_drawn_texts_are_as_wide_as_measured(inch: float, bold: bool) -> None:
    """The ink stays in its line box, within a pixel and a half for hinting and side bearings."""
    text = "Ein Sätzchen: Яблоневый Ψάθα f/5.6 · 1/125 · ISO 100, ambient −2"
    width = measure(text, 7, bold)
    item = Text(text, 10, 10, width, 4, 13, 7, bold, 0)
    drawn = np.asarray(page_image(Page(200, 30, 1, 1, (item,)), ramp, inch).convert("L"))
    ink = np.argwhere(drawn < 200)
    scale = inch / 25.4
    assert ink[:, 1].min() >= 10 * scale - 1.5
    assert ink[:, 1].max() <= (10 + width) * scale + 1.5
    assert ink[:, 1].max() >= (10 + width) * scale - 3 - 0.15 * 7 * inch / 72


def test_an_error_leaves_the_old_file_and_no_remains(tmp_path: Path) -> None:
    pages = lay_out(sheet(60), A4, measure)
    old = draw_png(pages, ramp, tmp_path / "sheet.png", 50)
    before = {path: path.read_bytes() for path in old}
    last = [item.key for item in pages[-1].items if isinstance(item, Picture)][-1]

    def breaks(key: Hashable, width: int, height: int) -> npt.NDArray[np.uint8]:
        if key == last:
            raise OSError("the card was pulled out")
        return np.zeros((height, width, 3), np.uint8)

    with pytest.raises(OSError, match="pulled out"):
        draw_png(pages, breaks, tmp_path / "sheet.png", 50)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="cannot be written") as caught:
        draw_png(lay_out(sheet(1), A4, measure), ramp, tmp_path / "none" / "sheet.png", 60)
    assert caught.value.remedy


@pytest.mark.parametrize("inch", [0, 10, 5000, float("nan")])
def test_a_resolution_out_of_range_is_refused(tmp_path: Path, inch: float) -> None:
    with pytest.raises(Problem, match="resolution"):
        draw_png(lay_out(sheet(1), A4, measure), ramp, tmp_path / "sheet.png", inch)
    assert list(tmp_path.iterdir()) == []


def test_what_is_said_in_a_picture_s_place_stays_in_it() -> None:
    page = Page(200, 60, 1, 1, (Picture("a", 10, 10, 50, 30), Picture("b", 80, 10, 4, 3)))
    told = "this frame has no mask called “coat”, " * 9
    drawn = np.asarray(page_image(page, lambda key, w, h: Said(told), 100).convert("L"))
    left, top, right, bottom = (round(mm * 100 / 25.4) for mm in (10, 10, 60, 40))
    inside = drawn[top:bottom, left:right]
    assert inside[0, 0] == style.PLACEHOLDER_GREY
    assert (inside < 100).sum() > 200  # ink
    outside = np.delete(drawn, slice(top, bottom), axis=0)
    assert (outside == style.PAPER_GREY).all()
    assert (drawn[top:bottom, right : round(80 * 100 / 25.4)] == style.PAPER_GREY).all()
    small = drawn[top : round(13 * 100 / 25.4), round(80 * 100 / 25.4) : round(84 * 100 / 25.4)]
    assert (small == style.PLACEHOLDER_GREY).all()  # no room for words


def test_the_file_holds_the_page_as_drawn(tmp_path: Path) -> None:
    """Filter type 2 and DEFLATE, undone by another decoder (PNG specification, 9.2 and 10)."""
    (page,) = lay_out(sheet(4, 1, ((3000, 2000), PORTRAIT)), A4, measure)
    noise = np.random.default_rng(3).integers(0, 256, (400, 400, 3), np.uint8)
    (path,) = draw_png([page], lambda key, w, h: noise[:h, :w], tmp_path / "sheet.png", 90)
    again = page_image(page, lambda key, w, h: noise[:h, :w], 90)
    with Image.open(path) as stored:
        assert np.array_equal(np.asarray(stored), np.asarray(again))
