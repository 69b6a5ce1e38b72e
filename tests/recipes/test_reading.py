from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.batch.work.looks import library, vocabulary
from finishing.documents.flow import flow
from finishing.errors import ProblemSet
from finishing.recipes.library import library_folder, recipes_in
from finishing.recipes.reading import read_recipe
from finishing.recipes.recipe import Recipe

TEXT = """\
look: Saffron
about: Faded, one coat kept.
client: Example Textiles
version: 2
settings: {kept_hue: 70}
steps:
  - exposure: {stops: 0.3}
  - hue_isolation: {keep: $kept_hue, width: 40}
"""


def read(folder: Path, text: str, name: str = "saffron", **overrides: object) -> Recipe:
    path = folder / f"{name}.yaml"
    path.write_text(text)
    return read_recipe(path, vocabulary(), overrides)


def test_what_is_written_is_read(tmp_path: Path) -> None:
    look = read(tmp_path, TEXT)
    assert (look.name, look.title, look.version, look.client) == ("saffron", "Saffron", 2, "Example Textiles")
    assert [step.describe() for step in look.steps] == ["exposure: {stops: 0.3}", "hue_isolation: {keep: [70]}"]
    assert look.steps[1].place is not None
    assert look.steps[1].place.line == 8


def test_settings_can_be_changed_and_change_the_hash(tmp_path: Path) -> None:
    plain, changed = read(tmp_path, TEXT), read(tmp_path, TEXT, kept_hue="#c8a21b")
    # coloraide 8.13: OkLCh hue of #c8a21b
    assert changed.steps[1].operation.keep == pytest.approx((90.0,), abs=3)  # type: ignore[attr-defined]
    assert plain.hash != changed.hash
    assert plain.hash == read(tmp_path, TEXT, kept_hue="70.0").hash


def test_the_hash_is_stable_and_knows_every_parameter(tmp_path: Path) -> None:
    look = read(tmp_path, TEXT)
    same = read(
        tmp_path, TEXT.replace("{stops: 0.3}", "{stops: 3e-1}  # a comment").replace("about: Faded", "about: A")
    )
    assert same.hash == look.hash
    for before, after in (("0.3", "0.31"), ("width: 40", "width: 41"), ("version: 2", "version: 3")):
        assert read(tmp_path, TEXT.replace(before, after)).hash != look.hash
    assert len(look.hash) == 64


def test_extends_puts_the_other_looks_steps_first(tmp_path: Path) -> None:
    read(tmp_path, TEXT)
    child = "look: Child\nextends: saffron\nsettings: {kept_hue: 120}\nsteps:\n  - saturation: {amount: 0.5}\n"
    look = read(tmp_path, child, "child")
    assert [step.operation.name for step in look.steps] == ["exposure", "hue_isolation", "saturation"]
    assert look.steps[1].operation.keep == (120.0,)  # type: ignore[attr-defined]
    assert look.about == "Faded, one coat kept."


def test_a_circle_over_three_files_is_told(tmp_path: Path) -> None:
    for name, parent in (("a", "b"), ("b", "c"), ("c", "a")):
        (tmp_path / f"{name}.yaml").write_text(f"look: {name}\nextends: {parent}\n")
    with pytest.raises(Exception, match="these recipes extend each other in a circle") as caught:
        read_recipe(tmp_path / "a.yaml", vocabulary())
    assert "a → b → c → a" in str(caught.value)


def test_where_and_checks_are_part_of_a_look(tmp_path: Path) -> None:
    text = TEXT + (
        "  - saturation: {amount: 0, where: {not: {ellipse: subject}}}\n"
        "checks:\n  - clipped_white: {at_most: 0.02}\n  - skin_hue_shift: {at_most: 4}\n"
    )
    look = read(tmp_path, text)
    assert look.steps[2].where is not None
    assert [one.check.name for one in look.checks] == ["clipped_white", "skin_hue_shift"]
    assert read(tmp_path, text.replace("at_most: 0.02", "at_most: 0.03")).hash != look.hash
    with pytest.raises(ProblemSet, match='did you mean "clipped_white"'):
        read(tmp_path, text.replace("clipped_white", "cliped_white"))


def test_the_library_is_sound_and_every_look_tells_about_itself() -> None:
    looks = library()
    assert len(looks) == len(recipes_in(library_folder())) >= 3
    assert len({look.hash for look in looks}) == len(looks)
    for look in looks:
        assert len(look.about) > 40, look.name
        assert all(not step.operation.changes_nothing() for step in look.steps), look.name


plain = st.recursive(
    st.one_of(st.booleans(), st.integers(-999, 999), st.floats(-1e6, 1e6), st.text("abc -:#,[]{}'\"é$", max_size=8)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("abcd"), inner, max_size=3),
    max_leaves=8,
)


@given(plain)
def test_flow_is_yaml(value: object) -> None:
    import yaml

    def loose(data: object) -> object:
        if isinstance(data, dict):
            return {key: loose(item) for key, item in data.items()}
        if isinstance(data, list):
            return [loose(item) for item in data]
        if isinstance(data, bool):
            return "yes" if data else "no"
        return data if isinstance(data, str) else float(data)  # type: ignore[arg-type]

    def read_back(data: object, like: object) -> object:
        if isinstance(like, dict):
            assert isinstance(data, dict)
            return {key: read_back(data[key], like[key]) for key in like}
        if isinstance(like, list):
            assert isinstance(data, list)
            return [read_back(item, one) for item, one in zip(data, like, strict=True)]
        return float(str(data)) if isinstance(like, float) else data

    assert read_back(yaml.load(flow(value), Loader=yaml.BaseLoader), loose(value)) == loose(value)


SEVERAL = """\
look: Several
settings: {hue: reddish, edge: 40 %, fade: low, spot: middle}
steps:
  - hue_isolation: {keep: $hue, width: 40, where: {near: $spot}}
  - hue_emphasis: {hue: $hue, width: 40}
  - tone_curve: {points: [[0, $fade], [1, 0.97]]}
  - edge_vignette: {toward: white, strength: $edge}
  - edge_vignette: {toward: black, strength: $edge, where: {not: {near: $spot}}}
checks:
  - kept_colour_area: {hue: $hue, at_least: 0.1}
"""


def told(folder: Path, text: str, name: str = "several", **overrides: object) -> list[tuple[str, str, str | None]]:
    """Place, what is wrong, and what to do, of a recipe that is refused."""
    with pytest.raises(ProblemSet) as caught:
        read(folder, text, name, **overrides)
    return [(str(one.where).removeprefix(f"{folder}/"), one.what, one.remedy) for one in caught.value.problems]


def test_a_settings_wrong_value_is_told_once_and_where_the_setting_stands(tmp_path: Path) -> None:
    assert told(tmp_path, SEVERAL) == [
        ("several.yaml:2:17", 'the setting "hue" cannot be read', "write hue: 75, for example"),
        ("several.yaml:2:32", 'the setting "edge" is written as a percentage', "write edge: 0.4"),
        ("several.yaml:2:44", 'the setting "fade" cannot be read', "write a number behind fade:"),
        ("several.yaml:2:55", 'the setting "spot" cannot be read', "correct spot"),
    ]


def test_of_a_list_the_setting_that_is_out_of_bounds_is_told(tmp_path: Path) -> None:
    text = "look: Several\nsettings: {m: 2}\nsteps:\n  - edge_vignette: {toward: black, strength: 0.4, "
    text += "centre: [0.3, $m]}\n"
    assert told(tmp_path, text) == [
        ("several.yaml:2:15", 'the setting "m" cannot be read', "write a number from 0 to 1 behind m:")
    ]


def test_a_list_that_is_wrong_as_a_whole_is_told_with_its_settings(tmp_path: Path) -> None:
    text = "look: Several\nsettings: {m: 0.1}\nsteps:\n"
    text += "  - exposure: {stops: 1, where: {box: {sides: [0.3, 0, $m, 1]}}}\n"
    with pytest.raises(ProblemSet) as caught:
        read(tmp_path, text, "several")
    (problem,) = caught.value.problems
    assert problem.got == "[0.3, 0, $m, 1], which is [0.3, 0, 0.1, 1]"


def test_a_setting_is_told_in_the_file_that_gives_its_value(tmp_path: Path) -> None:
    read(tmp_path, TEXT)
    child = "look: Child\nextends: saffron\nsettings: {kept_hue: reddish}\n"
    assert told(tmp_path, child, "child") == [
        ("child.yaml:3:22", 'the setting "kept_hue" cannot be read', "write kept_hue: 75, for example")
    ]
    assert told(tmp_path, TEXT, "saffron", kept_hue="60°") == [
        ("None", 'the setting "kept_hue" is written with a degree sign, which is left out', "write kept_hue: 60")
    ]


def test_what_is_wrong_beside_a_setting_is_told_where_it_stands(tmp_path: Path) -> None:
    text = SEVERAL.replace("width: 40}\n  - tone", "width: 400}\n  - tone").replace(
        "strength: $edge}", "strength: $egde}"
    )
    assert [place for place, _, _ in told(tmp_path, text)] == [
        "several.yaml:2:17", "several.yaml:2:32", "several.yaml:2:44", "several.yaml:2:55", "several.yaml:5:38",
        "several.yaml:7:46",
    ]  # fmt: skip
