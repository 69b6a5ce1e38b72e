"""Rows on their way through the steps, a strip at a time, each row worked on once.

A step that looks around itself needs the rows above and below as they were before it. Their strips are held back until
nothing looks at them any more, instead of being worked out again, so that a wide reach costs room, not time.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from finishing.kernel import AroundKernel
from finishing.operation import Planes

#: Done in place on whole rows, of which the first is row `top` of the frame.
Work = Callable[[Planes, int], None]


@dataclass(frozen=True)
class Alone:
    """What looks at no row but the one it works on."""

    kernel: Work
    radius: int = 0


@dataclass(frozen=True)
class Around:
    """A kernel that looks at `radius` rows above and below."""

    kernel: AroundKernel
    radius: int


Placed = Alone | Around


@dataclass(frozen=True)
class Strip:
    """planes: (3, rows, width), whole in memory, of the frame's rows from `top` on; begin: its first row of memory."""

    planes: Planes
    top: int
    begin: int

    @property
    def bottom(self) -> int:
        """The row after the last."""
        return self.top + self.planes.shape[1]


class Store:
    """Memory for strips of up to `rows` rows, handed out and given back: what was used last lies in the cache."""

    def __init__(self, strips: int, rows: int, width: int) -> None:
        self.rows = rows
        self.memory: NDArray[np.float32] = np.empty((strips * 3 * rows, width), np.float32)
        self._free = list(range(strips))

    def take(self, top: int, count: int) -> Strip:
        """A strip for `count` rows, of any content."""
        begin = self._free.pop() * 3 * self.rows
        return Strip(self.memory[begin : begin + 3 * count].reshape(3, count, -1), top, begin)

    def give(self, strip: Strip) -> None:
        """Back, to be written over."""
        self._free.append(strip.begin // (3 * self.rows))


class _Window:
    """Holds the strips that a kernel looks at, fed from the top down.

    first, last: the rows of the frame that are wanted of it, first…last − 1.
    """

    def __init__(self, around: Around, store: Store, first: int, last: int, height: int) -> None:
        self._kernel, self._radius, self._store = around.kernel, around.radius, store
        self._next, self._last, self._height = first, last, height
        self._held: list[Strip] = []

    def fed(self, strip: Strip) -> Iterator[Strip]:
        """What can be finished now: perhaps nothing, since the rows below must be known first."""
        self._held.append(strip)
        bottom = strip.bottom
        end = min(self._last, bottom if bottom == self._height else bottom - self._radius)
        while self._next < end:
            done = self._store.take(self._next, min(self._store.rows, end - self._next))
            table = np.array([(held.top, held.planes.shape[1], held.begin) for held in self._held], np.int64)
            self._kernel(self._store.memory, table, done.planes, done.top)
            self._next = done.bottom
            while self._held and self._held[0].bottom <= self._next - self._radius:
                self._store.give(self._held.pop(0))
            yield done


#: Beside the rows that it looks at a window may hold strips that are shorter than others: at the ends of a share, and
#: one for every window above it.
SHORT_STRIPS = 6


@dataclass(frozen=True)
class Share:
    """Rows start…stop − 1 of a frame of `height` rows, on their way through kernels in strips of `rows` rows."""

    start: int
    stop: int
    height: int
    width: int
    rows: int
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

    def finished(self, read: Callable[[Planes, int], None], above: Planes, below: Planes) -> Iterator[Strip]:
        """The share's own rows, finished, from the top down. read fills planes with rows of the share; above, below:
        those around it. What is handed out is written over when the next is asked for."""
        store = Store(self._strips(), self.rows, self.width)
        steps = self._steps(store)

        def around(planes: Planes, first: int) -> Callable[[Planes, int], None]:
            def copy(into: Planes, top: int) -> None:
                into[:] = planes[:, top - first : top - first + into.shape[1]]

            return copy

        own = range(self.start, self.stop)
        parts = ((self.above, around(above, self.above.start)), (own, read), (self.below, around(below, self.stop)))
        for span, fill in parts:
            for top in span[:: self.rows]:
                strip = store.take(top, min(self.rows, span.stop - top))
                fill(strip.planes, top)
                for done in _through(steps, strip):
                    yield done
                    store.give(done)

    def _strips(self) -> int:
        """How many are in use at a time, at most."""
        windows = [placed.radius for placed in self.kernels if isinstance(placed, Around)]
        held = [-(-2 * radius // self.rows) + 2 + SHORT_STRIPS + len(windows) for radius in windows]
        return 1 + len(windows) + sum(held)

    def _steps(self, store: Store) -> list[Work | _Window]:
        steps: list[Work | _Window] = []
        halo = self.halo
        for placed in self.kernels:
            if isinstance(placed, Alone):
                steps.append(placed.kernel)
                continue
            halo -= placed.radius
            first, last = max(self.start - halo, 0), min(self.stop + halo, self.height)
            steps.append(_Window(placed, store, first, last, self.height))
        return steps


def _through(steps: Sequence[Work | _Window], strip: Strip) -> Iterator[Strip]:
    """The strips that come out of the steps when this one goes in."""
    for index, step in enumerate(steps):
        if isinstance(step, _Window):
            for done in step.fed(strip):
                yield from _through(steps[index + 1 :], done)
            return
        step(strip.planes, strip.top)
    yield strip
