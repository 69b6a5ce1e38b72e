"""A step inside a region: what it makes, weighted against what was there, in the step's own domain."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.compiled import ONE, compiled
from finishing.operation import AroundKernel, Domain, Geometry, Kernel, Operation, Planes, Reach
from finishing.regions.region import Region
from finishing.strips import copy_rows

#: A region of less than this share of the frame is worked on aside; in a larger one the step works in place, and what
#: it should not have changed comes back.
LARGE = 0.5
#: Pixels of a row that are looked at together for whether all of them are fully in.
BLOCK = 64


def limited(operation: Operation, kernel: Kernel, where: Region, geometry: Geometry) -> Kernel:
    """The step's kernel, inside the region. Rows of the frame that it does not reach cost nothing."""
    first, last = where.rows(geometry)
    left, right = where.columns(geometry)
    if (last - first) * (right - left) < LARGE * geometry.height * geometry.width:
        return _aside(operation, kernel, where, geometry, (first, last), (left, right))
    return _in_place(operation, kernel, where, geometry, (first, last))


def _aside(
    operation: Operation,
    kernel: Kernel,
    where: Region,
    geometry: Geometry,
    rows: tuple[int, int],
    columns: tuple[int, int],
) -> Kernel:
    """The step works on a copy, which is mixed in. One that looks at a pixel's place gets whole rows."""
    fill = where.prepare(geometry)
    left, right = columns
    begin, end = columns if operation.reach is Reach.PIXEL else (0, geometry.width)

    def run(planes: Planes, top: int) -> None:
        start, stop = max(rows[0] - top, 0), min(rows[1] - top, planes.shape[1])
        if start >= stop or left >= right:
            return
        work = planes[:, start:stop, begin:end].copy()
        weights = np.empty((stop - start, right - left), np.float32)
        inside = planes[:, start:stop, left:right]
        fill(weights, _oklab(inside, operation.domain) if where.looks_at_colour else None, top + start, left)
        kernel(work, top + start)
        mix(planes, work, weights, start, left, left - begin)

    return run


def _in_place(operation: Operation, kernel: Kernel, where: Region, geometry: Geometry, rows: tuple[int, int]) -> Kernel:
    """The step works where the pixels are; those that are not fully in are kept beforehand and mixed with what they
    became."""
    fill = where.prepare(geometry)

    def run(planes: Planes, top: int) -> None:
        if top >= rows[1] or top + planes.shape[1] <= rows[0]:
            return
        weights = np.empty(planes.shape[1:], np.float32)
        fill(weights, _oklab(planes, operation.domain) if where.looks_at_colour else None, top)
        whole = np.empty((planes.shape[1], 2), np.int64)
        find_whole(weights, whole)
        before = np.empty_like(planes)
        keep_beside(planes, whole, before)
        kernel(planes, top)
        mix_beside(planes, before, weights, whole)

    return run


def limited_around(operation: Operation, kernel: AroundKernel, where: Region, geometry: Geometry) -> AroundKernel:
    """The kernel of a step that looks around itself, inside the region: it looks beyond the region as well."""
    fill = where.prepare(geometry)
    first, last = where.rows(geometry)
    left, right = where.columns(geometry)

    def run(memory: NDArray[np.float32], table: NDArray[np.int64], out: Planes, out_top: int) -> None:
        copy_rows(memory, table, out, out_top)
        start, stop = max(first - out_top, 0), min(last - out_top, out.shape[1])
        if start >= stop or left >= right:
            return
        work = np.empty((3, stop - start, geometry.width), np.float32)
        kernel(memory, table, work, out_top + start)
        weights = np.empty((stop - start, right - left), np.float32)
        inside = out[:, start:stop, left:right]
        fill(weights, _oklab(inside, operation.domain) if where.looks_at_colour else None, out_top + start, left)
        mix(out, work, weights, start, left, left)

    return run


def _oklab(planes: Planes, domain: Domain) -> Planes:
    colours = planes.copy()
    if domain is Domain.ENCODED:
        domains.encoded_to_linear(colours)
    if domain is not Domain.OKLAB:
        domains.to_oklab(colours)
    return colours


@compiled
def mix(planes: Any, changed: Any, weights: Any, row: Any, column: Any, changed_column: Any) -> None:
    """planes · (1 − w) + changed · w with one weight a pixel; exact where w is 0 or 1.

    weights (rows, columns) lie at row, column of planes and at the first row and changed_column of changed.
    """
    rows, width = weights.shape
    for channel in range(planes.shape[0]):
        for y in range(rows):
            line = planes[channel, row + y, column : column + width]
            other, weight = changed[channel, y, changed_column : changed_column + width], weights[y]
            for x in range(width):
                line[x] = line[x] * (ONE - weight[x]) + other[x] * weight[x]


@compiled
def find_whole(weights: Any, whole: Any) -> None:
    """For each row one stretch of columns, first and one past the last, in which every weight is 1, in whole blocks; an
    empty one where there is none. No more is lost by it than time."""
    blocks = weights.shape[1] // BLOCK
    for row in range(weights.shape[0]):
        begin = end = 0
        for block in range(blocks):
            part = weights[row, block * BLOCK : (block + 1) * BLOCK]
            count = 0
            for x in range(BLOCK):
                count += part[x] == ONE
            if count == BLOCK:
                begin = block * BLOCK if begin == end else begin
                end = (block + 1) * BLOCK
            elif begin < end:
                break
        whole[row, 0], whole[row, 1] = begin, end


@compiled
def keep_beside(planes: Any, whole: Any, kept: Any) -> None:
    """Copies what lies beside the stretches."""
    width = planes.shape[2]
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            for first, last in ((0, whole[row, 0]), (whole[row, 1], width)):
                line, out = planes[channel, row, first:last], kept[channel, row, first:last]
                for x in range(line.shape[0]):
                    out[x] = line[x]


@compiled
def mix_beside(planes: Any, before: Any, weights: Any, whole: Any) -> None:
    """before · (1 − w) + planes · w beside the stretches; exact where w is 0 or 1."""
    width = planes.shape[2]
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            for first, last in ((0, whole[row, 0]), (whole[row, 1], width)):
                line, old = planes[channel, row, first:last], before[channel, row, first:last]
                weight = weights[row, first:last]
                for x in range(line.shape[0]):
                    line[x] = old[x] * (ONE - weight[x]) + line[x] * weight[x]
