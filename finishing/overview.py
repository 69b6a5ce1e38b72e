"""A reduced copy of a whole frame, for operations that spread light far, and the way back to full size.

A blur over many pixels needs no full-size picture: averaged over blocks of k × k it is k² times smaller, and what a
blur of several blocks leaves of the difference is too small to see.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, compiled

Planes = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Overview:
    """planes: float32 (channels, height, width) at the reduced size; full_width, full_height: of the frame."""

    planes: Planes
    full_width: int
    full_height: int

    def blurred(self, sigma: float) -> "Overview":
        """The same after a Gaussian blur; sigma in pixels of the full frame. The frame's edge is mirrored."""
        scale = self.planes.shape[2] / self.full_width
        small = max(sigma * scale, 1e-3)
        planes = [cv2.GaussianBlur(plane, (0, 0), small, borderType=cv2.BORDER_REFLECT) for plane in self.planes]
        return Overview(np.stack(planes), self.full_width, self.full_height)

    def rows(self, top: int, count: int) -> Planes:
        """Rows of the frame at full size, bilinear between the blocks' centres: (channels, count, full_width)."""
        height, width = self.planes.shape[1:]
        left, across = _between(np.arange(self.full_width), width / self.full_width, width)
        upper, down = _between(np.arange(top, top + count), height / self.full_height, height)
        out = np.empty((self.planes.shape[0], count, self.full_width), np.float32)
        enlarge(self.planes, left, across, upper, down, out)
        return out


def _between(positions: NDArray[np.int64], scale: float, size: int) -> tuple[NDArray[np.int32], Planes]:
    """For pixels of the frame: the block before each one's centre, and how far it is on the way to the next."""
    at = np.clip((positions + 0.5) * scale - 0.5, 0, size - 1)
    before = np.minimum(at.astype(np.int32), max(size - 2, 0))
    return before, (at - before).astype(np.float32)


@compiled
def enlarge(planes: Any, left: Any, across: Any, upper: Any, down: Any, out: Any) -> None:
    """Bilinear: left, upper are blocks, across, down the weights of the next one."""
    last_row, last_column = planes.shape[1] - 1, planes.shape[2] - 1
    mixed = np.empty(planes.shape[2], np.float32)
    for channel in range(out.shape[0]):
        for row in range(out.shape[1]):
            above = planes[channel, upper[row]]
            below = planes[channel, min(upper[row] + 1, last_row)]
            weight = down[row]
            for x in range(mixed.shape[0]):
                mixed[x] = above[x] * (ONE - weight) + below[x] * weight
            line = out[channel, row]
            for x in range(out.shape[2]):
                first = left[x]
                line[x] = mixed[first] * (ONE - across[x]) + mixed[min(first + 1, last_column)] * across[x]


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
