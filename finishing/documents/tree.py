"""YAML as a tree of plain text with places.

Every scalar stays the text that the user wrote: the field it belongs to decides what it means. That is
why `12:30`, `4:5`, `08`, `1e-3` or `on` never turn into something else on the way.
"""

import contextlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from finishing.documents.pieces import (
    colour_as_remark,
    curly_quotes,
    dashes_without_space,
    is_piece,
    meant,
    run_on_dashes,
    run_on_flow,
    straight,
    tagged,
    with_plain_spaces,
)
from finishing.documents.syntax import syntax_problem
from finishing.errors import Place, Problem, ProblemSet

#: More values than any session needs; stops a file whose aliases multiply.
MOST_VALUES = 200_000

#: So many slips of one file are told at once; a file with more is no YAML at all.
MOST_SLIPS = 20

Path_ = tuple[str | int, ...]


@dataclass
class Tree:
    """data: dicts, lists, text and None; places: where each value (and each key) stands, by its path."""

    file: str
    data: Any = None
    value_places: dict[Path_, Place] = field(default_factory=dict)
    key_places: dict[Path_, Place] = field(default_factory=dict)

    def place(self, path: Path_) -> Place:
        """Where the value at a path stands; for a path that is not there, its nearest parent."""
        while path and path not in self.value_places:
            path = path[:-1]
        return self.value_places.get(path, Place(self.file, 1, 1))

    def key_place(self, path: Path_) -> Place:
        """Where the key that leads to a path stands."""
        return self.key_places.get(path) or self.place(path)

    def without(self, path: Path_) -> "Tree":
        """The same without the entry at a path; later items of its list move up, and keep their places."""
        *above, last = path
        data = _without(self.data, path)
        if not isinstance(last, int):

            def moved(one: Path_) -> Path_ | None:
                return None if one[: len(path)] == path else one
        else:
            start = len(above)

            def moved(one: Path_) -> Path_ | None:
                if one[: len(path)] == path:
                    return None
                here = one[start] if len(one) > start else None
                if one[:start] != path[:start] or not isinstance(here, int) or here < last:
                    return one
                return (*one[:start], here - 1, *one[start + 1 :])

        places = [
            {kept: place for one, place in old.items() if (kept := moved(one)) is not None}
            for old in (self.value_places, self.key_places)
        ]
        return Tree(self.file, data, *places)

    def at(self, path: Path_) -> Any:
        """The plain value at a path, or None."""
        value = self.data
        for part in path:
            if isinstance(value, dict):
                value = value.get(str(part))
            elif isinstance(value, list) and isinstance(part, int) and part < len(value):
                value = value[part]
            else:
                return None
        return value


def _without(value: Any, path: Path_) -> Any:
    first, *rest = path
    if isinstance(value, dict):
        kept = {key: item for key, item in value.items() if rest or key != first}
        return {**kept, first: _without(value[str(first)], tuple(rest))} if rest else kept
    return [_without(item, tuple(rest)) if i == first else item for i, item in enumerate(value) if rest or i != first]


def read_text(path: Path) -> str:
    """A user's text file. Raises Problem where it is missing, a folder, unreadable or not UTF-8."""
    if not path.exists():
        raise Problem("there is no such file", where=Place(str(path)), remedy="check the name and the folder it is in")
    if path.is_dir():
        raise Problem("this is a folder, not a file", where=Place(str(path)), remedy="name the file inside it")
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        is_yaml = path.suffix.lower() in (".yaml", ".yml", ".txt", "")
        raise Problem(
            "this is not a text file",
            where=Place(str(path)),
            expected="YAML in UTF-8",
            remedy="save the file as plain text in UTF-8"
            if is_yaml
            else "name a session.yaml (or its folder), a plan.yaml or a recipe here, and pictures where IMAGE stands",
        ) from error
    except OSError as error:
        raise Problem(
            "the file cannot be read",
            where=Place(str(path)),
            got=error.strerror,
            remedy="check its permissions",
        ) from error


def parse_tree(text: str, file: str) -> Tree:
    """The tree of a YAML text. Raises ProblemSet on faulty YAML, duplicate keys, an empty file."""
    tree, problems = tree_and_problems(text, file)
    if problems:
        raise ProblemSet(problems)
    return tree


def _compose(text: str) -> yaml.Node | None:
    """The nodes of a YAML text: by libyaml, seven times as fast, where it is there and finds nothing wrong; faults are
    told in the words and at the places of PyYAML's own parser, which is also stricter about tabs."""
    quick = None if "\t" in text else getattr(yaml, "CBaseLoader", None)
    if quick is not None:
        with contextlib.suppress(yaml.YAMLError):
            return yaml.compose(text, Loader=quick)
    return yaml.compose(text, Loader=yaml.BaseLoader)


def tree_and_problems(text: str, file: str) -> tuple[Tree, list[Problem]]:
    """The tree of a YAML text with what is wrong in it (duplicate keys: the first counts), so that what stands beside
    it can be looked at as well. Raises ProblemSet where no tree can be made: faulty YAML, an empty file."""
    text, problems = with_plain_spaces(text, file)
    text, root = _read_on(text, file, problems)
    if root is None:
        raise ProblemSet(
            [
                Problem(
                    "the file is empty",
                    where=Place(file, 1, 1),
                    remedy="fill it in; `finishing sample DIR` writes a session to start from",
                )
            ]
        )
    tree = Tree(file)
    tree.data = _Reader(text, tree, problems).convert(root, (), set())
    return tree, problems


def _read_on(text: str, file: str, problems: list[Problem]) -> tuple[str, yaml.Node | None]:
    """The nodes of a YAML text, and the text that they are of: with each slip that is no YAML put right as it is told
    to be, so that the next one, and what else is wrong, can be told as well. problems: those slips are added.

    Raises ProblemSet where there is no telling how to read on. What is found then, in a text that was put right and
    still makes no sense, may only follow from that, and is not told.
    """
    seen: set[Place | str | None] = set()
    while True:
        try:
            return text, _compose(text)
        except yaml.YAMLError as error:
            told = syntax_problem(text, error, file)
            place = told.problem.where
            line = Place(file, place.line) if isinstance(place, Place) else place
            new = line not in seen and len(seen) < MOST_SLIPS
            if new and (told.known or not seen):
                problems.append(told.problem)
            if told.mended is None or not new:
                raise ProblemSet(problems) from error
            text = told.mended
            seen.add(line)


@dataclass
class _Reader:
    """Fills a tree from the nodes of a YAML text, and lists what is wrong in it."""

    text: str
    tree: Tree
    problems: list[Problem]

    def convert(self, node: yaml.Node, path: Path_, above: set[int]) -> Any:
        """The plain value of a node. above: the nodes that it stands in."""
        place = Place(self.tree.file, node.start_mark.line + 1, node.start_mark.column + 1)
        self.tree.value_places[path] = place
        if len(self.tree.value_places) > MOST_VALUES or len(path) > 60:
            raise ProblemSet(
                [Problem("the file repeats itself without end", where=place, remedy="write it without aliases")]
            )
        if isinstance(node, yaml.ScalarNode):
            return self._scalar(node)
        if id(node) in above:
            raise ProblemSet([Problem("this alias contains itself", where=place, remedy="write the value out instead")])
        above = above | {id(node)}
        if isinstance(node, yaml.SequenceNode):
            return [self.convert(child, (*path, i), above) for i, child in enumerate(node.value)]
        assert isinstance(node, yaml.MappingNode)
        listed = dashes_without_space(node)
        if listed is not None:
            told, node = listed
            self.problems += run_on_dashes(self.text, told, self.tree.file)
            return self.convert(node, path, above)
        return self._mapping(node, path, above)

    def _scalar(self, node: yaml.ScalarNode) -> str | None:
        wrong = None
        for look in (curly_quotes, tagged, colour_as_remark):
            wrong = wrong or look(self.text, node, self.tree.file)
        if wrong is not None:
            self.problems.append(wrong)
            return straight(node.value)
        empty = not node.style and node.value in {"", "~", "null"}
        return None if empty else str(node.value)

    def _mapping(self, node: yaml.MappingNode, path: Path_, above: set[int]) -> dict[str, Any]:
        result: dict[str, Any] = {}
        before: tuple[str, Any, yaml.Node] | None = None
        for key_node, value_node in node.value:
            key_place = Place(self.tree.file, key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            if not isinstance(key_node, yaml.ScalarNode):
                what = "this key is not a word"
                self.problems.append(Problem(what, where=key_place, remedy="use a plain word as the key"))
                continue
            key = key_node.value
            if node.flow_style and is_piece(self.text, key_node, value_node):
                pair = meant(self.text, key_node, before, self.tree.file)
                if pair is not None:
                    self.problems += [] if pair.problem is None else [pair.problem]
                    if pair.joined and before is not None:
                        result[pair.key], before = pair.value, (pair.key, pair.value, before[2])
                        continue
                    key, value_node = pair.key, _plain(pair.value, value_node)
            elif not node.flow_style and (run_on := run_on_flow(self.text, key_node, self.tree.file)) is not None:
                key, value_node, problem = run_on
                self.problems.append(problem)
            if key in result:
                self.problems.append(
                    Problem(
                        f'the key "{key}" stands here a second time',
                        where=key_place,
                        got=f"first at line {self.tree.key_places[(*path, key)].line}",
                        remedy="keep one of the two",
                    )
                )
                continue
            self.tree.key_places[(*path, key)] = key_place
            result[key] = self.convert(value_node, (*path, key), above)
            before = (key, result[key], value_node)
        return result


def _plain(value: str, node: yaml.Node) -> yaml.ScalarNode:
    return yaml.ScalarNode("tag:yaml.org,2002:str", value, node.start_mark, node.end_mark)
