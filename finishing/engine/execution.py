"""Carries out a plan over strips of whole rows.

A row's arithmetic depends on nothing but the row (and, for steps that reach around themselves, on the rows above and
below), so the result is the same bit for bit at every strip height and thread count.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import lru_cache
from typing import Any, TypeGuard

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.engine.ends import CodedSink, CodedSource, OverviewSink, Sink, Source, WeightedSource
from finishing.engine.limits import limited, limited_around
from finishing.engine.plan import Apply, Convert, Item, Plan, Table, plan, radius_of
from finishing.engine.streaming import Alone, Around, Placed, Share, Work
from finishing.kernel import AroundKernel, Kernel
from finishing.operation import Domain, Geometry, Operation, Planes, Reach
from finishing.overview import Overview
from finishing.recipes.recipe import Step

#: Bytes of float32 planes in one strip: what stays in a core's second-level cache together with the codes.
STRIP_BYTES = 1536 * 1024


def execute(
    steps: Sequence[Step],
    source: Source,
    sink: Sink,
    geometry: Geometry,
    *,
    strip_rows: int | None = None,
    threads: int = 1,
) -> None:
    """Carry out steps from source to sink. geometry's width and height are the source's."""
    work = planned(steps, source, sink.domains, geometry)
    if work.table:
        assert isinstance(source, CodedSource)
        source = _folded(source, work.table, geometry)
    if (
        not work.items
        and type(sink) is CodedSink
        and isinstance(source, CodedSource | WeightedSource)
        and sink.take(source, work.output)
    ):
        return
    kernels: list[Placed] = []
    for item in work.items:
        overview = None
        if _needs_overview(item):
            overview = _overview(source, kernels, geometry, item, strip_rows, threads)
        kernels.append(_placed(item, geometry, overview))
    _sweep(source, sink, work.output, kernels, strip_rows, threads)


def planned(steps: Sequence[Step], source: Source, accepted: Sequence[Domain], geometry: Geometry) -> Plan:
    """What is done to a source: as much of it in the source's tables as they can hold. accepted: as of `plan`."""
    if not isinstance(source, CodedSource):
        return plan(steps, accepted=accepted, table=Table.NOTHING)
    work = plan(steps, accepted=accepted, table=source.table)
    index = _limited(work.table)
    if index is not None:
        works = [_in_table(item, geometry) for item in work.table]
        domain = _domain(work.table[-1])
        if not source.folded(works[:index]).lines_hold(works[index], works[index + 1 :], domain):
            return plan(steps, accepted=accepted, table=Table.ALIKE)
    return work


def _limited(items: Sequence[Item]) -> int | None:
    """Which of the items in a table is inside a region, if any."""
    inside = (index for index, item in enumerate(items) if isinstance(item, Apply) and item.step.where is not None)
    return next(inside, None)


def _domain(item: Item) -> Domain:
    """That an item leaves the pixels in."""
    return item.target if isinstance(item, Convert) else item.step.operation.domain


def _needs_overview(item: Item) -> TypeGuard[Apply]:
    return isinstance(item, Apply) and item.step.operation.reach is Reach.FRAME


def _overview(
    source: Source, kernels: list[Placed], geometry: Geometry, item: Apply, strip_rows: int | None, threads: int
) -> Overview:
    """A sweep of its own: what the step gathers of the frame as it is when the step begins, reduced."""
    operation = item.step.operation
    by = operation.reduction(geometry)
    sink = OverviewSink(source.height, source.width, -(-source.height // by), -(-source.width // by))
    gather = operation.gather(geometry)
    through = kernels if gather is None else [*kernels, Alone(gather)]
    _sweep(source, sink, operation.domain, through, strip_rows, threads)
    return sink.reducer.overview()


def _sweep(
    source: Source, sink: Sink, domain: Domain, kernels: list[Placed], strip_rows: int | None, threads: int
) -> None:
    """All rows once through the kernels, handed over in a domain, each thread's share from the top down.

    The sink may be the memory that the source reads from: a row is read before it is written, and the rows that two
    shares look at are read before any share begins.
    """
    height, width = source.height, source.width
    rows = min(strip_rows or strip_height(width), height)
    together = rows if sink.together == 1 else sink.together
    parts = -(-height // together)
    count = -(-parts // max(threads, 1)) * together
    shares = [Share(top, min(top + count, height), height, width, rows, kernels) for top in range(0, height, count)]

    def read(span: range) -> Planes:
        planes = np.empty((3, len(span), width), np.float32)
        if span:
            source.read(planes, span.start)
        return planes

    def run(share: Share, above: Planes, below: Planes) -> None:
        for strip in share.finished(source.read, above, below):
            sink.write(strip.planes, strip.top, domain)

    edges = [(read(share.above), read(share.below)) for share in shares]
    if len(shares) == 1:
        run(shares[0], *edges[0])
        return
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(run, shares, *zip(*edges, strict=True)))


def strip_height(width: int) -> int:
    """Rows of a strip: as many as the cache holds."""
    return max(4, STRIP_BYTES // (12 * width))


def _folded(source: CodedSource, items: Sequence[Item], geometry: Geometry) -> CodedSource | WeightedSource:
    """The source with the items worked into its tables."""
    works = [_in_table(item, geometry) for item in items]
    index = _limited(items)
    if index is None:
        return source.folded(works)
    (step,) = items[index].steps
    assert step.where is not None
    return source.folded(works[:index]).by_weight(works[index], works[index + 1 :], step.where, geometry)


def _in_table(item: Item, geometry: Geometry) -> Work:
    """Of an item that treats each channel by itself, without its region."""
    if isinstance(item, Apply):
        item = Apply(replace(item.step, where=None))
    placed = _placed(item, geometry, None)
    assert isinstance(placed, Alone)
    return placed.kernel


def _placed(item: Item, geometry: Geometry, overview: Overview | None) -> Placed:
    if isinstance(item, Convert):
        return Alone(_conversion(item))
    operation, where = item.step.operation, item.step.where
    if overview is None:
        prepared: Any = _prepared(operation, replace(geometry, masks={}))
    else:
        prepared = operation.prepare(replace(geometry, overview=overview))
    if operation.reach is Reach.NEIGHBOURHOOD:
        kernel = prepared if where is None else limited_around(operation, prepared, where, geometry)
        return Around(kernel, radius_of(item, geometry))
    return Alone(prepared if where is None else limited(operation, prepared, where, geometry))


@lru_cache(maxsize=64)
def _prepared(operation: Operation, geometry: Geometry) -> Kernel | AroundKernel:
    """Frames of one session are mostly of one size, and a sheet has hundreds of cells: tables are worked out once."""
    return operation.prepare(geometry)


def _conversion(item: Convert) -> Work:
    before, after = _product(item.before), _product(item.after)
    ways: dict[tuple[Domain, Domain], Callable[[Planes], None]] = {
        (Domain.LINEAR, Domain.ENCODED): domains.linear_to_encoded,
        (Domain.ENCODED, Domain.LINEAR): domains.encoded_to_linear,
        (Domain.LINEAR, Domain.OKLAB): domains.into_oklab(before, after),
        (Domain.OKLAB, Domain.LINEAR): domains.out_of_oklab(before, after),
    }
    convert = ways[item.source, item.target]
    return lambda planes, top: convert(planes)


def _product(steps: Sequence[Step]) -> NDArray[np.float64]:
    """The 3×3 of steps that are no more, one after the other."""
    product = domains.SAME
    for step in steps:
        assert step.operation.matrix is not None
        product = step.operation.matrix @ product
    return product
