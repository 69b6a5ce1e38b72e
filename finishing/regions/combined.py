"""Regions made of regions: all of them, any of them, all but one."""

from pathlib import Path
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import InstanceOf, WithJsonSchema, model_serializer

from finishing.compiled import ONE, compiled
from finishing.documents.fields import Words
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions.region import Region, WeightKernel, Weights

EXPECTED_LIST = "a list of regions"
WHERE = {"$ref": "#/$defs/where"}

Regions = Annotated[
    tuple[InstanceOf[Region], ...],
    WithJsonSchema({"type": "array", "items": {"type": "object"}, "minItems": 1}),
    Words(EXPECTED_LIST, "[skin, {near: subject}]"),
]
OneRegion = Annotated[
    InstanceOf[Region], WithJsonSchema({"type": "object"}), Words("a region", "{ellipse: subject}")
]  # fmt: skip


def written(region: Region) -> dict[str, Any]:
    """A region as it may stand in a file, with every parameter."""
    return {region.name: region.model_dump(mode="json")}


class _Several(Region):
    """What both kinds of list share; in files it is a list, here `regions`."""

    short_is_all: ClassVar[bool] = True

    regions: Regions = parameter("the regions, each as behind `where`")

    @model_serializer
    def _as_written(self) -> list[dict[str, Any]]:
        return [written(region) for region in self.regions]

    @property
    def looks_at_colour(self) -> bool:
        return any(region.looks_at_colour for region in self.regions)

    @property
    def needs_subject(self) -> bool:
        return any(region.needs_subject for region in self.regions)

    @property
    def mask_names(self) -> frozenset[str]:
        return frozenset().union(*(region.mask_names for region in self.regions))

    @property
    def mask_paths(self) -> tuple[Path, ...]:
        return tuple(path for region in self.regions for path in region.mask_paths)

    def _kernels(self, geometry: Geometry, join: Any) -> WeightKernel:
        first, *others = [region.prepare(geometry) for region in self.regions]

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            first(weights, oklab, top, left)
            if others:
                scratch = np.empty_like(weights)
                for other in others:
                    other(scratch, oklab, top, left)
                    join(weights, scratch)

        return fill


class AllOf(_Several):
    """The product of their weights: a pixel is in as far as it is in every one of them.

    The smallest of them would leave a crease wherever two soft edges cross, which shows on a plain sky.
    """

    name: ClassVar[str] = "all_of"
    summary: ClassVar[str] = "What lies in every one of several regions."
    example: ClassVar[str] = "all_of: [skin, {near: subject}]"
    short: ClassVar[str] = EXPECTED_LIST
    short_schema: ClassVar[dict[str, Any]] = {"type": "array", "items": WHERE, "minItems": 1}

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        return _overlap([region.rows(geometry) for region in self.regions])

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        return _overlap([region.columns(geometry) for region in self.regions])

    def prepare(self, geometry: Geometry) -> WeightKernel:
        return self._kernels(geometry, both)

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return np.asarray(np.prod([region.reference(oklab, geometry) for region in self.regions], axis=0))


class AnyOf(_Several):
    """What is in one of them or another: 1 − (1 − u)(1 − v) for two weights.

    The largest of them would leave a crease wherever two soft edges cross, which shows on a plain sky.
    """

    name: ClassVar[str] = "any_of"
    summary: ClassVar[str] = "What lies in one or another of several regions."
    example: ClassVar[str] = "any_of: [{ellipse: [0.3, 0.4, 0.1, 0.2]}, {hue: {keep: 75, width: 40}}]"
    short: ClassVar[str] = EXPECTED_LIST
    short_schema: ClassVar[dict[str, Any]] = {"type": "array", "items": WHERE, "minItems": 1}

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        return _hull([region.rows(geometry) for region in self.regions])

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        return _hull([region.columns(geometry) for region in self.regions])

    def prepare(self, geometry: Geometry) -> WeightKernel:
        return self._kernels(geometry, either)

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return np.asarray(1 - np.prod([1 - region.reference(oklab, geometry) for region in self.regions], axis=0))


class Not(Region):
    """1 less the weight; in files the region stands straight behind `not`."""

    name: ClassVar[str] = "not"
    summary: ClassVar[str] = "Everything but a region."
    example: ClassVar[str] = "not: {ellipse: {centre: subject, radii: [0.2, 0.3], soft: 0.1}}"
    short: ClassVar[str] = "a region"
    short_schema: ClassVar[dict[str, Any]] = WHERE
    short_is_all: ClassVar[bool] = True

    region: OneRegion = parameter("the region that is left out")

    @model_serializer
    def _as_written(self) -> dict[str, Any]:
        return written(self.region)

    @property
    def looks_at_colour(self) -> bool:
        return self.region.looks_at_colour

    @property
    def needs_subject(self) -> bool:
        return self.region.needs_subject

    @property
    def mask_names(self) -> frozenset[str]:
        return self.region.mask_names

    @property
    def mask_paths(self) -> tuple[Path, ...]:
        return self.region.mask_paths

    def prepare(self, geometry: Geometry) -> WeightKernel:
        if isinstance(self.region, Not):
            # 1 − (1 − w) would round small weights away.
            return self.region.region.prepare(geometry)
        inner = self.region.prepare(geometry)

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            inner(weights, oklab, top, left)
            complement(weights)

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return 1 - self.region.reference(oklab, geometry)


def _overlap(bounds: list[tuple[int, int]]) -> tuple[int, int]:
    start, stop = max(first for first, _ in bounds), min(last for _, last in bounds)
    return (start, stop) if start < stop else (0, 0)


def _hull(bounds: list[tuple[int, int]]) -> tuple[int, int]:
    there = [pair for pair in bounds if pair[0] < pair[1]] or [(0, 0)]
    return min(first for first, _ in there), max(last for _, last in there)


@compiled
def both(weights: Any, other: Any) -> None:
    """The product, into weights."""
    for row in range(weights.shape[0]):
        line, beside = weights[row], other[row]
        for x in range(weights.shape[1]):
            line[x] = line[x] * beside[x]


@compiled
def either(weights: Any, other: Any) -> None:
    """1 − (1 − u)(1 − v), into weights; exactly 1 where one of them is, and never above."""
    for row in range(weights.shape[0]):
        line, beside = weights[row], other[row]
        for x in range(weights.shape[1]):
            more, less = max(line[x], beside[x]), min(line[x], beside[x])
            line[x] = more + less * (ONE - more)


@compiled
def complement(weights: Any) -> None:
    """1 less each weight."""
    for row in range(weights.shape[0]):
        line = weights[row]
        for x in range(weights.shape[1]):
            line[x] = ONE - line[x]
