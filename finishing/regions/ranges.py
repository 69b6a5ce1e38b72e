"""Pixels of some lightness, or of some chroma."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationInfo, field_validator

from finishing.compiled import compiled, singles
from finishing.documents.fields import number
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.edges import falling, plain_falling
from finishing.regions.places import parse_numbers
from finishing.regions.region import Region, WeightKernel, Weights

#: Stands in for a bound that is open.
OPEN = 1e30
PAIR_SCHEMA: dict[str, Any] = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}


class LightnessRange(Region):
    """Lightness from `at_least` to `at_most` is fully in, with a soft edge beyond either bound.

    Lightness is the L of OkLab: 0 black, about 0.57 the mid grey of 18 % reflectance, 1 diffuse white. The bounds
    0 and 1 are open: what is darker than black or brighter than white counts with them.
    """

    name: ClassVar[str] = "lightness"
    summary: ClassVar[str] = "Shadows, midtones or highlights, wherever they are."
    example: ClassVar[str] = "lightness: {at_least: 0.7, soft: 0.1}"
    short: ClassVar[str] = "[from, to]: two lightnesses from 0 (black) to 1 (white), the darker one first"
    short_schema: ClassVar[dict[str, Any]] = PAIR_SCHEMA

    at_least: Annotated[float, number(0, 1, example="0.3")] = parameter(
        "the darkest lightness that is fully in; 0: no bound", 0.0
    )
    at_most: Annotated[float, number(0, 1, example="0.7")] = parameter(
        "the brightest lightness that is fully in; 1: no bound", 1.0
    )
    soft: Annotated[float, number(0, 1, example="0.1")] = parameter(
        "the soft edge beyond the bounds, in lightness", 0.1
    )

    @field_validator("at_most")
    @classmethod
    def _above(cls, value: float, info: ValidationInfo) -> float:
        return _in_order(value, info)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        at_least, at_most = parse_numbers(value, 2)
        return {"at_least": at_least, "at_most": at_most}

    @property
    def looks_at_colour(self) -> bool:
        return True

    def _bounds(self) -> tuple[float, float, float]:
        return _open(self.at_least, self.at_most, 1.0, self.soft)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        arguments = singles(*self._bounds())

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            assert oklab is not None
            fill_lightness(weights, oklab, *arguments)

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return _plain(oklab[..., 0], *self._bounds())


class ChromaRange(Region):
    """Chroma from `at_least` to `at_most` is fully in, with a soft edge beyond either bound.

    Chroma is that of OkLCh: 0 grey, 0.05 to 0.12 skin, about 0.3 the strongest colours of a screen. The bounds 0 and
    0.5 are open.
    """

    name: ClassVar[str] = "chroma"
    summary: ClassVar[str] = "Greys, pale or strong colours, wherever they are."
    example: ClassVar[str] = "chroma: {at_least: 0.08, soft: 0.04}"
    short: ClassVar[str] = "[from, to]: two chromas from 0 (grey) to 0.5, the weaker one first"
    short_schema: ClassVar[dict[str, Any]] = PAIR_SCHEMA

    at_least: Annotated[float, number(0, 0.5, example="0.08")] = parameter(
        "the weakest chroma that is fully in; 0: no bound", 0.0
    )
    at_most: Annotated[float, number(0, 0.5, example="0.2")] = parameter(
        "the strongest chroma that is fully in; 0.5: no bound", 0.5
    )
    soft: Annotated[float, number(0, 0.5, example="0.04")] = parameter(
        "the soft edge beyond the bounds, in chroma", 0.03
    )

    @field_validator("at_most")
    @classmethod
    def _above(cls, value: float, info: ValidationInfo) -> float:
        return _in_order(value, info)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        at_least, at_most = parse_numbers(value, 2)
        return {"at_least": at_least, "at_most": at_most}

    @property
    def looks_at_colour(self) -> bool:
        return True

    def _bounds(self) -> tuple[float, float, float]:
        return _open(self.at_least, self.at_most, 0.5, self.soft)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        arguments = singles(*self._bounds())

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            assert oklab is not None
            fill_chroma(weights, oklab, *arguments)

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return _plain(np.hypot(oklab[..., 1], oklab[..., 2]), *self._bounds())


def _in_order(value: float, info: ValidationInfo) -> float:
    if value < info.data.get("at_least", 0):
        raise ValueError("expected a number not below at_least; swap the two")
    return value


def _open(at_least: float, at_most: float, largest: float, soft: float) -> tuple[float, float, float]:
    """Both bounds, with open ones far away, and 1 over the soft edge."""
    return at_least if at_least > 0 else -OPEN, at_most if at_most < largest else OPEN, 1 / max(soft, 1e-7)


def _plain(values: NDArray[np.float64], low: float, high: float, per_soft: float) -> NDArray[np.float64]:
    return plain_falling(np.maximum(low - values, values - high) * per_soft)


@compiled
def fill_lightness(weights: Any, oklab: Any, low: Any, high: Any, per_soft: Any) -> None:
    """Bounds of L and 1 over the soft edge."""
    for row in range(weights.shape[0]):
        lightness, line = oklab[0, row], weights[row]
        for x in range(weights.shape[1]):
            line[x] = falling(max(low - lightness[x], lightness[x] - high) * per_soft)


@compiled
def fill_chroma(weights: Any, oklab: Any, low: Any, high: Any, per_soft: Any) -> None:
    """Bounds of chroma and 1 over the soft edge."""
    for row in range(weights.shape[0]):
        a_row, b_row, line = oklab[1, row], oklab[2, row], weights[row]
        for x in range(weights.shape[1]):
            chroma = np.sqrt(a_row[x] * a_row[x] + b_row[x] * b_row[x])
            line[x] = falling(max(low - chroma, chroma - high) * per_soft)
