"""What sheets and proofs that were killed have left is deleted and told by the next command that writes there."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from finishing.cli.main import main

pytestmark = pytest.mark.skipif(os.name != "posix", reason="nothing is cleared on this system")

#: A command that comes no further than to its first whole file.
STOPPING = """
import os, sys, time

def wait(handle):
    print("writing", flush=True)
    time.sleep(120)

os.fsync = wait
from finishing.cli.main import main
main(sys.argv[1:])
"""
TOLD = "that an earlier run left when it was cut off"


def killed(*words: str | Path) -> None:
    """Give a command and kill it while it writes."""
    command = [sys.executable, "-c", STOPPING, *map(str, words)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "writing\n"
        finally:
            process.kill()


def parts(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.part"))


@pytest.mark.parametrize("name", ["sheet.png", "sheet.pdf"])
@pytest.mark.parametrize("after", ["sheet", "run"])
def test_a_killed_sheet(session: Path, name: str, after: str) -> None:
    if name.endswith("pdf"):
        pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    before = sorted(session.rglob("*"))
    killed("sheet", session, "--out", session / name, "--columns", "2")
    assert len(parts(session)) == 1
    done = CliRunner().invoke(main, [after, str(session)])
    assert done.exit_code == 0, done.stderr
    assert f"deleted 1 unfinished file {TOLD}" in done.stderr
    assert parts(session) == []
    assert set(before) < set(session.rglob("*"))
    assert TOLD not in CliRunner().invoke(main, [after, str(session)]).stderr


def test_a_killed_proof(session: Path, tmp_path: Path) -> None:
    folder = tmp_path / "proof"
    killed("proof", session, "--out", folder, "--jobs", "1")
    (left,) = parts(folder)
    assert left.startswith("pictures/")
    done = CliRunner().invoke(main, ["proof", str(session), "--out", str(folder)])
    assert done.exit_code == 0, done.stderr
    assert f"deleted 1 unfinished file {TOLD}" in done.stderr
    assert parts(folder) == []


def test_what_is_still_being_written_stays(session: Path) -> None:
    command = [sys.executable, "-c", STOPPING, "sheet", str(session)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "writing\n"
            done = CliRunner().invoke(main, ["sheet", str(session), "--out", str(session / "other.png")])
            assert done.exit_code == 0
            assert TOLD not in done.stderr
            assert len(parts(session)) == 1
        finally:
            process.kill()
