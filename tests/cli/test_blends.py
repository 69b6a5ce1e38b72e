"""The commands on a session with blends."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishing.cli.main import main
from tests.light.blend_session import exif, lights, rewrite, write_blend_session, write_frame


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def finishing(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_run_makes_blends_and_fails_them_by_name(folder: Path) -> None:
    made = finishing("run", folder)
    assert made.exit_code == 0, made.stderr
    assert "4 files made" in made.stdout
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + strobe, exif(1 / 30, f_number=5.6))
    failed = finishing("run", folder)
    assert failed.exit_code == 1
    assert "C-blend: this frame has another aperture than the first" in failed.stderr
    assert "use frames that differ in the shutter alone" in failed.stderr
    assert "1 file made" in failed.stdout  # C-0013 itself
    told = json.loads(finishing("run", folder, "--json").stdout)
    assert [one["frame"] for one in told["failed"]] == ["C-blend"]


def test_the_ledger_shows_what_a_blend_is_of(folder: Path) -> None:
    finishing("run", folder, "--frames", "C-*")
    lines = finishing("ledger", folder / "finished").stdout
    words = "from blend of frames/C-0012.tif and frames/C-0013.tif, ambient +0.7 stop, strobe −0.3 stop, plain 1"
    assert words in lines
    told = {one["frame"]: one for one in json.loads(finishing("ledger", folder / "finished", "--json").stdout)}
    assert told["C-0012"]["blend"] is None
    assert told["C-blend"]["blend"]["light"] == {"ambient": 0.7, "strobe": -0.3}
    assert told["C-blend"]["blend"]["sources"][0]["hash"] == told["C-0012"]["source_hash"]
    assert finishing("ledger", folder / "finished", "--verify").exit_code == 0


def test_check_says_what_is_wrong_with_blends(folder: Path) -> None:
    assert finishing("check", folder).exit_code == 0
    rewrite(folder, ("[C-0012, C-0013]", "[C-0012, C-0031]"))
    wrong = finishing("check", folder)
    assert wrong.exit_code == 1  # as a run would: the blend alone cannot be made
    assert "to look at:" not in wrong.stderr
    assert "a sound session, but 1 frame of it cannot be finished" in wrong.stdout
    assert 'session.yaml:7:3: no frame has the name "C-0031"' in wrong.stderr
    assert "session.yaml:8:23" in wrong.stderr
    assert 'did you mean "C-0013"?' in wrong.stderr
    ran = finishing("run", folder)
    assert ran.exit_code == 1
    assert 'C-blend: no frame has the name "C-0031"' in ran.stderr
    assert "3 files made" in ran.stdout
    rewrite(folder, ("C-0031", "D-0001"))
    other = finishing("check", folder)
    assert other.exit_code == 2
    assert "session.yaml:8:14: the sources of this blend are of different set-ups" in other.stderr
    rewrite(folder, ("D-0001", "C-0013"))
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + strobe, exif(1 / 500))
    doubtful = finishing("check", folder)
    assert doubtful.exit_code == 1
    assert finishing("run", folder).exit_code == 1
    assert "session.yaml:7:3: the shutter is faster than the sync time" in doubtful.stderr


def test_plan_lists_blends_under_their_setup(folder: Path, tmp_path: Path) -> None:
    lines = finishing("plan", folder).stdout.replace("\n    ", " ")
    assert "blend C-blend of C-0012 and C-0013: ambient +0.7 stop, strobe −0.3 stop" in lines
    assert lines.index("C  By the gate") < lines.index("blend C-blend") < lines.index("\nD\n")
    told = json.loads(finishing("plan", folder, "--json").stdout)
    assert [(one["blend"], one["setup"]) for one in told["matching"]["blends"]] == [("C-blend", "C")]
    finishing("plan", folder, "--out", tmp_path / "plan.html")
    assert "C-blend of C-0012 and C-0013" in (tmp_path / "plan.html").read_text()


def test_sheet_has_the_pages_of_blends_or_not(folder: Path) -> None:
    assert len(finishing("sheet", folder, "--out", folder / "with.png").stdout.splitlines()) == 3
    assert len(finishing("sheet", folder, "--out", folder / "none.png", "--no-light-pages").stdout.splitlines()) == 1


def test_light_of_a_session(folder: Path, tmp_path: Path) -> None:
    rewrite(folder, ("blends:\n", "blends:\n  C-same: {sources: [C-0012, C-0014]}\n"))
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0014.tif", ambient + strobe, exif(1 / 125))
    out = tmp_path / "light"
    result = finishing("light", folder, "--out", out)
    assert result.exit_code == 1
    assert "C-blend: At the subject the strobe is" in result.stdout
    assert "5 files written" in result.stdout
    assert "C-same: the shutters are equal" in result.stderr
    assert "strobes_off" in result.stderr
    again = finishing("light", folder / "session.yaml", "--out", out)
    assert again.exit_code == 2
    assert "--again" in again.stderr
    told = json.loads(finishing("light", folder, "--out", out, "--again", "--json").stdout)
    assert told["blends"]["C-blend"]["blend"]["ambient"]["stops"] == 0.7
    assert [one["frame"] for one in told["failed"]] == ["C-same"]
    refused = finishing("light", folder, "--out", out, "--ambient", "+1", "--subject", "0.5,0.5")
    assert refused.exit_code == 2
    assert "--ambient, --subject" in refused.stderr
    empty = tmp_path / "empty"
    empty.mkdir()
    assert finishing("light", empty, "--out", out).exit_code == 2
