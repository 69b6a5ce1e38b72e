"""YAML as a tree of plain text with places.

Every scalar stays the text that the user wrote: the field it belongs to decides what it means. That is
why `12:30`, `4:5`, `08`, `1e-3` or `on` never turn into something else on the way.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from finishing.errors import Place, Problem, ProblemSet

#: More values than any session needs; stops a file whose aliases multiply.
MOST_VALUES = 200_000

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


def read_text(path: Path) -> str:
    """A user's text file. Raises Problem where it is missing, a folder, unreadable or not UTF-8."""
    if not path.exists():
        raise Problem("there is no such file", where=Place(str(path)), remedy="check the name and the folder it is in")
    if path.is_dir():
        raise Problem("this is a folder, not a file", where=Place(str(path)), remedy="name the file inside it")
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise Problem(
            "this is not a text file",
            where=Place(str(path)),
            expected="YAML in UTF-8",
            remedy="save the file as plain text in UTF-8",
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
    try:
        root = yaml.compose(text, Loader=yaml.BaseLoader)
    except yaml.YAMLError as error:
        raise ProblemSet([_syntax(error, file)]) from error
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
    problems: list[Problem] = []
    tree.data = _convert(root, (), tree, problems, set())
    if problems:
        raise ProblemSet(problems)
    return tree


def _syntax(error: yaml.YAMLError, file: str) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file, 1, 1)
    text = str(getattr(error, "problem", None) or error)
    if "'\\t'" in text:
        return Problem(
            "a tab stands where YAML wants spaces",
            where=place,
            remedy="replace the tab by spaces; two a level",
        )
    if "multiple documents" in text or "another document" in text or "single document" in text:
        return Problem("a second document starts here", where=place, remedy="keep one document in a file; remove ---")
    hint = "check the indentation, colons, brackets and quotes on this line and the one above it"
    if "mapping values are not allowed" in text:
        hint = 'put a text that has ": " in it into quotes, or check the indentation'
    return Problem("this line is not valid YAML", where=place, got=text, remedy=hint)


def _convert(node: yaml.Node, path: Path_, tree: Tree, problems: list[Problem], above: set[int]) -> Any:
    place = Place(tree.file, node.start_mark.line + 1, node.start_mark.column + 1)
    tree.value_places[path] = place
    if len(tree.value_places) > MOST_VALUES or len(path) > 60:
        raise ProblemSet(
            [Problem("the file repeats itself without end", where=place, remedy="write it without aliases")]
        )
    if isinstance(node, yaml.ScalarNode):
        empty = node.style is None and node.value in {"", "~", "null"}
        return None if empty else node.value
    if id(node) in above:
        raise ProblemSet([Problem("this alias contains itself", where=place, remedy="write the value out instead")])
    above = above | {id(node)}
    if isinstance(node, yaml.SequenceNode):
        return [_convert(child, (*path, i), tree, problems, above) for i, child in enumerate(node.value)]
    assert isinstance(node, yaml.MappingNode)
    result: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key_place = Place(tree.file, key_node.start_mark.line + 1, key_node.start_mark.column + 1)
        if not isinstance(key_node, yaml.ScalarNode):
            problems.append(Problem("this key is not a word", where=key_place, remedy="use a plain word as the key"))
            continue
        key = key_node.value
        if key in result:
            problems.append(
                Problem(
                    f'the key "{key}" stands here a second time',
                    where=key_place,
                    got=f"first at line {tree.key_places[(*path, key)].line}",
                    remedy="keep one of the two",
                )
            )
            continue
        tree.key_places[(*path, key)] = key_place
        result[key] = _convert(value_node, (*path, key), tree, problems, above)
    return result
