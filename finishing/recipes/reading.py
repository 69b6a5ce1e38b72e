"""Reads a recipe file: settings filled in, `extends` followed, every step checked, every fault with its place."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from finishing.documents.fields import Text, whole_number
from finishing.documents.reading import Model, parse_document, read_document, shape, unknown_name, validate
from finishing.documents.tree import Path_, Tree
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.operation import Operation
from finishing.recipes.check import Requirement
from finishing.recipes.checks import read_check
from finishing.recipes.recipe import Recipe, Step
from finishing.regions.region import Region

#: Reads what stands behind `where`: the tree, the path of the value, the value with settings filled in.
RegionReader = Callable[[Tree, Path_, Any], Region]
#: Finds the file of a look by its name: the name, and the folder of the recipe that names it.
RecipeFinder = Callable[[str, Path], Path]


@dataclass(frozen=True)
class Vocabulary:
    """What recipes can be written with: operations by name, the reader of regions, the library."""

    operations: Mapping[str, type[Operation]]
    read_region: RegionReader
    find_recipe: RecipeFinder


class RecipeFile(Model):
    """A recipe as it stands in its file."""

    look: Text
    about: Text = ""
    client: Text | None = None
    version: whole_number(1, 1_000_000) = 1  # type: ignore[valid-type]
    extends: Text | None = None
    settings: dict[str, Any] = {}
    steps: list[Any] = []
    checks: list[Any] = []


def read_recipe(path: Path, vocabulary: Vocabulary, overrides: Mapping[str, Any] | None = None) -> Recipe:
    """The recipe of a file. overrides: values for its settings, as text or plain lists.

    Raises Problem or ProblemSet with all that is wrong in the file or in one that it extends.
    """
    chain = _chain(path, vocabulary)
    settings: dict[str, Any] = {}
    for _, file in reversed(chain):
        settings.update(file.settings)
    for name, value in (overrides or {}).items():
        if name not in settings:
            raise unknown_name("setting", name, settings, str(path))
        settings[name] = value
    return _recipe(chain, path, settings, vocabulary)


def read_recipe_text(text: str, path: Path, vocabulary: Vocabulary, settings: Mapping[str, Any]) -> Recipe:
    """The recipe of a text that `finishing.recipes.writing` wrote. path: where such a file would lie, for its name and
    its mask files; settings: what its settings were, only to be told.

    Raises ProblemSet where this version of the program does not know the text.
    """
    document = parse_document(text, str(path), RecipeFile, path)
    return replace(_recipe([(document.tree, document.value)], path, {}, vocabulary), settings=dict(settings))


def _recipe(
    chain: list[tuple[Tree, RecipeFile]], path: Path, settings: Mapping[str, Any], vocabulary: Vocabulary
) -> Recipe:
    steps: list[Step] = []
    checks: list[Requirement] = []
    problems: list[Problem] = []
    for tree, file in reversed(chain):
        for index, raw in enumerate(file.steps):
            try:
                steps.append(_step(tree, index, raw, settings, vocabulary))
            except (Problem, ProblemSet) as error:
                problems += problems_of(error)
        for index, raw in enumerate(file.checks):
            try:
                at: Path_ = ("checks", index)
                checks.append(read_check(tree, at, fill(raw, at, tree, settings)))
            except (Problem, ProblemSet) as error:
                problems += problems_of(error)
    if problems:
        raise ProblemSet(problems)
    tree, file = chain[0]
    if not steps:
        raise Problem('"steps" is missing', where=tree.place(()), expected="a list of operations", remedy="add steps:")
    return Recipe(
        name=path.stem,
        title=file.look,
        about=file.about or next((parent.about for _, parent in chain if parent.about), ""),
        client=file.client,
        version=file.version,
        settings=settings,
        steps=tuple(steps),
        path=path,
        checks=tuple(checks),
    )


def _chain(path: Path, vocabulary: Vocabulary) -> list[tuple[Tree, RecipeFile]]:
    """The file and those it extends, itself first."""
    chain: list[tuple[Tree, RecipeFile]] = []
    seen: list[Path] = []
    while True:
        document = read_document(path, RecipeFile)
        chain.append((document.tree, document.value))
        seen.append(path.resolve())
        parent = document.value.extends
        if parent is None:
            return chain
        try:
            path = vocabulary.find_recipe(parent, path.parent)
        except Problem as error:
            raise error.at(document.place("extends")) from error
        if path.resolve() in seen:
            names = " → ".join([*(file.stem for file in seen), path.stem])
            raise Problem(
                "these recipes extend each other in a circle",
                where=document.place("extends"),
                got=names,
                remedy="take one `extends` out",
            )


def _step(tree: Tree, index: int, raw: Any, settings: Mapping[str, Any], vocabulary: Vocabulary) -> Step:
    path: Path_ = ("steps", index)
    if isinstance(raw, str):
        raw = {raw: None}
    if not isinstance(raw, dict) or len(raw) != 1:
        names = ", ".join(raw) if isinstance(raw, dict) else shape(raw)
        raise Problem(
            "a step names one operation",
            where=tree.place(path),
            got=names,
            expected="- operation: {parameter: value}",
            remedy="start each step with a dash of its own, its parameters in braces or indented below it",
        )
    ((name, value),) = raw.items()
    path = (*path, name)
    operation = vocabulary.operations.get(name)
    if operation is None:
        raise unknown_name(
            "operation", name, vocabulary.operations, tree.key_place(path), listed_by="finishing operations"
        )
    filled = fill(value if value is not None else {}, path, tree, settings)
    if not isinstance(filled, dict):
        raise Problem(
            f'"{name}" must be a mapping of parameters',
            where=tree.place(path),
            got=shape(filled),
            expected="{" + ", ".join(f"{key}: …" for key in operation.model_fields) + "}",
            remedy=f"write {operation.example}, for example",
        )
    where = None
    if "where" in filled:
        filled = dict(filled)
        where = vocabulary.read_region(tree, (*path, "where"), filled.pop("where"))
    return Step(validate(tree, path, operation, filled), where, tree.place(path))


def fill(value: Any, path: Path_, tree: Tree, settings: Mapping[str, Any]) -> Any:
    """A value with `$name` replaced by the setting of that name, at any depth. Raises Problem for unknown names."""
    if isinstance(value, dict):
        return {key: fill(item, (*path, key), tree, settings) for key, item in value.items()}
    if isinstance(value, list):
        return [fill(item, (*path, i), tree, settings) for i, item in enumerate(value)]
    if isinstance(value, str) and value.startswith("$"):
        if value[1:] not in settings:
            raise unknown_name("setting", value[1:], settings, tree.place(path))
        return settings[value[1:]]
    return value
