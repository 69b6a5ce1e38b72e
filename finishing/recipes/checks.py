"""The checks that recipes can name, and their reader. A new check is a class here and a line in the list."""

import math
from abc import abstractmethod
from collections.abc import Sequence
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import COLOUR_SPACES
from finishing.colour.transfer import srgb_decode
from finishing.compiled import singles
from finishing.documents.fields import Hues, choice, number, numbers
from finishing.documents.names import unknown_name
from finishing.documents.reading import validate
from finishing.documents.telling import shape
from finishing.documents.tree import Path_, Tree
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.operation import Geometry, Planes, parameter
from finishing.recipes.check import DEGREES, SHARE, Check, CheckResult, Finding, Measure, Requirement, Sums
from finishing.recipes.check_kernels import add_up, count_beyond, count_outside, oklab_of
from finishing.regions.combined import AllOf
from finishing.regions.hue import HueRange
from finishing.regions.ranges import ChromaRange
from finishing.regions.reading import read_region
from finishing.regions.region import Region, Weights
from finishing.regions.skin import Skin

__all__ = ["CHECKS", "Check", "CheckResult", "Measure", "Requirement", "read_check"]

#: Linear light of what an 8-bit sRGB file writes as 255, or as 0: from half a code below, up to half a code above.
WHITE = float(srgb_decode(254.5 / 255))
BLACK = float(srgb_decode(0.5 / 255))
#: Less skin than this share of the frame is none: a few pixels of the right colour mean nothing.
LEAST_SKIN = 0.0005
#: OkLCh chroma below which a mean colour has no hue to speak of.
LEAST_CHROMA = 0.002

EMPTY = "the region is empty in this frame"

Share = Annotated[float, number(0, 1, example="0.02")]
Shares = Annotated[tuple[float, ...], numbers(2, 0, 1, "two shares [from, to], 0 to 1", "[0.1, 0.3]")]
Degrees = Annotated[float, number(0, 180, "degrees", example="5")]
DegreesPair = Annotated[
    tuple[float, ...], numbers(2, -180, 180, "two angles [from, to] in degrees, -180 to 180", "[-3, 6]")
]
Lightness = Annotated[float, number(0, 1, example="0.05")]
LightnessPair = Annotated[tuple[float, ...], numbers(2, -1, 2, "two lightnesses [from, to] (OkLab)", "[0.4, 0.6]")]


class _ShareCheck(Check):
    """A share of the pixels: the weights of those that count over all weights."""

    unit: ClassVar[str] = SHARE
    sums: ClassVar[int] = 2

    at_most: Share | None = parameter("the largest share that passes, 0 to 1", None)
    at_least: Share | None = parameter("the smallest share that passes, 0 to 1", None)
    between: Shares | None = parameter("smallest and largest share that pass", None)

    def find(self, totals: Sequence[float], pixels: int) -> Finding:
        counted, weight = totals
        return Finding(counted / weight) if weight > 0 else Finding(None, EMPTY)


class ClippedWhite(_ShareCheck):
    """Pixels without any tone left in the lights: an 8-bit sRGB file would hold 255 in all three channels.

    A single channel at its end is a matter of colour: see `outside_gamut`.
    """

    name: ClassVar[str] = "clipped_white"
    summary: ClassVar[str] = "How much of the frame is blown out to blank white."
    example: ClassVar[str] = "clipped_white: {at_most: 0.02, where: {ellipse: subject}}"
    limit_example: ClassVar[str] = "at_most: 0.02"

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        count_beyond(sums, weights, finished, *singles(1, WHITE))


class ClippedBlack(_ShareCheck):
    """Pixels without any tone left in the shadows: an 8-bit sRGB file would hold 0 in all three channels."""

    name: ClassVar[str] = "clipped_black"
    summary: ClassVar[str] = "How much of the frame is blocked up to plain black."
    example: ClassVar[str] = "clipped_black: {at_most: 0.05}"
    limit_example: ClassVar[str] = "at_most: 0.05"

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
    limit_example: ClassVar[str] = "at_most: 0.01"

    space: Annotated[str, choice("srgb", "display_p3", "oprgb")] = parameter("the colour space of the file", "srgb")

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        space = COLOUR_SPACES[self.space]
        low, high = float(space.decode(-0.5 / 255)), float(space.decode(255.5 / 255))
        count_outside(sums, weights, finished, singles(*space.from_working.ravel()), *singles(low, high))


class KeptColourArea(_ShareCheck):
    """Pixels of the finished frame within width/2 of a hue (OkLCh) and of more than a least chroma."""

    name: ClassVar[str] = "kept_colour_area"
    summary: ClassVar[str] = "How much of the finished frame has a colour, such as the one kept alive."
    example: ClassVar[str] = "kept_colour_area: {between: [0.02, 0.4], hue: 75, width: 60, chroma_above: 0.04}"
    limit_example: ClassVar[str] = "at_least: 0.02"

    hue: Hues = parameter("the hue, or several: an angle in degrees or a colour")
    width: Annotated[float, number(0, 360, "degrees", example="60")] = parameter(
        "how wide a range of hues counts", 60.0
    )
    chroma_above: Annotated[float, number(0, 0.4, example="0.04")] = parameter(
        "OkLCh chroma above which a colour counts", 0.04
    )

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        colour = AllOf(
            regions=(
                HueRange(keep=self.hue, width=self.width, soft=0, least_chroma=0),
                ChromaRange(at_least=self.chroma_above, soft=0),
            )
        )
        counted = np.empty_like(weights)
        colour.prepare(Geometry(weights.shape[1], weights.shape[0]))(counted, oklab_of(finished), 0)
        add_up(sums, weights, counted[None])


class MeanLightness(Check):
    """Mean OkLab L of the finished frame: 0 black, about 0.57 mid grey, 1 white."""

    name: ClassVar[str] = "mean_lightness"
    summary: ClassVar[str] = "How light the finished frame or a part of it is."
    example: ClassVar[str] = "mean_lightness: {between: [0.45, 0.65], where: {near: subject}}"
    limit_example: ClassVar[str] = "between: [0.45, 0.65]"
    unit: ClassVar[str] = "OkLab lightness"
    sums: ClassVar[int] = 4

    at_most: Lightness | None = parameter("the largest mean that passes", None)
    at_least: Lightness | None = parameter("the smallest mean that passes", None)
    between: LightnessPair | None = parameter("smallest and largest mean that pass", None)

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        add_up(sums, weights, oklab_of(finished))

    def find(self, totals: Sequence[float], pixels: int) -> Finding:
        return Finding(totals[0] / totals[3]) if totals[3] > 0 else Finding(None, EMPTY)


class _SkinShift(Check):
    """Mean colour of the skin, finished against original; the skin is found in the original."""

    looks_at_original: ClassVar[bool] = True
    signed: ClassVar[bool] = True
    sums: ClassVar[int] = 8

    def area(self, where: Region | None) -> Region:
        return Skin() if where is None else AllOf(regions=(where, Skin()))

    def measure(self, sums: Sums, weights: Weights, original: Planes | None, finished: Planes) -> None:
        assert original is not None
        add_up(sums[:, :4], weights, original)
        add_up(sums[:, 4:], weights, oklab_of(finished))

    def find(self, totals: Sequence[float], pixels: int) -> Finding:
        weight = totals[3]
        if weight < LEAST_SKIN * pixels:
            return Finding(None, "no skin found here")
        return self.shift(np.array(totals[:3]) / weight, np.array(totals[4:7]) / weight)

    @abstractmethod
    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> Finding:
        """The shift between two mean OkLab colours."""


class SkinHueShift(_SkinShift):
    """Angle in degrees of OkLCh between the mean colours: positive towards yellow, negative towards magenta.

    Skin that has gone grey altogether fails: what the check protects is lost.
    """

    name: ClassVar[str] = "skin_hue_shift"
    summary: ClassVar[str] = "How far the hue of skin has moved from the original."
    example: ClassVar[str] = "skin_hue_shift: {at_most: 5}"
    limit_example: ClassVar[str] = "at_most: 5"
    unit: ClassVar[str] = DEGREES

    at_most: Degrees | None = parameter("the largest shift that passes, either way", None)
    between: DegreesPair | None = parameter("smallest and largest shift that pass, with their signs", None)

    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> Finding:
        if math.hypot(finished[1], finished[2]) < LEAST_CHROMA:
            return Finding(None, "the finished skin is grey and has no hue", passes_unmeasured=False)
        turned = math.atan2(finished[2], finished[1]) - math.atan2(original[2], original[1])
        return Finding(math.degrees((turned + math.pi) % (2 * math.pi) - math.pi))


class SkinLightnessShift(_SkinShift):
    """Difference of mean OkLab L: positive where the finished skin is lighter."""

    name: ClassVar[str] = "skin_lightness_shift"
    summary: ClassVar[str] = "How much lighter or darker skin has become than in the original."
    example: ClassVar[str] = "skin_lightness_shift: {at_most: 0.08}"
    limit_example: ClassVar[str] = "at_most: 0.08"
    unit: ClassVar[str] = "OkLab lightness"

    at_most: Lightness | None = parameter("the largest shift that passes, either way", None)
    between: LightnessPair | None = parameter("smallest and largest shift that pass, with their signs", None)

    def shift(self, original: NDArray[np.float64], finished: NDArray[np.float64]) -> Finding:
        return Finding(float(finished[0] - original[0]))


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
