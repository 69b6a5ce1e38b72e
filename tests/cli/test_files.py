"""inspect, again and export as a user calls them."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishing.cli.main import main


def finishing(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def finished(session: Path) -> Path:
    assert finishing("run", session).exit_code == 0
    return session / "finished"


def test_inspect_prints_and_ends_with_0_1_or_2(finished: Path) -> None:
    file, frame = finished / "web/faded_print/A-0001.jpg", finished.parent / "frames/A-0001.jpg"
    result = finishing("inspect", file, frame)
    assert result.exit_code == 0
    assert result.stdout.startswith(f"{file}: a finished picture\n")
    assert "Faded print (faded_print), version 1" in result.stdout
    assert f"{frame}: a frame, as it is seen here" in result.stdout
    some = finishing("inspect", file, finished / "ledger.sqlite")
    assert some.exit_code == 1
    assert "this is no picture" in some.stderr
    assert "this is no picture" not in some.stdout
    none = finishing("inspect", finished / "ledger.sqlite", finished / "missing.jpg")
    assert none.exit_code == 2
    assert none.stdout == ""
    told = json.loads(finishing("inspect", "--json", file, finished / "missing.jpg").stdout)
    assert told[0]["kind"] == "finished"
    assert told[1]["problem"]["what"] == "there is no such file"


def test_again_restores_a_file(finished: Path) -> None:
    file = finished / "web/one_colour_kept/A-0002.jpg"
    first = file.read_bytes()
    file.unlink()
    (finished.parent / "session.yaml").unlink()
    result = finishing("again", file)
    assert result.exit_code == 0, result.stderr
    assert file.read_bytes() == first
    assert "the same bytes as the first time" in result.stdout
    assert result.stdout.splitlines()[-1] == f"{file}: written"
    assert finishing("again", file).stdout.splitlines()[-1] == f"{file}: was there already, left as it is"
    told = json.loads(finishing("again", "--json", file).stdout)
    assert (told["same_bytes"], told["written"], told["look"]) == (True, False, "one_colour_kept")


def test_again_writes_over_nothing_unasked(finished: Path, tmp_path: Path) -> None:
    file = finished / "web/faded_print/A-0001.jpg"
    file.write_bytes(b"mine now")
    result = finishing("again", file)
    assert result.exit_code == 2
    assert "--overwrite" in result.stderr
    assert file.read_bytes() == b"mine now"
    assert finishing("again", file, "--out", tmp_path / "new.jpg").exit_code == 0
    assert finishing("again", file, "--overwrite").exit_code == 0
    assert file.read_bytes() == (tmp_path / "new.jpg").read_bytes()
    assert finishing("again", tmp_path / "nothing.jpg").exit_code == 2


def test_export_writes_a_file_and_tells_what_it_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = finishing("export", "faded_print", "--format", "clf", "--size", "9", "--with", "fade=0.05")
    assert result.exit_code == 0, result.stderr
    assert (tmp_path / "faded_print.clf").read_text().startswith("<?xml")
    assert "edge_vignette: depends on the place in the frame" in result.stderr
    assert "error: ΔE2000 " in result.stdout
    second = finishing("export", "faded_print", "--size", "9")
    assert second.exit_code == 2
    assert "the file exists already" in second.stderr
    told = json.loads(finishing("export", "faded_print", "--size", "9", "--again", "--json").stdout)
    assert told["error"]["colours"] > 100_000
    assert told["left_out"]


def test_export_of_nothing_is_refused(tmp_path: Path) -> None:
    (tmp_path / "edge.yaml").write_text("look: Edge\nsteps: [{edge_vignette: {toward: white, strength: 1}}]\n")
    result = finishing("export", tmp_path / "edge.yaml", "--out", tmp_path / "edge.clf")
    assert result.exit_code == 2
    assert "nothing of this look can go into a table" in result.stderr
    assert not (tmp_path / "edge.clf").exists()


def test_run_tells_what_is_left_over(finished: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = finished.parent
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("frames/*.jpg", "frames/A*.jpg, frames/C*.jpg"))
    result = finishing("run", session)
    assert result.exit_code == 0
    assert "left from an earlier run, and no longer asked for by the session: 2 files" in result.stderr
    assert str(finished / "web/faded_print/Z-0009.jpg") in result.stderr
    assert "delete them" in result.stderr
    assert (finished / "web/faded_print/Z-0009.jpg").is_file()
    (finished / "web/faded_print/Z-0009.jpg").unlink()
    forgotten = finishing("ledger", finished, "--forget", "web/faded_print/Z-0009.jpg")
    assert (forgotten.exit_code, forgotten.stdout) == (0, "1 file forgotten\n")
    assert finishing("ledger", finished, "--forget", "full/faded_print/Z-0009.png").exit_code == 2
    (finished / "full/faded_print/Z-0009.png").unlink()
    assert finishing("ledger", finished, "--forget", finished / "full/faded_print/Z-0010.png").exit_code == 2
    monkeypatch.chdir(finished.parent)  # as it is printed there
    printed = next(line.strip() for line in result.stderr.splitlines() if line.endswith("full/faded_print/Z-0009.png"))
    for told in (printed, "finished/full/faded_print/Z-*.png"):
        kept = (finished / "ledger.sqlite").read_bytes()
        assert finishing("ledger", "finished", "--forget", told).stdout == "1 file forgotten\n"
        (finished / "ledger.sqlite").write_bytes(kept)
    assert "left from an earlier run" not in finishing("run", session, "--look", "faded_print").stderr
