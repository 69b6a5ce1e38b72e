"""Blends on the contact sheet: the ladder of the ambient, the page on what the strobe did, all from one separation."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from finishing.batch.paper import blend_sheet, contact_sheet
from finishing.batch.paper.blend_sheet import AMBIENT, STOPS, STROBE, TAKEN, OfLight, Rung, blend_pictures
from finishing.batch.paper.contact_sheet import SheetReport, make_sheet
from finishing.batch.work.assignment import FrameWork, assign
from finishing.sheets.placed import Page, Picture, Text, pictures_needed
from tests.batch.blending import separations
from tests.light.blend_session import HEIGHT, WIDTH, exif, lights, rewrite, write_blend_session, write_frame
from tests.light.scene import Floats, encoded


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def sheet_pages(folder: Path, monkeypatch: pytest.MonkeyPatch, **how: Any) -> tuple[list[Page], SheetReport]:
    """The pages as they were laid out, and the report."""
    seen: list[list[Page]] = []
    real = contact_sheet.write_pages

    def watched(pages: list[Page], *given: Any, **more: Any) -> Any:
        seen.append(pages)
        return real(pages, *given, **more)

    monkeypatch.setattr(contact_sheet, "write_pages", watched)
    report = make_sheet(assign(folder), folder / "sheet.png", jobs=2, pixels_per_inch=60, **how)
    return seen[0], report


def texts(page: Page) -> list[str]:
    return [item.text for item in page.items if isinstance(item, Text)]


def pictures_of(folder: Path, wanted: dict[Any, tuple[int, int]]) -> dict[Any, Floats]:
    """Pictures of the blend, codes 0…255."""
    (frame,) = assign(folder, frames=["C-blend"]).frames
    return {key: codes.astype(float) for key, codes in blend_pictures(frame, wanted).items()}


def means(light: Floats) -> Floats:
    """At half the size."""
    return light.reshape(HEIGHT // 2, 2, WIDTH // 2, 2, 3).mean(axis=(1, 3))


def off_by(made: Floats, truth: Floats) -> float:
    """By how many codes of 255 a picture is off the truth in linear light, at all but a hundredth of the places where
    a frame knows the light and the file can hold it."""
    ambient, strobe = lights()
    known = (means(np.asarray(4 * ambient + strobe < 0.97, float)) == 1).all(axis=-1) & (truth < 0.97).all(axis=-1)
    assert known.mean() > 0.3
    return float(np.quantile(np.abs(made - encoded(truth))[known], 0.99))


#: A code is rounded by half; what JPEG-free 16-bit frames leave beside it is little.
ROUNDED = 0.6


def test_the_ladder_moves_the_ambient_and_leaves_the_strobe(folder: Path) -> None:
    ambient, strobe = lights()
    size = (WIDTH // 2, HEIGHT // 2)
    rungs = {Rung("C-blend", "plain", stops): size for stops in blend_sheet.LADDER}
    made = pictures_of(folder, {**rungs, ("C-blend", "plain"): size})
    assert sorted(key.ambient_stops for key in rungs) == [-2, -1, 0, 1]
    for key in rungs:
        truth = 2**key.ambient_stops * ambient + 2**-0.3 * strobe
        assert off_by(made[key], means(truth)) < ROUNDED, key
    assert off_by(made["C-blend", "plain"], means(2**0.7 * ambient + 2**-0.3 * strobe)) < ROUNDED


def test_the_ladder_is_in_the_looks_of_the_frame(folder: Path) -> None:
    rewrite(folder, ("  - {look: plain", "  - {look: darker, frames: C}\n  - {look: plain"))
    ambient, strobe = lights()
    size = (WIDTH // 2, HEIGHT // 2)
    made = pictures_of(folder, {Rung("C-blend", look, 0.0): size for look in ("plain", "darker")})
    truth = means(ambient + 2**-0.3 * strobe)
    assert off_by(made[Rung("C-blend", "plain", 0.0)], truth) < ROUNDED
    assert off_by(made[Rung("C-blend", "darker", 0.0)], truth / 2) < ROUNDED


def test_the_pictures_of_each_light(folder: Path) -> None:
    ambient, strobe = lights()
    size = (WIDTH // 2, HEIGHT // 2)
    made = pictures_of(folder, {OfLight("C-blend", what): size for what in (TAKEN, AMBIENT, STROBE)})
    assert off_by(made[OfLight("C-blend", TAKEN)], means(ambient + strobe)) < ROUNDED
    assert off_by(made[OfLight("C-blend", AMBIENT)], means(ambient)) < ROUNDED
    assert off_by(made[OfLight("C-blend", STROBE)], means(strobe)) < ROUNDED
    figure = pictures_of(folder, {OfLight("C-blend", STOPS): (500, 600)})[OfLight("C-blend", STOPS)]
    assert max(figure.shape[1] / 500, figure.shape[0] / 600) == 1
    warm = (figure[..., 0] > 1.8 * figure[..., 2]).mean()  # where the strobe leads
    cool = (figure[..., 2] > 1.8 * figure[..., 0]).mean()
    assert warm > 0.1
    assert cool > 0.1


def test_the_sheet_has_a_ladder_and_a_page_of_stops(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pages, report = sheet_pages(folder, monkeypatch)
    assert not report.failed
    assert len(report.files) == len(pages) == 3
    assert [page.number for page in pages] == [1, 2, 3]
    assert all(f"{page.number} of 3" in texts(page) for page in pages)
    first, ladder, light = pages
    assert "blend of C-0012 and C-0013" in " ".join(texts(first))
    assert "ambient +0.7 stop, strobe −0.3 stop" in texts(first)
    assert [word for word in texts(ladder) if word.startswith(("ambient", "as "))] == [
        "ambient −2 stops", "as at 1/500", "ambient −1 stop", "as at 1/250", "ambient 0", "as taken, 1/125",
        "ambient +1 stop", "as at 1/60",
    ]  # fmt: skip
    assert "from C-0012 at 1/125, C-0013 at 1/30 · strobe −0.3 stop" in texts(ladder)
    assert {"As taken", "Ambient alone", "Strobe alone", "C-0012 · 1/125 · f/8 · ISO 100"} <= set(texts(light))
    assert [item.key for item in light.items if isinstance(item, Picture)] == [
        OfLight("C-blend", what) for what in (STOPS, TAKEN, AMBIENT, STROBE)
    ]
    for page, path in zip(pages, report.files, strict=True):
        with Image.open(path) as image:
            assert image.size == (round(page.width_mm * 60 / 25.4), round(page.height_mm * 60 / 25.4))
    codes = np.asarray(Image.open(report.files[2]).convert("RGB")).astype(int)
    assert (codes[..., 0] - codes[..., 2] > 60).mean() > 0.02  # the bands of the map stand on the page
    assert (codes[..., 2] - codes[..., 0] > 40).mean() > 0.02


def test_the_rung_that_the_blend_has_is_marked(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rewrite(folder, ("ambient: +0.7", "ambient: -1"))
    pages, _ = sheet_pages(folder, monkeypatch)
    assert texts(pages[1]).count("as the blend has it") == 1


def test_light_pages_can_be_left_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pages, report = sheet_pages(folder, monkeypatch, light_pages=False)
    assert len(pages) == len(report.files) == 1
    assert ("C-blend", "plain") in pictures_needed(pages, 60)
    rewrite(folder, ("frames: [C, D]", "frames: [C-0012, D]"))  # no blend on the sheet
    assert len(sheet_pages(folder, monkeypatch)[0]) == 1


def test_one_separation_a_blend(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = separations(monkeypatch)
    rewrite(
        folder,
        ("  - {look: plain", "  - {look: darker, frames: C}\n  - {look: plain"),
        ("blends:\n", "blends:\n  C-other: {sources: [C-0013, C-0012], light: {strobe: off}}\n"),
    )
    pages, report = sheet_pages(folder, monkeypatch, histograms=True, clipping=True)
    assert not report.failed
    assert len(seen) == 2
    assert len([page for page in pages if any("what the strobe did" in text for text in texts(page))]) == 2
    assert "no strobe" in " ".join(text for page in pages for text in texts(page))


def test_a_blend_that_cannot_be_made_says_why(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", (4 * ambient + strobe)[::-1, ::-1], exif(1 / 30))
    pages, report = sheet_pages(folder, monkeypatch)
    assert list(report.failed) == ["C-blend"]
    assert "does not lie on the first" in report.failed["C-blend"].what
    assert len(pages) == 3
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + strobe, exif(1 / 30, iso=400))
    pages, report = sheet_pages(folder, monkeypatch)  # the headers tell it: no pages are made for it
    assert len(pages) == 1
    assert "another ISO" in " ".join(texts(pages[0]))


def test_a_pdf_has_the_same_pages(folder: Path) -> None:
    pytest.importorskip("fpdf")
    report = make_sheet(assign(folder), folder / "sheet.pdf", jobs=2)
    assert not report.failed
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    asked = ["pdftotext", "-layout", str(report.files[0]), "-"]
    told = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert "ambient −1 stop" in told
    assert "C-blend: what the strobe did, in stops over the ambient" in told
    assert "3 of 3" in told


def test_same_sheet_same_bytes(folder: Path, tmp_path: Path) -> None:
    work = assign(folder)
    files = []
    for name, jobs in (("one", 1), ("two", 2)):
        (tmp_path / name).mkdir()
        files.append(make_sheet(work, tmp_path / name / "sheet.png", jobs=jobs, pixels_per_inch=60).files)
    for one, two in zip(*files, strict=True):
        assert one.read_bytes() == two.read_bytes()


def test_a_cropped_blend_is_shown_cropped(folder: Path) -> None:
    rewrite(folder, ("per_frame:\n", "per_frame:\n  C-blend: {crop: {box: [0.25, 0.25, 0.75, 0.75]}}\n"))
    (frame,) = assign(folder, frames=["C-blend"]).frames
    assert isinstance(frame, FrameWork)
    made = blend_pictures(frame, {Rung("C-blend", "plain", 0.0): (300, 300)})[Rung("C-blend", "plain", 0.0)]
    assert made.shape == (HEIGHT // 2, WIDTH // 2, 3)
