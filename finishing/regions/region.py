"""The contract of a region: a weight from 0 (untouched) to 1 (fully in) for every pixel of a frame.

Inside what the user draws or names the weight is exactly 1; the soft edge lies outside of it, falls from 1 to 0
along t²(3 − 2t), and beyond it the weight is exactly 0.
"""

from abc import abstractmethod
from pathlib import Path
from typing import Any, ClassVar, Protocol

import numpy as np
from numpy.typing import NDArray

from finishing.documents.reading import Model
from finishing.operation import Geometry, Pixels, Planes

Weights = NDArray[np.float32]


class WeightKernel(Protocol):
    """Fills weights (rows, columns) of the part of the frame whose first row and column are `top` and `left`."""

    def __call__(self, weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
        """oklab: the part's pixels, float32 (3, rows, columns), for a region that looks at colour; else None."""


class Region(Model):
    """Base of every region; the fields of a subclass are what the user can say about it."""

    name: ClassVar[str]
    #: One sentence for lists.
    summary: ClassVar[str]
    #: What may stand behind `where`.
    example: ClassVar[str]
    #: The form without a mapping, in words and for editors; empty where there is none.
    short: ClassVar[str] = ""
    short_schema: ClassVar[dict[str, Any]] = {}
    #: Whether the short form is the only one.
    short_is_all: ClassVar[bool] = False

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        """The long form of the short one. Raises ValueError where it is not such a form."""
        raise ValueError(f"expected {cls.short}")

    @property
    def looks_at_colour(self) -> bool:
        """Whether the weight depends on the pixel's colour (as it is when the step begins), not only on its place."""
        return False

    @property
    def needs_subject(self) -> bool:
        """Whether a frame must name its subject point."""
        return False

    @property
    def mask_names(self) -> frozenset[str]:
        """The masks that a frame must bring."""
        return frozenset()

    @property
    def mask_paths(self) -> tuple[Path, ...]:
        """The mask files that lie beside the recipe, in the order in which it names them."""
        return ()

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        """First row and row after the last outside of which every weight is 0: the engine leaves the others alone.

        Raises Problem where the frame lacks what the region needs (a subject point, a mask), as do `columns`,
        `prepare` and `reference`.
        """
        return 0, geometry.height

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        """The same for columns."""
        return 0, geometry.width

    @abstractmethod
    def prepare(self, geometry: Geometry) -> WeightKernel:
        """The quick way, for strips of rows."""

    @abstractmethod
    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        """The plain way: float64 weights (height, width) of the whole frame, from its OkLab pixels."""
