"""A recipe: the named, versioned chain of steps that makes a look."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.documents.flow import flow
from finishing.errors import Place
from finishing.operation import Operation
from finishing.regions.region import Region

if TYPE_CHECKING:
    from finishing.recipes.check import Requirement


@dataclass(frozen=True)
class Step:
    """One operation with its parameters, perhaps limited to a region."""

    operation: Operation
    where: Region | None = None
    place: Place | None = field(default=None, compare=False)

    def values(self) -> dict[str, Any]:
        """Parameters as plain values, defaults included, as they may stand in a file."""
        values: dict[str, Any] = self.operation.model_dump(mode="json")
        if self.where is not None:
            values["where"] = {self.where.name: self.where.model_dump(mode="json")}
        return values

    def describe(self) -> str:
        """The step in one line, as it may stand in a recipe; parameters at their defaults are left out."""
        fields = type(self.operation).model_fields
        told = {
            name: value
            for name, value in self.values().items()
            if name == "where" or fields[name].is_required() or getattr(self.operation, name) != fields[name].default
        }
        return f"{self.operation.name}: {flow(told)}"


@dataclass(frozen=True)
class Recipe:
    """name: what it is called in files (its file's stem); title: what the client reads; settings: the values that
    its own named settings have here, after what the session or the command line changed."""

    name: str
    title: str
    about: str
    client: str | None
    version: int
    settings: Mapping[str, Any]
    steps: tuple[Step, ...]
    path: Path
    checks: "tuple[Requirement, ...]" = ()

    @property
    def mask_names(self) -> frozenset[str]:
        """The masks that a frame must bring for this look."""
        return frozenset(name for region in self._regions() for name in region.mask_names)

    @property
    def regions_looked_at(self) -> list[Region]:
        """The regions without which it cannot be carried out; a step that changes nothing does not look at its own."""
        wheres = [step.where for step in self.steps if not step.operation.changes_nothing()]
        wheres += [check.where for check in self.checks]
        return [region for region in wheres if region is not None]

    @property
    def mask_paths(self) -> tuple[Path, ...]:
        """The mask files that lie beside the recipe, in the order in which it names them."""
        return tuple(path for region in self._regions() for path in region.mask_paths)

    def _regions(self) -> list[Region]:
        wheres = [*(step.where for step in self.steps), *(check.where for check in self.checks)]
        return [region for region in wheres if region is not None]

    @cached_property
    def hash(self) -> str:
        """SHA-256 in hexadecimal of what the look is: name, version, every step and check with every parameter, and
        what is painted in the mask files beside the recipe.

        It is the same on every machine and changes when, and only when, one of these does.
        """
        steps = [{step.operation.name: step.values()} for step in self.steps]
        checks = [{one.check.name: one.values()} for one in self.checks]
        told = {"look": self.name, "version": self.version, "steps": steps, "checks": checks}
        masks = [hashlib.sha256(path.read_bytes()).hexdigest() for path in self.mask_paths]
        if masks:
            told["masks"] = masks
        text = json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
        return hashlib.sha256(text.encode()).hexdigest()


#: So many values of a list are told one by one.
_FEW = 4


def brief(value: Any) -> str:
    """A setting's value in a word: numbers and words as they stand, also a few in a list; else what it is."""
    if isinstance(value, Mapping):
        return "a region"
    if isinstance(value, list | tuple):
        deep = any(isinstance(one, Mapping | list | tuple) for one in value)
        return "a list" if deep or len(value) > _FEW else flow(value)
    return flow(value)
