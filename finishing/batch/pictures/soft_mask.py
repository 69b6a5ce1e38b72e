"""A soft mask of what stands in a box of a picture.

Where the subject ends is searched by GrabCut (Rother, Kolmogorov and Blake, "GrabCut: Interactive Foreground Extraction
using Iterated Graph Cuts", SIGGRAPH 2004), OpenCV's: colours of subject and surroundings are learnt from the picture
and parted along its edges, in some rounds. A single search may end far off, for a small change in where it began; so
several are made on a much reduced picture from different beginnings, they vote, and the outline of the majority is
searched again on a larger picture, near by. That outline is laid over a still larger picture and made soft where the
picture is, by the guided filter of He, Sun and Tang ("Guided Image Filtering", ECCV 2010), so that hair and straw show.

All is worked on sRGB-encoded values, in which steps are about as large as they look. The same picture, box and hints
give the same mask.
"""

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.errors import Problem

Codes = NDArray[np.uint8]
Floats = NDArray[np.floating]
Box = tuple[float, float, float, float]
Point = tuple[float, float]

#: Long edges in pixels of the pictures on which the outline is searched, first roughly, then closer.
ROUGH_EDGE, SEARCH_EDGE = 420, 800
#: Rounds of learning colours and parting by them, in each of the two.
ROUNDS, CLOSER_ROUNDS = 5, 2
#: A fixed beginning of the random numbers that OpenCV draws when it groups colours.
SEED = 20
#: Where searches begin: what lies within this part of the box's ellipse (by its axes squared) is taken for the subject,
#: the rest of the box for surroundings. A person fills an ellipse better than a box.
BEGINNINGS = (0.7, 0.8, 0.9, 1.0, 1.2)
#: The same for a box that leaves less than this share of the frame outside: the subject may fill the frame, and what
#: the surroundings are like is only known from hints. The last begins with all of the box.
LEAST_OUTSIDE, BEGINNINGS_FILLED = 0.02, (0.8, 1.2, 2.1)
#: How far from the rough outline the closer one may lie, in pixels of the rough picture.
NEAR = 4
#: A hint is a disc of this radius, in shares of the short side.
HINT = 0.015
#: Where no hint stands; GrabCut has 0 to 3 for its own labels.
OPEN = 255
#: Pieces and gaps below these shares of the largest piece are taken for mistakes; a gap may well be an arm akimbo.
LEAST_PIECE, LEAST_GAP = 0.02, 0.003
#: Fewer pixels than these across the box, on the rough picture, cannot be told apart.
LEAST_BOX = 8
#: Radius of the guided filter in pixels of the second search, and the variance of encoded values below which a
#: patch counts as plain.
RADIUS, PLAIN = 3.0, 1e-4
#: What the filter leaves as a haze on plain ground, below the one and above the other, is taken off.
FLOOR, CEILING = 0.08, 0.92
STRIP = 384


def soft_mask(
    picture: Codes, search: Codes, box: Box, inside: Sequence[Point] = (), outside: Sequence[Point] = ()
) -> Codes:
    """The soft mask, uint8 (height, width), 255 where fully in, at the size of `picture`.

    picture, search: the frame as sRGB codes (height, width, 3), the second reduced to be searched.
    Raises Problem where the box is too small or nothing stands out in it.
    """
    found = search_subject(search, box, inside, outside)
    height, width = picture.shape[:2]
    scale = max(height / search.shape[0], width / search.shape[1])
    radius = max(2, round(RADIUS * scale))
    rows, columns = _around(found, picture.shape[:2], 4 * radius)
    guide = picture[rows, columns].astype(np.float32) / np.float32(255) - np.float32(0.5)
    enlarged = cv2.resize(found.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    outline = enlarged[rows, columns].astype(np.float32)
    refined = np.empty_like(outline)
    for top in range(0, len(outline), STRIP):
        above, below = max(0, top - 2 * radius), min(len(outline), top + STRIP + 2 * radius)
        strip = guided_filter(guide[above:below], outline[above:below], radius, PLAIN)
        refined[top : top + STRIP] = strip[top - above : top - above + STRIP]
    mask = np.zeros((height, width), np.uint8)
    cleared = np.clip((refined - FLOOR) / (CEILING - FLOOR), 0, 1)
    mask[rows, columns] = np.round(cleared * 255)
    return mask


def search_subject(
    picture: Codes, box: Box, inside: Sequence[Point] = (), outside: Sequence[Point] = ()
) -> NDArray[np.bool_]:
    """Which pixels of a picture (height, width, 3) belong to what stands in the box. Raises Problem."""
    height, width = picture.shape[:2]
    scale = max(1.0, max(height, width) / ROUGH_EDGE)
    size = max(1, round(width / scale)), max(1, round(height / scale))
    rough = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    hints = _hints(rough.shape[:2], inside, outside)
    beginnings = BEGINNINGS_FILLED if fills_frame(box) else BEGINNINGS
    votes = [_parted(rough, _beginning(rough.shape[:2], box, part), hints, ROUNDS) for part in beginnings]
    majority = np.sum(votes, axis=0) > len(votes) / 2
    outline = cv2.resize(majority.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR) > 0.5
    hints = _hints((height, width), inside, outside)
    labels = _near(outline, round(NEAR * scale))
    labels[_beginning((height, width), box, 0.0) == cv2.GC_BGD] = cv2.GC_BGD
    found = _whole(_parted(picture, labels, hints, CLOSER_ROUNDS), hints)
    if np.count_nonzero(found) < LEAST_BOX**2 / 2:
        raise Problem(
            "nothing in the box stands out from its surroundings",
            remedy="draw the box closer around the subject, or point at it with --inside x,y",
        )
    return found


def fills_frame(box: Box) -> bool:
    """Whether a box leaves so little outside that hints have to say what the surroundings are."""
    return (box[2] - box[0]) * (box[3] - box[1]) > 1 - LEAST_OUTSIDE


def _beginning(shape: tuple[int, ...], box: Box, part: float) -> Codes:
    """Labels of a search that begins with a part of the box's ellipse. Raises Problem where the box is too small."""
    height, width = shape
    left, right = (round(value * width) for value in (box[0], box[2]))
    top, bottom = (round(value * height) for value in (box[1], box[3]))
    if right - left < LEAST_BOX or bottom - top < LEAST_BOX:
        raise Problem(
            "the box is too small for anything to be told apart in it",
            got=f"{right - left} × {bottom - top} pixels on a picture of {width} × {height}",
            expected=f"at least {LEAST_BOX} × {LEAST_BOX} pixels",
            remedy="draw the box around the whole subject",
        )
    across = (np.arange(left, right) + 0.5 - (left + right) / 2) / ((right - left) / 2)
    down = (np.arange(top, bottom) + 0.5 - (top + bottom) / 2) / ((bottom - top) / 2)
    core = across[None, :] ** 2 + down[:, None] ** 2 < part
    labels = np.full(shape, cv2.GC_BGD, np.uint8)
    labels[top:bottom, left:right] = np.where(core, cv2.GC_PR_FGD, cv2.GC_PR_BGD)
    return labels


def _near(outline: NDArray[np.bool_], distance: int) -> Codes:
    """Labels of a search in which only what lies near an outline is open."""
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * distance + 1, 2 * distance + 1))
    filled = outline.astype(np.uint8)
    labels = np.where(outline, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    labels[cv2.dilate(filled, near) == 0] = cv2.GC_BGD
    labels[cv2.erode(filled, near) > 0] = cv2.GC_FGD
    return labels


def _hints(shape: tuple[int, ...], inside: Sequence[Point], outside: Sequence[Point]) -> Codes:
    """GC_FGD and GC_BGD where points were given, OPEN elsewhere."""
    height, width = shape
    hints = np.full(shape, OPEN, np.uint8)
    radius = max(1, round(HINT * min(height, width)))
    for points, label in ((outside, cv2.GC_BGD), (inside, cv2.GC_FGD)):
        for x, y in points:
            centre = (min(int(x * width), width - 1), min(int(y * height), height - 1))
            cv2.circle(hints, centre, radius, int(label), cv2.FILLED)
    return hints


def _parted(picture: Codes, labels: Codes, hints: Codes, rounds: int) -> NDArray[np.bool_]:
    """Where GrabCut finds the subject from labels and hints; all or nothing where the labels leave no choice."""
    labels = np.where(hints == OPEN, labels, hints)
    there = (labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)
    if there.all() or not there.any():
        return there
    cv2.setRNGSeed(SEED)
    colours, surroundings, subject = np.ascontiguousarray(picture[..., ::-1]), np.zeros((1, 65)), np.zeros((1, 65))
    cv2.grabCut(colours, labels, (0, 0, 1, 1), surroundings, subject, rounds, cv2.GC_INIT_WITH_MASK)
    return (labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)


def _whole(found: NDArray[np.bool_], hints: Codes) -> NDArray[np.bool_]:
    """Without specks beside the subject and without pinholes in it; what was pointed at stays as pointed."""
    count, pieces, facts, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8), connectivity=8)
    areas = facts[:, cv2.CC_STAT_AREA]
    if count < 2:
        return found
    largest = areas[1:].max()
    keep = areas >= LEAST_PIECE * largest
    keep[np.unique(pieces[hints == cv2.GC_FGD])] = True
    keep[0] = False
    found = keep[pieces]
    _, gaps, facts, _ = cv2.connectedComponentsWithStats((~found).astype(np.uint8), connectivity=4)
    fill = facts[:, cv2.CC_STAT_AREA] < LEAST_GAP * largest
    outer = np.concatenate([gaps[0], gaps[-1], gaps[:, 0], gaps[:, -1]])
    fill[outer] = False  # open to the frame's edge: no gap within the subject
    fill[np.unique(gaps[hints == cv2.GC_BGD])] = False  # pointed at as not the subject's
    fill[0] = False
    return found | fill[gaps]


def _around(found: NDArray[np.bool_], shape: tuple[int, ...], margin: int) -> tuple[slice, slice]:
    """Rows and columns of a larger picture around what was found in a smaller one."""
    slices = []
    for axis, size in enumerate(shape):
        there = np.flatnonzero(found.any(axis=1 - axis))
        scale = size / found.shape[axis]
        first, last = int(there[0] * scale) - margin, int((there[-1] + 1) * scale) + margin + 1
        slices.append(slice(max(0, first), min(size, last)))
    return slices[0], slices[1]


def guided_filter(guide: Floats, picture: Floats, radius: int, plain: float) -> Floats:
    """The guided filter with a guide in colour (He, Sun and Tang 2010, equations 14 to 16).

    In every window of (2 radius + 1)² pixels the picture (height, width) is fitted by a linear function of the guide
    (height, width, 3), by least squares with `plain` (a variance) holding the slopes down; a pixel's result is the mean
    of what the fits of all windows over it say. At the frame's edge windows are cut off. Works in the arrays' type;
    returns (height, width).
    """
    size = (2 * radius + 1, 2 * radius + 1)

    def sums(values: Floats) -> Any:
        return cv2.boxFilter(values, -1, size, normalize=False, borderType=cv2.BORDER_CONSTANT)

    count = sums(np.ones_like(picture))

    def mean(values: Floats) -> Any:
        return sums(np.ascontiguousarray(values)) / count

    colours = [np.ascontiguousarray(guide[..., i]) for i in range(3)]
    means = [mean(colour) for colour in colours]
    middle = mean(picture)
    with_r, with_g, with_b = (mean(colours[i] * picture) - means[i] * middle for i in range(3))

    def together(i: int, j: int) -> Any:
        return mean(colours[i] * colours[j]) - means[i] * means[j] + (plain if i == j else 0)

    rr, rg, rb, gg, gb, bb = (together(i, j) for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)))
    # The inverse of the symmetric 3 × 3 by its cofactors.
    c_rr, c_rg, c_rb = gg * bb - gb * gb, gb * rb - rg * bb, rg * gb - gg * rb
    c_gg, c_gb, c_bb = rr * bb - rb * rb, rg * rb - rr * gb, rr * gg - rg * rg
    whole = rr * c_rr + rg * c_rg + rb * c_rb
    slopes = [
        (c_rr * with_r + c_rg * with_g + c_rb * with_b) / whole,
        (c_rg * with_r + c_gg * with_g + c_gb * with_b) / whole,
        (c_rb * with_r + c_gb * with_g + c_bb * with_b) / whole,
    ]
    base = middle - sum(slope * centre for slope, centre in zip(slopes, means, strict=True))
    result: Floats = mean(base) + sum(mean(slope) * colour for slope, colour in zip(slopes, colours, strict=True))
    return result
