"""How uncertain a value of linear light is: quantisation through the encoding's curve, and the picture's own noise."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from finishing.light.frames import LitFrame, decode

Floats = NDArray[np.float64]

#: Tiles that the noise is measured on, along each axis, and their side in pixels; blocks in them, and how many of a
#: level's blocks are calmer than the one that is taken: what is textured must not pass for noise.
TILES, TILE, BLOCK, CALMEST = 7, 64, 8, 0.2
#: A fifth of the blocks of pure normal noise are calmer than this part of its variance (by trials on 65 536 blocks).
CALM = 0.737
#: Levels of light, in equal steps of its square root.
LEVELS = 24
LEAST_BLOCKS = 12


@dataclass(frozen=True)
class Noise:
    """The variance of a value v of linear light: floor + per_light v + per_square v².

    A camera's read noise stays the same, its photon noise grows with the light, and a step of an encoding of the eye's
    kind is nearly a share of the value; so three terms carry all of them (EMVA 1288 for the first two).
    """

    floor: float
    per_light: float
    per_square: float

    def variance(self, light: Floats) -> Floats:
        """Of values of linear light, any shape; those below 0 have the variance of 0."""
        value = np.maximum(light, 0)
        return self.floor + self.per_light * value + self.per_square * value * value

    def reduced(self, by: int) -> "Noise":
        """Of means over by × by pixels."""
        return Noise(*(part / by**2 for part in (self.floor, self.per_light, self.per_square)))


def estimate_noise(frames: Sequence[LitFrame]) -> Noise:
    """The noise of frames of one camera, from the frames.

    Quantisation: a step of the codes, through the curve, squared / 12, and what a lossy compression adds. The picture's
    own noise: in blocks of 8 × 8 pixels the mean absolute answer to a mask that is blind to slopes (Immerkær, "Fast
    noise variance estimation", Computer Vision and Image Understanding 64, 1996), at each level of light in the calmest
    fifth of the blocks.
    """
    levels, variances = [], []
    for frame in frames:
        for light, variance in _blocks(frame):
            levels.append(light)
            variances.append(variance)
    light, variance = np.concatenate(levels), np.concatenate(variances)
    edges = np.linspace(0, 1, LEVELS + 1) ** 2
    known: list[tuple[float, float]] = []
    for low, high in pairwise(edges):
        inside = (light >= low) & (light < high)
        if np.count_nonzero(inside) >= LEAST_BLOCKS:
            known.append((float(light[inside].mean()), float(np.quantile(variance[inside], CALMEST)) / CALM))
    grid = np.array([(low + high) / 2 for low, high in pairwise(edges)])
    steps = np.max([_own(frame, grid) for frame in frames], axis=0)
    if not known:
        return _fit(grid, np.maximum(steps, 1e-12))
    at, found = np.array(known).T
    own = np.max([_own(frame, at) for frame in frames], axis=0)
    # what the mask answers to has the rounding in it already
    return _fit(np.append(at, 0.0), np.append(np.maximum(found, own), max(min(found.min(), 1e-4), steps[0])))


def _own(frame: LitFrame, light: Floats) -> Floats:
    """The variance that the encoding gives to amounts of light."""
    return np.asarray(frame.step(light) ** 2 * (1 / 12 + frame.lossy**2), np.float64)


def _blocks(frame: LitFrame) -> list[tuple[Floats, Floats]]:
    """Light and variance of blocks of the frame, one pair of arrays a tile."""
    import cv2

    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    white, side = frame.white, TILE
    found = []
    for top in np.unique(np.linspace(0, max(frame.height - side, 0), TILES).astype(int)):
        for left in np.unique(np.linspace(0, max(frame.width - side, 0), TILES).astype(int)):
            codes = np.ascontiguousarray(frame.codes[top : top + side, left : left + side])
            planes = np.empty((3, *codes.shape[:2]), np.float32)
            decode(frame, codes, planes)
            rows, columns = codes.shape[0] // BLOCK * BLOCK, codes.shape[1] // BLOCK * BLOCK
            if not rows or not columns:
                continue
            for channel in range(3):
                plane = planes[channel, :rows, :columns]
                answer = np.abs(cv2.filter2D(plane, -1, mask, borderType=cv2.BORDER_REFLECT_101))
                light = _means(plane).ravel().astype(np.float64)
                # six times the standard deviation, √(2/π) of which a normal value has on the mean
                sigma = _means(answer).ravel().astype(np.float64) * np.sqrt(np.pi / 2) / 6
                whole = _means((plane >= white[channel]).astype(np.float32)).ravel() == 0
                found.append((light[whole], sigma[whole] ** 2))
    return found


def _means(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    rows, columns = plane.shape
    return plane.reshape(rows // BLOCK, BLOCK, columns // BLOCK, BLOCK).mean(axis=(1, 3))


def _fit(light: Floats, variance: Floats) -> Noise:
    """Three parts, none below 0, that come nearest to the variances by their ratio."""
    terms = np.stack([np.ones_like(light), light, light**2], axis=1) / variance[:, None]
    best, least = np.array([variance.max(), 0.0, 0.0]), np.inf
    for count in (1, 2, 3):
        for chosen in combinations(range(3), count):
            part, *_ = np.linalg.lstsq(terms[:, chosen], np.ones_like(light), rcond=None)
            if (part < 0).any():
                continue
            off = float(np.sum((terms[:, chosen] @ part - 1) ** 2))
            if off < least - 1e-12:
                least, best = off, np.zeros(3)
                best[list(chosen)] = part
    # never quite without doubt, so that weights stay finite
    return Noise(float(max(best[0], 1e-12)), float(best[1]), float(best[2]))
