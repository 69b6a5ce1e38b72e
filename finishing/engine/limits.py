"""A step inside a region: what it makes, weighted against what was there, in the step's own domain."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.engine.streaming import Work
from finishing.kernel import AroundKernel, Kernel
from finishing.operation import Domain, Geometry, Operation, Planes
from finishing.regions.region import Region
from finishing.strips import copy_rows, row_of

#: Rows and columns that a step works on at a time, on a copy that stays in a core's first-level cache; its three planes
#: must not lie whole pages of 4096 bytes apart, where reading and writing them gets in each other's way.
PART_ROWS, PART_COLUMNS = 6, 240


def limited(operation: Operation, kernel: Kernel, where: Region, geometry: Geometry) -> Work:
    """The step's kernel, inside the region. What of the frame it does not reach costs nothing."""
    fill = where.prepare(geometry)
    first, last = where.rows(geometry)
    left, right = where.columns(geometry)
    matrix = None if operation.matrix is None else singles(*operation.matrix.ravel())
    weighted = in_parts.linked(part=kernel.part)

    def run(planes: Planes, top: int) -> None:
        start, stop = max(first - top, 0), min(last - top, planes.shape[1])
        if start >= stop or left >= right:
            return
        weights = np.empty((stop - start, right - left), np.float32)
        inside = planes[:, start:stop, left:right]
        fill(weights, _oklab(inside, operation.domain) if where.looks_at_colour else None, top + start, left)
        if matrix is None:
            weighted(planes, weights, start, left, *kernel.of_rows(top + start, stop - start))
        else:
            mix_matrix(planes, weights, start, left, matrix)

    return run


def limited_around(operation: Operation, kernel: AroundKernel, where: Region, geometry: Geometry) -> AroundKernel:
    """The kernel of a step that looks around itself, inside the region: it looks beyond the region as well."""
    fill = where.prepare(geometry)
    first, last = where.rows(geometry)
    left, right = where.columns(geometry)

    def run(memory: NDArray[np.float32], table: NDArray[np.int64], out: Planes, out_top: int) -> None:
        if out_top >= last or out_top + out.shape[1] <= first or left >= right:
            copy_rows(memory, table, out, out_top)
            return
        colours = None
        if where.looks_at_colour:
            before = np.empty_like(out)
            copy_rows(memory, table, before, out_top)
            colours = _oklab(before[:, :, left:right], operation.domain)
        weights = np.empty((out.shape[1], right - left), np.float32)
        fill(weights, colours, out_top, left)
        kernel(memory, table, out, out_top)
        mix_before(memory, table, out, out_top, weights, left)

    return run


def _oklab(planes: Planes, domain: Domain) -> Planes:
    colours = planes.copy()
    if domain is Domain.ENCODED:
        domains.encoded_to_linear(colours)
    if domain is not Domain.OKLAB:
        domains.to_oklab(colours)
    return colours


#: Stands for `Kernel.part` of the step's kernel.
part: Any = None


@compiled
def in_parts(planes: Any, weights: Any, row: Any, column: Any, top: Any, arguments: Any) -> None:
    """planes · (1 − w) + changed · w with one weight a pixel; exact where w is 0 or 1.

    weights (rows, columns) lie at row, column of planes, which are whole rows; top, arguments: of the kernel.
    """
    memory = np.empty(3 * PART_ROWS * PART_COLUMNS, np.float32)
    height, width = weights.shape
    for first in range(0, height, PART_ROWS):
        rows = min(PART_ROWS, height - first)
        for left in range(0, width, PART_COLUMNS):
            columns = min(PART_COLUMNS, width - left)
            if all_are(ZERO, weights, first, rows, left, columns):
                continue
            work = memory[: 3 * rows * columns].reshape((3, rows, columns))
            copy(planes, row + first, column + left, work, 0, 0, rows, columns)
            part(work, top + first, column + left, arguments)
            if all_are(ONE, weights, first, rows, left, columns):
                copy(work, 0, 0, planes, row + first, column + left, rows, columns)
            else:
                mix(planes, row + first, column + left, work, weights, first, left)


@compiled
def all_are(value: Any, weights: Any, first: Any, rows: Any, left: Any, columns: Any) -> Any:
    """Whether every weight of a part is this value. Counted, since a count vectorises."""
    for row in range(first, first + rows):
        line = weights[row, left : left + columns]
        others = np.int32(0)
        for x in range(columns):
            others += np.int32(line[x] != value)
        if others > 0:
            return False
    return True


@compiled
def copy(source: Any, y: Any, x: Any, target: Any, into_y: Any, into_x: Any, rows: Any, columns: Any) -> None:
    """rows × columns pixels that stand at y, x of source stand at into_y, into_x of target."""
    last, into_last = x + columns, into_x + columns
    for row in range(rows):
        old, new = y + row, into_y + row
        red, green, blue = source[0, old, x:last], source[1, old, x:last], source[2, old, x:last]
        r, g, b = target[0, new, into_x:into_last], target[1, new, into_x:into_last], target[2, new, into_x:into_last]
        for k in range(columns):
            r[k] = red[k]
            g[k] = green[k]
            b[k] = blue[k]


@compiled
def mix(planes: Any, row: Any, column: Any, part: Any, weights: Any, first: Any, left: Any) -> None:
    """A part into the planes, in which it stands at row, column, by the weights, in which it stands at first, left."""
    width = part.shape[2]
    end = column + width
    for y in range(part.shape[1]):
        red, green, blue = (
            planes[0, row + y, column:end],
            planes[1, row + y, column:end],
            planes[2, row + y, column:end],
        )
        r, g, b = part[0, y], part[1, y], part[2, y]
        weight = weights[first + y, left : left + width]
        for x in range(width):
            w = weight[x]
            rest = ONE - w
            red[x] = red[x] * rest + r[x] * w
            green[x] = green[x] * rest + g[x] * w
            blue[x] = blue[x] * rest + b[x] * w


@compiled
def mix_matrix(planes: Any, weights: Any, row: Any, column: Any, matrix: Any) -> None:
    """The same for a step that is no more than a 3×3 (nine float32, row by row): it needs no copy."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = matrix
    width = weights.shape[1]
    end = column + width
    for y in range(weights.shape[0]):
        red, green, blue = (
            planes[0, row + y, column:end],
            planes[1, row + y, column:end],
            planes[2, row + y, column:end],
        )
        weight = weights[y]
        for x in range(width):
            r, g, b, w = red[x], green[x], blue[x], weight[x]
            rest = ONE - w
            red[x] = r * rest + (m00 * r + m01 * g + m02 * b) * w
            green[x] = g * rest + (m10 * r + m11 * g + m12 * b) * w
            blue[x] = b * rest + (m20 * r + m21 * g + m22 * b) * w


@compiled
def mix_before(memory: Any, table: Any, planes: Any, top: Any, weights: Any, column: Any) -> None:
    """The same into planes that are changed already, where what was there before stands in strips (see `strips`);
    weights lie at `column` of planes, and are 0 beside."""
    width = weights.shape[1]
    for channel in range(3):
        for row in range(planes.shape[1]):
            line, old, weight = planes[channel, row], memory[row_of(table, channel, top + row)], weights[row]
            line[:column] = old[:column]
            line[column + width :] = old[column + width :]
            part_line, part_old = line[column : column + width], old[column : column + width]
            for x in range(width):
                part_line[x] = part_old[x] * (ONE - weight[x]) + part_line[x] * weight[x]
