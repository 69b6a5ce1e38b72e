"""Prints that frames are too small for, and files of earlier runs that the session no longer asks for."""

from pathlib import Path

import pytest

from finishing.batch.delivery.left_over import forget
from finishing.batch.delivery.print_sizes import size_words, small_print
from finishing.batch.delivery.run import run
from finishing.batch.memory.ledger import open_ledger
from finishing.batch.memory.verifying import verify_outputs
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.errors import Problem
from finishing.sessions.deliverables import Deliverable, PrintSize


def print_of(size: str, **more: object) -> Deliverable:
    return Deliverable.model_validate({"format": "tiff", "print_size": size, **more})


def test_the_resolution_that_comes_of_it() -> None:
    """40 cm at 300 pixels per inch are 4724 pixels (2.54 cm to an inch); 3000 of them are 190 to an inch."""
    found = small_print(print_of("40 x 30 cm", pixels_per_inch=300), "A-0003", 3000, 2000)
    assert found is not None
    assert (found.needed, found.there) == (4724, 3000)
    assert found.resolution == pytest.approx(190.5)
    upright = small_print(print_of("40 x 30 cm"), "A-0003", 2000, 3000)
    assert upright is not None
    assert upright.resolution == pytest.approx(190.5)


def test_the_side_that_fills_the_paper_counts() -> None:
    """A square on 30 x 20 cm is 20 cm wide: 2362 pixels at 300 to an inch."""
    assert small_print(print_of("30 x 20 cm"), "A", 2400, 2400) is None
    found = small_print(print_of("30 x 20 cm"), "A", 1200, 1200)
    assert found is not None
    assert (found.needed, found.there) == (2362, 1200)


@pytest.mark.parametrize(
    ("deliverable", "width"),
    [
        (print_of("12 inch"), 3600), (print_of("12 inch"), 3590), (print_of("12 inch", pixels_per_inch=200), 2400),
        (print_of("12 inch", enlarge="yes"), 100), (Deliverable(), 10),
    ],
)  # fmt: skip
def test_large_enough_is_nothing_to_tell(deliverable: Deliverable, width: int) -> None:
    assert small_print(deliverable, "A", width, width // 2) is None


def test_sizes_in_words() -> None:
    assert size_words(PrintSize(40 / 2.54, 30 / 2.54)) == "40 × 30 cm"
    assert size_words(PrintSize(12.0)) == "12 inches"
    assert size_words(PrintSize(12.0, 8.0)) == "12 × 8 inches"


@pytest.fixture
def prints(session: Path) -> Path:
    """Frames of 300 × 200 pixels and one that is cropped to 200 × 150, for prints that need 315."""
    text = (session / "session.yaml").read_text()
    text = text.replace("full: {format: png,", "full: {format: png, print_size: 4 x 3 cm, pixels_per_inch: 200,")
    text = text.replace("rating: 4}", "rating: 4, crop: {box: [0, 0, 1, 0.5]}}")
    (session / "session.yaml").write_text(text)
    return session


def test_check_and_run_tell_frames_and_resolution(prints: Path) -> None:
    checked = check_file(prints / "session.yaml")
    assert not checked.problems
    warning, shape = checked.warnings
    assert shape.what == "3 frames do not fill 4 × 3 cm"
    assert "A-0001, C-0004, Z-0009: 4 × 2.7 cm" in str(shape.got)
    assert warning.what == (
        "4 frames are too small for 4 × 3 cm at 200 pixels per inch and delivered as large as they are"
    )
    assert warning.got == (
        "A-0002: 315 pixels needed, 200 there, 127 pixels per inch on paper; "
        "A-0001, C-0004, Z-0009: 315 pixels needed, 300 there, 191 pixels per inch on paper"
    )
    assert str(warning.where).startswith(str(prints / "session.yaml:"))
    report = run(assign(prints), prints / "finished", jobs=2)
    dry = run(assign(prints), prints / "finished", dry_run=True)
    both = [warning.as_dict(), shape.as_dict()]
    assert [str(one) for one in dry.warnings] == [str(warning), str(shape)]
    assert [one.as_dict() for one in report.warnings] == both
    assert report.as_json()["warnings"] == both
    text = (prints / "session.yaml").read_text()
    (prints / "session.yaml").write_text(text.replace("print_size: 4 x 3 cm", "print_size: 4 x 3 cm, enlarge: yes"))
    assert [one.what for one in check_file(prints / "session.yaml").warnings] == [shape.what]
    (prints / "session.yaml").write_text(text.replace("print_size: 4 x 3 cm", "print_size: 4 cm, enlarge: yes"))
    assert not check_file(prints / "session.yaml").warnings


def number_the_web_files(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    text = text.replace("quality: 90}", 'quality: 90, name: "web/{look}-{number:03}"}')
    (session / "session.yaml").write_text(text)


def test_files_that_are_no_longer_asked_for_are_told_and_stay(session: Path) -> None:
    out = session / "finished"
    number_the_web_files(session)
    first = run(assign(session), out, jobs=2)
    assert first.left_over == []
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("frames/*.jpg", "frames/A*.jpg, frames/C*.jpg"))
    numbered = {"full/faded_print/Z-0009.png", "web/faded_print-004.jpg"}
    dry = run(assign(session), out, dry_run=True)
    assert set(dry.left_over) == numbered
    again = run(assign(session), out, jobs=2)
    assert again.made == []
    assert set(again.left_over) == numbered
    assert set(again.as_json()["left_over"]) == numbered
    assert all((out / path).is_file() for path in numbered)
    # a part of the session says nothing about the rest
    assert run(assign(session, looks=["faded_print"]), out, whole=False).left_over == []
    with pytest.raises(Problem, match="this file is still there"):
        forget(out, sorted(numbered))
    for path in numbered:
        (out / path).unlink()
    assert run(assign(session), out).left_over == []
    with pytest.raises(Problem, match="the ledger has no such file"):
        forget(out, [*numbered, "web/other.jpg"])
    assert set(forget(out, ["full/*/Z-*", "web/faded_print-004.jpg"])) == numbered
    with open_ledger(out, create=False) as ledger:
        assert set(verify_outputs(out, ledger.entries()).values()) == {"as made"}
        assert not numbered & ledger.with_making()


def test_frames_that_get_another_number_are_made_anew(session: Path) -> None:
    out = session / "finished"
    number_the_web_files(session)
    run(assign(session), out, jobs=2)
    (session / "frames/A-0001.jpg").unlink()
    report = run(assign(session), out, jobs=2)
    assert not report.failed
    assert {"web/faded_print-001.jpg", "web/faded_print-003.jpg"} <= set(report.made)
    assert "web/faded_print-004.jpg" in report.left_over


def test_another_session_in_the_same_folder_is_left_alone(session: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    (other / "frames").mkdir(parents=True)
    (other / "frames/B-1.jpg").write_bytes((session / "frames/A-0001.jpg").read_bytes())
    (other / "session.yaml").write_text("session: Other\nframes: [frames/*]\nlooks: [{look: faded_print}]\n")
    run(assign(session), tmp_path / "both", jobs=2)
    assert run(assign(other), tmp_path / "both").left_over == []
    assert run(assign(session), tmp_path / "both").left_over == []
