"""What --vary can say: ranges, lists, settings and parameters, and every way to get it wrong."""

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from finishing.batch.paper.varying import Varied, read_asked, spaced, vary, with_unit
from finishing.batch.work.looks import read_look
from finishing.errors import Problem, ProblemSet
from finishing.recipes.recipe import Recipe

LOOK = """\
look: Trial
settings: {kept_hue: 72, lift: 0.1, unused: 3}
steps:
  - exposure: {stops: 0.3}
  - tone_curve: {points: [[0, $lift], [1, 1]], channels: red}
  - tone_curve: {points: [[0, 0.05], [1, 1]]}
  - hue_isolation: {keep: $kept_hue, width: 40}
  - grain: {strength: 0.02, seed: 4}
  - edge_vignette: {toward: white, strength: 0.8, starts_at: 0.5, reaches: 1.0}
"""


@pytest.fixture
def varying(tmp_path: Path) -> Any:
    path = tmp_path / "trial.yaml"
    path.write_text(LOOK)

    def read(overrides: Mapping[str, Any]) -> Recipe:
        return read_look(str(path), overrides=overrides)

    def made(*texts: str, bands: int = 6) -> Varied:
        return vary(read, texts, [bands] * len(texts))

    return made


def test_a_parameter_in_even_steps_with_what_is_printed_used(varying: Any) -> None:
    varied = varying("edge_vignette.strength=0.2..1.0")
    assert varied.axes[0].labels == ("0.2", "0.36", "0.52", "0.68", "0.84", "1")
    strengths = [varied.look(place).steps[-1].operation.strength for place in range(6)]
    assert strengths == [float(label) for label in varied.axes[0].labels]
    assert varied.axes[0].own == "0.8"
    assert varied.base.steps[-1].operation.strength == 0.8
    others = [varied.look(place).steps[:-1] for place in range(6)]
    assert all(steps == varied.base.steps[:-1] for steps in others)


def test_a_setting_takes_the_unit_of_the_step_that_uses_it(varying: Any) -> None:
    (axis,) = varying("kept_hue=60..90", bands=6).axes
    assert axis.labels == ("60°", "66°", "72°", "78°", "84°", "90°")
    assert axis.own_at == 2
    assert axis.own == "72°"
    assert varying("kept_hue=60..90").look(5).steps[3].operation.keep == (90.0,)


def test_stops_have_signs_and_may_be_fractions(varying: Any) -> None:
    assert varying("exposure.stops=-1..1", bands=5).axes[0].labels == ("−1", "−0.5", "0", "+0.5", "+1")
    assert varying("exposure.stops=-1/3..1", bands=5).axes[0].labels[0] == "−0.33333"
    assert with_unit("5600", "kelvin") == "5600 K"


def test_one_of_two_like_steps_and_words_in_a_list(varying: Any) -> None:
    varied = varying("tone_curve[2].channels=all,lightness,blue")
    assert [varied.look(n).steps[2].operation.channels for n in range(3)] == ["all", "lightness", "blue"]
    assert varied.look(2).steps[1].operation.channels == "red"
    assert varied.axes[0].own_at == 0


def test_two_axes_and_whole_numbers(varying: Any) -> None:
    varied = varying("edge_vignette.strength=0..1", "grain.seed=1..5", bands=3)
    assert varied.axes[1].labels == ("1", "3", "5")
    look = varied.look(1, 2)
    assert (look.steps[-1].operation.strength, look.steps[-2].operation.seed) == (0.5, 5)


@given(st.floats(-100, 100), st.floats(0.001, 1000), st.integers(2, 24), st.booleans())
def test_steps_are_even_and_all_different(low: float, length: float, count: int, falls: bool) -> None:
    ends = (low, low + length)
    values, places = spaced(*(ends[::-1] if falls else ends), count)
    step = length / (count - 1)
    assert len({f"{value:.{places}f}" for value in values}) == count
    gaps = [abs(b - a) for a, b in pairwise(values)]
    assert all(abs(gap - step) <= 0.11 * step for gap in gaps)
    assert abs(values[0] - (ends[1] if falls else low)) <= 0.001 * step


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        (["edge_vignete.strength=0..1"], r'unknown step "edge_vignete"[\s\S]*did you mean "edge_vignette"'),
        (["edge_vignette.strenght=0..1"], r'parameter of edge_vignette "strenght"[\s\S]*"strength"'),
        (["kept_heu=60..90"], r'unknown setting "kept_heu"[\s\S]*"kept_hue"'),
        (["hue_isolation=0..1"], r'"hue_isolation" is a step[\s\S]*hue_isolation\.keep'),
        (["exposure=0..1", "exposure.stops=0..2"], r"name the same"),
        (["tone_curve.channels=all,red"], r"tone_curve 2 times[\s\S]*tone_curve\[1\]"),
        (["tone_curve[3].channels=all,red"], r"tone_curve 2 times[\s\S]*\[1\] to \[2\]"),
        (["exposure[2].stops=0..1"], r"exposure once[\s\S]*exposure\[2\]"),
        (["edge_vignette.strength=0.2..9"], r"beyond what it can be[\s\S]*stay within 0\.\.1"),
        (["edge_vignette.toward=0..1"], r"not a number[\s\S]*list the values"),
        (["tone_curve[1].channels=0..1"], r"not a number[\s\S]*all,red"),
        (["tone_curve[1].channels=all,pink"], r"cannot be pink[\s\S]*one of"),
        (["edge_vignette.strength=dark..light"], r"range cannot be read"),
        (["edge_vignette.strength=0.5..0.5"], r"no width"),
        (["edge_vignette.strength=0.5"], r"nothing to compare"),
        (["edge_vignette.strength=0.5,0.5"], r"nothing to compare"),
        (["edge_vignette.strength"], r"cannot be read[\s\S]*name=from\.\.to"),
        (["unused=1..2"], r"changes nothing"),
        (["grain.seed=1..3"], r"not so many whole numbers"),
        (["lift=0..1", "lift=0..1"], r"name the same"),
        (["lift=0..1", "kept_hue=1..2", "exposure.stops=0..1"], r"one or two things"),
    ],
)
def test_what_cannot_be_varied_is_told(varying: Any, texts: list[str], told: str) -> None:
    with pytest.raises((Problem, ProblemSet), match=told):
        varying(*texts)


def test_a_value_that_the_recipe_refuses_is_told_with_its_place(varying: Any) -> None:
    with pytest.raises(ProblemSet, match=r'trial.yaml:5:26: with lift = 8, "points" cannot be read'):
        varying("lift=0..40")


def test_too_many_bands(varying: Any) -> None:
    with pytest.raises(Problem, match="cannot be compared on one page"):
        varying("edge_vignette.strength=0..1", bands=25)
    with pytest.raises(Problem, match="2 to 12"):
        varying("edge_vignette.strength=0..1", "kept_hue=1..90", bands=13)


def test_the_only_parameter_of_a_step_need_not_be_named(varying: Any) -> None:
    (axis,) = varying("exposure=-1..1", bands=3).axes
    assert (axis.name, axis.parameter, axis.values) == ("exposure.stops", "stops", ("-1", "0", "1"))


def test_names_are_read_as_written() -> None:
    asked = read_asked(" tone_curve[2].channels = all , red ")
    assert (asked.operation, asked.number, asked.parameter, asked.listed) == (
        "tone_curve",
        2,
        "channels",
        ("all", "red"),
    )


REGIONS = """\
look: Limited
steps:
  - exposure: {stops: -1, where: {gradient: {full_at: [0.5, 0], gone_at: [0.5, 0.5]}}}
  - exposure: {stops: 0.5, where: {ellipse: {centre: [0.4, 0.5], radii: [0.1, 0.3], soft: 0.5}}}
  - saturation: {amount: 0.6, where: {not: {any_of: [skin, {hue: {keep: 60, width: 40}}, {near: [0.4, 0.5]}]}}}
  - saturation: {amount: 0.9}
  - exposure: {stops: 0.1, where: {all_of: [{mask: m.png}, {box: [0.1, 0.1, 0.6, 0.9]}]}}
"""


@pytest.fixture
def limited(tmp_path: Path) -> Any:
    path = tmp_path / "limited.yaml"
    path.write_text(REGIONS)
    Image.new("L", (6, 4)).save(tmp_path / "m.png")

    def made(*texts: str, bands: int = 3) -> Varied:
        return vary(lambda more: read_look(str(path), overrides=more), texts, [bands] * len(texts))

    return made


@pytest.mark.parametrize("name", ["exposure[2].where.ellipse.soft", "exposure[2].where.soft"])
def test_numbers_of_a_region_vary(limited: Any, name: str) -> None:
    varied = limited(f"{name}=0..0.6", bands=4)
    (axis,) = varied.axes
    assert (axis.name, axis.labels) == ("exposure[2].where.ellipse.soft", ("0", "0.2", "0.4", "0.6"))
    assert axis.own == "0.5"
    for place, soft in enumerate((0, 0.2, 0.4, 0.6)):
        step = varied.look(place).steps[1]
        assert step.values() == {
            "stops": 0.5, "where": {"ellipse": {"centre": [0.4, 0.5], "radii": [0.1, 0.3], "soft": soft}},
        }  # fmt: skip
        others = [one.values() for n, one in enumerate(varied.look(place).steps) if n != 1]
        assert others == [one.values() for n, one in enumerate(varied.base.steps) if n != 1]


def test_a_region_inside_of_others_varies_alone(limited: Any) -> None:
    for name in ("saturation[1].where.hue.width", "saturation[1].where.not.any_of[2].hue.width"):
        varied = limited(f"{name}=20..60")
        assert varied.axes[0].name == "saturation[1].where.not.any_of[2].hue.width"
        assert varied.axes[0].labels == ("20°", "40°", "60°")
        assert varied.axes[0].own_at == 1
        before, after = (varied.look(place).steps[2].values()["where"]["not"]["any_of"] for place in (1, 2))
        assert before == varied.base.steps[2].values()["where"]["not"]["any_of"]
        assert after[1]["hue"]["width"] == 60
        assert (after[0], after[2]) == (before[0], before[2])


def test_lists_of_a_region_are_listed_in_brackets(limited: Any) -> None:
    varied = limited("exposure[2].where.radii=[0.1, 0.3],[0.2,0.3]")
    assert [varied.look(n).steps[1].where.radii for n in range(2)] == [(0.1, 0.3), (0.2, 0.3)]
    varied = limited("exposure[3].where.box.soft=0..0.1")  # the mask's file beside the recipe stays where it is
    assert varied.look(1).mask_paths == varied.base.mask_paths


def test_two_numbers_of_one_region_vary_together(limited: Any) -> None:
    varied = limited("exposure[2].where.soft=0..0.6", "exposure[2].where.radii=[0.1,0.3],[0.2,0.3]", bands=2)
    (ellipse,) = varied.look(1, 1).steps[1].values()["where"].values()
    assert ellipse == {"centre": [0.4, 0.5], "radii": [0.2, 0.3], "soft": 0.6}
    with pytest.raises(Problem, match="name the same"):
        limited("exposure[2].where.soft=0..0.6", "exposure[2].where.ellipse.soft=0..0.5")


def test_a_setting_of_a_region_goes_with_another_number_of_it(tmp_path: Path) -> None:
    (tmp_path / "set.yaml").write_text(
        "look: Set\nsettings: {wide: 40}\n"
        "steps: [{exposure: {stops: 1, where: {any_of: [skin, {hue: {keep: 60, width: $wide}}]}}}]\n"
    )
    read = lambda more: read_look(str(tmp_path / "set.yaml"), overrides=more)  # noqa: E731
    varied = vary(read, ["wide=20,60", "exposure.where.keep=50,70"], [2, 2])
    (_, hue) = varied.look(1, 1).steps[0].values()["where"]["any_of"]
    assert (hue["hue"]["width"], hue["hue"]["keep"]) == (60, [70])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("exposure[2].where.sotf=0..1", r'number of this region "sotf"[\s\S]*where\.ellipse\.soft'),
        ("saturation[2].where.soft=0..1", r"this step works on the whole frame[\s\S]*saturation\[2\]\.amount"),
        ("saturation[1].where.soft=0..1", r"any_of\[1\]\.skin\.soft[\s\S]*any_of\[3\]\.near\.soft"),
        ("exposure[2].where=0..1", r"where\.ellipse\.centre"),
        ("exposure[2].where.soft=0..99", r"beyond what it can be|cannot be"),
        ("exposure[2].where.soft=0.1,wide", r"exposure\[2\]\.where\.ellipse\.soft cannot be wide"),
        ("exposure.where.soft=0..1", r"exposure 3 times[\s\S]*--vary exposure\[1\]\.where\.soft"),
        ("exposure[2]..soft=0..1", r"cannot be read[\s\S]*operation\.where\.region\.parameter"),
    ],
)
def test_what_of_a_region_cannot_be_varied_is_told(limited: Any, text: str, told: str) -> None:
    with pytest.raises((Problem, ProblemSet), match=told):
        limited(text)
