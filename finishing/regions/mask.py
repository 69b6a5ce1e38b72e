"""Masks that come from files: those that a session gives its frames, and those beside a recipe."""

from abc import abstractmethod
from functools import lru_cache
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import PrivateAttr

from finishing.compiled import compiled
from finishing.documents.fields import Text
from finishing.errors import Problem
from finishing.operation import Geometry, Pixels, Planes, parameter
from finishing.regions import mask_files
from finishing.regions.mask_files import Mask
from finishing.regions.region import Region, WeightKernel, Weights

#: Unsigned, as the places are, so that the compiler need not think of indices counted from the end.
NEXT = np.uint32(1)


class _Masked(Region):
    """A mask laid over the whole frame: stretched to its size, bilinear between the middles of the mask's pixels."""

    @abstractmethod
    def mask(self, geometry: Geometry) -> Mask:
        """The mask at its own size. Raises Problem where the frame has none."""

    def rows(self, geometry: Geometry) -> tuple[int, int]:
        mask = self.mask(geometry)
        return _bounds(np.any(mask, axis=1), geometry.height)

    def columns(self, geometry: Geometry) -> tuple[int, int]:
        mask = self.mask(geometry)
        return _bounds(np.any(mask, axis=0), geometry.width)

    def prepare(self, geometry: Geometry) -> WeightKernel:
        mask = np.ascontiguousarray(self.mask(geometry), np.float32)
        row_before, row_part = _places(geometry.height, mask.shape[0])
        column_before, column_part = _places(geometry.width, mask.shape[1])

        def fill(weights: Weights, oklab: Planes | None, top: int, left: int = 0) -> None:
            rows, width = weights.shape
            down, across = slice(top, top + rows), slice(left, left + width)
            fill_mask(weights, mask, row_before[down], row_part[down], column_before[across], column_part[across])

        return fill

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        mask = self.mask(geometry).astype(np.float64)
        down = _exact_places(geometry.height, mask.shape[0])
        across = _exact_places(geometry.width, mask.shape[1])
        rows = np.stack([np.interp(down, np.arange(mask.shape[0]), column) for column in mask.T], axis=1)
        return np.stack([np.interp(across, np.arange(mask.shape[1]), row) for row in rows])


class FrameMask(_Masked):
    """A mask of the session's, by its name under the frame, or a file, by its path beside the recipe.

    A word is a name; what ends in .png is a path, and stays inside the folder of the file that names it.
    """

    name: ClassVar[str] = "mask"
    summary: ClassVar[str] = "A mask painted for the frame, or one file for all frames."
    example: ClassVar[str] = "mask: {which: coat}"
    short: ClassVar[str] = "the name of one of the frame's masks, or the path of a grey PNG"
    short_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    which: Text = parameter("the mask's name under per_frame in session.yaml, or the path of a grey PNG")
    _folder: Path = PrivateAttr(default_factory=Path)

    @classmethod
    def spelled_out(cls, value: Any) -> dict[str, Any]:
        return {"which": value}

    @property
    def file(self) -> Path | None:
        """The file where a path is written, else None."""
        return self._folder / self.which if str(self.which).lower().endswith(".png") else None

    @property
    def mask_names(self) -> frozenset[str]:
        return frozenset() if self.file else frozenset({str(self.which)})

    @property
    def mask_paths(self) -> tuple[Path, ...]:
        return (self.file,) if self.file else ()

    def beside(self, folder: Path) -> "FrameMask":
        """The same mask, its path counted from a folder. Raises Problem where it leaves the folder or is not there."""
        placed = self.model_copy()
        placed._folder = folder
        if placed.file is None:
            return placed
        if not placed.file.resolve().is_relative_to(folder.resolve()):
            raise Problem(
                "this path leaves the folder of the file that names it",
                got=str(self.which),
                remedy="copy the mask into that folder and name it there",
            )
        if not placed.file.is_file():
            raise Problem("there is no such mask file", got=str(self.which), remedy="check the path")
        return placed

    def mask(self, geometry: Geometry) -> Mask:
        if self.file is not None:
            return _file_mask(self.file, self.file.stat().st_mtime_ns if self.file.is_file() else 0)
        return _mask_called(str(self.which), geometry)


class SubjectMask(_Masked):
    """The mask called `subject` that the session gives the frame."""

    name: ClassVar[str] = "subject"
    summary: ClassVar[str] = "The subject, by the mask that was painted for the frame."
    example: ClassVar[str] = "subject: yes"

    @property
    def mask_names(self) -> frozenset[str]:
        return frozenset({"subject"})

    def mask(self, geometry: Geometry) -> Mask:
        return _mask_called("subject", geometry)


@lru_cache(maxsize=4)
def _file_mask(path: Path, changed: int) -> Mask:
    """changed: the file's time stamp, so that a file that was painted over is read again."""
    return mask_files.read_mask(path)


def _mask_called(name: str, geometry: Geometry) -> Mask:
    if name not in geometry.masks:
        raise mask_files.no_such_mask(name, geometry.masks)
    return geometry.masks[name]


def _exact_places(count: int, size: int) -> NDArray[np.float64]:
    """Where the middles of `count` pixels lie among `size` mask pixels; none beyond the middles of the outer ones."""
    return np.clip((np.arange(count) + 0.5) * (size / count) - 0.5, 0, size - 1)


def _places(count: int, size: int) -> tuple[NDArray[np.uint32], NDArray[np.float32]]:
    """The mask pixel before each place, and the part of the way to the next."""
    places = _exact_places(count, size)
    before = places.astype(np.uint32)
    return before, (places - before).astype(np.float32)


def _bounds(there: NDArray[np.bool_], count: int) -> tuple[int, int]:
    """First and after the last of `count` pixels that a mask pixel which is not 0 may reach."""
    found = np.flatnonzero(there)
    if not len(found):
        return 0, 0
    step = count / len(there)
    return max(int((found[0] - 0.5) * step) - 1, 0), min(int((found[-1] + 1.5) * step) + 2, count)


@compiled
def fill_mask(weights: Any, mask: Any, row_before: Any, row_part: Any, column_before: Any, column_part: Any) -> None:
    """Rows of the mask are blended first, whole; then the columns."""
    # One value more than the mask is wide, for the last column's neighbour, which has no part in any weight.
    blended = np.zeros(mask.shape[1] + 1, np.float32)
    last_row = mask.shape[0] - 1
    for row in range(weights.shape[0]):
        above, below = mask[row_before[row]], mask[min(row_before[row] + 1, last_row)]
        part = row_part[row]
        for x in range(mask.shape[1]):
            blended[x] = above[x] + (below[x] - above[x]) * part
        line = weights[row]
        for x in range(weights.shape[1]):
            before = blended[column_before[x]]
            line[x] = before + (blended[column_before[x] + NEXT] - before) * column_part[x]
