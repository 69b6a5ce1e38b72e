"""Pages take their names together, and nothing else of them is ever seen."""

import os
from pathlib import Path

import pytest

from finishing.errors import Problem
from finishing.part_files import part_beside
from finishing.sheets.replacing import Replacing, settle


def test_all_files_take_their_names_on_leaving(tmp_path: Path) -> None:
    (tmp_path / "sheet-1.png").write_bytes(b"old")
    with Replacing(tmp_path) as files:
        for number in (1, 2):
            file = files.open_for(tmp_path / f"sheet-{number}.png")
            file.write(b"page %d" % number)
            if number == 1:
                settle(file)
        assert (tmp_path / "sheet-1.png").read_bytes() == b"old"
        (aside,) = tmp_path.glob(".*")
        assert aside.name.partition(".")[2].partition(".")[2] == part_beside(aside).name.split(".", 2)[2]
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "sheet-1.png": b"page 1", "sheet-2.png": b"page 2",
    }  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="rights of files are told otherwise there")
def test_files_have_the_rights_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    with Replacing(tmp_path) as files:
        files.open_for(tmp_path / "sheet.png").write(b"page")
    assert (tmp_path / "sheet.png").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_an_error_leaves_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "sheet.png").write_bytes(b"old")

    def fail() -> None:
        with Replacing(tmp_path) as files:
            files.open_for(tmp_path / "sheet.png").write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail()
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("sheet.png", b"old")]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(Problem) as told, Replacing(tmp_path / "none") as files:
        files.open_for(tmp_path / "none/sheet.png")
    assert told.value.remedy == "choose a folder that exists and that you may write to"
    assert not (tmp_path / "none").exists()
