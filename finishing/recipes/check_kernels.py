"""Compiled sums over rows for the checks: each row by itself, in float64, from left to right."""

from typing import Any

import numpy as np

from finishing.compiled import ONE, ZERO, compiled
from finishing.domains import to_oklab
from finishing.operation import Planes


def oklab_of(linear: Planes) -> Planes:
    """OkLab of linear light, float32 (3, rows, width), as a new array."""
    colours = np.ascontiguousarray(linear).copy()
    to_oklab(colours)
    return colours


@compiled
def add_up(sums: Any, weights: Any, planes: Any) -> None:
    """Weighted sum of each plane, then the sum of the weights: sums (rows, planes + 1)."""
    for plane in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            line, weight = planes[plane, row], weights[row]
            total = np.float64(0)
            for x in range(planes.shape[2]):
                total += np.float64(line[x] * weight[x])
            sums[row, plane] = total
    for row in range(planes.shape[1]):
        weight = weights[row]
        total = np.float64(0)
        for x in range(planes.shape[2]):
            total += np.float64(weight[x])
        sums[row, planes.shape[0]] = total


@compiled
def count_beyond(sums: Any, weights: Any, planes: Any, sign: Any, bound: Any) -> None:
    """Weights of pixels of which sign · value is at least the bound in all three channels, and all weights."""
    for row in range(planes.shape[1]):
        red, green, blue, weight = planes[0, row], planes[1, row], planes[2, row], weights[row]
        counted, total = np.float64(0), np.float64(0)
        for x in range(planes.shape[2]):
            least = min(min(sign * red[x], sign * green[x]), sign * blue[x])
            counted += np.float64(weight[x] if least >= bound else ZERO)
            total += np.float64(weight[x])
        sums[row, 0], sums[row, 1] = counted, total


@compiled
def count_outside(sums: Any, weights: Any, planes: Any, matrix: Any, low: Any, high: Any) -> None:
    """Weights of pixels that lie outside of low…high in a channel of the space that the matrix leads to, and all
    weights; pixels of which all three channels are at 1 or above do not count."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = matrix
    for row in range(planes.shape[1]):
        red, green, blue, weight = planes[0, row], planes[1, row], planes[2, row], weights[row]
        counted, total = np.float64(0), np.float64(0)
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            first = m00 * r + m01 * g + m02 * b
            second = m10 * r + m11 * g + m12 * b
            third = m20 * r + m21 * g + m22 * b
            least = min(min(first, second), third)
            most = max(max(first, second), third)
            outside = (least < low or most > high) and least < ONE
            counted += np.float64(weight[x] if outside else ZERO)
            total += np.float64(weight[x])
        sums[row, 0], sums[row, 1] = counted, total
