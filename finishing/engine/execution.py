"""Carries out a plan over strips of whole rows.

A row's arithmetic depends on nothing but the row (and, for steps that reach around themselves, on the rows that
come along above and below), so the result is the same bit for bit at every strip height and thread count.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TypeGuard

import numpy as np

from finishing import domains
from finishing.engine import conversions
from finishing.engine.ends import CodedSink, CodedSource, OverviewSink, Sink, Source
from finishing.engine.plan import Apply, Convert, Item, halo_of, plan
from finishing.operation import Domain, Geometry, Kernel, Planes, Reach
from finishing.overview import Overview
from finishing.recipes.recipe import Step
from finishing.regions.region import Region

#: Bytes of float32 planes in one strip: what stays in a core's second-level cache together with the codes.
STRIP_BYTES = 768 * 1024

_CONVERSIONS = {
    (Domain.LINEAR, Domain.ENCODED): lambda planes, top: domains.linear_to_encoded(planes),
    (Domain.ENCODED, Domain.LINEAR): lambda planes, top: domains.encoded_to_linear(planes),
    (Domain.LINEAR, Domain.OKLAB): lambda planes, top: domains.to_oklab(planes),
    (Domain.OKLAB, Domain.LINEAR): lambda planes, top: domains.from_oklab(planes),
}


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
    table = isinstance(source, CodedSource) and source.matrix is None
    work = plan(steps, accepted=sink.domains, table=table)
    if work.table:
        assert isinstance(source, CodedSource)
        source = source.folded([_kernel(item, geometry, None) for item in work.table])
    if (
        not work.items
        and type(sink) is CodedSink
        and isinstance(source, CodedSource)
        and sink.take(source, work.output)
    ):
        return
    kernels: list[Kernel] = []
    for index, item in enumerate(work.items):
        overview = None
        if _needs_overview(item):
            overview = _overview(source, kernels, work.items[:index], geometry, item, strip_rows, threads)
        kernels.append(_kernel(item, geometry, overview))
    _sweep(source, sink, work.output, kernels, halo_of(work.items, geometry), strip_rows, threads)


def _needs_overview(item: Item) -> TypeGuard[Apply]:
    return isinstance(item, Apply) and item.step.operation.reach is Reach.FRAME


def _overview(
    source: Source,
    kernels: list[Kernel],
    before: Sequence[Item],
    geometry: Geometry,
    item: Apply,
    strip_rows: int | None,
    threads: int,
) -> Overview:
    """A sweep of its own: what the step gathers of the frame as it is when the step begins, reduced."""
    by = item.step.operation.reduction(geometry)
    sink = OverviewSink(source.height, source.width, -(-source.height // by), -(-source.width // by))
    domain = item.step.operation.domain
    gather = item.step.operation.gather(geometry)
    through = kernels if gather is None else [*kernels, gather]
    _sweep(source, sink, domain, through, halo_of(before, geometry), strip_rows, threads)
    return sink.reducer.overview()


def _sweep(
    source: Source,
    sink: Sink,
    domain: Domain,
    kernels: list[Kernel],
    halo: int,
    strip_rows: int | None,
    threads: int,
) -> None:
    """All strips once through the kernels, handed over in a domain."""
    rows = strip_rows or strip_height(source.width, halo)
    tops = range(0, source.height, rows)

    def run(part: Sequence[int]) -> None:
        scratch = np.empty((3, min(rows + 2 * halo, source.height), source.width), np.float32)
        for start in part:
            stop = min(start + rows, source.height)
            top, bottom = max(0, start - halo), min(source.height, stop + halo)
            planes = _part_of(scratch, bottom - top)
            source.read(planes, top)
            for kernel in kernels:
                kernel(planes, top)
            sink.write(planes[:, start - top : stop - top], start, domain)

    if threads <= 1 or len(tops) < 2:
        run(tops)
        return
    share = -(-len(tops) // threads)
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(run, [tops[i : i + share] for i in range(0, len(tops), share)]))


def _part_of(scratch: Planes, rows: int) -> Planes:
    """The scratch of a strip; a shorter one gets its own, since kernels are compiled for whole arrays."""
    return scratch if rows == scratch.shape[1] else np.empty((3, rows, scratch.shape[2]), np.float32)


def strip_height(width: int, halo: int) -> int:
    """Rows of a strip: as many as the cache holds, and enough to be worth their halo."""
    return max(4, STRIP_BYTES // (12 * width), 6 * halo)


def _kernel(item: Item, geometry: Geometry, overview: Overview | None) -> Kernel:
    if isinstance(item, Convert):
        return _CONVERSIONS[item.source, item.target]
    kernel = item.step.operation.prepare(replace(geometry, overview=overview) if overview else geometry)
    return kernel if item.step.where is None else _limited(item, kernel, item.step.where, geometry)


def _limited(item: Apply, kernel: Kernel, where: Region, geometry: Geometry) -> Kernel:
    """The step inside a region: what it makes, weighted against what was there, in the step's own domain.

    What the region's bounds leave out stays as it is and costs nothing. A step that looks at a pixel's place or its
    surroundings still gets whole rows, and its halo around those inside.
    """
    fill = where.prepare(geometry)
    first, last = where.rows(geometry)
    left, right = where.columns(geometry)
    operation = item.step.operation
    radius = operation.radius(geometry)
    begin, end = (left, right) if operation.reach is Reach.PIXEL else (0, geometry.width)

    def run(planes: Planes, top: int) -> None:
        start = max(first - top, 0)
        stop = min(last - top, planes.shape[1])
        if start >= stop or left >= right:
            return
        above = max(start - radius, 0)
        below = min(stop + radius, planes.shape[1])
        work = planes[:, above:below, begin:end].copy()
        weights = np.empty((stop - start, right - left), np.float32)
        inside = planes[:, start:stop, left:right]
        fill(weights, _oklab(inside, operation.domain) if where.looks_at_colour else None, top + start, left)
        kernel(work, top + above)
        conversions.mix(planes, work, weights, start, left, start - above, left - begin)

    return run


def _oklab(planes: Planes, domain: Domain) -> Planes:
    colours = planes.copy()
    if domain is Domain.ENCODED:
        domains.encoded_to_linear(colours)
    if domain is not Domain.OKLAB:
        domains.to_oklab(colours)
    return colours
