"""The Gaussian blur that all operations mean: its weights, the plain way for references, and two kernels.

It is cut off at four standard deviations, and the frame's edge is mirrored.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import compiled

#: Where a Gaussian is cut off, in standard deviations: as in scipy.ndimage, beyond it lie 6 parts in 100 000.
CUT = 4.0


def gaussian_radius(sigma: float) -> int:
    """How many pixels to each side a Gaussian of this standard deviation (in pixels) reaches."""
    return int(CUT * sigma + 0.5)


def gaussian_weights(sigma: float) -> NDArray[np.float64]:
    """The 2·radius + 1 weights of a Gaussian with this standard deviation in pixels; their sum is 1."""
    radius = gaussian_radius(sigma)
    if radius == 0:
        return np.ones(1)
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    return weights / weights.sum()


def plain_blur(pixels: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """A Gaussian over the first two axes of (height, width, …), float64; the frame's edge is mirrored.

    The mirror stands on the edge itself, not on the last pixel's middle, so that no light is lost: the mean stays.
    """
    weights = gaussian_weights(sigma)
    radius = len(weights) // 2
    result = np.asarray(pixels, np.float64)
    for axis in (0, 1):
        line = np.moveaxis(result, axis, 0)
        around = np.pad(line, [(radius, radius)] + [(0, 0)] * (line.ndim - 1), "symmetric")
        result = np.zeros_like(line)
        for start, weight in enumerate(weights):
            result += weight * around[start : start + len(line)]
        result = np.moveaxis(result, 0, axis)
    return result


def in_threes(half: NDArray[np.float64]) -> NDArray[np.float32]:
    """Weights from the middle outward as the kernels take them: with zeros at the end until those beside the middle go
    in threes."""
    return np.append(half, np.zeros(-(len(half) - 1) % 3)).astype(np.float32)


@compiled
def mirrored(position: Any, size: Any) -> Any:
    """The pixel 0…size − 1 that a position beyond the frame's edge stands for: … 1 0 | 0 1 2 … size−1 | size−1 …"""
    within = position % (2 * size)
    return min(within, 2 * size - 1 - within)


@compiled
def blur_down(rows: Any, left: Any, around: Any, middle: Any, weights: Any, out: Any) -> None:
    """Pixels of one row from `left` on, as many as out has, blurred with those above and below.

    around: which of the rows stands at each place from the top down, the row itself at place `middle`. weights: from
    the middle outward, in threes: so many places above and below are looked at.
    """
    size = out.shape[0]
    line, weight = rows[around[middle], left : left + size], weights[0]
    for x in range(size):
        out[x] = weight * line[x]
    for step in range(1, weights.shape[0] - 1, 3):
        w1, w2, w3 = weights[step], weights[step + 1], weights[step + 2]
        up, down = middle - step, middle + step
        a1, b1 = rows[around[up], left : left + size], rows[around[down], left : left + size]
        a2, b2 = rows[around[up - 1], left : left + size], rows[around[down + 1], left : left + size]
        a3, b3 = rows[around[up - 2], left : left + size], rows[around[down + 2], left : left + size]
        for x in range(size):
            out[x] += w1 * (a1[x] + b1[x]) + w2 * (a2[x] + b2[x]) + w3 * (a3[x] + b3[x])


@compiled
def blur_across(line: Any, weights: Any, out: Any) -> None:
    """out: a row blurred along itself; line has at either end one pixel less more than there are weights, which are as
    for `blur_down`."""
    radius = weights.shape[0] - 1
    middle, weight = line[radius:], weights[0]
    for x in range(out.shape[0]):
        out[x] = weight * middle[x]
    for step in range(1, radius, 3):
        w1, w2, w3 = weights[step], weights[step + 1], weights[step + 2]
        a1, b1 = line[radius - step :], line[radius + step :]
        a2, b2 = line[radius - step - 1 :], line[radius + step + 1 :]
        a3, b3 = line[radius - step - 2 :], line[radius + step + 2 :]
        for x in range(out.shape[0]):
            out[x] += w1 * (a1[x] + b1[x]) + w2 * (a2[x] + b2[x]) + w3 * (a3[x] + b3[x])
