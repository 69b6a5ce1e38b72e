from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.opening import opened
from finishing.batch.paper.contact_sheet import make_sheet
from finishing.batch.work.assignment import assign
from finishing.errors import Problem
from finishing.sheets import drawing, pdf
from finishing.sheets.fitting import Measure
from finishing.sheets.placed import Picture, Rectangle, Said, Text


def test_frames_by_looks_on_paper(session: Path, tmp_path: Path) -> None:
    report = make_sheet(assign(session), tmp_path / "sheet.png")
    assert report.notices == []
    assert report.failed == {}
    for path in report.files:
        with Image.open(path) as image:
            assert sorted(image.size) == [1654, 2339]  # A4 at 200 pixels per inch (ISO 216: 210 × 297 mm)
            codes = np.asarray(image.convert("RGB")).astype(int)
        assert (codes[:60] > 240).all()  # the page's margin is paper
    # the coat of the drawn figure is somewhere on the first page in its colour
    first = np.asarray(Image.open(report.files[0]).convert("RGB")).astype(int)
    assert ((first[..., 0] - first[..., 2]) > 100).sum() > 500


def test_each_frame_is_decoded_once(session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []
    real = opened.read_reduced

    def counted(path: Path, long_edge: int) -> object:
        seen.append(path.stem)
        return real(path, long_edge)

    monkeypatch.setattr(opened, "read_reduced", counted)
    make_sheet(assign(session), tmp_path / "sheet.png")
    assert sorted(seen) == ["A-0001", "A-0002", "C-0004", "Z-0009"]


def test_a_frame_that_cannot_be_read_gets_its_cell(session: Path, tmp_path: Path) -> None:
    whole = (session / "frames/C-0004.jpg").read_bytes()
    (session / "frames/C-0004.jpg").write_bytes(whole[: len(whole) // 2])
    (session / "frames/A-0001.jpg").write_bytes(b"")
    report = make_sheet(assign(session), tmp_path / "sheet.png")
    assert set(report.failed) == {"A-0001", "C-0004"}  # each once, though no look of theirs is there
    assert report.files[0].is_file()


MASKED = "look: Masked\nsteps:\n  - exposure: {stops: 1, where: {mask: coat}}\n"


def with_a_look_that_fails(session: Path) -> None:
    """C-0004 has a third look, which needs a mask that the session does not give."""
    (session / "recipes" / "masked.yaml").write_text(MASKED)
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("looks:", "looks:\n  - {look: masked, frames: C-0004}"))


@pytest.mark.parametrize("ending", ["png", "pdf"])
def test_a_look_that_fails_on_a_frame_says_why_in_its_cell(session: Path, tmp_path: Path, ending: str) -> None:
    if ending == "pdf":
        pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    with_a_look_that_fails(session)
    seen: list[Said] = []
    real = drawing.in_place_of

    def watched(picture: Picture, said: Said, measure: Measure) -> list[Rectangle | Text]:
        seen.append(said)
        return real(picture, said, measure)

    with pytest.MonkeyPatch.context() as patch:
        for module in (drawing, pdf):
            patch.setattr(module, "in_place_of", watched)
        work = assign(session, frames=["C-0004"])
        report = make_sheet(work, tmp_path / f"sheet.{ending}", clipping=True, histograms=True)
    assert list(report.failed) == ["C-0004 in masked"]
    assert report.failed["C-0004 in masked"].remedy
    assert [one.text for one in seen] == ['this frame has no mask called "coat"']
    if ending == "png":
        codes = np.asarray(Image.open(report.files[0]).convert("RGB")).astype(int)
        assert ((codes[..., 0] - codes[..., 2]) > 100).sum() > 500  # its other looks are there


def test_other_endings_and_no_frames_are_refused(session: Path, tmp_path: Path) -> None:
    with pytest.raises(Problem, match="a contact sheet is PNG or PDF"):
        make_sheet(assign(session), tmp_path / "sheet.gif")
    with pytest.raises(Problem, match="no frame has a look to be shown"):
        make_sheet(assign(session, looks=["one_colour_kept"], frames=["Z-0009"]), tmp_path / "sheet.png")
