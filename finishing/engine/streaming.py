"""Rows on their way through the steps, a strip at a time, each row worked on once.

A step that looks around itself needs the rows above and below as they were before it. They are held back from one
strip to the next instead of being worked out again, so that a wide reach costs room, not time. All that kernels are
given lies together in memory: they are compiled for whole arrays.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from finishing.operation import Kernel, Planes


@dataclass(frozen=True)
class Placed:
    """A kernel and the rows above and below that it looks at."""

    kernel: Kernel
    radius: int = 0


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

    def copy_of(self, planes: Planes) -> Planes:
        """The same rows, whole."""
        copy = self.planes(planes.shape[1])
        copy[:] = planes
        return copy


class _Around:
    """A kernel that looks around itself, fed with rows from the top down.

    first, last: the rows of the frame that are wanted of it, first…last − 1. start: the first row that it is fed.
    """

    def __init__(self, placed: Placed, first: int, last: int, start: int, height: int, width: int) -> None:
        self._kernel, self._radius = placed.kernel, placed.radius
        self._next, self._last, self._height = first, last, height
        self._top = start
        self._work, self._held, self._out = Room(width), Room(width), Room(width)
        self._kept = self._held.planes(0)

    def __call__(self, planes: Planes, top: int) -> tuple[Planes, int]:
        """What is finished now: perhaps no row, since those below must be known first."""
        kept, bottom = self._kept.shape[1], top + planes.shape[1]
        work = self._work.planes(kept + planes.shape[1])
        work[:, :kept], work[:, kept:] = self._kept, planes
        begin = self._next
        end = min(self._last, bottom if bottom == self._height else max(bottom - self._radius, begin))
        keep = max(end - self._radius, self._top)
        self._kept = self._held.copy_of(work[:, keep - self._top :])
        if end > begin:
            self._kernel(work, self._top)
        # once it runs evenly as many rows come out as went in, and their own memory takes them
        out = planes if planes.shape[1] == end - begin else self._out.planes(end - begin)
        out[:] = work[:, begin - self._top : end - self._top]
        self._next, self._top = end, keep
        return out, begin


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
        steps: list[Kernel | _Around] = []
        halo = self.halo
        for placed in self.kernels:
            if placed.radius == 0:
                steps.append(placed.kernel)
                continue
            start = max(self.start - halo, 0)
            halo -= placed.radius
            first, last = max(self.start - halo, 0), min(self.stop + halo, self.height)
            steps.append(_Around(placed, first, last, start, self.height, self.width))
        for planes, top in strips:
            for step in steps:
                if planes.shape[1] == 0:
                    break
                if isinstance(step, _Around):
                    planes, top = step(planes, top)
                else:
                    step(planes, top)
            if planes.shape[1]:
                yield planes, top
