"""Checks: what a finished frame must satisfy, measured on strips of rows while it is finished.

A recipe lists them under `checks`, each with a limit and perhaps a `where`. A check measures the finished pixels
in linear light before anything is cut at black and white; skin, and every `where` that looks at colour, is found in
the original, so that a frame turned grey still knows where its skin was.

A check may be measured on a reduced picture (its long edge 1000 pixels, say) with that picture's own `Geometry`.
Means and shares of areas stay what they are to about a reduced pixel's width along their borders; single pixels do
not: a glint that is clipped in the full frame is averaged with its surroundings and may no longer count.
"""

import math
from abc import abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from finishing.colour import oklab
from finishing.colour.spaces import COLOUR_SPACES
from finishing.colour.transfer import srgb_decode
from finishing.compiled import ONE, compiled, cube_root, singles
from finishing.documents.fields import Hues, choice, number, numbers
from finishing.documents.reading import Model, shape, unknown_name, validate
from finishing.documents.tree import Path_, Tree
from finishing.errors import Place, Problem, ProblemSet, problems_of
from finishing.operation import Geometry, Planes, parameter
from finishing.recipes.recipe import flow
from finishing.regions.combined import AllOf, written
from finishing.regions.hue import HueRange
from finishing.regions.ranges import ChromaRange
from finishing.regions.reading import read_region
from finishing.regions.region import Region, Weights
from finishing.regions.skin import Skin
from finishing.units import format_number

#: Linear light of what an 8-bit sRGB file writes as 255, or as 0: from half a code below, up to half a code above.
WHITE = float(srgb_decode(254.5 / 255))
BLACK = float(srgb_decode(0.5 / 255))
#: Less skin than this share of the frame is none: a few pixels of the right colour mean nothing.
LEAST_SKIN = 0.0005
#: OkLCh chroma below which a mean colour has no hue to speak of.
LEAST_CHROMA = 0.002

#: Sums over one row, as many as a check has: float64 (rows, sums).
Sums = NDArray[np.float64]

Share: Any = number(0, 1, example="0.02")
Shares: Any = numbers(2, 0, 1, "two shares [from, to], 0 to 1", "[0.1, 0.3]")
Degrees: Any = number(0, 180, "degrees", example="5")
DegreesPair: Any = numbers(2, -180, 180, "two angles [from, to] in degrees, -180 to 180", "[-3, 6]")
Lightness: Any = number(0, 1, example="0.05")
LightnessPair: Any = numbers(2, -1, 2, "two lightnesses [from, to] (OkLab)", "[0.4, 0.6]")


@dataclass(frozen=True)
class CheckResult:
    """value: None where there was nothing to measure, which `note` explains and which never fails the frame."""

    name: str
    value: float | None
    limit: str
    unit: str
    passed: bool
    where: str | None = None
    note: str = ""

    def __str__(self) -> str:
        place = f" where {self.where}" if self.where else ""
        found = self.note if self.value is None else f"{format_number(self.value, 4)} {self.unit}".strip()
        extra = f", {self.note}" if self.note and self.value is not None else ""
        return f"{self.name}{place}: {found} ({self.limit}{extra}): {'passed' if self.passed else 'failed'}"


class Check(Model):
    """Base of every check; the fields of a subclass are its parameters and limits."""

    name: ClassVar[str]
    summary: ClassVar[str]
    #: A check as it stands in a recipe.
    example: ClassVar[str]
    #: What the value counts.
    unit: ClassVar[str]
    #: How many sums a row has.
    sums: ClassVar[int]
    neutral: ClassVar[dict[str, Any]] = {}
    #: Whether the original is looked at beside the finished frame.
    looks_at_original: ClassVar[bool] = False
    #: Whether at_most holds for the size of the value, whatever its sign.
    signed: ClassVar[bool] = False

    at_most: Any = None
    at_least: Any = None
    between: Any = None

    @model_validator(mode="after")
    def _has_a_limit(self) -> "Check":
        limit = self.example.partition("{")[2].rpartition("}")[0].split(", where")[0]
        if self.at_most is None and self.at_least is None and self.between is None:
            raise ValueError(f"expected a limit: at_most, at_least or between; add {limit}, for example")
        low, high = self.bounds()
        if low > high:
            raise ValueError("expected limits that a value can keep; let the lower one be the smaller")
        return self

    def bounds(self) -> tuple[float, float]:
        """Smallest and largest value that pass."""
        low = [-math.inf if self.at_least is None else float(self.at_least)]
        high = [math.inf if self.at_most is None else float(self.at_most)]
        if self.between is not None:
            low.append(self.between[0])
            high.append(self.between[1])
        elif self.signed:
            low.append(-high[0])
        return max(low), min(high)

    def limit(self) -> str:
        """The limit in words: at most 0.02."""
        parts = []
        if self.at_least is not None:
            parts.append(f"at least {format_number(self.at_least, 4)}")
        if self.at_most is not None:
            parts.append(f"at most {format_number(self.at_most, 4)}" + (" either way" if self.signed else ""))
        if self.between is not None:
            parts.append(f"between {format_number(self.between[0], 4)} and {format_number(self.between[1], 4)}")
        return ", ".join(parts)

    def area(self, where: Region | None) -> Region | None:
        """Where it is measured, given what the recipe says."""
        return where

    @abstractmethod
    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        """Fill the sums of some rows. original: OkLab, None unless looked at; finished: linear light."""

    @abstractmethod
    def value(self, totals: Sequence[float], pixels: int) -> tuple[float | None, str]:
        """The value from the sums of all rows, and a note. pixels: how many the frame has."""


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

    def begin(self, geometry: Geometry) -> "Measure":
        """Start measuring a frame. Raises Problem where the frame lacks what the region needs."""
        return Measure(self, geometry)


class Measure:
    """One check on one frame.

    Every row is summed by itself and the rows in a fixed order at the end, so the result does not depend on how
    the frame was cut into strips, nor on the thread that brought them; strips may come from several threads.
    """

    def __init__(self, requirement: Requirement, geometry: Geometry) -> None:
        self.requirement = requirement
        self.geometry = geometry
        self._area = requirement.check.area(requirement.where)
        self._fill = self._area.prepare(geometry) if self._area else None
        self._rows = self._area.rows(geometry) if self._area else (0, geometry.height)
        self._columns = self._area.columns(geometry) if self._area else (0, geometry.width)
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
        value, note = check.value(totals, self.geometry.width * self.geometry.height)
        low, high = check.bounds()
        return CheckResult(
            name=check.name,
            value=value,
            limit=check.limit(),
            unit=check.unit,
            passed=value is None or low <= value <= high,
            where=flow(written(where)) if where else None,
            note=note,
        )


def read_check(tree: Tree, path: Path_, value: Any) -> Requirement:
    """The check of one item of `checks`: {clipped_white: {at_most: 0.02, where: {ellipse: subject}}}.

    tree, path: where the item stands; value: the same with settings filled in. Raises Problem or ProblemSet.
    """
    if not isinstance(value, dict) or len(value) != 1:
        raise Problem(
            "a check names one thing to measure",
            where=tree.place(path),
            got=", ".join(value) if isinstance(value, dict) and value else shape(value),
            expected="- check: {at_most: limit}",
            remedy=f"write - {ClippedWhite.example}, for example",
        )
    ((name, limits),) = value.items()
    inside = (*path, name)
    kind = CHECKS.get(name)
    if kind is None:
        raise unknown_name("check", name, CHECKS, tree.key_place(inside))
    problems: list[Problem] = []
    where, check = None, None
    if isinstance(limits, dict) and "where" in limits:
        limits = dict(limits)
        try:
            where = read_region(tree, (*inside, "where"), limits.pop("where"))
        except (Problem, ProblemSet) as error:
            problems += problems_of(error)
    try:
        check = validate(tree, inside, kind, {} if limits is None else limits)
    except ProblemSet as error:
        problems += error.problems
    if problems or check is None:
        raise ProblemSet(problems)
    return Requirement(check, where, tree.place(path))


class _ShareCheck(Check):
    """A share of the pixels: the weights of those that count over all weights."""

    unit: ClassVar[str] = "of the pixels"
    sums: ClassVar[int] = 2

    at_most: Share | None = parameter("the largest share that passes, 0 to 1", None)
    at_least: Share | None = parameter("the smallest share that passes, 0 to 1", None)
    between: Shares | None = parameter("smallest and largest share that pass", None)

    def value(self, totals: Sequence[float], pixels: int) -> tuple[float | None, str]:
        counted, weight = totals
        return (counted / weight, "") if weight > 0 else (None, "the region is empty in this frame")


class ClippedWhite(_ShareCheck):
    """Pixels without any tone left in the lights: an 8-bit sRGB file would hold 255 in all three channels.

    A single channel at its end is a matter of colour: see `outside_gamut`.
    """

    name: ClassVar[str] = "clipped_white"
    summary: ClassVar[str] = "How much of the frame is blown out to blank white."
    example: ClassVar[str] = "clipped_white: {at_most: 0.02, where: {ellipse: subject}}"

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        count_beyond(sums, weights, finished, *singles(1, WHITE))


class ClippedBlack(_ShareCheck):
    """Pixels without any tone left in the shadows: an 8-bit sRGB file would hold 0 in all three channels."""

    name: ClassVar[str] = "clipped_black"
    summary: ClassVar[str] = "How much of the frame is blocked up to plain black."
    example: ClassVar[str] = "clipped_black: {at_most: 0.05}"

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        count_beyond(sums, weights, finished, *singles(-1, -BLACK))


class OutsideGamut(_ShareCheck):
    """Colours that the file's space cannot hold and the writer has to cut.

    A pixel counts where one of its channels, in the linear light of that space, lies outside of 0…1 by more than
    half an 8-bit code, unless all three are at white or beyond, which `clipped_white` counts.
    """

    name: ClassVar[str] = "outside_gamut"
    summary: ClassVar[str] = "How much of the frame has colours that the file cannot hold."
    example: ClassVar[str] = "outside_gamut: {at_most: 0.01, space: srgb}"

    space: choice("srgb", "display_p3", "oprgb") = parameter("the colour space of the file", "srgb")  # type: ignore[valid-type]

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        space = COLOUR_SPACES[self.space]
        low, high = float(space.decode(-0.5 / 255)), float(space.decode(255.5 / 255))
        count_outside(sums, weights, finished, singles(*space.from_working.ravel()), *singles(low, high))


class KeptColourArea(_ShareCheck):
    """Pixels of the finished frame within width/2 of a hue (OkLCh) and of more than a least chroma."""

    name: ClassVar[str] = "kept_colour_area"
    summary: ClassVar[str] = "How much of the finished frame has a colour, such as the one kept alive."
    example: ClassVar[str] = "kept_colour_area: {between: [0.02, 0.4], hue: 75, width: 60, chroma_above: 0.04}"

    hue: Hues = parameter("the hue, or several: an angle in degrees or a colour")
    width: number(0, 360, "degrees", example="60") = parameter("how wide a range of hues counts", 60.0)  # type: ignore[valid-type]
    chroma_above: number(0, 0.4, example="0.04") = parameter("OkLCh chroma above which a colour counts", 0.04)  # type: ignore[valid-type]

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        colour = AllOf(
            regions=(
                HueRange(keep=self.hue, width=self.width, soft=0, least_chroma=0),
                ChromaRange(at_least=self.chroma_above, soft=0),
            )
        )
        counted = np.empty_like(weights)
        colour.prepare(Geometry(weights.shape[1], weights.shape[0]))(counted, oklab_of(finished), 0)
        add_up(sums[:, :1], weights, counted[None])
        sums[:, 1] = weights.sum(axis=1, dtype=np.float64)


class MeanLightness(Check):
    """Mean OkLab L of the finished frame: 0 black, about 0.57 mid grey, 1 white."""

    name: ClassVar[str] = "mean_lightness"
    summary: ClassVar[str] = "How light the finished frame or a part of it is."
    example: ClassVar[str] = "mean_lightness: {between: [0.45, 0.65], where: {near: subject}}"
    unit: ClassVar[str] = "OkLab lightness"
    sums: ClassVar[int] = 4

    at_most: Lightness | None = parameter("the largest mean that passes", None)
    at_least: Lightness | None = parameter("the smallest mean that passes", None)
    between: LightnessPair | None = parameter("smallest and largest mean that pass", None)

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        add_up(sums[:, :3], weights, oklab_of(finished))
        sums[:, 3] = weights.sum(axis=1, dtype=np.float64)

    def value(self, totals: Sequence[float], pixels: int) -> tuple[float | None, str]:
        return (totals[0] / totals[3], "") if totals[3] > 0 else (None, "the region is empty in this frame")


class _SkinShift(Check):
    """Mean colour of the skin, finished against original; the skin is found in the original."""

    looks_at_original: ClassVar[bool] = True
    signed: ClassVar[bool] = True
    sums: ClassVar[int] = 7

    def area(self, where: Region | None) -> Region:
        return Skin() if where is None else AllOf(regions=(where, Skin()))

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        assert original is not None
        add_up(sums[:, :3], weights, original)
        add_up(sums[:, 3:6], weights, oklab_of(finished))
        sums[:, 6] = weights.sum(axis=1, dtype=np.float64)

    def value(self, totals: Sequence[float], pixels: int) -> tuple[float | None, str]:
        if totals[6] < LEAST_SKIN * pixels:
            return None, "no skin found here"
        means = np.array(totals[:6]) / totals[6]
        return self.shift(means[:3], means[3:])

    @abstractmethod
    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> tuple[float | None, str]:
        """The shift between two mean OkLab colours, and a note."""


class SkinHueShift(_SkinShift):
    """Angle in degrees of OkLCh between the mean colours: positive towards yellow, negative towards magenta."""

    name: ClassVar[str] = "skin_hue_shift"
    summary: ClassVar[str] = "How far the hue of skin has moved from the original."
    example: ClassVar[str] = "skin_hue_shift: {at_most: 5}"
    unit: ClassVar[str] = "degrees"

    at_most: Degrees | None = parameter("the largest shift that passes, either way", None)
    at_least: None = None
    between: DegreesPair | None = parameter("smallest and largest shift that pass, with their signs", None)

    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> tuple[float | None, str]:
        if math.hypot(finished[1], finished[2]) < LEAST_CHROMA:
            return None, "the finished skin is grey and has no hue"
        turned = math.atan2(finished[2], finished[1]) - math.atan2(original[2], original[1])
        return math.degrees((turned + math.pi) % (2 * math.pi) - math.pi), ""


class SkinLightnessShift(_SkinShift):
    """Difference of mean OkLab L: positive where the finished skin is lighter."""

    name: ClassVar[str] = "skin_lightness_shift"
    summary: ClassVar[str] = "How much lighter or darker skin has become than in the original."
    example: ClassVar[str] = "skin_lightness_shift: {at_most: 0.08}"
    unit: ClassVar[str] = "OkLab lightness"

    at_most: Lightness | None = parameter("the largest shift that passes, either way", None)
    at_least: None = None
    between: LightnessPair | None = parameter("smallest and largest shift that pass, with their signs", None)

    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> tuple[float | None, str]:
        return float(finished[0] - original[0]), ""


CHECKS: dict[str, type[Check]] = {
    check.name: check
    for check in (
        ClippedWhite,
        ClippedBlack,
        OutsideGamut,
        SkinHueShift,
        SkinLightnessShift,
        MeanLightness,
        KeptColourArea,
    )
}

