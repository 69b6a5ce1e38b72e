"""How far two looks lie apart on images, or a look from the original: CIEDE2000, in figures and as a map.

What is compared is what the files would hold: each look's finished sRGB codes. The original is the image as it was
read, brought to sRGB in the same way.
"""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.batch.delivery.targets import refuse_targets
from finishing.batch.opening.picture import finish_picture, fitted, reduced, source_of
from finishing.batch.pictures.difference_map import grey_of, with_key
from finishing.batch.work.loose_images import refuse_what_an_image_lacks
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.reading import read_photograph, read_reduced
from finishing.photographs.writing import OutputSettings, write_photograph
from finishing.recipes.recipe import Recipe

Codes = NDArray[np.uint8]
Look = Recipe | None

#: How the image as it was is called where a recipe may stand.
ORIGINAL = "original"
#: Long edge in pixels at which images are compared unless they are wanted at full size.
LONG_EDGE = 1000
#: Differences are counted in steps of this size, up to one that no two sRGB colours reach (their largest is below 120).
STEP, MOST = 0.001, 150.0
#: Pixels worked on at a time.
STRIP_PIXELS = 200_000


@dataclass
class Differences:
    """Differences of many pixels, counted; two of them add up."""

    counts: NDArray[np.int64] = field(default_factory=lambda: np.zeros(round(MOST / STEP) + 1, np.int64))
    total: float = 0.0
    maximum: float = 0.0

    def add(self, values: NDArray[np.float64]) -> None:
        """Count an array of differences."""
        places = np.minimum(np.round(values / STEP), len(self.counts) - 1).astype(np.int64)
        self.counts += np.bincount(places.ravel(), minlength=len(self.counts))
        self.total += float(values.sum())
        self.maximum = max(self.maximum, float(values.max(initial=0.0)))

    def include(self, other: "Differences") -> None:
        """Count in what another has counted."""
        self.counts += other.counts
        self.total += other.total
        self.maximum = max(self.maximum, other.maximum)

    @property
    def pixels(self) -> int:
        """How many were counted."""
        return int(self.counts.sum())

    @property
    def mean(self) -> float:
        """0 where nothing was counted."""
        return self.total / self.pixels if self.pixels else 0.0

    @property
    def percentile_95(self) -> float:
        """The difference that 95 % of the pixels do not exceed, to a thousandth."""
        if not self.pixels:
            return 0.0
        place = int(np.searchsorted(np.cumsum(self.counts), 0.95 * self.pixels))
        return min(place * STEP, self.maximum)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "mean": round(self.mean, 4),
            "percentile_95": round(self.percentile_95, 3),
            "maximum": round(self.maximum, 3),
            "pixels": self.pixels,
        }

    def __str__(self) -> str:
        return f"mean {self.mean:.2f}, 95th percentile {self.percentile_95:.2f}, maximum {self.maximum:.2f}"


@dataclass
class CompareReport:
    """found, maps: by image; failed: problem by image; notices: what reading had to say, by image. long_edge: None
    for full size."""

    first: Look
    second: Look
    long_edge: int | None
    found: dict[str, Differences] = field(default_factory=dict)
    maps: dict[str, Path] = field(default_factory=dict)
    failed: dict[str, Problem] = field(default_factory=dict)
    notices: dict[str, list[str]] = field(default_factory=dict)

    @cached_property
    def overall(self) -> Differences:
        """Over all pixels of all images."""
        whole = Differences()
        for one in self.found.values():
            whole.include(one)
        return whole

    @property
    def heading(self) -> str:
        """What was compared with what, and how."""
        size = "at full size" if self.long_edge is None else f"at a long edge of at most {self.long_edge} pixels"
        return f"CIEDE2000 between {called(self.first)} and {called(self.second)}, {size}"

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "difference": "CIEDE2000",
            "first": _told(self.first),
            "second": _told(self.second),
            "long_edge": self.long_edge,
            "images": [
                {
                    "image": name,
                    **one.as_json(),
                    "map": str(self.maps[name]) if name in self.maps else None,
                    "notices": self.notices.get(name, []),
                }
                for name, one in self.found.items()
            ],
            "overall": self.overall.as_json() if self.found else None,
            "failed": [{"image": name, **problem.as_dict()} for name, problem in self.failed.items()],
        }


def called(look: Look) -> str:
    """A look's name and version, or the original."""
    return "the original" if look is None else f"{look.name} (version {look.version})"


def _told(look: Look) -> dict[str, Any]:
    if look is None:
        return {"name": ORIGINAL}
    return {"name": look.name, "version": look.version, "hash": look.hash, "file": str(look.path)}


def compare(
    first: Look,
    second: Look,
    images: Sequence[Path],
    folder: Path | None = None,
    *,
    subject: tuple[float, float] | None = None,
    long_edge: int | None = LONG_EDGE,
    jobs: int | None = None,
    again: bool = False,
    progress: Callable[[Path, Problem | None], None] = lambda image, problem: None,
) -> CompareReport:
    """Compare two looks (None: the original) on images. folder: where a map of each is put, None for no maps.
    subject: its place in all of them, in fractions of width and height; long_edge: images are brought down to it first,
    None compares them at full size.

    Raises ProblemSet before anything is started where two maps would have one name or one exists already, or where a
    look asks for what images do not tell.
    """
    refuse_what_an_image_lacks([look for look in (first, second) if look is not None], subject)
    targets = {image: folder / f"{image.stem}-difference.png" for image in images} if folder is not None else {}
    refuse_targets(targets, what="map", option="--map", act="compare", again=again)
    report = CompareReport(first, second, long_edge)
    workers = max(1, min(jobs or os.cpu_count() or 1, len(images)))

    def work(image: Path) -> tuple[Differences, list[str]]:
        photograph = read_photograph(image) if long_edge is None else read_reduced(image, long_edge)
        source = source_of(photograph)
        size = fitted(source.width, source.height, long_edge)
        whole = Geometry(source.width, source.height, subject, scale=1 / photograph.reduction)
        picture, geometry = reduced(source, *size), whole.resized(*size)
        one, other = (finish_picture(look.steps if look else (), picture, geometry) for look in (first, second))
        found, greys = _difference(one, other, drawn=image in targets)
        if greys is not None:
            lines = (f"{image.name}: {called(first)} and {called(second)}", f"CIEDE2000: {found}")
            settings = OutputSettings(format="png", space=SRGB)
            write_photograph(targets[image], with_key(greys, lines), settings=settings)
        return found, photograph.notices

    def guarded(image: Path) -> tuple[Differences, list[str]] | Problem:
        try:
            return work(image)
        except Problem as problem:
            return problem
        except OSError as error:
            return Problem("the image cannot be read", where=str(image), got=error.strerror or str(error))

    with ThreadPoolExecutor(workers) as pool:
        for image, result in zip(images, pool.map(guarded, images), strict=True):
            name = str(image)
            if isinstance(result, Problem):
                report.failed[name] = result
                progress(image, result)
                continue
            report.found[name], notices = result
            if image in targets:
                report.maps[name] = targets[image]
            if notices:
                report.notices[name] = notices
            progress(image, None)
    return report


def _difference(one: Codes, other: Codes, *, drawn: bool) -> tuple[Differences, Codes | None]:
    """The differences of two pictures of sRGB codes, and their map in grey codes (height, width)."""
    light = srgb_decode(np.arange(256) / 255)
    found = Differences()
    height, width = one.shape[:2]
    greys = np.empty((height, width), np.uint8) if drawn else None
    rows = max(1, STRIP_PIXELS // width)
    for top in range(0, height, rows):
        strips = [linear_to_lab(light[codes[top : top + rows]]) for codes in (one, other)]
        values = ciede2000(*strips)
        found.add(values)
        if greys is not None:
            greys[top : top + rows] = grey_of(values)
    return found, greys
