"""The light inside a region of a frame, as far as it can be measured.

What is clipped has an unknown light above what the file can hold, and what is very dark an unknown one below: they
are left out of every value, but keep their places at the two ends of the ranking. So the same part of the subject is
compared in two frames although one of them is clipped here and the other too dark there; leaving them out of the
ranking as well would make an overexposed frame look darker than it is.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import luminance
from finishing.colour.transfer import srgb_decode
from finishing.operation import Geometry, Planes
from finishing.recipes.check_kernels import oklab_of
from finishing.regions.region import Region

#: A channel at this share of white or above counts as clipped.
CLIPPED = 0.995
#: Luminance below which light counts as too dark: from code 21 down one 8-bit step is more than a tenth of a stop.
DARK = float(srgb_decode(21 / 255))
#: Less than this share of the region's weight that can be used is too little to measure.
LEAST_USABLE = 0.30
#: A region with less of the frame than this is empty.
LEAST_AREA = 0.0002
#: So many pixels are kept of a region, evenly out of its ranking.
KEPT = 8192
#: Two frames must have this much of the ranking in common to be compared.
LEAST_COMMON = 0.2
#: The compared part of the ranking reaches this far to both sides of the middle.
AROUND = 0.2
#: No measurement is surer than this, in stops.
LEAST_DOUBT = 0.02

EMPTY = "the region is empty in this frame"


@dataclass(frozen=True, eq=False)
class Reading:
    """pixels: float64 (n, 3), linear working light of usable pixels, darkest first; weights: (n,), of the region.

    dark, clipped: shares of the region's weight that cannot be used; area: the region's weight over the frame's
    pixels.
    """

    pixels: NDArray[np.float64]
    weights: NDArray[np.float64]
    dark: float
    clipped: float
    area: float

    @property
    def usable(self) -> float:
        """Share of the region's weight that can be measured."""
        return 1 - self.dark - self.clipped

    @property
    def unsafe(self) -> str:
        """Why this reading cannot be relied on, in words; empty where it can."""
        if self.area < LEAST_AREA:
            return EMPTY
        if self.usable >= LEAST_USABLE and len(self.pixels):
            return ""
        if self.clipped >= self.dark:
            return f"{self.clipped:.0%} of the region is clipped"
        return f"{self.dark:.0%} of the region is too dark"

    @cached_property
    def _ranks(self) -> NDArray[np.float64]:
        """Each pixel's place in the ranking of the whole region, 0…1."""
        total = self.weights.sum()
        return self.dark + self.usable * (np.cumsum(self.weights) - self.weights / 2) / total

    @cached_property
    def _logs(self) -> NDArray[np.float64]:
        return np.log2(np.maximum(luminance(self.pixels), 1e-9))

    def at(self, ranks: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """log2 of the luminance at places of the ranking, 0.5 for the median; the usable ends stand for what is not."""
        return np.asarray(np.interp(ranks, self._ranks, self._logs))

    @property
    def level(self) -> float:
        """The median of the log luminance, in stops under white, with what is clipped or dark ranked at the ends."""
        return float(self.at(0.5))

    def corrected(self, matrix: NDArray[np.float64] | None, stops: float = 0.0) -> "Reading":
        """The same region after a gain and a matrix. What could not be used cannot afterwards either."""
        if matrix is None:
            return Reading(self.pixels * 2.0**stops, self.weights, self.dark, self.clipped, self.area)
        red, green, blue = (self.pixels * 2.0**stops).T
        pixels = np.stack([row[0] * red + row[1] * green + row[2] * blue for row in np.asarray(matrix)], axis=-1)
        order = np.argsort(luminance(pixels), kind="stable")
        return Reading(pixels[order], self.weights[order], self.dark, self.clipped, self.area)

    def mean(self) -> NDArray[np.float64]:
        """Mean linear light of the usable pixels."""
        return np.asarray(self.weights @ self.pixels / self.weights.sum())

    def slice_mean(self, low: float, high: float) -> NDArray[np.float64] | None:
        """The same of the pixels whose place in the ranking is from low up to high; None where there are none."""
        first, last = np.searchsorted(self._ranks, (low, high))
        if last <= first:
            return None
        weights = self.weights[first:last]
        return np.asarray(weights @ self.pixels[first:last] / weights.sum())


def read_light(planes: Planes, clipped: NDArray[np.bool_], region: Region | None, geometry: Geometry) -> Reading:
    """The light of a region. planes: float32 (3, height, width), linear working light, of a reduced picture;
    clipped: (height, width), where a channel of the file was at its end; geometry: of that picture.

    None as the region is the whole frame. Raises Problem where the frame lacks what the region needs.
    """
    weights = np.ones(planes.shape[1:], np.float32)
    if region is not None:
        region.prepare(geometry)(weights, oklab_of(planes) if region.looks_at_colour else None, 0)
    total = float(weights.sum(dtype=np.float64))
    if total <= 0:
        return Reading(np.empty((0, 3)), np.empty(0), 0.0, 0.0, 0.0)
    inside = weights > 0
    pixels = np.ascontiguousarray(planes[:, inside].T, np.float64)
    own, cut = weights[inside].astype(np.float64), clipped[inside]
    light = luminance(pixels)
    dark = (light < DARK) & ~cut
    used = ~(cut | dark)
    order = np.argsort(light[used], kind="stable")
    kept = order[_evenly(len(order), KEPT)]
    return Reading(
        pixels[used][kept],
        own[used][kept],
        float(own[dark].sum() / total),
        float(own[cut].sum() / total),
        total / weights.size,
    )


def _evenly(count: int, most: int) -> NDArray[np.int64]:
    """At most `most` of `count` positions, evenly spread."""
    if count <= most:
        return np.arange(count)
    return ((np.arange(most) + 0.5) * count / most).astype(np.int64)


@dataclass(frozen=True)
class Shift:
    """stops: what brings a frame's region to the key's; doubt: how far parts of the region disagree about it."""

    stops: float
    doubt: float


def common_ranks(key: Reading, frame: Reading) -> tuple[float, float] | None:
    """The part of the ranking that both frames know; None where it is too little to compare."""
    low, high = max(key.dark, frame.dark), min(1 - key.clipped, 1 - frame.clipped)
    return (low, high) if high - low >= LEAST_COMMON else None


def shift_to(key: Reading, frame: Reading) -> Shift | None:
    """The gain in stops that brings a frame's region to the key frame's; None where they cannot be compared.

    For one law of gain every place in the ranking of log luminance shifts alike. The shift is the median over places
    around the middle (or as near to it as both frames know), so that it is exact for a gain whatever is clipped, and
    holds still where the middle falls into a gap between light and dark parts. The doubt is the spread of the shifts
    over all common places (1.4826 times the median deviation): near 0 for the same content, larger where a hand or a
    strand of hair came into the region.
    """
    common = common_ranks(key, frame)
    if common is None or key.unsafe or frame.unsafe:
        return None
    low, high = common
    middle = min(max(0.5, low), high)
    near = np.linspace(max(low, middle - AROUND), min(high, middle + AROUND), 41)
    stops = float(np.median(key.at(near) - frame.at(near)))
    margin = (high - low) * 0.05
    wide = np.linspace(low + margin, high - margin, 41)
    doubt = 1.4826 * float(np.median(np.abs(key.at(wide) - frame.at(wide) - stops)))
    return Shift(stops, max(doubt, LEAST_DOUBT))
