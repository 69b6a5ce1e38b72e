"""The ledger when things go wrong: runs that are cut off, disks that are full, files that are none."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from finishing.batch.delivery.left_over import left_over
from finishing.batch.delivery.run import Report, run
from finishing.batch.memory.inspecting import inspect
from finishing.batch.memory.ledger import Ledger, hash_file, ledger_problem, open_ledger
from finishing.batch.memory.making_again import make_again
from finishing.batch.work.assignment import assign
from finishing.errors import Problem
from finishing.sessions.session import read_session


def finish(session: Path, out: Path, **how: bool) -> Report:
    return run(assign(session), out, jobs=2, **how)


def all_hashes(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hash_file(p) for p in sorted(folder.rglob("*")) if p.suffix in (".jpg", ".png")}


def known_paths(out: Path) -> set[str]:
    with open_ledger(out, create=False) as ledger:
        return {entry.path for entry in ledger.entries()}


def cut_off_while_writing(ledger: Path) -> None:
    """Leave a ledger as a run leaves it that is killed inside of a commit: pages changed, and their old state in the
    rollback journal beside it (sqlite.org/atomiccommit.html, 4)."""
    kept = ledger.with_name("kept")
    kept.mkdir()
    connection = sqlite3.connect(ledger, isolation_level=None)
    connection.executescript("PRAGMA cache_size = 1; BEGIN; UPDATE outputs SET fingerprint = 'x';")
    connection.executemany("INSERT INTO looks VALUES (?, 'n', 1, ?)", [(str(i), "s" * 3000) for i in range(50)])
    for file in (ledger, ledger.with_name(ledger.name + "-journal")):
        assert file.stat().st_size
        shutil.copy(file, kept)
    connection.close()
    for file in kept.iterdir():
        shutil.move(file, ledger.parent / file.name)
    kept.rmdir()


def test_a_ledger_that_was_cut_off_in_the_middle_of_a_commit_is_read(session: Path) -> None:
    out = session / "finished"
    made = set(finish(session, out).made)
    file = out / "web/faded_print/A-0001.jpg"
    first = file.read_bytes()
    cut_off_while_writing(out / "ledger.sqlite")
    assert ledger_problem(out) is None
    assert known_paths(out) == made
    assert not (out / "ledger.sqlite-journal").exists()
    cut_off_while_writing(out / "ledger.sqlite")
    assert inspect(file).told["state"] == "as made"
    cut_off_while_writing(out / "ledger.sqlite")
    file.unlink()
    assert make_again(file).same
    assert file.read_bytes() == first
    assert finish(session, out).made == []


def test_a_ledger_in_use_is_told_and_nobody_is_told_to_move_it(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *args, **how: connect(*args, **{**how, "timeout": 0.05}))
    out = tmp_path / "out"
    finish(session, out)
    other = connect(out / "ledger.sqlite", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    for attempt in (lambda: finish(session, out), lambda: known_paths(out)):
        with pytest.raises(Problem, match="is writing to this ledger") as told:
            attempt()
        assert "move it away" not in str(told.value)
    other.close()
    assert finish(session, out).made == []


@pytest.mark.parametrize("call", ["write", "write_checks", "write_hash"])
def test_a_ledger_that_fails_during_a_run_leaves_no_file_behind_that_it_does_not_know(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    recipe = session / "recipes/faded_print.yaml"
    recipe.write_text(recipe.read_text() + "checks:\n  - mean_lightness: {at_least: 0.01}\n")
    out = tmp_path / "out"
    real, calls = getattr(Ledger, call), []

    def failing(ledger: Ledger, *args: object) -> None:
        calls.append(args)
        if len(calls) > 2:  # as a disk that is full from now on: no page more
            pages = ledger._connection.execute("PRAGMA page_count").fetchone()[0]
            ledger._connection.execute(f"PRAGMA max_page_count = {pages}")
            args = (*args[:-1], "x" * 200_000) if call == "write_hash" else args
        if len(calls) > 2 and call != "write_hash":
            with ledger._writing():
                ledger._connection.execute("INSERT INTO looks VALUES ('x', 'x', 1, ?)", ("x" * 200_000,))
        real(ledger, *args)

    monkeypatch.setattr(Ledger, call, failing)
    if call == "write_hash":
        with pytest.raises(Problem, match="the disk is full: the ledger cannot be written"):
            finish(session, out)
    else:
        report = finish(session, out)
        assert report.failed
        assert all("the disk is full" in problem.what for problem in report.failed.values())
        assert set(report.made) == set(all_hashes(out))
    assert known_paths(out) == set(all_hashes(out))
    monkeypatch.undo()
    assert not finish(session, out).failed
    assert len(all_hashes(out)) == 14


KILLED = """
import os, signal, sys
from pathlib import Path
from finishing.batch.delivery import finishing_frames, run
from finishing.batch.work.assignment import assign
session, out, count, when = sys.argv[1:]
number = 0
real_write, real_enter = finishing_frames.write_bytes, run._enter
def counted():
    global number
    number += 1
    if number == int(count):
        os.kill(os.getpid(), signal.SIGKILL)
def write(path, content):
    real_write(path, content)
    if when == "written":
        counted()
def enter(frame, made, ledger):
    real_enter(frame, made, ledger)
    if when == "entered":
        counted()
finishing_frames.write_bytes, run._enter = write, enter
run.run(assign(Path(session)), Path(out), jobs=1)
"""


@pytest.mark.parametrize("when", ["written", "entered"])
def test_a_run_that_was_killed_goes_on_where_it_stopped(session: Path, tmp_path: Path, when: str) -> None:
    out = tmp_path / "out"
    for count in (1, 3):  # in the middle of a frame with two looks in two sizes
        done = subprocess.run([sys.executable, "-c", KILLED, session, out, str(count), when], check=False)
        assert done.returncode == -signal.SIGKILL
    before = {path: (out / path).stat().st_mtime_ns for path in all_hashes(out)}
    assert len(before) >= 3
    report = finish(session, out)
    assert not report.failed
    assert len(report.made) + len(report.up_to_date) == 14
    if when == "entered":
        assert set(report.up_to_date) == set(before)
    assert {path: (out / path).stat().st_mtime_ns for path in before} == before
    finish(session, tmp_path / "whole")
    assert all_hashes(out) == all_hashes(tmp_path / "whole")
    assert finish(session, out).made == []


def test_outputs_are_known_again_by_their_bytes_when_the_ledger_is_lost(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    finish(session, out)
    (out / "ledger.sqlite").unlink()
    retouched, times = out / "web/faded_print/A-0001.jpg", {}
    retouched.write_bytes(retouched.read_bytes() + b"retouched")
    times = {path: (out / path).stat().st_mtime_ns for path in all_hashes(out)}
    report = finish(session, out)
    assert [problem.what for problem in report.failed.values()] == [
        "a file is in the way that this program did not make"
    ]
    assert "web/faded_print/A-0001.jpg" in str(report.failed["A-0001"].where)
    assert len(report.made) == 13
    assert {path: (out / path).stat().st_mtime_ns for path in times} == times
    assert retouched.read_bytes().endswith(b"retouched")


def test_a_file_of_that_name_which_is_no_ledger_is_passed_over_and_never_written_to(
    session: Path, tmp_path: Path
) -> None:
    finish(session, session / "finished")
    file, frame = session / "finished/web/faded_print/A-0001.jpg", session / "frames/A-0001.jpg"
    foreign = tmp_path / "ledger.sqlite"
    text = b"the accounts of 2026, and nothing about pictures" * 30
    database = tmp_path / "other.sqlite"
    with sqlite3.connect(database) as connection:
        connection.executescript("CREATE TABLE accounts (sum REAL); CREATE TABLE outputs (path TEXT);")
    connection.close()
    for content in (text, b"", database.read_bytes()):
        foreign.write_bytes(content)
        assert inspect(file).told["state"] == "as made"
        assert inspect(frame).kind == "frame"
        copy = tmp_path / "copy.jpg"
        shutil.copy(file, copy)
        assert inspect(copy).told["ledger"] is None
        assert foreign.read_bytes() == content
    with pytest.raises(Problem, match="no ledger of this program") as told:
        finish(session, tmp_path)
    assert "--out" in str(told.value)
    assert foreign.read_bytes() == database.read_bytes()


def no_longer_wanted(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    assert "one_colour_kept" in text
    lines = [line for line in text.splitlines(keepends=True) if "one_colour_kept" not in line]
    (session / "session.yaml").write_text("".join(lines))


@pytest.mark.parametrize("how", ["stays", "moved", "copied"])
def test_files_that_are_left_over_are_told_also_of_a_session_that_was_moved(
    session: Path, tmp_path: Path, how: str
) -> None:
    finish(session, session / "finished")
    there = session
    if how != "stays":
        there = tmp_path / "archive" / "2026"
        shutil.copytree(session, there)
    if how == "moved":
        shutil.rmtree(session)
    no_longer_wanted(there)
    report = finish(there, there / "finished")
    assert report.left_over
    assert {Path(path).parts[1] for path in report.left_over} == {"one_colour_kept"}


def test_what_another_session_finished_into_the_same_folder_is_not_left_over(session: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(session, other)
    for frame in (other / "frames").iterdir():
        frame.rename(frame.with_name(frame.name.replace("Z-0009", "Z-0010")))
    finish(session, tmp_path / "out")
    (other / "recipes/faded_print.yaml").rename(other / "recipes/third.yaml")
    no_longer_wanted(other)
    text = (other / "session.yaml").read_text().replace("faded_print", "third")
    (other / "session.yaml").write_text(text)
    report = finish(other, tmp_path / "out")
    assert report.made
    assert report.left_over == []


@pytest.mark.parametrize("one_file", [True, False])
def test_a_name_in_another_case_is_left_over_only_where_it_is_another_file(
    session: Path, tmp_path: Path, *, one_file: bool
) -> None:
    """On a disk that ignores case, both names lead to one file; two links do so on any."""
    out = tmp_path / "out"
    finish(session, out)
    old, new = out / "web/faded_print/Z-0009.jpg", out / "web/faded_print/z-0009.jpg"
    if one_file:
        os.link(old, new)
    else:
        shutil.copy(old, new)
    with open_ledger(out, create=False) as ledger:
        wanted = {entry.path.replace("web/faded_print/Z-", "web/faded_print/z-") for entry in ledger.entries()}
        assert left_over(ledger, wanted, read_session(session)) == ([] if one_file else ["web/faded_print/Z-0009.jpg"])
