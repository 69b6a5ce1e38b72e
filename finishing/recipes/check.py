"""The contract of a check: what a finished frame must satisfy, measured on strips of rows while it is finished.

A recipe lists checks under `checks`, each with a limit and perhaps a `where`. A check measures the finished pixels
in linear light before anything is cut at black and white; skin, and every `where` that looks at colour, is found in
the original, so that a frame turned grey still knows where its skin was. Paper that a step paints round the picture
is no part of it and is not measured.

A check may be measured on a reduced picture (its long edge 1000 pixels, say) with that picture's own `Geometry`.
Means and shares of areas stay what they are to about a reduced pixel's width along their borders; single pixels do
not: a glint that is clipped in the full frame is averaged with its surroundings and may no longer count.
"""

import math
import re
from abc import abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from finishing.documents.flow import flow
from finishing.documents.reading import Model
from finishing.errors import Place
from finishing.operation import Geometry, Planes, Rectangle
from finishing.regions.combined import written
from finishing.regions.region import Region, Weights
from finishing.units import format_number

#: What a check can be limited by; each has some of these.
LIMITS = ("at_most", "at_least", "between")
#: What a value may count: pixels, as a share of them all, or angles.
SHARE, DEGREES = "of the pixels", "degrees"
_FIGURE = r"\d+(?:\.\d+)?"
_MOST_PLACES = 4
#: Sums over single rows: float64 (rows, sums).
Sums = NDArray[np.float64]


@dataclass(frozen=True)
class Finding:
    """What the sums of a frame come to. passes_unmeasured: whether the frame passes where there is no value."""

    value: float | None
    note: str = ""
    passes_unmeasured: bool = True


@dataclass(frozen=True)
class CheckResult:
    """What the report says of one check on one frame. value: None where there is none, which `note` explains."""

    name: str
    value: float | None
    limit: str
    unit: str
    passed: bool
    where: str | None = None
    note: str = ""

    def __str__(self) -> str:
        place = f" where {self.where}" if self.where else ""
        found = self.note if self.value is None else self.value_words()
        extra = f", {self.note}" if self.note and self.value is not None else ""
        limit = limit_words(self.limit, self.unit)
        return f"{self.name}{place}: {found} ({limit}{extra}): {'passed' if self.passed else 'failed'}"

    def value_words(self) -> str:
        """4.6 %, +2.1°, 0.61: with more digits where a value that did not pass would read like its limit."""
        limit = re.findall(_FIGURE, limit_words(self.limit, self.unit))
        places = 2 if self.unit not in (SHARE, DEGREES) else 1
        text = self._in_words(places)
        while not self.passed and places < _MOST_PLACES and text.strip("+−°% ") in limit:
            places += 1
            text = self._in_words(places)
        return text

    def _in_words(self, places: int) -> str:
        value = self.value or 0.0
        if self.unit == SHARE:
            return f"{format_number(100 * value, places)} %"
        size = format_number(abs(value), places)
        sign = ("−" if value < 0 else "+") if "shift" in self.name and size != "0" else ""
        return f"{sign}{size}" + ("°" if self.unit == DEGREES else "")


def limit_words(limit: str, unit: str) -> str:
    """A limit as values are printed: at most 0.005 of the pixels is at most 0.5 %."""

    def number(found: re.Match[str]) -> str:
        if unit == SHARE:
            return f"{format_number(100 * float(found.group()), 2)} %"
        return found.group().replace("-", "−") + ("°" if unit == DEGREES else "")

    return re.sub(rf"-?{_FIGURE}", number, limit)


class Check(Model):
    """Base of every check; the fields of a subclass are its parameters and limits."""

    name: ClassVar[str]
    summary: ClassVar[str]
    #: A check as it stands in a recipe.
    example: ClassVar[str]
    #: A limit to copy.
    limit_example: ClassVar[str]
    #: What the value counts.
    unit: ClassVar[str]
    #: How many sums a row has.
    sums: ClassVar[int]
    #: Whether the original is looked at beside the finished frame.
    looks_at_original: ClassVar[bool] = False
    #: Whether at_most holds for the size of the value, whatever its sign.
    signed: ClassVar[bool] = False
    keys_beside: ClassVar[tuple[str, ...]] = ("where",)

    @model_validator(mode="after")
    def _has_a_limit(self) -> "Check":
        if all(limit is None for limit in self._limits()):
            names = [name for name in LIMITS if name in type(self).model_fields]
            listed = ", ".join(names[:-1]) + " or " + names[-1]
            raise ValueError(f"expected a limit: {listed}; add {self.limit_example}, for example")
        low, high = self.bounds()
        if low > high:
            raise ValueError("expected limits that a value can keep; let the lower one be the smaller")
        return self

    def _limits(self) -> tuple[float | None, float | None, tuple[float, float] | None]:
        """at_most, at_least, between; None for those that are not given or that this check does not have."""
        return getattr(self, "at_most", None), getattr(self, "at_least", None), getattr(self, "between", None)

    def bounds(self) -> tuple[float, float]:
        """Smallest and largest value that pass."""
        at_most, at_least, between = self._limits()
        low, high = between or (-math.inf, math.inf)
        if at_least is not None:
            low = max(low, at_least)
        if at_most is not None:
            low, high = max(low, -at_most) if self.signed else low, min(high, at_most)
        return low, high

    def limit(self) -> str:
        """The limit in words: at most 0.02."""
        at_most, at_least, between = self._limits()
        parts = []
        if at_least is not None:
            parts.append(f"at least {format_number(at_least, 4)}")
        if at_most is not None:
            parts.append(f"at most {format_number(at_most, 4)}" + (" either way" if self.signed else ""))
        if between is not None:
            parts.append(f"between {format_number(between[0], 4)} and {format_number(between[1], 4)}")
        return ", ".join(parts)

    def area(self, where: Region | None) -> Region | None:
        """Where it is measured, given what the recipe says."""
        return where

    @abstractmethod
    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        """Fill the sums of some rows. original: OkLab, None unless looked at; finished: linear light."""

    @abstractmethod
    def find(self, totals: Sequence[float], pixels: int) -> Finding:
        """The value from the sums of all rows. pixels: how many the picture has."""


@dataclass(frozen=True)
class Requirement:
    """One check of a recipe, perhaps limited to a region."""

    check: Check
    where: Region | None = None
    place: Place | None = field(default=None, compare=False)

    def values(self) -> dict[str, Any]:
        """Parameters and limits as plain values, defaults included, as they may stand in a file."""
        values: dict[str, Any] = self.check.model_dump(mode="json", exclude_none=True)
        return values if self.where is None else {**values, "where": written(self.where)}

    def describe(self) -> str:
        """The check in one line, as it may stand in a recipe."""
        return f"{self.check.name}: {flow(self.values())}"

    @property
    def looks_at_original(self) -> bool:
        """Whether `add` needs the original's pixels."""
        return self.check.looks_at_original or (self.where is not None and self.where.looks_at_colour)

    def begin(self, geometry: Geometry, picture: Rectangle | None = None) -> "Measure":
        """Start measuring a frame. picture: what of it is picture, all unless given. Raises Problem where the frame
        lacks what the region needs."""
        return Measure(self, geometry, picture)


class Measure:
    """One check on one frame.

    Every row is summed by itself and the rows in a fixed order at the end, so the result does not depend on how
    the frame was cut into strips, nor on the thread that brought them; strips may come from several threads.
    """

    def __init__(self, requirement: Requirement, geometry: Geometry, picture: Rectangle | None = None) -> None:
        self.requirement = requirement
        self.geometry = geometry
        left, top, right, bottom = picture or (0, 0, geometry.width, geometry.height)
        self._pixels = (right - left) * (bottom - top)
        self._area = requirement.check.area(requirement.where)
        self._fill = self._area.prepare(geometry) if self._area else None
        first_row, last_row = self._area.rows(geometry) if self._area else (0, geometry.height)
        first_column, last_column = self._area.columns(geometry) if self._area else (0, geometry.width)
        self._rows = max(first_row, top), min(last_row, bottom)
        self._columns = max(first_column, left), min(last_column, right)
        self._sums = np.zeros((geometry.height, requirement.check.sums), np.float64)
        self._seen = np.zeros(geometry.height, bool)

    def add(self, original: Planes | None, finished: Planes, top: int) -> None:
        """Take some rows. original: OkLab of the frame as it came, float32 (3, rows, width), None is enough unless
        the requirement looks at it; finished: linear light, the same shape; top: the first row. Neither is changed.
        """
        self._seen[top : top + finished.shape[1]] = True
        start, stop = max(self._rows[0] - top, 0), min(self._rows[1] - top, finished.shape[1])
        left, right = self._columns
        if start >= stop or left >= right:
            return
        part = (slice(None), slice(start, stop), slice(left, right))
        before = None if original is None else np.ascontiguousarray(original[part])
        weights = np.ones((stop - start, right - left), np.float32)
        if self._fill is not None:
            self._fill(weights, before, top + start, left)
        sums = self._sums[top + start : top + stop]
        self.requirement.check.measure(sums, weights, before, np.ascontiguousarray(finished[part]))

    def result(self) -> CheckResult:
        """What was found. Raises ValueError unless every row of the frame was taken."""
        if not self._seen.all():
            raise ValueError(f"row {int(np.argmin(self._seen))} was never measured")
        check, where = self.requirement.check, self.requirement.where
        totals = [math.fsum(column) for column in self._sums.T]
        finding = check.find(totals, self._pixels)
        value = finding.value
        low, high = check.bounds()
        return CheckResult(
            name=check.name,
            value=value,
            limit=check.limit(),
            unit=check.unit,
            passed=finding.passes_unmeasured if value is None else low <= value <= high,
            where=flow(written(where)) if where else None,
            note=finding.note,
        )
