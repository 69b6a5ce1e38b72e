"""Ambient and strobe put together anew: each moved in stops, each with a white balance of its own."""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.adaptation import white_xyz
from finishing.colour.white import chromaticity, neutralising_matrix
from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.light.frames import Matrix, Planes
from finishing.light.separation import Separation
from finishing.overview import Reducer

HALF, HIGHEST = np.float32(0.5), np.float32(65535)


@dataclass(frozen=True)
class Light:
    """What is done to one light. stops: + is more of it; None leaves it out. white: kelvin of a light that becomes
    neutral, as `white_balance` has it (6504 changes nothing, more makes warmer), or three gains of linear red, green
    and blue of the working space; None leaves the colour as it is."""

    stops: float | None = 0.0
    white: float | tuple[float, float, float] | None = None

    @property
    def matrix(self) -> Matrix:
        """3×3 on linear working light."""
        if self.stops is None:
            return np.zeros((3, 3))
        if self.white is None:
            colour = np.eye(3)
        elif isinstance(self.white, tuple):
            colour = np.diag(np.asarray(self.white, np.float64))
        else:
            colour = neutralising_matrix(white_xyz(chromaticity(self.white)))
        return np.asarray(colour * 2.0**self.stops, np.float64)


@dataclass(frozen=True)
class Blend:
    """Both lights, in stops against the first frame: the neutral one gives the first frame back."""

    ambient: Light = Light()
    strobe: Light = Light()


AMBIENT_ALONE = Blend(strobe=Light(None))
STROBE_ALONE = Blend(ambient=Light(None))


class BlendSource:
    """A blend as a picture is read: strips of whole rows of linear working light, unbounded above, float32.

    to_working: 3×3 from the frames' own primaries to the working space, None where they are the same.
    """

    def __init__(self, separation: Separation, blend: Blend, to_working: Matrix | None = None) -> None:
        self.separation = separation
        self.height, self.width = separation.height, separation.width
        own = np.eye(3) if to_working is None else to_working
        self._ambient = singles(*(blend.ambient.matrix @ own).ravel())
        self._strobe = singles(*(blend.strobe.matrix @ own).ravel())

    def read(self, planes: Planes, top: int) -> None:
        """Fill planes (3, rows, width) with the rows from `top` on."""
        strobe = np.empty_like(planes)
        self.separation.rows(planes, strobe, top)
        combine(planes, strobe, self._ambient, self._strobe)

    def light(self, threads: int | None = None) -> Planes:
        """The whole picture as float32 planes (3, height, width), with all that lies above white."""
        planes = np.empty((3, self.height, self.width), np.float32)
        rows = self.separation.strip_rows

        def run(top: int) -> None:
            part = np.empty((3, min(rows, self.height - top), self.width), np.float32)
            self.read(part, top)
            planes[:, top : top + part.shape[1]] = part

        with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
            list(pool.map(run, range(0, self.height, rows)))
        return planes

    def codes(
        self, threads: int | None = None, into: NDArray[np.uint16] | None = None
    ) -> tuple[NDArray[np.uint16], float, float]:
        """The picture as linear 16-bit codes (height, width, 3), white at 65535, and the shares of its pixels that were
        cut there because some channel was above white, and at 0 because one was below. into: an array for them."""
        out = np.empty((self.height, self.width, 3), np.uint16) if into is None else into
        rows = self.separation.strip_rows
        tops = range(0, self.height, rows)
        workers = min(threads or os.cpu_count() or 1, len(tops))

        def run(part: Any) -> NDArray[np.int64]:
            cut = np.zeros(2, np.int64)
            scratch = np.empty((3, rows, self.width), np.float32)
            for top in part:
                count = min(rows, self.height - top)
                planes = scratch if count == rows else np.empty((3, count, self.width), np.float32)
                self.read(planes, top)
                store(planes, out[top : top + count], cut)
            return cut

        with ThreadPoolExecutor(workers) as pool:
            cuts = list(pool.map(run, [tops[start::workers] for start in range(workers)]))
        above, below = (float(part) / (self.height * self.width) for part in np.sum(cuts, axis=0))
        return out, above, below


@dataclass(frozen=True, eq=False)
class ReducedLights:
    """Both lights at a smaller size, each pixel the mean of the area that it covers: many blends from one separation,
    since the mean of a blend is the blend of the means. ambient, strobe: float32 (3, height, width), linear light of
    the frames' own primaries, as they lit the first frame; own: 3×3 from there to the working space, None for none."""

    ambient: Planes
    strobe: Planes
    own: Matrix | None = None

    def blend(self, blend: Blend) -> Planes:
        """A blend in linear working light, (3, height, width)."""
        own = np.eye(3) if self.own is None else self.own
        planes = self.ambient.copy()
        combine(
            planes, self.strobe, singles(*(blend.ambient.matrix @ own).ravel()),
            singles(*(blend.strobe.matrix @ own).ravel()),
        )  # fmt: skip
        return planes


def reduced_lights(separation: Separation, width: int, height: int, to_working: Matrix | None = None) -> ReducedLights:
    """Both lights of a scene at a size no larger than its own. to_working: see `BlendSource`."""
    parts = [Reducer(separation.height, separation.width, height, width) for _ in range(2)]
    rows = separation.strip_rows
    for top in range(0, separation.height, rows):
        shape = (3, min(rows, separation.height - top), separation.width)
        ambient, strobe = np.empty(shape, np.float32), np.empty(shape, np.float32)
        separation.rows(ambient, strobe, top)
        for part, planes in zip(parts, (ambient, strobe), strict=True):
            part.add(planes, top)
    return ReducedLights(parts[0].overview().planes, parts[1].overview().planes, to_working)


@compiled
def combine(ambient: Any, strobe: Any, first: Any, second: Any) -> None:
    """ambient ← first · ambient + second · strobe on every pixel of (3, rows, width); nine float32 each."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = first
    n00, n01, n02, n10, n11, n12, n20, n21, n22 = second
    for row in range(ambient.shape[1]):
        red, green, blue = ambient[0, row], ambient[1, row], ambient[2, row]
        red2, green2, blue2 = strobe[0, row], strobe[1, row], strobe[2, row]
        for x in range(ambient.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            u, v, w = red2[x], green2[x], blue2[x]
            red[x] = m00 * r + m01 * g + m02 * b + (n00 * u + n01 * v + n02 * w)
            green[x] = m10 * r + m11 * g + m12 * b + (n10 * u + n11 * v + n12 * w)
            blue[x] = m20 * r + m21 * g + m22 * b + (n20 * u + n21 * v + n22 * w)


@compiled
def store(planes: Any, codes: Any, cut: Any) -> None:
    """Linear 16-bit codes of planes (3, rows, width); pixels cut at white and at 0 are counted in cut[0] and cut[1]."""
    least = np.float32(-0.5 / 65535)
    most = np.float32(1 + 0.5 / 65535)
    for row in range(codes.shape[0]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        line = codes[row]
        above, below = 0, 0
        for x in range(codes.shape[1]):
            r, g, b = red[x], green[x], blue[x]
            above += max(r, max(g, b)) > most
            below += min(r, min(g, b)) < least
            line[x, 0] = np.uint16(min(max(r, ZERO), ONE) * HIGHEST + HALF)
            line[x, 1] = np.uint16(min(max(g, ZERO), ONE) * HIGHEST + HALF)
            line[x, 2] = np.uint16(min(max(b, ZERO), ONE) * HIGHEST + HALF)
        cut[0] += above
        cut[1] += below
