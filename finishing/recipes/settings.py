"""A recipe's settings: filled in where its steps and checks ask for them, and told where they are wrong."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from finishing.documents.names import same_word, unknown_name
from finishing.documents.tree import Path_, Tree
from finishing.errors import Place, Problem, ProblemSet, problems_of


def asked_for(value: Any, path: Path_) -> list[tuple[Path_, str]]:
    """The settings that stand somewhere in a plain value: the path and the name of each."""
    if isinstance(value, dict):
        return [found for key, item in value.items() for found in asked_for(item, (*path, key))]
    if isinstance(value, list):
        return [found for i, item in enumerate(value) for found in asked_for(item, (*path, i))]
    return [(path, value[1:])] if isinstance(value, str) and value.startswith("$") else []


def fill(value: Any, settings: Mapping[str, Any]) -> Any:
    """A value with `$name` replaced by the setting of that name, at any depth; unknown names stay as they are."""
    if isinstance(value, dict):
        return {key: fill(item, settings) for key, item in value.items()}
    if isinstance(value, list):
        return [fill(item, settings) for item in value]
    if isinstance(value, str) and value.startswith("$"):
        return settings.get(value[1:], value)
    return value


class SettingsAsked:
    """What is wrong with the settings that steps and checks ask for.

    One of no such name is told where it is asked for. A wrong value is told once, where the setting has it, however
    many steps ask for it. values, places: of the settings; the place of one whose value came from outside is None.
    """

    def __init__(self, values: Mapping[str, Any], places: Mapping[str, Place | None]) -> None:
        self._values = values
        self._places = places
        self._wrong: dict[str, Problem] = {}

    @property
    def problems(self) -> list[Problem]:
        """One for each setting with a wrong value."""
        return list(self._wrong.values())

    @contextmanager
    def of(self, value: Any, path: Path_, tree: Tree) -> Iterator[None]:
        """Read a step or check inside: what comes of its settings is told as such, in place of what follows from it.
        Raises ProblemSet with the rest, which is empty where a setting's value is all that is wrong."""
        asked = asked_for(value, path)
        unknown = [
            unknown_name("setting", name, self._values, tree.place(at))
            for at, name in asked
            if name not in self._values
        ]
        told: list[Problem] = []
        failed = False
        try:
            yield
        except (Problem, ProblemSet) as error:
            told, failed = problems_of(error), True
        names = {tree.place(at): name for at, name in asked if name in self._values}
        told = [_meant_as_setting(one, value, path, tree, self._values) for one in told]
        passed_over = {problem.where for problem in unknown}
        rest = [one for one in told if one.where not in passed_over and not self._kept(one, names)]
        if unknown or failed:
            raise ProblemSet([*unknown, *rest])

    def _kept(self, problem: Problem, names: Mapping[Place, str]) -> bool:
        """Whether a problem is that of a setting, which is then kept to be told once."""
        name = names.get(problem.where) if isinstance(problem.where, Place) else None
        if name is None or name not in self._places:
            return False
        what, remedy = problem.what, problem.remedy
        if not what.startswith("the setting "):  # said of what it was filled into
            what, remedy = f'the setting "{name}" cannot be read', f"correct {name}"
        told = Problem(what, where=self._places[name], got=problem.got, expected=problem.expected, remedy=remedy)
        self._wrong.setdefault(name, told)
        return True


def _texts(value: Any, path: Path_) -> Iterator[tuple[Path_, str]]:
    """Every text of a plain value, with its path."""
    if isinstance(value, str):
        yield path, value
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from _texts(item, (*path, key))


def _meant_as_setting(problem: Problem, value: Any, path: Path_, tree: Tree, settings: Mapping[str, Any]) -> Problem:
    """The problem of a text that is the name of a setting without its $, told so; others as they are."""
    for at, text in _texts(value, path):
        if tree.place(at) == problem.where and problem.got == text:
            name = same_word(text, settings)
            if name is not None:
                before = f"{at[-1]}: " if isinstance(at[-1], str) else ""
                return Problem(problem.what, where=problem.where, got=problem.got, expected=problem.expected,
                               remedy=f"write {before}${name} for the setting of this name")  # fmt: skip
    return problem
