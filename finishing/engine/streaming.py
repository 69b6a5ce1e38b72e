"""Rows on their way through the steps, a strip at a time, each row worked on once.

A step that looks around itself needs the rows above and below as they were before it. They are held from one strip to
the next instead of being worked out again, so that a wide reach costs room, not time. All that kernels are given lies
together in memory: they are compiled for whole arrays.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import compiled
from finishing.operation import AroundKernel, Kernel, Planes


@dataclass(frozen=True)
class Alone:
    """A kernel that looks at no row but the one it works on."""

    kernel: Kernel
    radius: int = 0


@dataclass(frozen=True)
class Around:
    """A kernel that looks at `radius` rows above and below."""

    kernel: AroundKernel
    radius: int


Placed = Alone | Around


class Room:
    """Scratch for planes of any number of rows, used again and again: fresh memory costs more than filling it."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._flat: NDArray[np.float32] = np.empty(0, np.float32)

    def planes(self, rows: int) -> Planes:
        """(3, rows, width), whole; what was handed out before is written over."""
        size = 3 * rows * self._width
        if size > self._flat.size:
            self._flat = np.empty(size, np.float32)
        return self._flat[:size].reshape(3, rows, self._width)


#: A window holds so many strips before what is still looked at moves back to its beginning.
STRIPS_HELD = 6


class _Window:
    """Rows as they are before a kernel that looks around itself, fed from the top down.

    first, last: the rows of the frame that are wanted of it, first…last − 1. start: the first row that it is fed.
    """

    def __init__(self, around: Around, first: int, last: int, start: int, height: int, width: int) -> None:
        self._kernel, self._radius = around.kernel, around.radius
        self._next, self._last, self._height = first, last, height
        self._out = Room(width)
        self._rows: Planes = np.empty((3, 0, width), np.float32)
        self._top, self._count = start, 0

    def __call__(self, planes: Planes, top: int) -> tuple[Planes, int]:
        """What is finished now: perhaps no row, since those below must be known first."""
        self._hold(planes)
        bottom, begin = top + planes.shape[1], self._next
        end = min(self._last, bottom if bottom == self._height else max(bottom - self._radius, begin))
        # once it runs evenly as many rows come out as went in, and their own memory takes them
        out = planes if planes.shape[1] == end - begin else self._out.planes(end - begin)
        if end > begin:
            self._kernel(self._rows, self._top, out, begin)
        self._next = end
        return out, begin

    def _hold(self, planes: Planes) -> None:
        """Put rows behind those that are held; where there is no room, first let go of what nothing looks at."""
        count = planes.shape[1]
        if self._count + count > self._rows.shape[1]:
            drop = max(self._next - self._radius - self._top, 0)
            kept = self._count - drop
            if kept + count > self._rows.shape[1]:
                most = min(kept + STRIPS_HELD * count, self._height - self._top - drop)
                rows: Planes = np.empty((3, most, self._rows.shape[2]), np.float32)
                rows[:, :kept] = self._rows[:, drop : self._count]
                self._rows = rows
            else:
                move_up(self._rows, drop, kept)
            self._top, self._count = self._top + drop, kept
        self._rows[:, self._count : self._count + count] = planes
        self._count += count


@compiled
def move_up(planes: Any, by: Any, count: Any) -> None:
    """Rows by…by + count − 1 become the first ones."""
    for channel in range(planes.shape[0]):
        for row in range(count):
            line, into = planes[channel, row + by], planes[channel, row]
            for x in range(planes.shape[2]):
                into[x] = line[x]


@dataclass(frozen=True)
class Share:
    """Rows start…stop − 1 of a frame of `height` rows, on their way through kernels."""

    start: int
    stop: int
    height: int
    width: int
    kernels: Sequence[Placed]

    @property
    def halo(self) -> int:
        """Rows above and below that must come along."""
        return sum(placed.radius for placed in self.kernels)

    @property
    def above(self) -> range:
        """Rows before the share that its own look at."""
        return range(max(self.start - self.halo, 0), self.start)

    @property
    def below(self) -> range:
        """Rows behind the share that its own look at."""
        return range(self.stop, min(self.stop + self.halo, self.height))

    def finished(self, strips: Iterator[tuple[Planes, int]]) -> Iterator[tuple[Planes, int]]:
        """The share's own rows, finished, for all strips from the first row above it to the last one below, in order.
        What is handed out is written over when the next is asked for."""
        steps: list[Kernel | _Window] = []
        halo = self.halo
        for placed in self.kernels:
            if isinstance(placed, Alone):
                steps.append(placed.kernel)
                continue
            start = max(self.start - halo, 0)
            halo -= placed.radius
            first, last = max(self.start - halo, 0), min(self.stop + halo, self.height)
            steps.append(_Window(placed, first, last, start, self.height, self.width))
        for planes, top in strips:
            for step in steps:
                if planes.shape[1] == 0:
                    break
                if isinstance(step, _Window):
                    planes, top = step(planes, top)
                else:
                    step(planes, top)
            if planes.shape[1]:
                yield planes, top
