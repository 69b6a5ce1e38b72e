"""Pages drawn to PDF: JPEG data untouched, texts as text, the same bytes again."""

import io
import sys
from collections.abc import Hashable
from pathlib import Path

import pytest
from PIL import Image

from finishing.errors import Problem
from finishing.sheets.layout import Page, Picture, lay_out
from finishing.sheets.model import paper_called
from finishing.sheets.pdf import draw_pdf
from finishing.sheets.placed import Said
from finishing.sheets.typeface import measure
from tests.sheets.scenes import sheet

A4 = paper_called("a4", "portrait")


def jpeg(key: Hashable, width: int, height: int) -> bytes:
    file = io.BytesIO()
    shade = 10 * hash(key) % 256
    Image.new("RGB", (width, height), (shade, 120, 40)).save(file, "JPEG", quality=85)
    return file.getvalue()


def test_pages_pictures_and_texts(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    pages = lay_out(sheet(5, 3), A4, measure)
    path = draw_pdf(pages, jpeg, tmp_path / "sheet.pdf", 100, title="Orchard at dusk")
    with pikepdf.open(path) as document:
        assert len(document.pages) == len(pages)
        stored = set()
        for page, drawn in zip(pages, document.pages, strict=True):
            box = [float(one) for one in drawn.mediabox]
            assert box[2:] == pytest.approx([page.width_mm / 25.4 * 72, page.height_mm / 25.4 * 72], abs=0.01)
            assert {str(font.Subtype) for font in drawn.Resources.Font.values()} == {"/Type0"}
            for image in drawn.Resources.XObject.values():
                assert image.Filter in ("/DCTDecode", [pikepdf.Name.DCTDecode])
                stored.add(image.read_raw_bytes())
        assert str(document.docinfo.Title) == "Orchard at dusk"
    asked = set()
    for page in pages:
        for item in page.items:
            if isinstance(item, Picture):
                asked.add(jpeg(item.key, round(item.width_mm * 100 / 25.4), round(item.height_mm * 100 / 25.4)))
    assert stored == asked


def test_same_pages_same_bytes(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pages = lay_out(sheet(3), A4, measure)
    first = draw_pdf(pages, jpeg, tmp_path / "a.pdf", 60)
    second = draw_pdf(pages, jpeg, tmp_path / "b.pdf", 60)
    assert first.read_bytes() == second.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.pdf", "b.pdf"]


def test_without_the_library_the_remedy_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(Problem) as caught:
        draw_pdf(lay_out(sheet(1), A4, measure), jpeg, tmp_path / "sheet.pdf")
    assert "pip install '.[pdf]'" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_picture_that_is_no_jpeg_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    page = Page(100, 100, 1, 1, (Picture("a", 10, 10, 20, 20),))
    with pytest.raises(ValueError, match="JPEG"):
        draw_pdf([page], lambda key, w, h: b"\x89PNG", tmp_path / "sheet.pdf")
    assert list(tmp_path.iterdir()) == []


def test_what_is_said_in_a_picture_s_place_is_text(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    page = Page(100, 100, 1, 1, (Picture("a", 10, 10, 60, 20),))
    path = draw_pdf([page], lambda key, w, h: Said("a mask is missing"), tmp_path / "sheet.pdf")
    with pikepdf.open(path) as document:
        assert not document.pages[0].Resources.get("/XObject")
        assert len(document.pages[0].Resources.Font) == 1
