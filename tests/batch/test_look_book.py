"""Look books: every look on every frame, its words and figures, what cannot be shown told."""

import shutil
import subprocess
from pathlib import Path

import pytest

from finishing.batch.paper import look_book
from finishing.batch.paper.look_book import MOST_FRAMES, make_book, sample_frames
from finishing.batch.work.looks import library, read_look
from finishing.errors import Problem
from finishing.recipes.recipe import Recipe
from finishing.sheets.placed import Picture, Text
from tests.conftest import write_frame


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    write_frame(tmp_path / "A-0001.jpg", size=(480, 320))
    return tmp_path / "A-0001.jpg"


def two_looks(folder: Path) -> list[Recipe]:
    (folder / "pale.yaml").write_text(
        "look: Pale\nabout: Everything at half its colour.\nsettings: {colour: 0.5}\nsteps:\n"
        "  - saturation: {amount: $colour}\nchecks:\n  - mean_lightness: {at_most: 0.01}\n"
        "  - clipped_white: {at_most: 0.5}\n"
    )
    (folder / "masked.yaml").write_text(
        "look: Masked\nsteps:\n  - exposure: {stops: 1, where: {mask: coat}}\n  - saturation: {amount: 0.9}\n"
    )
    return [read_look(str(folder / f"{name}.yaml")) for name in ("pale", "masked")]


def pages_of(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    seen: list[object] = []
    real = look_book.write_pages

    def watched(pages: object, *rest: object, **more: object) -> object:
        seen.append(pages)
        return real(pages, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(look_book, "write_pages", watched)
    return seen


def test_words_figures_and_what_cannot_be_shown(tmp_path: Path, frame: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = pages_of(monkeypatch)
    report = make_book({frame: None}, tmp_path / "book.png", two_looks(tmp_path), pixels_per_inch=60)
    items = [item for page in seen[0] for item in page.items]  # type: ignore[attr-defined]
    texts = " ".join(item.text for item in items if isinstance(item, Text))
    for told in ("Pale", "Everything at half its colour.", "Settings: colour 0.5", "mean lightness at most 0.01"):
        assert told in texts
    assert "clipped white at most 50 %" in texts
    assert "(limit: at most 0.01)" in texts
    assert [item.key for item in items if isinstance(item, Picture)] == [("", 0), ("pale", 0)]
    assert set(report.failed) == {"A-0001 in masked"}
    assert "coat" in str(report.failed["A-0001 in masked"])
    (first, second) = report.results["pale", "A-0001"]
    assert (first.passed, second.passed) == (False, True)


def test_the_whole_library_on_one_frame(tmp_path: Path, frame: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    seen = pages_of(monkeypatch)
    report = make_book({frame: (0.45, 0.5)}, tmp_path / "book.pdf", pixels_per_inch=50)
    keys = [i.key for page in seen[0] for i in page.items if isinstance(i, Picture)]  # type: ignore[attr-defined]
    assert keys == [("", 0), *((look.name, 0) for look in library())]
    assert report.failed == {}
    if shutil.which("pdftotext"):
        command = ["pdftotext", str(tmp_path / "book.pdf"), "-"]
        told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        assert all(look.title in told for look in library())


def test_a_frame_that_cannot_be_read_is_left_out(tmp_path: Path, frame: Path) -> None:
    (tmp_path / "broken.jpg").write_bytes(frame.read_bytes()[:500])
    looks = two_looks(tmp_path)[:1]
    report = make_book({frame: None, tmp_path / "broken.jpg": None}, tmp_path / "b.png", looks, pixels_per_inch=50)
    assert set(report.failed) == {"broken.jpg"}
    assert len(report.files) == 1
    with pytest.raises(Problem):
        make_book({tmp_path / "broken.jpg": None}, tmp_path / "c.png", looks)
    with pytest.raises(Problem, match="not a whole shoot"):
        make_book({tmp_path / f"{n}.jpg": None for n in range(MOST_FRAMES + 1)}, tmp_path / "c.png", looks)


def test_the_sample_is_drawn_where_there_is_no_checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with sample_frames() as ready:
        assert {path.stem for path in ready} == set(look_book.SAMPLE_FRAMES)
    drawn: list[Path] = []

    def draw(folder: Path, long_edge: int, frames: tuple[str, ...]) -> None:
        for name in frames:
            write_frame(folder / "frames" / f"{name}.jpg", size=(long_edge // 2, long_edge // 3))
            drawn.append(folder / "frames" / f"{name}.jpg")

    monkeypatch.setattr(look_book, "__file__", str(tmp_path / "site/finishing/batch/paper/look_book.py"))
    monkeypatch.setattr("finishing.sample.writer.write_sample", draw)
    with sample_frames() as made:
        assert list(made) == drawn
        assert all(path.is_file() for path in made)
    assert not any(path.exists() for path in drawn)
