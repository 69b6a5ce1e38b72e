"""A recipe step by step: the pictures after each step, and which step is to blame."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.paper.on_trial import image_on_trial
from finishing.batch.paper.step_by_step import make_steps
from finishing.batch.work.looks import read_look
from finishing.errors import Problem
from finishing.recipes.recipe import Recipe

LOOK = """\
look: Spoilt skin
steps:
  - exposure: {stops: -0.3}
  - hue_shift: {hue: 50, degrees: 25, width: 120, softness: 60}
  - saturation: {amount: 0.8}
"""


@pytest.fixture
def portrait(tmp_path: Path, photographs: dict[str, NDArray[np.uint8]]) -> Path:
    path = tmp_path / "portrait.jpg"
    Image.fromarray(photographs["astronaut"][:300, 60:360]).save(path, quality=92)
    return path


def look(folder: Path, checks: str = "", steps: str = "") -> Recipe:
    (folder / "spoilt.yaml").write_text(LOOK + steps + (f"checks:\n{checks}" if checks else ""))
    return read_look(str(folder / "spoilt.yaml"))


def test_the_step_that_spoils_the_skin_is_named(tmp_path: Path, portrait: Path) -> None:
    told = make_steps(
        look(tmp_path, "  - skin_hue_shift: {at_most: 5}\n"), image_on_trial(portrait), tmp_path / "s.png"
    )
    assert [step.name for step in told.steps] == ["original", "exposure", "hue_shift", "saturation"]
    values = [step.checks[0].value for step in told.steps]
    assert values[0] == 0
    assert values[1] == pytest.approx(0, abs=0.2)  # light alone turns no hue
    assert values[2] is not None
    assert values[2] > 15
    assert told.findings[0] == "skin hue shift leaves its limits at step 2, hue_shift"
    assert told.findings[1].startswith("skin turns most at step 2, hue_shift: +")
    assert all(step.skin is None for step in told.steps)


def test_skin_is_watched_without_a_check_too(tmp_path: Path, portrait: Path) -> None:
    told = make_steps(look(tmp_path), image_on_trial(portrait), tmp_path / "s.png")
    assert told.steps[2].checks == []
    assert told.steps[2].skin is not None
    assert told.steps[2].skin > 15
    assert told.findings == [f"skin turns most at step 2, hue_shift: +{told.steps[2].skin - told.steps[1].skin:.1f}°"]


def test_a_check_that_the_original_fails_and_colour_that_is_lost(tmp_path: Path, portrait: Path) -> None:
    checks = "  - mean_lightness: {at_least: 0.99}\n"
    told = make_steps(look(tmp_path, checks, "  - monochrome\n"), image_on_trial(portrait), tmp_path / "s.png")
    assert told.findings[0] == "mean lightness is beyond its limits in the original already"
    assert told.findings[-1] == "skin has no colour left from step 4, monochrome"


def test_a_check_that_comes_right_again_is_no_finding(tmp_path: Path, portrait: Path) -> None:
    steps = "  - exposure: {stops: 6}\n  - exposure: {stops: -6}\n"
    told = make_steps(
        look(tmp_path, "  - clipped_white: {at_most: 0.2}\n", steps), image_on_trial(portrait), tmp_path / "s.png"
    )
    assert [step.checks[0].passed for step in told.steps] == [True, True, True, True, False, True]
    assert not any("clipped" in finding for finding in told.findings)


def test_the_page_holds_a_picture_a_step_and_their_texts(tmp_path: Path, portrait: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    made = make_steps(look(tmp_path), image_on_trial(portrait), tmp_path / "s.pdf", columns=4)
    with pikepdf.open(made.files[0]) as document:
        pictures = [image.read_raw_bytes() for page in document.pages for image in page.Resources.XObject.values()]
    assert len(set(pictures)) == 4
    with pytest.raises(Problem, match="take the place of an original"):
        make_steps(look(tmp_path), image_on_trial(_copied(portrait, tmp_path / "copy.png")), tmp_path / "copy.png")


def _copied(image: Path, target: Path) -> Path:
    Image.open(image).save(target)
    return target
