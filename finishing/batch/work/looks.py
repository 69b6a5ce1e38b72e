"""Looks by name: the catalogue of operations, the reader of regions and the library brought together."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from finishing.errors import Place, Problem, ProblemSet, problems_of
from finishing.operations.catalogue import OPERATIONS
from finishing.recipes.library import find_recipe, library_folder, recipes_in
from finishing.recipes.reading import Vocabulary, read_recipe
from finishing.recipes.recipe import Recipe
from finishing.regions.reading import read_region
from finishing.sessions.session import LookForFrames, Session


def vocabulary() -> Vocabulary:
    """All that a recipe can be written with."""

    def find(name: str, asking: Path) -> Path:
        return find_recipe(name, asking.parent, inside=asking.parent, asking=asking)

    return Vocabulary(OPERATIONS, read_region, find)


def read_look(
    name: str, *folders: Path, overrides: Mapping[str, Any] | None = None, inside: Path | None = None
) -> Recipe:
    """The recipe of a look, by its name (in `folders`, then in the library) or by its path.

    overrides: values for its settings. Raises Problem or ProblemSet.
    """
    return read_recipe(find_recipe(name, *folders, inside=inside), vocabulary(), overrides)


def look_called(name: str, overrides: Mapping[str, Any] | None = None) -> Recipe:
    """RECIPE as commands take it: a path, or the name of a look here, in recipes/ here, or in the library."""
    return read_look(name, Path(), Path("recipes"), overrides=overrides)


def looks_and_problems(
    session: Session, left_out: Collection[int] = ()
) -> tuple[list[tuple[LookForFrames, Recipe]], list[Problem]]:
    """Each entry under `looks` with its recipe, and all that is wrong with any of them. left_out: positions of entries
    that are passed over."""
    found: list[tuple[LookForFrames, Recipe]] = []
    problems: list[Problem] = []
    for index, entry in enumerate(session.value.looks):
        if index in left_out:
            continue
        by_path = "/" in entry.look or entry.look.endswith((".yaml", ".yml"))
        folder = session.folder if by_path else session.folder / "recipes"
        try:
            found.append((entry, read_look(entry.look, folder, overrides=entry.settings, inside=session.folder)))
        except (Problem, ProblemSet) as error:
            problems += _told_in_session(session, index, folder, problems_of(error))
    if not session.value.looks:
        problems.append(
            session.document.problem(
                "the session names no look", "looks", remedy="add looks: [{look: faded_print}], for example"
            )
        )
    return found, problems


def _told_in_session(session: Session, index: int, folder: Path, problems: list[Problem]) -> list[Problem]:
    """Problems of a look, at the place in session.yaml that they come from: a setting's value, or the look's name."""
    entry = session.value.looks[index]
    told: list[Problem] = []
    for name, value in entry.settings.items():
        try:
            read_look(entry.look, folder, overrides={name: value}, inside=session.folder)
        except (Problem, ProblemSet) as error:
            at = ("looks", index, "with", name)
            value, key = session.document.tree.place(at), session.document.tree.key_place(at)
            told += [problem.at(value if problem.where is None else key) for problem in problems_of(error)]
    try:
        read_look(entry.look, folder, inside=session.folder)
    except (Problem, ProblemSet):
        told = []  # the recipe itself is wrong: its own places say more
    if told:
        return told
    has_line = [isinstance(problem.where, Place) and problem.where.line is not None for problem in problems]
    place = session.document.place("looks", index)
    return [problem if placed else problem.at(place) for problem, placed in zip(problems, has_line, strict=True)]


def library() -> list[Recipe]:
    """Every look that comes with the program."""
    return [read_recipe(path, vocabulary()) for path in recipes_in(library_folder()).values()]


def library_names() -> list[str]:
    """Their names, without reading them."""
    return list(recipes_in(library_folder()))
