"""Contact sheets as files: the PDF seen by other programs, pages left over, originals, captions of every kind."""

import os
import shutil
import subprocess
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.paper import cells, contact_sheet
from finishing.batch.paper.contact_sheet import make_sheet
from finishing.batch.work.assignment import assign
from finishing.errors import Problem
from finishing.sheets import layout
from finishing.sheets.model import Sheet
from finishing.sheets.placed import Page, Text
from tests.conftest import write_frame

NAMES = {
    "long": "L-" + "0123456789" * 11 + "-end-0001",
    "greek": "Ελαιώνας-Α-0001",
    "cyrillic": "Яблоневый-сад-0002",
    "accents": "Schräg über Öl – çñøå ŵž-0003",
}


def output_of(*command: object) -> str:
    if shutil.which(str(command[0])) is None:
        pytest.skip(f"{command[0]} is not installed")
    return subprocess.run([str(word) for word in command], capture_output=True, text=True, check=True).stdout


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """A session of frames whose names are long or of other scripts, without plan and with empty records."""
    folder = tmp_path / "names"
    for name in NAMES.values():
        write_frame(folder / "frames" / f"{name}.jpg", size=(240, 160))
    (folder / "session.yaml").write_text(
        "session: Ελαιώνας и сад\nframes: [frames/*.jpg]\nlooks: [{look: faded_print}, {look: white_edge}]\n"
    )
    return folder


def test_a_pdf_as_other_programs_see_it(session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    encoded: list[bytes] = []
    real = cells.jpeg_of

    def watched(codes: cells.Codes) -> bytes:
        encoded.append(real(codes))
        return encoded[-1]

    monkeypatch.setattr(cells, "jpeg_of", watched)
    path = make_sheet(assign(session), tmp_path / "sheet.pdf", paper="letter").files[0]
    with pikepdf.open(path) as document:
        images = [image for page in document.pages for image in page.Resources.XObject.values()]
        assert {image.read_raw_bytes() for image in images} == set(encoded)
        for image in images:
            profile = image.ColorSpace[1].read_bytes()
            assert profile[36:40] == b"acsp"  # ICC.1:2022, 7.2.9: the signature of every profile
            assert profile in encoded[0]
    told = output_of("pdfinfo", path)
    assert "612 x 792 pts (letter)" in told or "792 x 612 pts (letter)" in told
    assert "Orchard test" in told
    fonts = output_of("pdffonts", path).splitlines()[2:]
    assert len(fonts) == 2
    assert all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)  # embedded, subset, Unicode map
    listed = output_of("pdfimages", "-list", path).splitlines()[2:]
    assert len(listed) == len(encoded) == 7
    assert all(line.split()[5] == "icc" and line.split()[8] == "jpeg" for line in listed)
    text = output_of("pdftotext", "-layout", path, "-")
    for wanted in ("A Standing by the ladder", "f/8 · 1/125 · ISO 100 · ambient −2", "© 2026 A. Example", "Z-0009"):
        assert wanted in text


def test_a_pdf_says_whose_it_is(session: Path, tmp_path: Path) -> None:
    """In its properties, and in its record (ISO 16684-1) as IPTC Photo Metadata names it; read by other programs."""
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    file = session / "session.yaml"
    file.write_text(file.read_text().replace("session: Orchard test", 'session: "Orchard & <Ελαιώνας>"'))
    path = make_sheet(assign(session), tmp_path / "sheet.pdf").files[0]
    told = dict(line.split(":", 1) for line in output_of("pdfinfo", path).splitlines())
    assert told["Title"].strip() == "Orchard & <Ελαιώνας>"
    assert told["Author"].strip() == "A. Example"
    assert told["Metadata Stream"].strip() == "yes"
    with pikepdf.open(path) as document, document.open_metadata() as record:
        assert record["dc:title"] == "Orchard & <Ελαιώνας>"
        assert record["dc:creator"] == ["A. Example"]
        assert record["dc:rights"] == "© 2026 A. Example"
        assert record["xmpRights:Marked"] == "True"
        assert record["xmpRights:UsageTerms"] == "Client use only"
        assert record["xmp:CreatorTool"] == "finishing"
    assert "© 2026 A. Example · Client use only" in output_of("pdftotext", "-layout", path, "-")
    again = make_sheet(assign(session), tmp_path / "again.pdf").files[0]
    assert again.read_bytes() == path.read_bytes()


@pytest.mark.parametrize("ending", [".png", ".pdf"])
def test_another_sessions_sheet_is_not_written_over(session: Path, ending: str) -> None:
    """One whose session is renamed stays its own."""
    if ending == ".pdf":
        pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    file, other = session / "session.yaml", session / "other.yaml"
    other.write_text(file.read_text().replace("Orchard test", "Another client"))
    path = session / f"sheet{ending}"
    before = make_sheet(assign(session), path).files[0].read_bytes()
    with pytest.raises(Problem) as told:
        make_sheet(assign(other), path)
    assert told.value.what == 'a sheet of this name is there already: that of the session "Orchard test" (session.yaml)'
    assert told.value.remedy == f"finishing sheet {other} --out {session / f'sheet-other{ending}'}"
    assert path.read_bytes() == before
    file.write_text(file.read_text().replace("Orchard test", "Orchard, final"))
    assert make_sheet(assign(session), path).files[0].read_bytes() != before


def test_a_pdf_that_does_not_say_whose_it_is_counts_as_the_sessions(session: Path) -> None:
    """Earlier versions' sheets say nothing."""
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    path = session / "sheet.pdf"
    for content in (b"%PDF-1.3", b"</x:xmpmeta><x:xmpmeta", b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>&</x:xmpmeta>"):
        path.write_bytes(content)
        assert make_sheet(assign(session), path).files == [path]


def test_names_of_any_script_and_length_are_on_the_page(scripts: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    report = make_sheet(assign(scripts), scripts / "sheet.pdf")
    assert report.notices == []
    assert report.failed == {}
    text = " ".join(output_of("pdftotext", "-layout", report.files[0], "-").split())
    assert "Ελαιώνας и сад" in text
    for name in ("greek", "cyrillic", "accents"):
        assert NAMES[name] in text
    assert "…" in text  # of the long name its beginning and its end
    assert "end-0001" in text


def test_a_sign_that_the_typeface_lacks_is_named(scripts: Path) -> None:
    write_frame(scripts / "frames" / "果樹園-0004.jpg")
    (notice, *_) = make_sheet(assign(scripts), scripts / "sheet.png").notices
    assert "果 (U+679C" in notice


def test_same_frames_same_bytes(session: Path, tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    for ending in ("pdf", "png"):
        first = [p.read_bytes() for p in make_sheet(assign(session), tmp_path / f"a.{ending}", jobs=1).files]
        second = [p.read_bytes() for p in make_sheet(assign(session), tmp_path / f"b.{ending}", jobs=3).files]
        assert first == second


def test_pages_of_an_earlier_longer_sheet_go(session: Path, tmp_path: Path) -> None:
    long = make_sheet(assign(session), tmp_path / "sheet.png", paper="150x110").files
    assert len(long) > 1
    (tmp_path / "sheet-77.png").write_bytes(b"mine")
    report = make_sheet(assign(session, frames=["A-0001"]), tmp_path / "sheet.png")
    assert sorted(path.name for path in tmp_path.glob("*.png")) == ["sheet-77.png", "sheet.png"]
    assert sum("removed" in notice for notice in report.notices) == len(long)
    assert sum("sheet-77.png is not a page" in notice for notice in report.notices) == 1


def test_a_frame_is_never_written_over(session: Path) -> None:
    Image.new("RGB", (60, 40)).save(session / "frames" / "A-0009.png")
    text = (session / "session.yaml").read_text().replace("[frames/*.jpg]", "[frames/*.jpg, frames/*.png]")
    (session / "session.yaml").write_text(text)
    before = (session / "frames" / "A-0009.png").read_bytes()
    with pytest.raises(Problem, match="take the place of an original"):
        make_sheet(assign(session, frames=["A-0001"]), session / "frames" / "A-0009.png")
    assert (session / "frames" / "A-0009.png").read_bytes() == before


def test_a_frame_keeps_its_number_on_a_sheet_of_few(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[list[Page]] = []
    real = layout.lay_out

    def watched(*words: object) -> list[Page]:
        seen.append(real(*words))  # type: ignore[arg-type]
        return seen[-1]

    monkeypatch.setattr(contact_sheet.layout, "lay_out", watched)
    make_sheet(assign(session), session / "sheet.png")
    make_sheet(assign(session, frames=["C-0004"]), session / "one.png")
    marks = [
        {i.text for page in pages for i in page.items if isinstance(i, Text) and i.text.isdigit()} for pages in seen
    ]
    assert marks == [{"1", "2", "3", "4"}, {"3"}]


def test_a_number_stays_beside_what_it_is_of(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheets: list[Sheet] = []
    real = layout.lay_out

    def watched(sheet: Sheet, *words: object) -> list[Page]:
        sheets.append(sheet)
        return real(sheet, *words)  # type: ignore[arg-type]

    monkeypatch.setattr(contact_sheet.layout, "lay_out", watched)
    make_sheet(assign(session, frames=["A-0001"]), session / "sheet.png")
    facts = sheets[0].groups[0].rows[0][0].caption[1]  # type: ignore[union-attr]
    assert facts.split(" · ")[0] == "set-up\u00a0A"
    assert facts.split(" · ")[-1] == "ISO\u00a0100"


def test_clipped_parts_are_hatched_and_counted(session: Path, tmp_path: Path) -> None:
    (session / "recipes").mkdir(exist_ok=True)
    (session / "recipes" / "blown.yaml").write_text("look: Blown\nsteps:\n  - exposure: {stops: 9}\n")
    (session / "session.yaml").write_text("session: x\nframes: [frames/Z*.jpg]\nlooks: [{look: blown}]\n")
    plain = make_sheet(assign(session), tmp_path / "plain.png").files[0]
    marked = make_sheet(assign(session), tmp_path / "marked.png", clipping=True).files[0]
    codes = [np.asarray(Image.open(path).convert("RGB")).astype(int) for path in (plain, marked)]
    dark = [((one == 70).all(axis=2)).sum() for one in codes]
    assert dark[0] < 100
    assert dark[1] > 10_000


@pytest.mark.slow
def test_a_thousand_frames_stay_bounded(tmp_path: Path) -> None:
    """Pictures of a thousand cells held at once would take a hundred megabytes; the drawn pages alone take 12 each."""
    folder = tmp_path / "many"
    write_frame(folder / "frames" / "F-0000.jpg", size=(240, 160))
    for number in range(1, 1000):
        os.link(folder / "frames" / "F-0000.jpg", folder / "frames" / f"F-{number:04}.jpg")
    (folder / "session.yaml").write_text("session: Many\nframes: [frames/*.jpg]\nlooks: [{look: white_edge}]\n")
    work = assign(folder)
    peaks = []
    for count in (250, 1000):
        part = contact_sheet.SessionWork(work.session, None, None, work.frames[:count], {})
        tracemalloc.start()
        report = make_sheet(part, folder / f"{count}.png", pixels_per_inch=100, jobs=2)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert report.failed == {}
    assert peaks[1] - peaks[0] < 25_000_000


def test_the_sheet_of_another_session_is_neither_written_over_nor_removed(session: Path) -> None:
    first, second = session / "session.yaml", session / "client2.yaml"
    text = first.read_text()
    second.write_text(text.replace("Orchard test", "Coat maker · Mäntel"))
    path = session / "sheet.png"
    pages = {one: one.read_bytes() for one in make_sheet(assign(first), path, paper="120x100").files}
    assert len(pages) > 1
    with pytest.raises(Problem, match=r'that of the session "Orchard test" \(session.yaml\)') as told:
        make_sheet(assign(second), path)
    assert f"--out {session / 'sheet-client2.png'}" in str(told.value.remedy)
    own = make_sheet(assign(second), session / "sheet-client2.png", paper="120x100").files
    assert make_sheet(assign(second), session / "sheet-client2.png", paper="120x100").files == own
    assert {one: one.read_bytes() for one in pages} == pages
    second.unlink()
    first.write_text(text.replace("Orchard test", "Orchard at dusk"))  # its own sheet, whatever it is called now
    report = make_sheet(assign(first), path)
    assert any("removed" in notice for notice in report.notices)
