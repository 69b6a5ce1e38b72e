"""The numbers of a step's region, by their paths: where.ellipse.soft, where.not.any_of[2].hue.width."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from finishing.documents.names import nearest
from finishing.documents.reading import validate
from finishing.documents.tree import Tree
from finishing.errors import Problem
from finishing.operation import ParameterFacts, parameters_of
from finishing.regions.combined import AllOf, AnyOf, Not
from finishing.regions.region import Region

WHERE = "where"


@dataclass(frozen=True)
class Reached:
    """One parameter of a region that stands somewhere in a step's. path: the regions' names, each with its number where
    it is one of several, and the parameter's; places: which of several it is on the way there, from 0; region: whose
    parameter it is."""

    path: tuple[str, ...]
    places: tuple[int, ...]
    region: Region
    facts: ParameterFacts

    def __str__(self) -> str:
        return ".".join((WHERE, *self.path))

    @property
    def own(self) -> Any:
        """The value that it has, plain."""
        return self.region.model_dump(mode="json")[self.facts.name]

    def within(self, whole: Region, value: Any) -> Region:
        """The step's region with another value here. Raises ProblemSet where it cannot be."""
        region = _at(whole, self.places)
        values = {**region.model_dump(mode="json"), self.facts.name: value}
        read = validate(Tree(str(self)), (), type(region), values)
        # a copy, not the region as read: that of a mask's file knows the folder it lies in
        return _put(whole, self.places, region.model_copy(update={self.facts.name: getattr(read, self.facts.name)}))


def _at(whole: Region, places: Sequence[int]) -> Region:
    """The region at these places, as it is now: something else may vary in it as well."""
    if isinstance(whole, Not):
        return _at(whole.region, places)
    return _at(whole.regions[places[0]], places[1:]) if isinstance(whole, AllOf | AnyOf) else whole


def _put(whole: Region, places: Sequence[int], region: Region) -> Region:
    """The same with one of the regions inside replaced."""
    if isinstance(whole, Not):
        return whole.model_copy(update={"region": _put(whole.region, places, region)})
    if isinstance(whole, AllOf | AnyOf):
        regions = list(whole.regions)
        regions[places[0]] = _put(regions[places[0]], places[1:], region)
        return whole.model_copy(update={"regions": tuple(regions)})
    return region


def reachable(region: Region, before: tuple[str, ...] = (), places: tuple[int, ...] = ()) -> Iterator[Reached]:
    """All parameters of a region and of those inside it, in the order in which they stand."""
    if isinstance(region, Not):
        yield from reachable(region.region, (*before, region.name), places)
    elif isinstance(region, AllOf | AnyOf):
        for place, one in enumerate(region.regions):
            yield from reachable(one, (*before, f"{region.name}[{place + 1}]"), (*places, place))
    else:
        for facts in parameters_of(type(region)):
            yield Reached((*before, region.name, facts.name), places, region, facts)


def reach(region: Region | None, asked: str, step: str, other: str) -> Reached:
    """The parameter that is meant. asked: `where.ellipse.soft`; names on the way may be left out where that leaves one,
    so `where.soft` will mostly do. step: as --vary names it, for what is told; other: a parameter of the step's own.

    Raises Problem where there is none, or several are meant.
    """
    if region is None:
        raise Problem(
            "this step works on the whole frame, so there is no region to vary",
            got=f"{step}.{asked}",
            remedy=f"give it a where in the recipe, or vary {step}.{other}",
        )
    _, *names = asked.split(".")
    found = list(reachable(region))
    meant = [one for one in found if names and _meant(names, one.path)]
    if len(meant) == 1:
        return meant[0]
    told = ", ".join(f"{step}.{one}" for one in meant or found)
    if meant:
        raise Problem(
            "several numbers of this region are meant",
            got=f"{step}.{asked}",
            expected=f"one of {told}",
            remedy=f"write --vary {step}.{meant[0]}=…, for example",
        )
    near = nearest(names[-1], {one.path[-1] for one in found}) if names else None
    first = next((one for one in found if one.path[-1] == near), found[0])
    raise Problem(
        f'unknown number of this region "{".".join(names)}"' if names else "a region has several numbers",
        got=f"{step}.{asked}",
        expected=f"one of {told}",
        remedy=f"write --vary {step}.{first}=…, for example",
    )


def _meant(names: Sequence[str], path: tuple[str, ...]) -> bool:
    """Whether names lead to a path: in its order, some perhaps left out, but not the last; numbers too."""
    rest = iter(path)
    plain = re.compile(r"\[\d+\]$")
    return names[-1] == path[-1] and all(any(name in (one, plain.sub("", one)) for one in rest) for name in names)
