"""Reads a recipe file: settings filled in, `extends` followed, every step checked, every fault with its place."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from finishing.documents.fields import Text, whole_number
from finishing.documents.names import unknown_name
from finishing.documents.partial import read_partly
from finishing.documents.reading import Model, parse_document, validate
from finishing.documents.telling import in_braces, shape
from finishing.documents.tree import Path_, Tree
from finishing.errors import Place, Problem, ProblemSet, problems_of
from finishing.operation import Operation
from finishing.recipes.check import Requirement
from finishing.recipes.checks import read_check
from finishing.recipes.recipe import Recipe, Step
from finishing.recipes.settings import SettingsAsked, asked_for, fill
from finishing.regions.region import Region

#: Reads what stands behind `where`: the tree, the path of the value, the value with settings filled in.
RegionReader = Callable[[Tree, Path_, Any], Region]
#: Finds the file of a look by its name: the name, and the file of the recipe that names it.
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
    version: Annotated[int, whole_number(1, 1_000_000)] = 1
    extends: Text | None = None
    settings: dict[str, Any] = {}
    steps: list[Any] = []
    checks: list[Any] = []


@dataclass(frozen=True)
class _Chain:
    """A recipe's file and those it extends, itself first, as far as they can be read, with what is wrong with them.

    whole: whether all is there, so that a setting that no file names is unknown, and not just lacking.
    """

    files: list[tuple[Tree, RecipeFile]]
    problems: list[Problem]
    whole: bool = True


def read_recipe(path: Path, vocabulary: Vocabulary, overrides: Mapping[str, Any] | None = None) -> Recipe:
    """The recipe of a file. overrides: values for its settings, as text or plain lists.

    Raises Problem or ProblemSet with all that is wrong in the file or in one that it extends.
    """
    chain = _chain(path, vocabulary)
    settings: dict[str, Any] = {}
    places: dict[str, Place | None] = {}
    for tree, file in reversed(chain.files):
        settings.update(file.settings)
        places.update({name: tree.place(("settings", name)) for name in file.settings})
    for name, value in (overrides or {}).items():
        if name in settings:
            settings[name], places[name] = value, None
        elif chain.whole:
            chain.problems.append(unknown_name("setting", name, settings, str(path)))
    return _recipe(chain, path, settings, vocabulary, places)


def idle_settings(path: Path, vocabulary: Vocabulary) -> list[Problem]:
    """The settings of a recipe's own file that no step and no check asks for, neither there nor in a recipe that it
    extends. Each is sound, and does nothing."""
    chain = _chain(path, vocabulary)
    asked = {name for _, file in chain.files for raw in (*file.steps, *file.checks) for _, name in asked_for(raw, ())}
    tree, file = chain.files[0]
    left = sorted(asked & file.settings.keys())
    return [
        Problem(
            f'no step asks for the setting "{name}"',
            where=tree.key_place(("settings", name)),
            expected=f"a setting that stands somewhere below as ${name}" + (f", as ${left[0]} does" if left else ""),
            remedy=f"write ${name} where its value belongs, or take it out",
        )
        for name in file.settings
        if name not in asked
    ]


def read_recipe_text(text: str, path: Path, vocabulary: Vocabulary, settings: Mapping[str, Any]) -> Recipe:
    """The recipe of a text that `finishing.recipes.writing` wrote. path: where such a file would lie, for its name and
    its mask files; settings: what its settings were, only to be told.

    Raises ProblemSet where this version of the program does not know the text.
    """
    document = parse_document(text, str(path), RecipeFile, path)
    chain = _Chain([(document.tree, document.value)], [])
    return replace(_recipe(chain, path, {}, vocabulary), settings=dict(settings))


def _recipe(
    chain: _Chain,
    path: Path,
    settings: Mapping[str, Any],
    vocabulary: Vocabulary,
    places: Mapping[str, Place | None] | None = None,
) -> Recipe:
    """places: where each setting has its value; None of one that was given from outside."""
    steps: list[Step] = []
    checks: list[Requirement] = []
    problems = list(chain.problems)
    asking = SettingsAsked(settings, places or {})

    def known(raw: Any) -> bool:
        """Whether all settings that it asks for can be filled in, or be told as unknown."""
        return chain.whole or all(name in settings for _, name in asked_for(raw, ()))

    for tree, file in reversed(chain.files):
        for index, raw in enumerate(file.steps):
            try:
                if known(raw):
                    with asking.of(raw, ("steps", index), tree):
                        steps.append(_step(tree, index, raw, settings, vocabulary))
            except (Problem, ProblemSet) as error:
                problems += problems_of(error)
        for index, raw in enumerate(file.checks):
            try:
                if known(raw):
                    at: Path_ = ("checks", index)
                    with asking.of(raw, at, tree):
                        checks.append(read_check(tree, at, fill(raw, settings)))
            except (Problem, ProblemSet) as error:
                problems += problems_of(error)
    problems += asking.problems
    tree, file = chain.files[0]
    if chain.whole and not any(one.steps for _, one in chain.files):
        what = '"steps" is missing'
        problems.append(
            Problem(what, where=tree.place(()), expected="a list of operations", remedy="add steps:"),
        )
    if problems:
        raise ProblemSet(problems)
    return Recipe(
        name=path.stem,
        title=file.look,
        about=file.about or next((parent.about for _, parent in chain.files if parent.about), ""),
        client=file.client,
        version=file.version,
        settings=settings,
        steps=tuple(steps),
        path=path,
        checks=tuple(checks),
    )


def _chain(path: Path, vocabulary: Vocabulary) -> _Chain:
    files: list[tuple[Tree, RecipeFile]] = []
    problems: list[Problem] = []
    seen: list[Path] = []
    whole = True
    while True:
        try:
            read = read_partly(path, RecipeFile, {"look": path.stem})
        except (Problem, ProblemSet) as error:
            if not files:
                raise
            return _Chain(files, [*problems, *problems_of(error)], whole=False)
        document, problems = read.document, [*problems, *read.problems]
        whole = whole and not read.faulty_keys & {"extends", "settings", "steps"}
        files.append((document.tree, document.value))
        seen.append(path.resolve())
        parent = document.value.extends
        if parent is None:
            return _Chain(files, problems, whole)
        try:
            path = vocabulary.find_recipe(parent, path)
        except Problem as error:
            return _Chain(files, [*problems, error.at(document.place("extends"))], whole=False)
        if path.resolve() in seen:
            names = " → ".join([*(file.stem for file in seen), path.stem])
            what = "these recipes extend each other in a circle"
            told = document.problem(what, "extends", got=names, remedy="take one `extends` out")
            return _Chain(files, [*problems, told], whole=False)


def _step(tree: Tree, index: int, raw: Any, settings: Mapping[str, Any], vocabulary: Vocabulary) -> Step:
    path: Path_ = ("steps", index)
    if isinstance(raw, str):
        raw = {raw: None}
    if not isinstance(raw, dict) or len(raw) != 1:
        names = ", ".join(raw) if isinstance(raw, dict) else shape(raw)
        lacking = _not_of_one_step(tree, path, raw, vocabulary)
        if lacking:
            raise ProblemSet(lacking)
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
    filled = fill(value if value is not None else {}, settings)
    if not isinstance(filled, dict):
        raise Problem(
            f'"{name}" must be a mapping of parameters',
            where=tree.place(path),
            got=shape(filled),
            expected="{" + ", ".join(f"{key}: …" for key in operation.model_fields) + "}",
            remedy=in_braces(name, value, operation) or f"write {operation.example}, for example",
        )
    problems: list[Problem] = []
    where, made = None, None
    if "where" in filled:
        filled = dict(filled)
        try:
            where = vocabulary.read_region(tree, (*path, "where"), filled.pop("where"))
        except (Problem, ProblemSet) as error:
            problems += problems_of(error)
    try:
        made = validate(tree, path, operation, filled)
    except ProblemSet as error:
        problems += error.problems
    if problems or made is None:
        raise ProblemSet(problems)
    return Step(made, where, tree.place(path))


def _not_of_one_step(tree: Tree, path: Path_, raw: Any, vocabulary: Vocabulary) -> list[Problem]:
    """The problems of steps that lack their own dash, in lines below that of another step, and of a `where` in line
    with its operation."""
    if not isinstance(raw, dict) or not raw:
        return []
    places = {name: tree.key_place((*path, name)) for name in raw}
    first, *others = raw
    told = []
    for name in others if all(one == "where" or one in vocabulary.operations for one in raw) else ():
        if name == "where":
            what = f'"where" belongs among the parameters of "{first}"'
            remedy = "indent it as deep as they are, or write it in their braces"
        elif places[name].line == places[first].line:
            return []
        else:
            what = "a dash is missing before this step"
            remedy = f"write - {name}: …, the dash in line with the one of the step above"
        told.append(
            Problem(what, where=places[name], got=f"{name}: …", expected="- operation: {parameter: value}",
                    remedy=remedy)
        )  # fmt: skip
    return told if first != "where" else []
