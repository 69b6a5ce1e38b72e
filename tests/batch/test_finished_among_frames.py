"""Finished files among a session's frames: told by what they say of themselves, wherever they lie."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from finishing.batch.delivery.run import run
from finishing.batch.texts.checking import check_file
from finishing.batch.texts.first_files import write_first_files
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.errors import ProblemSet
from finishing.sessions.session import examine_session
from tests.conftest import write_frame

PATTERN, NAME = "[frames/*.jpg]", "frames/A-0001-web.jpg"


@pytest.fixture
def mixed(session: Path) -> Path:
    """A session with one of its finished files among the frames, under a name of its own."""
    run(assign(session), session / "finished", jobs=2)
    shutil.copy(session / "finished/web/faded_print/A-0001.jpg", session / NAME)
    return session


def say(session: Path, frames: str) -> None:
    file = session / "session.yaml"
    text = file.read_text()
    assert PATTERN in text
    file.write_text(text.replace(PATTERN, frames))


def test_a_pattern_leaves_them_out_and_says_so(mixed: Path) -> None:
    work = assign(mixed)
    assert [one.frame.name for one in work.frames] == ["A-0001", "A-0002", "C-0004", "Z-0009"]
    (told,) = [one for one in work.session.warnings if "finished" in one.what]
    assert told.what == f"{NAME} is finished, and no frame"
    assert told.got == f"{NAME}, made from A-0001.jpg"
    assert told.what in [one.what for one in check_file(mixed).warnings]
    assert run(work, mixed / "finished", jobs=2).made == []


def test_whatever_leaves_them_out_says_so_in_the_same_words(mixed: Path) -> None:
    (told,) = [str(one) for one in assign(mixed).session.warnings if "finished" in one.what]
    commands = ["run"], ["sheet"], ["proof", "--out", str(mixed / "proof")], ["plan"]
    for command, *more in commands:
        done = CliRunner().invoke(main, [command, str(mixed), *more])
        assert done.exit_code == 0, done.stderr
        assert done.stderr.count(told) == 1, command
        assert told not in done.stdout


def test_one_that_is_named_outright_is_refused(mixed: Path) -> None:
    say(mixed, f"[frames/*1.jpg, {NAME}]")
    with pytest.raises(ProblemSet) as told:
        assign(mixed)
    problem = next(one for one in told.value.problems if "finished" in one.what)
    assert problem.remedy == "name the frame that it was made from: A-0001.jpg"
    assert problem.where == examine_session(mixed).session.document.place("frames", 1)


def test_one_in_the_place_of_its_frame_asks_for_the_frame(mixed: Path) -> None:
    shutil.copy(mixed / "finished/web/faded_print/Z-0009.jpg", mixed / "frames/Z-0009.jpg")
    (mixed / NAME).unlink()
    back = "put the frame Z-0009.jpg back, from the card or a backup, in the place of what is finished"
    (told,) = [one for one in assign(mixed).session.warnings if "finished" in one.what]
    assert told.remedy == back
    shutil.copy(mixed / "finished/web/faded_print/A-0002.jpg", mixed / NAME)
    (told,) = [one for one in assign(mixed).session.warnings if "finished" in one.what]
    assert told.remedy == f"{back}; move finished files out of the frames' folder, or narrow the pattern"


def test_a_pattern_that_finds_nothing_else_is_wrong(mixed: Path) -> None:
    shutil.copy(mixed / NAME, mixed / "frames/A-0001-again.jpg")
    say(mixed, '["frames/*[0-9].jpg", "frames/*-[wa]*.jpg"]')
    (problem,) = check_file(mixed).problems
    assert problem.what == "2 files are finished, and no frames"


def test_a_finished_file_of_a_frames_name_is_no_second_file_of_it(mixed: Path) -> None:
    shutil.copy(mixed / "finished/full/faded_print/A-0001.png", mixed / "frames/A-0001.png")
    say(mixed, '["frames/*"]')
    assert not check_file(mixed).problems


def test_first_files_leave_them_out(mixed: Path) -> None:
    for file in ("session.yaml", "plan.yaml"):
        (mixed / file).unlink()
    shutil.copy(mixed / "finished/full/faded_print/A-0001.png", mixed / "frames/A-0001-full.png")
    written = write_first_files(mixed)
    assert "2 finished files were left out: A-0001-full.png, A-0001-web.jpg" in written.notices
    assert sorted(name for names in written.setups.values() for name in names) == [
        "A-0001", "A-0002", "C-0004", "Z-0009",
    ]  # fmt: skip
    assert ".png" not in written.session.read_text()


def test_frames_are_frames(session: Path) -> None:
    write_frame(session / "frames/D-0001.jpg")
    assert "D-0001" in [one.frame.name for one in assign(session).frames]
