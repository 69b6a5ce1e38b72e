"""The command `light`."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from finishing.cli.main import main
from finishing.colour.spaces import SRGB
from finishing.photographs.exif import Exif, rational, short, write_exif
from finishing.photographs.writing import OutputSettings, write_photograph
from tests.light.scene import jpeg, lights


@pytest.fixture
def frames(tmp_path: Path) -> list[str]:
    ambient, strobe, _ = lights()
    paths = []
    for name, time, under in (("one", 1, 125), ("four", 4, 30)):
        photo = {0x829A: rational(1, under), 0x829D: rational(8, 1), 0x8827: short(100)}
        path = tmp_path / f"{name}.jpg"
        settings = OutputSettings(format="jpeg", space=SRGB, quality=95)
        codes = jpeg(time * ambient + strobe, under, None)
        write_photograph(path, codes, settings=settings, exif=write_exif(Exif("<", {}, photo)))
        paths.append(str(path))
    return paths


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["light", *arguments])
    return result.exit_code, result.stdout, result.stderr


def test_light_writes_and_says_what_the_strobe_does(frames: list[str], tmp_path: Path) -> None:
    out = str(tmp_path / "out")
    status, said, aside = run(*frames, "--out", out, "--ambient", "+1", "--strobe", "-1/3", "--subject", "0.46,0.68")
    assert status == 0, aside
    assert "At the subject the strobe is" in said
    assert "5 files written" in said
    assert "approximate" in aside
    facts = json.loads((tmp_path / "out" / "report.json").read_text())
    assert facts["blend"]["ambient"]["stops"] == 1
    assert facts["blend"]["strobe"]["stops"] == pytest.approx(-1 / 3)


def test_json_is_the_report(frames: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    status, said, _ = run(
        *frames, "--out", str(out), "--json", "--strobe-white", "4300", "--ambient-white", "1.1,1,0.9"
    )
    assert status == 0
    facts = json.loads(said)
    assert facts == json.loads((out / "report.json").read_text())
    assert facts["blend"]["strobe"]["white"] == 4300
    assert facts["blend"]["ambient"]["white"] == [1.1, 1.0, 0.9]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--ambient", "much"], "--ambient cannot be read"),
        (["--shutter", "soon", "--shutter", "1/30"], "--shutter cannot be read"),
        (["--shutter", "1/30"], "not as many shutters"),
        (["--shutter", "1/60", "--shutter", "1/60"], "equal"),
        (["--strobe-white", "500"], "--strobe-white cannot be read"),
        (["--ambient-white", "1,2"], "--ambient-white cannot be read"),
        (["--subject", "2,0"], "the place behind --subject cannot be read"),
        (["--off", "nowhere.jpg"], "not among the frames"),
        (["--plan", "nowhere.yaml"], "nowhere.yaml"),
    ],
)
def test_a_wrong_request_ends_with_2(frames: list[str], tmp_path: Path, arguments: list[str], words: str) -> None:
    status, _, aside = run(*frames, "--out", str(tmp_path / "out"), *arguments)
    assert status == 2
    assert words in aside
    assert not (tmp_path / "out").exists()
    status, said, _ = run(*frames, "--out", str(tmp_path / "out"), "--json", *arguments)
    assert status == 2
    assert json.loads(said)["problems"]
