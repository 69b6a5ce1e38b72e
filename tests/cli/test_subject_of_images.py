"""Looks that lie around the subject, on images without a session: --subject says where it is."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from finishing.cli.main import main

AROUND = (
    "look: {title}\nsteps:\n  - exposure: {{stops: 1, where: {{ellipse: {{centre: {centre}, radii: [0.2, 0.3]}}}}}}\n"
)


def call(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def image(session: Path) -> Path:
    return session / "frames/A-0001.jpg"


@pytest.fixture
def around(tmp_path: Path) -> Path:
    """A look that keeps to the subject; beside it one with the place itself."""
    (tmp_path / "placed.yaml").write_text(AROUND.format(title="Placed", centre="[0.4, 0.6]"))
    (tmp_path / "around.yaml").write_text(AROUND.format(title="Around", centre="subject"))
    return tmp_path / "around.yaml"


def commands(look: Path, image: Path, folder: Path) -> list[list[object]]:
    return [
        ["apply", look, image, "--out", folder],
        ["compare", look, "original", image],
        ["steps", look, image, "--out", folder / "steps.png"],
        ["strip", look, image, "--vary", "exposure.stops=0..1", "--out", folder / "strip.png"],
    ]


@pytest.mark.parametrize("number", range(4))
def test_each_command_says_what_can_be_done_with_it(tmp_path: Path, image: Path, around: Path, number: int) -> None:
    words = commands(around, image, tmp_path / "out")[number]
    (tmp_path / "out").mkdir()
    without = call(*words)
    assert without.exit_code == 2
    assert "around.yaml: this look lies around the subject, and nothing says where that is" in without.stderr
    assert "--subject 0.45,0.60" in without.stderr
    assert ("--frame" in without.stderr) == (words[0] in ("steps", "strip"))
    assert not list((tmp_path / "out").glob("*"))
    placed = call(*words, "--subject", "40%,0.6")
    assert placed.exit_code == 0, placed.output
    wrong = call(*words, "--subject", "left")
    assert wrong.exit_code == 2
    assert "the place behind --subject cannot be read" in wrong.stderr


def test_the_place_is_the_one_that_is_said(tmp_path: Path, image: Path, around: Path) -> None:
    found = call("compare", around, around.with_name("placed.yaml"), image, "--subject", "0.4,0.6", "--json")
    assert json.loads(found.stdout)["overall"]["maximum"] == 0
    found = call("compare", around, around.with_name("placed.yaml"), image, "--subject", "0.6,0.4", "--json")
    assert json.loads(found.stdout)["overall"]["maximum"] > 2
    for name in ("around", "placed"):
        done = call("apply", around.with_name(f"{name}.yaml"), image, "--out", tmp_path / name, "--format", "png",
                    "--subject", "0.4,0.6")  # fmt: skip
        assert done.exit_code == 0, done.output
    codes = [np.asarray(Image.open(tmp_path / name / "A-0001.png")) for name in ("around", "placed")]
    np.testing.assert_array_equal(*codes)


def test_a_file_knows_the_place_when_it_is_made_again(tmp_path: Path, image: Path, around: Path) -> None:
    assert call("apply", around, image, "--out", tmp_path / "out", "--subject", "0.333,62%").exit_code == 0
    file = tmp_path / "out" / "A-0001.jpg"
    first = file.read_bytes()
    file.unlink()
    around.unlink()
    (tmp_path / "copy.jpg").write_bytes(first)
    done = call("again", tmp_path / "copy.jpg", "--source", image, "--out", file)
    assert done.exit_code == 0, done.output
    assert file.read_bytes() == first
    told = call("inspect", file)
    assert "about 0.333, 0.62" in told.stdout


def test_an_image_has_no_masks(tmp_path: Path, image: Path) -> None:
    (tmp_path / "masked.yaml").write_text("look: Masked\nsteps:\n  - exposure: {stops: 1, where: {mask: coat}}\n")
    for words in commands(tmp_path / "masked.yaml", image, tmp_path / "out"):
        done = call(*words)
        assert done.exit_code == 2
        assert 'masked.yaml: this look asks for the mask "coat", and an image alone has no masks' in done.stderr
        assert ("--frame" in done.stderr) == (words[0] in ("steps", "strip"))


def test_what_is_neutral_or_only_measured_needs_no_subject(tmp_path: Path, image: Path) -> None:
    region = "{ellipse: subject}"
    (tmp_path / "quiet.yaml").write_text(
        f"look: Quiet\nsteps:\n  - exposure: {{stops: 0, where: {region}}}\n  - saturation: {{amount: 0.5}}\n"
        f"checks:\n  - clipped_white: {{at_most: 0.1, where: {region}}}\n"
    )
    apply, compare, steps, _ = commands(tmp_path / "quiet.yaml", image, tmp_path / "out")
    assert call(*apply).exit_code == 0
    assert call(*compare).exit_code == 0
    assert "nothing says where that is" in call(*steps).stderr  # it measures the checks
