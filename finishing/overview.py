"""A reduced copy of a whole frame, for operations that spread light far, and the way back to full size.

A blur over many pixels needs no full-size picture: averaged over blocks of k × k it is k² times smaller, and what a
blur of several blocks leaves of the difference is too small to see. The Gaussian's weights and the plain blur that
the references use stand here too, so that all that blur mean the same by it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.compiled import compiled

Planes = NDArray[np.float32]
#: Where a Gaussian is cut off, in standard deviations: as in scipy.ndimage, beyond it lie 6 parts in 100 000.
CUT = 4.0
#: A blur of twice as many blocks as this is made on an overview of the overview, while that has so many blocks a side.
WIDE, LEAST_BLOCKS = 8, 40


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


@dataclass(frozen=True, eq=False)
class Overview:
    """planes: float32 (channels, height, width) at the reduced size; full_width, full_height: of the frame."""

    planes: Planes
    full_width: int
    full_height: int

    def blurred(self, sigma: float) -> "Overview":
        """The same after a Gaussian blur; sigma in pixels of the full frame. The frame's edge is mirrored.

        What the blocks and the way back to full size blur by themselves is taken off beforehand: variances add, and
        in pixels² that of a block of k is (k² − 1) / 12, that of straight lines between blocks (k² − 1) / 6. A blur
        over very many blocks goes by way of an overview of the overview, which is the same to 1 part in 1000.
        """
        height, width = self.planes.shape[1:]
        further = int(sigma * width / self.full_width / WIDE)
        if further > 1 and min(height, width) >= LEAST_BLOCKS * further:
            size = (-(-width // further), -(-height // further))
            coarse = np.stack([cv2.resize(plane, size, interpolation=cv2.INTER_AREA) for plane in self.planes])
            blurred = Overview(coarse, self.full_width, self.full_height).blurred(sigma)
            planes = Overview(blurred.planes, width, height).rows(0, height)
        else:
            across, down = (
                gaussian_weights(float(np.sqrt(max(sigma**2 - (block**2 - 1) / 4, 0.0))) / block)
                for block in (self.full_width / width, self.full_height / height)
            )
            mirror = cv2.BORDER_REFLECT
            planes = np.stack([cv2.sepFilter2D(plane, -1, across, down, borderType=mirror) for plane in self.planes])
        return Overview(planes, self.full_width, self.full_height)

    def spread(self, parts: Sequence[tuple[float, float]]) -> "Overview":
        """A sum of blurs, as (share, sigma) each."""
        planes = sum(np.float32(share) * self.blurred(sigma).planes for share, sigma in parts)
        return Overview(np.asarray(planes, np.float32), self.full_width, self.full_height)

    @cached_property
    def _wide(self) -> Planes:
        """At full width and reduced height: done once, so that a row costs no more than one mean of two."""
        channels, height, width = self.planes.shape
        left, across = _between(np.arange(self.full_width), width / self.full_width, width)
        out = np.empty((channels, height, self.full_width), np.float32)
        widen(self.planes, left, across, out)
        return out

    @cached_property
    def _down(self) -> tuple[NDArray[np.int32], Planes]:
        """For every row of the frame: the row of blocks before it, and the weight of the next one."""
        height = self.planes.shape[1]
        return _between(np.arange(self.full_height), height / self.full_height, height)

    def rows(self, top: int, count: int) -> Planes:
        """Rows of the frame at full size, bilinear between the blocks' centres: (channels, count, full_width)."""
        upper, down = (part[top : top + count] for part in self._down)
        out = np.empty((self.planes.shape[0], count, self.full_width), np.float32)
        lengthen(self._wide, upper, down, out)
        return out


def _between(positions: NDArray[np.int64], scale: float, size: int) -> tuple[NDArray[np.int32], Planes]:
    """For pixels of the frame: the block before each one's centre, and how far it is on the way to the next."""
    at = np.clip((positions + 0.5) * scale - 0.5, 0, size - 1)
    before = at.astype(np.int32)
    return before, (at - before).astype(np.float32)


@compiled
def widen(planes: Any, left: Any, across: Any, out: Any) -> None:
    """Bilinear along rows: left are blocks, across the weights of the next one."""
    last = planes.shape[2] - 1
    for channel in range(out.shape[0]):
        for row in range(out.shape[1]):
            blocks, line = planes[channel, row], out[channel, row]
            for x in range(out.shape[2]):
                first, second = blocks[left[x]], blocks[min(left[x] + 1, last)]
                line[x] = first + (second - first) * across[x]


@compiled
def lengthen(planes: Any, upper: Any, down: Any, out: Any) -> None:
    """Bilinear between rows: upper are rows, down the weights of the next one."""
    last = planes.shape[1] - 1
    for channel in range(out.shape[0]):
        for row in range(out.shape[1]):
            above, below = planes[channel, upper[row]], planes[channel, min(upper[row] + 1, last)]
            weight, line = down[row], out[channel, row]
            for x in range(out.shape[2]):
                line[x] = above[x] + (below[x] - above[x]) * weight


class Reducer:
    """Takes a frame in strips of whole rows and gives its overview: each pixel the mean of the area it covers.

    First across, strip by strip, then down; the two together are the mean over the area, and no full-size picture
    stands in memory.
    """

    def __init__(self, full_height: int, full_width: int, height: int, width: int) -> None:
        self._size = (height, width)
        self._full = (full_height, full_width)
        self._narrow: Planes = np.empty((3, full_height, width), np.float32)

    def add(self, planes: Planes, top: int) -> None:
        """The rows from `top` on, in any order."""
        rows, width = planes.shape[1], self._size[1]
        for channel in range(3):
            self._narrow[channel, top : top + rows] = cv2.resize(
                planes[channel], (width, rows), interpolation=cv2.INTER_AREA
            )

    def overview(self) -> Overview:
        """When all rows are in."""
        height, width = self._size
        planes = [cv2.resize(plane, (width, height), interpolation=cv2.INTER_AREA) for plane in self._narrow]
        return Overview(np.stack(planes), self._full[1], self._full[0])
