"""What moved between the frames: where no ambient and no strobe explain what all of them saw.

With three frames or more each pixel has values to spare, and what moved does not fit. With two it is only sure where
the light would have to be negative: darker although the shutter was longer, or brighter than the shutter allows. From
there the search goes on through what lies around and has another fine structure in one frame than in the other.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.light.frames import LitFrame, Planes

Mask = NDArray[np.bool_]

#: What frames may differ by without anything having moved: pixels that they lie off each other (and a lens breathes,
#: and JPEG rings at edges), and the share that a camera's curve bends.
EDGE, BENT = 0.3, 0.015
#: Standard deviation, in pixels of the overview, of the smoothing before the search.
SMOOTH = 1.0
#: The misfit over what noise explains, from which on a place has moved for sure, and down to which its surroundings
#: have moved with it.
SURE, WITH_IT = 2.0, 0.6
#: Pieces smaller than this share of the picture are no movement; holes up to this share inside one belong to it.
LEAST_PART, LARGEST_HOLE = 0.0003, 0.03
#: With two frames: fine structure whose correlation is below this is another, where both have as much as the second
#: number; correlated over so many pixels (standard deviation); and so far from sure places, of the long edge.
ALIKE, STRUCTURED, CORRELATED, NEAR = 0.5, 0.06, 3.0, 0.06
#: Of the long edge: gaps that are closed, and the width of the feathered border.
CLOSED, FEATHER = 0.008, 0.004


def loosened(frames: Sequence[LitFrame], values: Planes, weights: Planes) -> tuple[Planes, Planes]:
    """Values and weights for the search, (frames, 3, height, width) both.

    The values are smoothed a little: what moves is larger than a pixel, and what JPEG does to a block, to its colours
    most of all, is not. The variance is that of the value, unsmoothed, and what an edge or a bent curve may add to it.
    A value beside one that does not count does not count either.
    """
    import cv2

    smooth, out = np.empty_like(values), np.empty_like(weights)
    around = np.ones((5, 5), np.uint8)
    for k in range(len(frames)):
        for channel in range(3):
            plane = cv2.GaussianBlur(np.fmax(values[k, channel], 0), (0, 0), SMOOTH)
            across = cv2.Scharr(plane, cv2.CV_32F, 1, 0, scale=1 / 32)
            down = cv2.Scharr(plane, cv2.CV_32F, 0, 1, scale=1 / 32)
            more = np.float32(EDGE**2) * (across**2 + down**2) + np.float32(BENT**2) * plane**2
            weight = cv2.erode(weights[k, channel], around)
            smooth[k, channel] = plane
            out[k, channel] = weight / (1 + weight * more)
    return smooth, out


def unlike(first: NDArray[np.float32], second: NDArray[np.float32]) -> Mask:
    """Where two pictures of fine structure (see `alignment.structure`) have structure, and not the same."""
    import cv2

    def mean(plane: Any) -> Any:
        return cv2.GaussianBlur(plane, (0, 0), CORRELATED)

    first, second = first - mean(first), second - mean(second)
    power, other = mean(first * first), mean(second * second)
    together = mean(first * second)
    rich = np.minimum(power, other) > STRUCTURED
    return np.asarray(rich & (together < ALIKE * np.sqrt(power * other)))


def find_moved(misfit: NDArray[np.float32], frames: int, other: Mask | None = None) -> Mask:
    """The places that moved, (height, width). misfit: the weighted sum of squares over three channels of that many
    frames. other: where the fine structure is another, for a search with two frames."""
    import cv2

    long_edge = max(misfit.shape)
    free = 3 * max(frames - 2, 1)
    score = cv2.blur(np.minimum(misfit / free, 30 * SURE), (5, 5))
    marked = _without_small(_grown(score >= SURE, score >= WITH_IT), LEAST_PART * misfit.size)
    if not marked.any():
        return marked
    if other is not None:
        near = cv2.dilate(marked.astype(np.uint8), _disc(round(NEAR * long_edge))) > 0
        marked = _grown(marked, marked | (other & near))
    closing = _disc(max(1, round(CLOSED * long_edge)))
    border = closing.shape[0]
    closed = cv2.morphologyEx(np.pad(marked.astype(np.uint8), border), cv2.MORPH_CLOSE, closing)
    empty = closed[border:-border, border:-border] == 0
    return ~_without_small(empty, LARGEST_HOLE * marked.size)


def feathered(moved: Mask) -> NDArray[np.float32]:
    """The mask as weights 0…1: 1 on all that moved, fading outside."""
    import cv2

    width = max(1.0, FEATHER * max(moved.shape))
    wider = cv2.dilate(moved.astype(np.uint8), _disc(round(2 * width)))
    return np.asarray(cv2.GaussianBlur(wider.astype(np.float32), (0, 0), width), np.float32)


def _grown(seeds: Mask, around: Mask) -> Mask:
    """The connected pieces of `around` that hold a seed."""
    import cv2

    _, labels = cv2.connectedComponents(around.astype(np.uint8), connectivity=8)
    kept = np.unique(labels[seeds & around])
    return np.isin(labels, kept[kept > 0])


def _without_small(mask: Mask, least: float) -> Mask:
    import cv2

    _, labels, facts, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    kept: Any = facts[:, cv2.CC_STAT_AREA] >= least
    kept[0] = False
    return np.asarray(kept[labels], np.bool_)


def _disc(radius: int) -> NDArray[np.uint8]:
    import cv2

    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)), np.uint8)
