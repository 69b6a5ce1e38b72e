"""A user's file read as far as it can be, so that all that is wrong with it is told at once."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from finishing.documents.reading import Document, model_or_faults
from finishing.documents.tree import Path_, Tree, read_text, tree_and_problems
from finishing.errors import Problem, ProblemSet

M = TypeVar("M", bound=BaseModel)

#: How deep what cannot be read is cut out: a key of an entry (the format of one deliverable), or the entry where it
#: cannot do without that key.
_DEPTH = 3


@dataclass(frozen=True)
class Partial(Generic[M]):
    """document: without what cannot be read; problems: all that is wrong; faulty: where something was cut out or
    lacks, as paths in the file. What follows from a lack must not be told as wrong."""

    document: Document[M]
    problems: list[Problem]
    faulty: frozenset[Path_]

    @property
    def faulty_keys(self) -> set[str]:
        """The keys on the left of the file with faults."""
        return {str(path[0]) for path in self.faulty if path}


def read_partly(path: Path, model: type[M], stand_ins: Mapping[str, Any], whole: Collection[str] = ()) -> Partial[M]:
    """Read a file as far as possible. stand_ins: plain values for the keys that must not be missing; whole: keys whose
    entries are cut out whole.

    Raises Problem (no such file) or ProblemSet where nothing of it can be understood.
    """
    tree, problems = tree_and_problems(read_text(path), str(path))
    faulty: set[Path_] = set()
    value, faults = model_or_faults(tree, (), model, tree.data)
    problems += [problem for _, problem in faults]
    while value is None:
        if not isinstance(tree.data, dict):
            raise ProblemSet(problems)
        before = (len(tree.value_places), len(faulty))
        faulty.update(at for at, _ in faults)
        tree = _cut(tree, (at[: 2 if at[:1] and at[0] in whole else _DEPTH] for at, _ in faults))
        if (len(tree.value_places), len(faulty)) == before:
            raise ProblemSet(problems)
        lacking = {key: stand_in for key, stand_in in stand_ins.items() if tree.at((key,)) is None}
        # what is wrong only once something is cut out is a consequence, and not told
        value, faults = model_or_faults(tree, (), model, {**tree.data, **lacking})
    return Partial(Document(value, tree, path), problems, frozenset(faulty))


def _cut(tree: Tree, faults: Iterable[Path_]) -> Tree:
    entries = {at if at in tree.value_places else at[:-1] for at in faults}
    entries -= {at for at in entries for depth in range(len(at)) if at[:depth] in entries and depth}
    # from the last item of a list to its first, so that those to come stay where they are
    for entry in sorted(entries, key=lambda at: [part if isinstance(part, int) else -1 for part in at], reverse=True):
        if entry:
            tree = tree.without(entry)
    return tree
