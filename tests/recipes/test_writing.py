"""A recipe written down whole reads back as the same look."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.batch.work.looks import library, read_look, vocabulary
from finishing.operations.catalogue import OPERATIONS
from finishing.recipes.reading import read_recipe, read_recipe_text
from finishing.recipes.recipe import Recipe
from finishing.recipes.writing import recipe_text
from finishing.regions.catalogue import REGIONS

#: What a file in UTF-8 can hold.
TITLES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(str.strip)


def again(recipe: Recipe, folder: Path = Path()) -> Recipe:
    return read_recipe_text(recipe_text(recipe), folder / f"{recipe.name}.yaml", vocabulary(), recipe.settings)


@pytest.mark.parametrize("look", library(), ids=lambda look: look.name)
def test_every_look_of_the_library_reads_back(look: Recipe) -> None:
    back = again(look)
    assert back.hash == look.hash
    assert (back.title, back.about, back.version, back.client) == (look.title, look.about, look.version, look.client)
    assert back.settings == look.settings
    assert [step.operation for step in back.steps] == [step.operation for step in look.steps]
    assert recipe_text(back) == recipe_text(look)


@pytest.mark.parametrize("name", OPERATIONS)
def test_every_operation_reads_back(name: str, tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    path.write_text(f"look: One\nsteps:\n  - {OPERATIONS[name].example}\n")
    look = read_recipe(path, vocabulary())
    assert again(look).hash == look.hash


@pytest.mark.parametrize("name", REGIONS)
def test_every_region_reads_back(name: str, tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    example = REGIONS[name].example.replace(": yes", "")
    where = example if ": " not in example else "{" + example + "}"
    path.write_text(
        f"look: One\nsteps:\n  - exposure: {{stops: 1, where: {where}}}\nchecks:\n"
        f"  - clipped_white: {{at_most: 0.1, where: {where}}}\n"
    )
    look = read_recipe(path, vocabulary())
    assert again(look).hash == look.hash
    assert again(look, tmp_path).steps[0].where == look.steps[0].where


@given(TITLES, TITLES, st.floats(-10, 10))
def test_any_title_and_number_reads_back(title: str, about: str, stops: float) -> None:
    base = read_look("faded_print")
    exposure = OPERATIONS["exposure"].model_validate({"stops": stops})
    look = replace(base, title=title, about=about, steps=(replace(base.steps[0], operation=exposure),))
    back = again(look)
    assert (back.title, back.about, back.hash) == (title, about, look.hash)


def test_settings_are_filled_in() -> None:
    look = read_look("one_colour_kept", overrides={"kept_hue": "61.5"})
    assert "$" not in recipe_text(look)
    assert "61.5" in recipe_text(look)
    assert again(look).settings == look.settings


def test_the_hash_knows_what_is_painted_in_masks_beside_the_recipe(tmp_path: Path) -> None:
    import cv2

    path = tmp_path / "masked.yaml"
    path.write_text("look: Masked\nsteps:\n  - exposure: {stops: 1, where: {not: {mask: corner.png}}}\n")
    cv2.imwrite(str(tmp_path / "corner.png"), np.zeros((4, 4), np.uint8))
    before = read_recipe(path, vocabulary())
    assert before.mask_paths == (tmp_path / "corner.png",)
    assert again(before, tmp_path).hash == before.hash
    cv2.imwrite(str(tmp_path / "corner.png"), np.full((4, 4), 255, np.uint8))
    assert read_recipe(path, vocabulary()).hash != before.hash
    path.write_text("look: Masked\nsteps:\n  - exposure: {stops: 1, where: {mask: coat}}\n")
    assert read_recipe(path, vocabulary()).mask_paths == ()
