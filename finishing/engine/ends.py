"""Where pixels come from and where they go: both ends of the engine, in strips of whole rows."""

from functools import lru_cache
from typing import Any, Protocol

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
    """Takes finished rows in one of its domains, the first of which it likes best."""

    domains: tuple[Domain, ...]

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
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

    domains: tuple[Domain, ...] = (Domain.LINEAR,)

    def __init__(self, height: int, width: int) -> None:
        self.planes: Planes = np.empty((3, height, width), np.float32)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        self.planes[:, top : top + planes.shape[1]] = planes


class OverviewSink:
    """Keeps a reduced copy of what it is given, in whatever domain that is."""

    domains: tuple[Domain, ...] = (Domain.LINEAR,)

    def __init__(self, full_height: int, full_width: int, height: int, width: int) -> None:
        self.reducer = Reducer(full_height, full_width, height, width)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        self.reducer.add(planes, top)


@lru_cache(maxsize=8)
def _code_table(space: ColourSpace | None) -> NDArray[np.uint8]:
    """8-bit codes of evenly spaced values 0…1: of linear light in a colour space, or of encoded values (None).

    With 65536 of them the darkest codes are still 20 places apart, so a code is off only within 1/40 of a
    rounding edge, and every code comes back as itself.
    """
    values = np.linspace(0, 1, 65536)
    encoded = values if space is None else space.encode(values)
    return np.round(np.clip(encoded, 0, 1) * 255).astype(np.uint8)


class CodedSink:
    """8-bit codes of an output colour space. What lies outside its gamut is cut at 0 and 1 here.

    codes: uint8 (height, width, 3), filled; may be the array that the source reads from, since a strip is
    read before it is written and no strip looks at another's rows unless a step reaches around itself.
    """

    def __init__(self, codes: NDArray[np.uint8], space: ColourSpace) -> None:
        self.codes = codes
        self._space = space
        same = np.array_equal(space.from_working, np.eye(3))
        self._matrix = None if same else singles(*space.from_working.ravel())
        own = same and space.decode is transfer.srgb_decode
        self.domains: tuple[Domain, ...] = (Domain.LINEAR, Domain.ENCODED) if own else (Domain.LINEAR,)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        if self._matrix is not None:
            conversions.apply_matrix(planes, self._matrix)
        table = _code_table(self._space if domain is Domain.LINEAR else None)
        conversions.store(planes, table, self.codes[top : top + planes.shape[1]])
