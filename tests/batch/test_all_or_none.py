"""Files that are put in place together: what is on its way is not taken for what a killed run has left."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from finishing.batch.lighting.all_or_none import all_or_none
from finishing.part_files import clear_left


@pytest.mark.skipif(os.name != "posix", reason="nothing is cleared on this system")
def test_a_folder_on_its_way_is_locked(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    with all_or_none(tmp_path, ["a.txt"]) as aside:
        (aside / "a.txt").write_bytes(b"whole")
        # as if another container's process, whose number is nobody's here, had begun it
        other = aside.with_name(aside.name.replace(f"-{os.getpid()}.part", f"-{process.pid}.part"))
        assert other != aside
        aside.rename(other)
        assert clear_left([tmp_path]) == []
        other.rename(aside)
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
