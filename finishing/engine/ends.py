"""Where pixels come from and where they go: both ends of the engine, in strips of whole rows."""

from collections.abc import Sequence
from functools import lru_cache, partial
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.colour import transfer
from finishing.colour.gamut import TOLERANCE
from finishing.colour.icc import ROUNDING
from finishing.colour.spaces import ColourSpace
from finishing.compiled import compiled, singles
from finishing.engine import conversions, gamut
from finishing.engine.conversions import HALF
from finishing.engine.plan import Table
from finishing.engine.streaming import Work
from finishing.operation import Domain, Geometry, Planes
from finishing.overview import Reducer
from finishing.regions.region import Region, WeightKernel

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
    """Takes finished rows in one of its domains, the first of which it likes best.

    together: of so many rows one after the other, counted from the top of the frame, one thread hands over all, from
    the top down.
    """

    domains: tuple[Domain, ...]
    together: int

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

    @property
    def table(self) -> Table:
        """What of a recipe its tables may take in."""
        if self.matrix is not None:
            return Table.NOTHING
        return Table.LIMITED if self.codes.dtype == np.uint8 else Table.ALIKE

    def folded(self, works: Sequence[Work]) -> "CodedSource":
        """The same source with steps worked into its tables."""
        tables = self.tables[:, None, :].copy()
        for work in works:
            work(tables, 0)
        return CodedSource(self.codes, tables[:, 0, :].copy(), None)

    def by_weight(self, step: Work, after: Sequence[Work], where: Region, geometry: Geometry) -> "WeightedSource":
        """The same with a step that is inside a region, and what follows it."""
        by_steps = np.ascontiguousarray(np.moveaxis(self._mixed(step, after, WEIGHTS), 1, 0))
        return WeightedSource(self.codes, by_steps, where.prepare(geometry), where.rows(geometry))

    def lines_hold(self, step: Work, after: Sequence[Work], domain: Domain) -> bool:
        """Whether a table by code and weight comes to what the works do, half-way between two weights, where it is
        furthest off. domain: what they leave the values in."""
        exact = self._mixed(step, after, 2 * WEIGHTS - 1)
        middle, lines = exact[:, 1::2].copy(), (exact[:, :-2:2] + exact[:, 2::2]) * HALF
        if domain is Domain.LINEAR:
            domains.linear_to_encoded(middle)
            domains.linear_to_encoded(lines)
        return bool(np.abs(middle - lines).max() <= LINES_OFF)

    def _mixed(self, step: Work, after: Sequence[Work], count: int) -> Planes:
        """float32 (3, count, levels): the tables for `count` weights of the step from 0 to 1."""
        before = self.tables[:, None, :]
        changed = before.copy()
        step(changed, 0)
        weights = np.linspace(0, 1, count, dtype=np.float32)[:, None]
        tables: Planes = before * (1 - weights) + changed * weights
        for work in after:
            work(tables, 0)
        return tables

    def recode(self, values: NDArray[np.float64], out: NDArray[Any]) -> None:
        """The whole picture straight to other codes; values: these, not rounded, in the shape of the tables. out may be
        the codes themselves."""
        conversions.recode(self.codes, np.round(values).astype(out.dtype), out)

    def read(self, planes: Planes, top: int) -> None:
        domains.load(self.codes[top : top + planes.shape[1]], self.tables, planes)
        if self.matrix is not None:
            domains.apply_matrix(planes, self.matrix)

    def reduced(self, height: int, width: int) -> "LinearSource | None":
        """The picture at a smaller size, each pixel the mean of the area that it covers, in linear light.

        None where the three channels decode differently: the caller then goes the long way.
        """
        if not (np.array_equal(self.tables[0], self.tables[1]) and np.array_equal(self.tables[0], self.tables[2])):
            return None
        planes: Planes = np.empty((3, height, width), np.float32)
        spans = _spans(self.height, height), _spans(self.width, width)
        conversions.reduce_codes(np.ascontiguousarray(self.codes), self.tables[0], *spans, planes)
        if self.matrix is not None:
            domains.apply_matrix(planes, self.matrix)
        return LinearSource(planes)


#: A table by code and weight has entries for so many weights, from 0 to 1, and straight lines between. A curve inside a
#: region is mixed in encoded values, which then become light: the lines are off by at most 7e-6 of white there, which
#: in the dark is less than a tenth of an 8-bit code.
WEIGHTS = 257
#: How far the lines may be off, in encoded values: where steps that follow bend more sharply there is no such table.
LINES_OFF = np.float32(0.1 / 255)
#: Rows whose weights are held at a time on the way from codes to codes.
ROWS_RECODED = 32


class WeightedSource:
    """Integer codes of a file whose decoding depends on a weight as well, which goes by the pixel's place.

    codes: uint8 (height, width, 3). tables: float32 (WEIGHTS, 3, 256). fill: gives the weights, which are 0 outside of
    `rows`.
    """

    def __init__(
        self, codes: NDArray[Any], tables: NDArray[np.float32], fill: WeightKernel, rows: tuple[int, int]
    ) -> None:
        self.codes = codes
        self.tables = tables
        self.matrix = None
        self.height, self.width = codes.shape[:2]
        self._fill = fill
        self._first, self._last = rows

    def recode(self, values: NDArray[np.float64], out: NDArray[Any]) -> None:
        """As of a `CodedSource`."""
        beside, tables = np.round(values[0]).astype(out.dtype), values.astype(np.float32)
        for top in range(0, self.height, ROWS_RECODED):
            part = slice(top, top + ROWS_RECODED)
            weights = self._weights(top, len(self.codes[part]))
            if weights is None:
                conversions.recode(self.codes[part], beside, out[part])
            else:
                conversions.recode_between(self.codes[part], tables, weights, out[part])

    def read(self, planes: Planes, top: int) -> None:
        codes = self.codes[top : top + planes.shape[1]]
        weights = self._weights(top, len(codes))
        if weights is None:
            domains.load(codes, self.tables[0], planes)
        else:
            conversions.load_between(codes, self.tables, weights, planes)

    def _weights(self, top: int, count: int) -> NDArray[np.float32] | None:
        """Of `count` rows; None where all are 0."""
        if top >= self._last or top + count <= self._first:
            return None
        weights = np.empty((count, self.width), np.float32)
        self._fill(weights, None, top)
        return weights


def _spans(full: int, reduced: int) -> tuple[Any, ...]:
    """Which of `full` lines each of `reduced` ones covers: first, one past the last, the shares of the first and of
    the last, and the share of each between. Worked out in whole numbers: line i covers i·full … (i + 1)·full, in
    parts of 1/reduced."""
    start = np.arange(reduced, dtype=np.int64) * full
    stop = start + full
    first, last = start // reduced, -(-stop // reduced)
    only = last - first == 1
    head = np.where(only, full, (first + 1) * reduced - start) / full
    tail = (stop - (last - 1) * reduced) / full
    whole = np.float32(reduced / full)
    return first.astype(np.int32), last.astype(np.int32), head.astype(np.float32), tail.astype(np.float32), whole


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
    together = 1

    def __init__(self, height: int, width: int) -> None:
        self.planes: Planes = np.empty((3, height, width), np.float32)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        self.planes[:, top : top + planes.shape[1]] = planes


class OverviewSink:
    """Keeps a reduced copy of what it is given, in whatever domain that is."""

    domains: tuple[Domain, ...] = (Domain.LINEAR,)
    together = Reducer.TOGETHER

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
    """8-bit or 16-bit codes of an output colour space. What lies outside its gamut is brought in here, at its own
    lightness and hue (`finishing.colour.gamut`), and only what rounding leaves beyond 0 and 1 is cut.

    codes: uint8 or uint16 (height, width, 3), filled; may be the array that the source reads from, since every row is
    read before it is written.
    """

    def __init__(self, codes: NDArray[Any], space: ColourSpace) -> None:
        self.codes = codes
        self.space = space
        same = np.array_equal(space.from_working, np.eye(3))
        self._matrix = None if same else singles(*space.from_working.ravel())
        self._gamut = gamut.matrices_of(space)
        own = same and space.decode is transfer.srgb_decode
        self.domains: tuple[Domain, ...] = (Domain.LINEAR, Domain.ENCODED) if own else (Domain.LINEAR,)
        self.together = 1

    @property
    def highest(self) -> int:
        """The code of white."""
        return int(np.iinfo(self.codes.dtype).max)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        part = self.codes[top : top + planes.shape[1]]
        if self.codes.dtype == np.uint8:
            domain = self._bring_in(planes, domain)
            conversions.store(planes, _code_table(self.space if domain is Domain.LINEAR else None), part)
            return
        self.encode(planes, domain)
        conversions.store_values(planes, np.float32(self.highest), part)

    def encode(self, planes: Planes, domain: Domain) -> None:
        """From working light (or values that are encoded already) to the space's encoded values, in place."""
        domain = self._bring_in(planes, domain)
        curve = self.space.encode
        if domain is Domain.ENCODED or self.space.name == "linear":
            return
        if curve is transfer.srgb_encode:
            domains.linear_to_encoded(planes)
        elif isinstance(curve, partial) and curve.func is transfer.power_encode:
            conversions.linear_to_power(planes, np.float32(1 / curve.keywords["exponent"]))
        else:
            planes[:] = curve(planes.astype(np.float64))

    def _bring_in(self, planes: Planes, domain: Domain) -> Domain:
        """Into the space's linear light and its gamut; encoded values that are inside stay encoded. Returns which."""
        if domain is Domain.ENCODED:
            if planes.min() >= -TOLERANCE and planes.max() <= 1 + TOLERANCE:
                return domain
            domains.encoded_to_linear(planes)
        if self._matrix is not None:
            domains.apply_matrix(planes, self._matrix)
        gamut.bring_in(planes, *self._gamut)
        return Domain.LINEAR

    def take(self, source: "CodedSource | WeightedSource", domain: Domain) -> bool:
        """The whole picture straight from codes to codes, where each channel comes out of the same channel alone:
        exact, so that a picture which nothing was done to keeps every code (between two weights see WEIGHTS). False
        where primaries differ or light goes beyond black or white.

        domain: what the source's tables give.
        """
        matrix = np.eye(3) if source.matrix is None else np.array(source.matrix, np.float64).reshape(3, 3)
        if np.abs(self.space.from_working @ matrix - np.eye(3)).max() > ROUNDING:
            return False
        values = np.nan_to_num(source.tables.astype(np.float64))
        if values.min() < -TOLERANCE or values.max() > 1 + TOLERANCE:
            return False
        encoded = values if domain is Domain.ENCODED else self.space.encode(values)
        source.recode(np.clip(encoded, 0, 1) * self.highest, self.codes)
        return True
