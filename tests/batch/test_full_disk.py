"""A disk that fills up while a run goes on."""

import errno
import os
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

from finishing.batch.delivery import finishing_frames, run
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.errors import DiskFull
from finishing.photographs import writing


@pytest.fixture
def room(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Room for three files: a fourth meets what the system says of a full disk, and so does every one after it."""
    written: list[Path] = []
    one_at_a_time = threading.Lock()
    real = os.replace

    def replace(temporary: Path, path: Path) -> None:
        with one_at_a_time:
            if len(written) == 3:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            real(temporary, path)
            written.append(Path(path))

    monkeypatch.setattr(writing.os, "replace", replace)
    return written


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The frames that are opened."""
    names: list[str] = []
    real = finishing_frames.open_frame

    def opened(work: finishing_frames.FrameWork, **how: int) -> object:
        names.append(work.frame.name)
        return real(work, **how)

    monkeypatch.setattr(finishing_frames, "open_frame", opened)
    return names


@pytest.mark.parametrize("jobs", [1, 2])
def test_it_is_told_once_and_no_more_frames_are_begun(
    session: Path, room: list[Path], begun: list[str], jobs: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(10, 30):
        (session / f"frames/Z-00{number}.jpg").write_bytes((session / "frames/Z-0009.jpg").read_bytes())
    out = session / "finished"
    report = run.run(assign(session), out, jobs=jobs)
    ((name, problem),) = report.failed.items()
    assert isinstance(problem, DiskFull)
    assert len(begun) <= 3 + jobs
    assert {out / path for path in report.made} == set(room)
    assert len(report.not_done) == len(set(report.not_done)) >= 24 - len(begun)
    assert name not in report.not_done
    assert report.as_json()["not_done"] == sorted(report.not_done)
    monkeypatch.undo()
    again = run.run(assign(session), out, jobs=2)
    assert (again.failed, again.not_done) == ({}, [])
    assert set(report.made) <= set(again.up_to_date)


def test_the_command_tells_what_was_not_begun(session: Path, room: list[Path]) -> None:
    result = CliRunner().invoke(main, ["run", str(session), "--jobs", "1"])
    assert result.exit_code == 1
    assert len(room) == 3
    assert result.stderr.count("the disk is full\n") == 1
    assert (
        "not begun, or not carried to the end, since the disk is full: 3 frames (A-0002, C-0004, Z-0009)"
        in result.stderr
    )
    assert "3 files made" in result.stdout
