"""A frame that an earlier run finished and that is gone since."""

import shutil
from pathlib import Path

import pytest

from finishing.batch.delivery.left_over import forget
from finishing.batch.delivery.run import run
from finishing.batch.memory.lost_frames import _means
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.errors import Problem, ProblemSet

GONE = "the frame Z-0009 was here at an earlier run and is gone"


@pytest.fixture
def finished(session: Path) -> Path:
    run(assign(session), session / "finished", jobs=2)
    return session


def change(session: Path, old: str, new: str) -> None:
    text = (session / "session.yaml").read_text()
    assert old in text
    (session / "session.yaml").write_text(text.replace(old, new))


def told_of_frames(session: Path) -> list[str]:
    """What a run and check tell alike of frames that are gone, or were dropped."""
    report = run(assign(session), session / "finished", jobs=2)
    told = [one.what for one in report.warnings if "earlier run" in one.what]
    assert told == [one.what for one in check_file(session).warnings if "earlier run" in one.what]
    return [*told, *report.left_over]


def test_it_is_told_and_its_finished_files_are_not_given_up(finished: Path, tmp_path: Path) -> None:
    frame = finished / "frames/Z-0009.jpg"
    shutil.move(frame, tmp_path / "away.jpg")
    assert told_of_frames(finished) == [GONE]
    (problem,) = [one for one in check_file(finished).warnings if one.what == GONE]
    assert problem.got == "no frame at frames/Z-0009.jpg"
    shutil.move(tmp_path / "away.jpg", frame)
    assert told_of_frames(finished) == []
    frame.unlink()
    outputs = ["full/faded_print/Z-0009.png", "web/faded_print/Z-0009.jpg"]
    assert all(f"--forget {path}" in str(problem.remedy) for path in outputs)
    for path in outputs:
        (finished / "finished" / path).unlink()
    forget(finished / "finished", outputs)
    assert told_of_frames(finished) == []


def test_several_are_told_at_once(finished: Path) -> None:
    (finished / "frames/Z-0009.jpg").unlink()
    (finished / "frames/C-0004.jpg").unlink()
    change(finished, "[A, C-0004]", "[A]")
    assert told_of_frames(finished) == ["2 frames were here at an earlier run and are gone"]


def test_a_frame_that_was_left_out_is_not_lost(finished: Path) -> None:
    change(finished, "[frames/*.jpg]", "[frames/A*.jpg, frames/C*.jpg]")
    left = ["full/faded_print/Z-0009.png", "web/faded_print/Z-0009.jpg"]
    assert told_of_frames(finished) == left
    (finished / "frames/Z-0009.jpg").unlink()
    assert told_of_frames(finished) == left


def test_a_frame_that_was_renamed_is_not_lost(finished: Path) -> None:
    (finished / "frames/Z-0009.jpg").rename(finished / "frames/Z-0010.jpg")
    assert told_of_frames(finished) == ["full/faded_print/Z-0009.png", "web/faded_print/Z-0009.jpg"]


def test_one_whose_finished_file_lies_in_its_place_is_lost(finished: Path) -> None:
    shutil.copy(finished / "finished/web/faded_print/Z-0009.jpg", finished / "frames/Z-0009.jpg")
    assert told_of_frames(finished) == [GONE]


def test_what_the_session_says_of_it_is_told_as_said_of_a_frame_that_is_gone(finished: Path) -> None:
    (finished / "frames/A-0002.jpg").unlink()
    expected = 'the frame "A-0002" was here at an earlier run and is gone'
    (problem,) = check_file(finished).problems
    assert problem.what == expected
    assert str(problem.where).endswith("session.yaml:10:3")
    change(finished, "A-0002: {", "A-0001: {")
    with pytest.raises(ProblemSet, match=expected):
        assign(finished, frames=["A-0002"])
    with pytest.raises((Problem, ProblemSet), match='no frame has the name "A-0022"'):
        assign(finished, frames=["A-0022"])


@pytest.mark.parametrize(
    ("pattern", "path", "meant"),
    [
        ("frames/*.jpg", "frames/a.jpg", True),
        ("frames/*.jpg", "frames/day/a.jpg", False),
        ("**/*.jpg", "a.jpg", True),
        ("**/*.jpg", "frames/day/a.jpg", True),
        ("frames/**/a*", "frames/day/two/a.jpg", True),
        ("frames/**/a*", "other/a.jpg", False),
        ("a.jpg", "a.jpg", True),
    ],
)
def test_patterns_mean_what_they_find(tmp_path: Path, pattern: str, path: str, *, meant: bool) -> None:
    file = tmp_path / path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.touch()
    assert _means(pattern, path) == meant
    assert (file in tmp_path.glob(pattern)) == meant
