"""What an operation hands to the engine: a compiled function and its arguments, everything that depends on parameters
and frame worked out.

The engine calls it on strips of whole rows. Where a step is limited to a region, the function is linked into a loop
over small parts of the strip instead, so it must come to the same on any part.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import Compiled, compiled

#: Rows as the engine holds them: float32 (3, rows, width).
Planes = NDArray[np.float32]
#: Where the reach is the pixels around: (memory, table, out, out_top) makes the rows of `out`, of which the first is
#: row out_top of the frame, from the rows as they are before, which stand where the table says (see `strips`); all that
#: are looked at are there.
AroundKernel = Callable[[NDArray[np.float32], NDArray[np.int64], Planes, int], None]


class Kernel(ABC):
    """A compiled function that changes planes (3, rows, columns) in place, bound to its arguments."""

    def __init__(self, function: Compiled, *arguments: Any) -> None:
        self.function = function
        self.arguments = arguments

    @abstractmethod
    def __call__(self, planes: Planes, top: int) -> None:
        """On whole rows of the frame, from row `top` on."""

    @property
    @abstractmethod
    def part(self) -> Compiled:
        """The function as part(planes, top, left, arguments), to be linked into a loop over parts of the frame."""

    def of_rows(self, top: int, count: int) -> tuple[int, tuple[Any, ...]]:
        """What `part` takes for parts of `count` rows of the frame from row `top` on: its `top` for the first of these
        rows, and its `arguments`."""
        return top, self.arguments


class PixelKernel(Kernel):
    """function(planes, *arguments) looks at pixels alone; they may also be tables of codes, (3, tables, levels)."""

    def __call__(self, planes: Planes, top: int) -> None:
        self.function(planes, *self.arguments)

    @property
    def part(self) -> Compiled:
        return of_pixels.linked(function=self.function)


class PlaceKernel(Kernel):
    """function(planes, top, left, *arguments) looks at a pixel's place too.

    top, left: where the planes begin in what the arguments hold for every row and column of the frame. by_rows: gives
    further arguments, ahead of the others, which hold only the `count` rows from row `top` of the frame on; the
    function's `top` then is counted from there.
    """

    def __init__(
        self, function: Compiled, *arguments: Any, by_rows: Callable[[int, int], tuple[Any, ...]] | None = None
    ) -> None:
        super().__init__(function, *arguments)
        self._by_rows = by_rows

    def __call__(self, planes: Planes, top: int) -> None:
        start, arguments = self.of_rows(top, planes.shape[1])
        self.function(planes, start, 0, *arguments)

    @property
    def part(self) -> Compiled:
        return of_places.linked(function=self.function)

    def of_rows(self, top: int, count: int) -> tuple[int, tuple[Any, ...]]:
        if self._by_rows is None:
            return top, self.arguments
        return 0, (*self._by_rows(top, count), *self.arguments)


#: Stands for the function that is linked in.
function: Any = None


@compiled
def of_pixels(planes: Any, top: Any, left: Any, arguments: Any) -> None:
    """Without the place."""
    function(planes, *arguments)


@compiled
def of_places(planes: Any, top: Any, left: Any, arguments: Any) -> None:
    """With the place."""
    function(planes, top, left, *arguments)
