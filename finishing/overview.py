"""A reduced copy of a whole frame, for operations that spread light far, and the way back to full size.

A blur over many pixels needs no full-size picture: averaged over blocks of k × k it is k² times smaller, and what a
blur of several blocks leaves of the difference is too small to see.
"""

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.colour import transfer
from finishing.compiled import ZERO, compiled, inlined, singles
from finishing.gaussian import gaussian_weights

Planes = NDArray[np.float32]
HALF = np.float32(0.5)
#: A blur of twice as many blocks as this is made on an overview of the overview, while that has so many blocks a side.
WIDE, LEAST_BLOCKS = 8, 40
#: So many rows of blocks are brought to full width at a time.
ROWS_HELD = 24


def level_of(above: float) -> tuple[np.float32, ...]:
    """The linear light of an encoded value, and 1 over twice that (0 for 0), as `excess` takes them."""
    level = float(transfer.srgb_decode(above))
    return singles(level, 1 / (2 * level) if level else 0)


@inlined
def excess(value: Any, level: Any, per: Any) -> Any:
    """What of a value lies over the level A, with a soft knee around it: 0 up to A/2, (v − A/2)² / (2 A) from there to
    3A/2, v − A beyond. per: 1 / (2 A)."""
    over = value - HALF * level
    knee = min(max(over, ZERO), level)
    return knee * knee * per + max(over - level, ZERO)


def plain_excess(values: NDArray[np.float64], level: float) -> NDArray[np.float64]:
    """The same in float64, for references; the level above 0."""
    knee = np.clip(values - level / 2, 0, level) ** 2 / (2 * level)
    return np.asarray(knee + np.maximum(values - 1.5 * level, 0), np.float64)


@dataclass(frozen=True, eq=False)
class Overview:
    """planes: float32 (channels, height, width) at the reduced size; full_width, full_height: of the frame."""

    planes: Planes
    full_width: int
    full_height: int

    def blurred(self, sigma: float) -> "Overview":
        """The same after a Gaussian blur; sigma in pixels of the full frame. The frame's edge is mirrored.

        What the blocks and the way back to full size blur by themselves is taken off beforehand: variances add, and
        in pixels² that of a block of k is (k² − 1) / 12, that of straight lines between blocks (k² − 1) / 6. What
        remains is that the place of light within its block is not known: with blocks of a fifth of sigma a bright
        spot's blur is off by at most 1 % at its height, and on its flanks by 8 % of that where the spot is a single
        pixel, by 2 % where it is as large as a block or larger. A blur over very many blocks goes by way of an
        overview of the overview, which is the same to 1 part in 1000.
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
    def _across(self) -> tuple[NDArray[np.int32], Planes]:
        """For every column of the frame: the column of blocks before it, and the weight of the next one."""
        width = self.planes.shape[2]
        return _between(np.arange(self.full_width), width / self.full_width, width)

    @cached_property
    def _down(self) -> tuple[NDArray[np.int32], Planes]:
        """For every row of the frame: the row of blocks before it, and the weight of the next one."""
        height = self.planes.shape[1]
        return _between(np.arange(self.full_height), height / self.full_height, height)

    def rows(self, top: int, count: int) -> Planes:
        """Rows of the frame at full size, bilinear between the blocks' centres: (channels, count, full_width)."""
        out = np.empty((self.planes.shape[0], count, self.full_width), np.float32)
        lengthen(*self.between(top, count), out)
        return out

    def between(self, top: int, count: int) -> tuple[Planes, NDArray[np.int32], Planes]:
        """The same for kernels that need no row of their own: rows of blocks at full width (channels, n, full_width),
        for each of the frame's rows the one of these above it, and how far it is on the way to the next (see
        `on_the_way`)."""
        upper, down = self._down[0][top : top + count], self._down[1][top : top + count]
        if not count:
            return np.empty((self.planes.shape[0], 0, self.full_width), np.float32), upper, down
        first, last = int(upper[0]), min(int(upper[-1]) + 2, self.planes.shape[1])
        held = self._held
        if getattr(held, "first", last) > first or held.last < last:
            held.first, held.last = first, min(max(first + ROWS_HELD, last), self.planes.shape[1])
            held.wide = np.empty((self.planes.shape[0], held.last - first, self.full_width), np.float32)
            widen(np.ascontiguousarray(self.planes[:, first : held.last]), *self._across, held.wide)
        return held.wide, upper - np.int32(held.first), down

    @cached_property
    def _held(self) -> threading.local:
        """Each thread's rows of blocks at full width, from `first` to `last` − 1: strips follow each other, and many of
        them lie between the same two rows of blocks."""
        return threading.local()


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


@inlined
def on_the_way(above: Any, below: Any, weight: Any) -> Any:
    """Between two values: weight is that of the second."""
    return above + (below - above) * weight


@compiled
def lengthen(planes: Any, upper: Any, down: Any, out: Any) -> None:
    """Bilinear between rows: upper are rows, down the weights of the next one."""
    last = planes.shape[1] - 1
    for channel in range(out.shape[0]):
        for row in range(out.shape[1]):
            above, below = planes[channel, upper[row]], planes[channel, min(upper[row] + 1, last)]
            weight, line = down[row], out[channel, row]
            for x in range(out.shape[2]):
                line[x] = on_the_way(above[x], below[x], weight)


class Reducer:
    """Takes a frame in strips of whole rows and gives its overview: each pixel the mean of the area it covers.

    First down, row by row, then across; the two together are the mean over the area, and no full-size picture stands
    in memory. Sums in floats depend on their order: rows are added from the top down, and those of every TOGETHER rows
    have sums of their own, which are added last. So it does not matter how the rows are cut into strips, and parts of
    TOGETHER rows may be handed over side by side.
    """

    TOGETHER = 256

    def __init__(self, full_height: int, full_width: int, height: int, width: int) -> None:
        self._full = (full_height, full_width)
        row = np.arange(full_height, dtype=np.int64)
        block, self._first, self._second = _shares(full_height, height)
        part = row // self.TOGETHER
        self._slot = (block + part).astype(np.int32)
        #: slots that are complete behind a row: none, the row's own, or where a part ends the next one too
        self._closes = np.append(self._slot[1:] != self._slot[:-1], True).astype(np.int32)
        self._closes[np.append(part[1:] != part[:-1], True) & (self._second > 0)] = 2
        cuts = np.arange(self.TOGETHER, full_height, self.TOGETHER)
        #: blocks that lie across a cut, by their slots before and behind it
        self._across_cuts = [(int(self._slot[y]) - 1, int(self._slot[y])) for y in cuts if y * height % full_height]
        self._slots = np.arange(height) + np.arange(height) * full_height // height // self.TOGETHER
        self._across = _shares(full_width, width)
        self._narrow: Planes = np.zeros((3, height + len(cuts), width), np.float32)
        self._open: dict[int, Planes] = {}

    def add(self, planes: Planes, top: int) -> None:
        """The rows from `top` on; of every TOGETHER rows from the top down."""
        bottom = top + planes.shape[1]
        while top < bottom:
            part = top // self.TOGETHER
            stop = min(bottom, (part + 1) * self.TOGETHER)
            if part not in self._open:
                self._open[part] = np.zeros((2, 3, self._full[1]), np.float32)
            rows = slice(top, stop)
            told = self._slot[rows], self._first[rows], self._second[rows], self._closes[rows]
            add_rows(planes, planes.shape[1] - bottom + top, *told, self._open[part], *self._across, self._narrow)
            if stop in ((part + 1) * self.TOGETHER, self._full[0]):
                del self._open[part]
            top = stop

    def overview(self) -> Overview:
        """When all rows are in."""
        for before, behind in reversed(self._across_cuts):
            self._narrow[:, before] += self._narrow[:, behind]
        return Overview(self._narrow[:, self._slots], self._full[1], self._full[0])


def _shares(full: int, reduced: int) -> tuple[NDArray[np.int32], Planes, Planes]:
    """For each of `full` lines: the block that it begins in, and the shares that it has of that one and of the next.

    In whole numbers: line i covers i·reduced … (i + 1)·reduced, a block `full` of these.
    """
    line = np.arange(full, dtype=np.int64)
    block = line * reduced // full
    inside = np.minimum((block + 1) * full - line * reduced, reduced)
    first, second = ((part / full).astype(np.float32) for part in (inside, reduced - inside))
    return block.astype(np.int32), first, second


@compiled
def add_rows(
    planes: Any,
    begin: Any,
    slots: Any,
    first: Any,
    second: Any,
    closes: Any,
    sums: Any,
    blocks: Any,
    before: Any,
    behind: Any,
    narrow: Any,
) -> None:
    """Rows from `begin` on, each to the sum of its slot, and what of it lies in the next block to that one's: sums
    (2, 3, width) holds the two by turns. A slot that is complete is added up across, and its sum begins anew."""
    at = begin
    for row in range(slots.shape[0]):
        slot, weight, rest = slots[row], first[row], second[row]
        for channel in range(3):
            line, total = planes[channel, at], sums[slot % 2, channel]
            for x in range(line.shape[0]):
                total[x] += weight * line[x]
            if rest > ZERO:
                following = sums[(slot + 1) % 2, channel]
                for x in range(line.shape[0]):
                    following[x] += rest * line[x]
        at += 1
        for complete in range(slot, slot + closes[row]):
            for channel in range(3):
                total, out = sums[complete % 2, channel], narrow[channel, complete]
                for x in range(total.shape[0]):
                    out[blocks[x]] += before[x] * total[x]
                    if behind[x] > ZERO:
                        out[blocks[x] + 1] += behind[x] * total[x]
                    total[x] = ZERO
