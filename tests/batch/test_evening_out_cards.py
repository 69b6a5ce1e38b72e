"""Grey cards, charts and kelvin: what makes the light of a session neutral, what is told of it, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

from finishing.batch.evening.card_colour import not_grey
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.colour.white import chromaticity, nearest_light
from finishing.errors import ProblemSet
from finishing.evenness.reading import Reading
from tests.batch.evening import errors, evenness
from tests.evenness import dusk
from tests.evenness.dusk import (
    FIGURE,
    FROM_XYZ,
    HEIGHT,
    WIDTH,
    Fault,
    scene,
    write,
    write_session,
)
from tests.evenness.test_chart import SKEWED, drawn, under

# Neutral white: grey card, chart, kelvin.

GREY = "  white_balance: {grey_card: {frame: A-0001, box: [0.71, 0.57, 0.79, 0.68]}}\n"


def test_a_grey_card_makes_its_light_neutral(tmp_path: Path) -> None:
    faults = {name: Fault(kelvin=5600) for name in ("A-0001", "A-0002")}
    folder = write_session(tmp_path, faults, GREY, per_frame="per_frame:\n  A-0001: {skip: yes}\n")
    found = evenness(folder)
    assert found.correction("A-0002").white.startswith("grey card in A-0001")
    _, differences = errors(folder, found, ["A-0002"])
    assert differences[0] < 0.5


def test_cards_by_set_up_and_one_for_all(tmp_path: Path) -> None:
    faults = {"A-0001": Fault(kelvin=5600), "A-0002": Fault(kelvin=5600), "B-0001": Fault(kelvin=7500)}
    one = evenness(write_session(tmp_path / "one", faults, GREY))
    assert one.correction("B-0001") == one.correction("A-0002")
    assert [w.what for w in one.warnings] == ["A-0001 is of set-up A; its white is used for set-up B as well"]
    box = "box: [0.71, 0.57, 0.79, 0.68]"
    both = f"  white_balance: {{grey_card: {{A: {{frame: A-0001, {box}}}, B: {{frame: B-0001, {box}}}}}}}\n"
    folder = write_session(tmp_path / "both", faults, both)
    found = evenness(folder)
    assert found.warnings == ()
    _, differences = errors(folder, found, list(faults))
    assert differences.max() < 0.5


def test_a_card_together_with_a_key_frame(tmp_path: Path) -> None:
    """Every frame to the key frame's white, and the key's, told by a card in another frame, to neutral."""
    random = np.random.default_rng(8)
    faults = {f"A-{at:04d}": Fault(kelvin=5400 + float(random.uniform(-400, 400))) for at in range(12)}
    match = GREY.replace("}}\n", f"}}, to: A-0005, measure: {FIGURE}}}\n")
    folder = write_session(tmp_path, faults, match)
    _, differences = errors(folder, evenness(folder), list(faults))
    assert np.mean(differences <= 2) >= 0.95
    assert np.median(differences) < 1


def test_kelvin(tmp_path: Path) -> None:
    """Light of 5600 K as colour-science draws it (daylight of CIE 15, Bradford) comes out neutral."""
    folder = write_session(tmp_path, {"A-0001": Fault(kelvin=5600)}, "  white_balance: {kelvin: 5600}\n")
    found = evenness(folder)
    assert found.correction("A-0001").white == "light of 5600 K"
    _, differences = errors(folder, found, ["A-0001"])
    assert differences[0] < 0.5


def test_a_card_that_cannot_be_measured(tmp_path: Path) -> None:
    folder = write_session(tmp_path / "a", {"A-0001": Fault(stops=4)}, GREY)
    with pytest.raises(ProblemSet, match="the grey card cannot be measured") as caught:
        assign(folder)
    assert "session.yaml:5:51" in str(caught.value)
    assert "clipped" in str(caught.value)
    wide = GREY.replace("[0.71, 0.57, 0.79, 0.68]", "[0.3, 0.2, 0.79, 0.68]")
    found = evenness(write_session(tmp_path / "b", {"A-0001": Fault()}, wide))
    assert found.warnings[0].what == "the box of the grey card takes in light and dark tones"


NOT_GREY = (
    "what stands in the grey card's box of A-0001 is not grey under any daylight or lamp: is the box on the card?"
)


@pytest.mark.parametrize(
    ("stands", "told"),
    [((0.18, 0.18, 0.18), False), ((0.30, 0.20, 0.10), False), ((0.102, 0.156, 0.032), True), ((0.4, 0.1, 0.3), True)],
)
def test_what_stands_in_the_box_is_looked_at_by_check_and_run(
    tmp_path: Path, stands: tuple[float, float, float], told: bool
) -> None:
    """A grey, by daylight and by lamps; leaves and a pink dress."""
    white = "  white_balance: {grey_card: {frame: A-0001, box: [0.71, 0.57, 0.79, 0.68]}}\n"
    folder = write_session(tmp_path, {"A-0001": Fault(), "A-0002": Fault()}, white)
    light = scene()
    light[int(0.55 * HEIGHT) : int(0.70 * HEIGHT), int(0.70 * WIDTH) : int(0.80 * WIDTH)] = stands
    codes = np.asarray(np.round(dusk.colour.models.eotf_inverse_sRGB(light) * 255), np.uint8)
    write(folder / "frames/A-0001.jpg", codes, 1 / 125, 0)
    found = [one for one in evenness(folder).warnings if one.what == NOT_GREY]
    assert len(found) == told
    checked = [str(one) for one in check_file(folder).warnings if one.what == NOT_GREY]
    assert checked == [str(one) for one in found]
    assert all(one.got and one.remedy and "session.yaml" in str(one.where) for one in found)


@pytest.mark.parametrize("kelvin", [2200, 2900, 4300, 6500, 12000, 18000])
def test_cards_in_any_light_are_grey(kelvin: float) -> None:
    """Their temperature as colour-science has it (Ohno 2013), to 3 %."""
    xyz = dusk.colour.xy_to_XYZ(np.array(chromaticity(kelvin)))
    card = 0.18 * FROM_XYZ @ xyz
    found, away = nearest_light(card)
    expected, _ = dusk.colour.temperature.XYZ_to_CCT_Ohno2013(xyz)
    assert found == pytest.approx(expected, rel=0.03)
    assert away < 0.002
    noise = 1 + 0.05 * np.random.default_rng(3).standard_normal((500, 3))
    assert not_grey(Reading(np.maximum(card, 0.001) * noise, np.ones(500), 0, 0, 0.1)) == ""


@pytest.mark.parametrize(
    ("linear", "words"),
    [
        ((0.102, 0.156, 0.032), "off that of any daylight or lamp"), ((0.30, 0.10, 0.30), "off that of any"),
        ((0.6, 0.12, 0.002), "redder"), ((0.12, 0.22, 0.50), "bluer"),
    ],
)  # fmt: skip
def test_colours_of_no_light(linear: tuple[float, float, float], words: str) -> None:
    assert words in not_grey(Reading(np.tile(linear, (9, 1)), np.ones(9), 0, 0, 0.1))


def test_colours_that_cancel_out_are_no_grey() -> None:
    pixels = np.array([[0.3, 0.1, 0.1], [0.1, 0.2, 0.3]] * 50)
    assert "differ" in not_grey(Reading(pixels, np.ones(100), 0, 0, 0.1))


def with_chart(folder: Path, corners: str) -> Path:
    write_session(
        folder, {"A-0002": Fault(kelvin=5000)}, f"  white_balance: {{chart: {{frame: A-0001, corners: {corners}}}}}\n"
    )
    write(folder / "frames" / "A-0001.jpg", drawn(under("D50") * 0.8, SKEWED), 1 / 125, 0)
    return folder


def test_a_chart(tmp_path: Path) -> None:
    corners = str([list(corner) for corner in SKEWED])
    found = evenness(with_chart(tmp_path, corners))
    fit = found.charts["all"]
    assert fit.after[0] < 0.5 * fit.before[0]
    assert found.correction("A-0002").white == "24-patch chart in A-0001"
    assert found.lines()[0].startswith("the chart: mean difference 6")
    assert found.as_json()["charts"][0]["after"]["mean"] < 2
    _, differences = errors(tmp_path, found, ["A-0002"])
    assert differences[0] < 2.5


def test_corners_that_lie_wrong_are_told_in_place(tmp_path: Path) -> None:
    turned = str([list(corner) for corner in SKEWED[2:] + SKEWED[:2]])
    with pytest.raises(ProblemSet, match="turned by half") as caught:
        assign(with_chart(tmp_path, turned))
    assert "session.yaml:5:" in str(caught.value)
