"""From the steps of a recipe to the list of what is done, by small passes list → list.

The passes read facts that operations state about themselves, never pixels. They may drop what changes nothing,
insert and cancel conversions, and work leading steps into the table that decodes a file's codes; they never
reorder, since the order is the author's.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from finishing.operation import Domain, Geometry, Reach
from finishing.recipes.recipe import Step


@dataclass(frozen=True)
class Convert:
    """Pixels go from one domain to another. before, after: steps that are no more than a 3×3, worked into the one on
    the way there."""

    source: Domain
    target: Domain
    before: tuple[Step, ...] = ()
    after: tuple[Step, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps that are carried out with it, in their order."""
        return (*self.before, *self.after)

    def __str__(self) -> str:
        steps = [step.describe() for step in self.steps]
        told = f"{self.source.value} → {self.target.value}"
        return told if not steps else f"{told}, with {', '.join(steps)} worked in"


@dataclass(frozen=True)
class Apply:
    """One step is carried out."""

    step: Step

    @property
    def steps(self) -> tuple[Step, ...]:
        """The one step."""
        return (self.step,)

    def __str__(self) -> str:
        return self.step.describe()


Item = Convert | Apply


@dataclass(frozen=True)
class Plan:
    """table: worked into the decoding of 8-bit or 16-bit codes, at most one step of it inside a region; items: done on
    strips of rows, in this order; output: the domain that the result is in."""

    table: tuple[Item, ...]
    items: tuple[Item, ...]
    output: Domain = Domain.LINEAR

    @property
    def sweeps(self) -> int:
        """How often the frame is gone through: once, and once more for every step that needs an overview of it."""
        return 1 + sum(isinstance(i, Apply) and i.step.operation.reach is Reach.FRAME for i in self.items)


def radius_of(item: Item, geometry: Geometry) -> int:
    """Rows above and below that an item looks at."""
    return item.step.operation.radius(geometry) if isinstance(item, Apply) else 0


def halo_of(items: Sequence[Item], geometry: Geometry) -> int:
    """Rows above and below that a row's result depends on, through all items."""
    return sum(radius_of(item, geometry) for item in items)


def drop_neutral(steps: Sequence[Step]) -> list[Step]:
    """Without the steps that change nothing, so that neutral parameters leave every bit alone."""
    return [step for step in steps if not step.operation.changes_nothing()]


def insert_conversions(steps: Sequence[Step], output: Domain) -> list[Item]:
    """Each step between its conversions from and to linear light; at the end the one to what is asked for."""
    items: list[Item] = []
    for step in steps:
        domain = step.operation.domain
        items += [*_conversion(Domain.LINEAR, domain), Apply(step), *_conversion(domain, Domain.LINEAR)]
    return items + _conversion(Domain.LINEAR, output)


def _conversion(source: Domain, target: Domain) -> list[Item]:
    return [] if source is target else [Convert(source, target)]


def cancel_pairs(items: Sequence[Item]) -> list[Item]:
    """Without conversions that the next one takes back. All of them are total and mirrored, so nothing is lost."""
    kept: list[Item] = []
    for item in items:
        last = kept[-1] if kept else None
        if isinstance(item, Convert) and isinstance(last, Convert) and last.source is item.target:
            kept.pop()
        else:
            kept.append(item)
    return kept


class Table(Enum):
    """What of a recipe can be worked into the table that decodes a source's codes."""

    NOTHING = "the codes are not those of the working primaries, or there are none"
    ALIKE = "steps that are the same all over the frame"
    LIMITED = "one step inside a region as well: codes are few enough for a table by code and weight"


def fold_table(items: Sequence[Item], table: Table) -> Plan:
    """The leading items that treat each channel by itself go into the decoding table."""
    count = 0
    limited = table is Table.ALIKE
    for item in items if table is not Table.NOTHING else ():
        inside = isinstance(item, Apply) and item.step.where is not None
        if not _per_channel(item) or (inside and limited):
            break
        limited = limited or inside
        count += 1
    return Plan(tuple(items[:count]), tuple(items[count:]))


def _per_channel(item: Item) -> bool:
    if isinstance(item, Convert):
        return Domain.OKLAB not in (item.source, item.target)
    operation, where = item.step.operation, item.step.where
    if where is None:
        return operation.per_channel
    # What is no more than a 3×3 costs less on its own than the second table does.
    return operation.per_channel and operation.matrix is None and not where.looks_at_colour


def work_in_matrices(items: Sequence[Item]) -> list[Item]:
    """Steps that are no more than a 3×3 go into the conversion to or from OkLab beside them, which has one each way."""
    kept: list[Item] = []
    for item in items:
        last = kept[-1] if kept else None
        if isinstance(item, Convert) and Domain.OKLAB in (item.source, item.target):
            while isinstance(last, Apply) and _is_matrix(last):
                kept.pop()
                item = replace(item, before=(last.step, *item.before))
                last = kept[-1] if kept else None
            kept.append(item)
        elif isinstance(last, Convert) and Domain.OKLAB in (last.source, last.target) and _is_matrix(item):
            assert isinstance(item, Apply)
            kept[-1] = replace(last, after=(*last.after, item.step))
        else:
            kept.append(item)
    return kept


def _is_matrix(item: Item) -> bool:
    return isinstance(item, Apply) and item.step.where is None and item.step.operation.matrix is not None


def choose_output(steps: Sequence[Step], accepted: Sequence[Domain]) -> Domain:
    """The domain in which the result is handed over: the last step's own where it is accepted, else the first one."""
    last = steps[-1].operation.domain if steps else accepted[0]
    return last if last in accepted else accepted[0]


def plan(steps: Sequence[Step], *, accepted: Sequence[Domain], table: Table) -> Plan:
    """All passes in their order. accepted: the domains that the result may be in, the best first. table: what the
    source's may take in."""
    kept = drop_neutral(steps)
    output = choose_output(kept, accepted)
    items = cancel_pairs(insert_conversions(kept, output))
    done = fold_table(items, table)
    return replace(done, items=tuple(work_in_matrices(done.items)), output=output)
