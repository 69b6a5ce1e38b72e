"""Reads what stands behind `where`."""

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from finishing.documents.names import unknown_name
from finishing.documents.reading import validate
from finishing.documents.telling import shape
from finishing.documents.tree import Path_, Tree
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.regions.catalogue import REGIONS, stands_alone
from finishing.regions.combined import AllOf, AnyOf, Not
from finishing.regions.mask import FrameMask
from finishing.regions.meant import misplaced, no_region, otherwise_written, without_braces
from finishing.regions.region import Region


def read_region(tree: Tree, path: Path_, value: Any) -> Region:
    """The region of a value: {ellipse: subject}, {hue: {keep: 75}, near: subject} (both at once), or just skin.

    tree, path: where the value stands; value: the same with settings filled in. Paths of mask files count from the
    folder of the tree's file. Raises ProblemSet with all that is wrong.
    """
    if isinstance(value, str):
        negated = without_braces(value, tree.place(path))
        if negated is not None:
            raise ProblemSet([negated])
        value = {value: None}
    if not isinstance(value, dict) or not value:
        raise ProblemSet([no_region(tree, path, value)])
    regions: list[Region] = []
    problems = misplaced(tree, path, value)
    told = {problem.where for problem in problems}
    for name, item in value.items():
        try:
            if tree.key_place((*path, name)) not in told:
                regions.append(_named(tree, path, name, item))
        except (Problem, ProblemSet) as error:
            problems += problems_of(error)
    if problems:
        raise ProblemSet(problems)
    return regions[0] if len(regions) == 1 else AllOf(regions=tuple(regions))


def _named(tree: Tree, path: Path_, name: str, item: Any) -> Region:
    inside = (*path, name)
    kind = REGIONS.get(name)
    if kind is None:
        place = tree.key_place(inside)
        raise without_braces(name, place, is_key=True) or unknown_name("region", name, REGIONS, place)
    if issubclass(kind, Not):
        if item is None:
            raise _unreadable(tree, inside, kind, item)
        return Not(region=read_region(tree, inside, item))
    if issubclass(kind, AllOf | AnyOf):
        return _list(tree, inside, kind, item)
    if isinstance(item, dict):
        region = validate(tree, inside, kind, item)
    elif stands_alone(kind) and (item is None or item is True or str(item).lower() in ("yes", "true", "on")):
        region = kind()
    else:
        try:
            region = kind.model_validate(kind.spelled_out(item))
        except (ValidationError, ValueError):
            raise otherwise_written(tree, inside, kind, item) or _unreadable(tree, inside, kind, item) from None
    if isinstance(region, FrameMask):
        try:
            return region.beside(Path(tree.file).parent)
        except Problem as error:
            raise error.at(tree.place(inside)) from error
    return region


def _list(tree: Tree, path: Path_, kind: type[AllOf] | type[AnyOf], items: Any) -> Region:
    if not isinstance(items, list) or not items:
        raise _unreadable(tree, path, kind, items)
    regions: list[Region] = []
    problems: list[Problem] = []
    for index, item in enumerate(items):
        try:
            regions.append(read_region(tree, (*path, index), item))
        except (Problem, ProblemSet) as error:
            problems += problems_of(error)
    if problems:
        raise ProblemSet(problems)
    return kind(regions=tuple(regions))


def _unreadable(tree: Tree, path: Path_, kind: type[Region], item: Any) -> Problem:
    return Problem(
        f'"{kind.name}" cannot be read',
        where=tree.place(path) if path in tree.value_places else tree.key_place(path),
        got=shape(item),
        expected=kind.short or "yes, or a mapping of its parameters",
        remedy=f"write {kind.example}, for example",
    )
