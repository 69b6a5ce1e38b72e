"""Where pixels come from and where they go: both ends of the engine, in strips of whole rows."""

from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.colour import transfer
from finishing.colour.spaces import ColourSpace
from finishing.compiled import compiled, singles
from finishing.engine import conversions
from finishing.operation import Domain, Kernel, Planes
from finishing.overview import Reducer

#: What stands in for infinity: the largest value of a half-float picture. NaN becomes 0.
LARGEST = np.float32(65504)
NOTHING = np.float32(0)


class Source(Protocol):
    """Gives rows in linear light of the working primaries; every value it gives is finite."""

    height: int
    width: int

    def read(self, planes: Planes, top: int) -> None:
        """Fill planes (3, rows, width) with the rows from `top` on."""


class Sink(Protocol):
    """Takes finished rows in its domain."""

    domain: Domain

    def write(self, planes: Planes, top: int) -> None:
        """Take planes (3, rows, width) as the rows from `top` on; may use the planes as scratch."""


class CodedSource:
    """Integer codes of a file, with the table that decodes them.

    codes: uint8 or uint16 (height, width, 3). tables: float32 (3, levels), linear light of each code in the file's
    own primaries. matrix: 3×3 from there to the working primaries, or None where they are the same.
    """

    def __init__(self, codes: NDArray[Any], tables: NDArray[np.float32], matrix: NDArray[np.float64] | None) -> None:
        self.codes = codes
        self.tables = tables
        self.matrix = None if matrix is None else singles(*np.asarray(matrix).ravel())
        self.height, self.width = codes.shape[:2]

    def folded(self, kernels: list[Kernel]) -> "CodedSource":
        """The same source with steps worked into its table. Only for sources without a matrix."""
        tables = self.tables[:, None, :].copy()
        for kernel in kernels:
            kernel(tables, 0)
        return CodedSource(self.codes, tables[:, 0, :].copy(), None)

    def read(self, planes: Planes, top: int) -> None:
        conversions.load(self.codes[top : top + planes.shape[1]], self.tables, planes)
        if self.matrix is not None:
            conversions.apply_matrix(planes, self.matrix)


class LinearSource:
    """A picture that is float already: planes float32 (3, height, width), working primaries, linear light.

    Here is the door at which NaN becomes 0 and infinity ±65504, so that every law holds on finite numbers.
    """

    def __init__(self, planes: Planes) -> None:
        self.planes = planes
        self.height, self.width = planes.shape[1:]

    def read(self, planes: Planes, top: int) -> None:
        planes[:] = self.planes[:, top : top + planes.shape[1]]
        make_finite(planes)


@compiled
def make_finite(planes: Any) -> None:
    """NaN to 0, what lies beyond ±65504 to ±65504."""
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                value = line[x]
                value = value if value == value else NOTHING
                line[x] = min(max(value, -LARGEST), LARGEST)


class LinearSink:
    """Keeps the result as float32 planes (3, height, width) in linear light."""

    domain = Domain.LINEAR

    def __init__(self, height: int, width: int) -> None:
        self.planes: Planes = np.empty((3, height, width), np.float32)

    def write(self, planes: Planes, top: int) -> None:
        self.planes[:, top : top + planes.shape[1]] = planes


class OverviewSink:
    """Keeps a reduced copy of what it is given, in whatever domain that is."""

    domain = Domain.LINEAR

    def __init__(self, full_height: int, full_width: int, height: int, width: int) -> None:
        self.reducer = Reducer(full_height, full_width, height, width)

    def write(self, planes: Planes, top: int) -> None:
        self.reducer.add(planes, top)


class CodedSink:
    """Integer codes of an output colour space. What lies outside its gamut is cut at 0 and 1 here.

    codes: uint8 (height, width, 3), filled; may be the array that the source reads from, since a strip is
    read before it is written and no strip looks at another's rows unless a step reaches around itself.
    """

    def __init__(self, codes: NDArray[np.uint8], space: ColourSpace) -> None:
        self.codes = codes
        self.space = space
        same = np.array_equal(space.from_working, np.eye(3))
        self._matrix = None if same else singles(*space.from_working.ravel())
        self._srgb_curve = space.decode is transfer.srgb_decode
        self.domain = self.domain_of(space)
        self._exponent = np.float32(1 / space.exponent) if space.exponent else None
        self._top = np.float32(255)

    @staticmethod
    def domain_of(space: ColourSpace) -> Domain:
        """What the engine hands over: encoded values where the space's curve and primaries are the engine's own."""
        own = np.array_equal(space.from_working, np.eye(3)) and space.decode is transfer.srgb_decode
        return Domain.ENCODED if own else Domain.LINEAR

    def write(self, planes: Planes, top: int) -> None:
        if self.domain is Domain.LINEAR:
            if self._matrix is not None:
                conversions.apply_matrix(planes, self._matrix)
            if self._srgb_curve:
                conversions.linear_to_encoded(planes)
            elif self._exponent is not None:
                conversions.power_encode(planes, self._exponent)
        rows = planes.shape[1]
        planar = np.empty(planes.shape, np.uint8)
        conversions.quantise(planes, planar, self._top)
        cv2.merge([planar[0], planar[1], planar[2]], self.codes[top : top + rows])
