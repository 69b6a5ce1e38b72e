"""Where a look's name leads: to recipes, and to nothing else that happens to end in .yaml."""

from pathlib import Path

import pytest

from finishing.errors import Problem
from finishing.recipes.library import find_recipe, library_folder, recipes_in

RECIPE = "look: Mine\nsteps:\n  - exposure: {stops: 1}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "session.yaml").write_text("session: Orchard\nframes: [frames/*.jpg]\nlooks: [{look: mine}]\n")
    (tmp_path / "plan.yaml").write_text("setups: []\n")
    (tmp_path / "services.yaml").write_text("version: 2\nservices: {web: {}}\n")
    (tmp_path / "notes.yaml").write_text("- buy batteries\n")
    (tmp_path / "mine.yaml").write_text(RECIPE)
    (tmp_path / "flow.yaml").write_text("{extends: faded_print, version: 2}\n")
    (tmp_path / "folder.yaml").mkdir()
    return tmp_path


def test_only_recipes_are_looks(folder: Path) -> None:
    assert sorted(recipes_in(folder)) == ["flow", "mine"]
    assert recipes_in(folder / "none") == {}
    assert len(recipes_in(library_folder())) == len(list(library_folder().glob("*.yaml")))


def test_an_unknown_name_is_not_taken_for_a_session(folder: Path) -> None:
    for name in ("sesion", "plam", "servces"):
        with pytest.raises(Problem) as caught:
            find_recipe(name, folder)
        assert "session" not in (caught.value.expected or "") + (caught.value.remedy or "")
    with pytest.raises(Problem) as caught:
        find_recipe("mime", folder)
    assert "mine" in str(caught.value)


@pytest.mark.parametrize("name", ["session", "plan", "services", "notes", "folder"])
def test_what_is_no_recipe_is_told_as_such(folder: Path, name: str) -> None:
    with pytest.raises(Problem, match="is no recipe") as caught:
        find_recipe(name, folder)
    assert str(caught.value.where) == str(folder / f"{name}.yaml")


def test_a_recipe_further_on_is_found_past_a_file_that_is_none(folder: Path) -> None:
    (folder / "recipes").mkdir()
    (folder / "recipes" / "services.yaml").write_text(RECIPE)
    (folder / "faded_print.yaml").write_text("paper: thick\n")
    assert find_recipe("services", folder, folder / "recipes") == folder / "recipes" / "services.yaml"
    assert find_recipe("faded_print", folder) == library_folder() / "faded_print.yaml"
    assert find_recipe("mine", folder) == folder / "mine.yaml"


@pytest.mark.parametrize(
    "text", ["look: [unclosed\nsteps: []\n", "look: A\nlook: B\nsteps: []\n", "lok: A\nsteps: []\n"]
)
def test_a_recipe_with_slips_is_still_one(folder: Path, text: str) -> None:
    """What is wrong in it is then told with its place."""
    (folder / "slip.yaml").write_text(text)
    assert find_recipe("slip", folder) == folder / "slip.yaml"
    assert "slip" in recipes_in(folder)


def test_a_name_that_no_file_can_have(folder: Path) -> None:
    for name in ("x" * 5000, "a\0b", "*"):
        with pytest.raises(Problem, match="unknown look"):
            find_recipe(name, folder)


def test_what_is_offered_are_the_looks_that_the_command_lists_and_those_at_hand(folder: Path) -> None:
    count = len(recipes_in(library_folder()))
    with pytest.raises(Problem) as caught:
        find_recipe("fadedd", folder)
    assert caught.value.expected == f"one of the {count} that `finishing looks` lists, or flow or mine"
    with pytest.raises(Problem) as caught:
        find_recipe("mime", folder, asking=folder / "mine.yaml")
    assert caught.value.expected == f"one of the {count} that `finishing looks` lists, or flow"
    assert "mine" not in str(caught.value.remedy)
    for number in range(20):
        (folder / f"own_{number}.yaml").write_text(RECIPE)
    with pytest.raises(Problem) as caught:
        find_recipe("fadedd", folder)
    assert caught.value.expected == f"one of the {count} that `finishing looks` lists, or one of the 22 of your own"
