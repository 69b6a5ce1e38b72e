"""Pixels that the frames do not solve: clipped in all but one of them, seen by one alone, or moved between them.

Such a pixel keeps the light of one frame, and how that splits into ambient and strobe is taken from places near by that
look alike: from the strobe's share of their light. Where only some of a pixel's channels are lost, the others
say it, allowing for the colours of the two lights.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, inlined
from finishing.light.frames import Planes

HALF = np.float32(0.5)
#: A strobe that is not well above its own doubt is taken for less, by s² / (s² + 4σ²): held at 0 or above, what is none
#: comes out a little above it.
SHRINK = np.float32(4)
#: Pixels whose light is below so many times its own doubt say little about the share.
CLEAR = 10.0
#: Cells across the long edge and steps of each of two chromaticities and of the share, in which like places are
#: gathered; the least weight in a cell (or its coarser kin) to rest on; and how often cells are spread along each axis.
CELLS, HUES, SHARES, ENOUGH = 8, 24, 8, 0.1
SPREADS = (2, 2, 1, 1)
CHROMATICITY = (0.1, 0.7)
#: What moved tells of itself too, where nothing else looks like it: right on the mean of it, so with little weight.
MOVED = np.float32(0.03)
#: So much of both lights, of white, is a good deal.
MUCH = np.float32(0.01)


def spread_share(
    ambient: Planes, strobe: Planes, doubt: Planes, strobe_doubt: Planes, known: NDArray[Any], colour: Planes,
    tint: NDArray[np.float32], most: Planes,
) -> Planes:  # fmt: skip
    """The strobe's share s / (a + s), 0…1, of each channel, (3, height, width), where it is not known: that of places
    near by that look alike; else of any that look alike in colour; else of all. What is known keeps its own.

    doubt, strobe_doubt: the standard deviations of a + s and of s; known: (height, width), what has not moved; tint:
    see `colour_of_strobe`; colour: the light of the frame that is kept, (3, height, width), by which places look alike.
    The cells are those of a bilateral grid (Chen, Paris and Durand, "Real-time edge-aware image processing with the
    bilateral grid", ACM Trans. Graph. 26, 2007) over place, two chromaticities and, summed up from its lower end, the
    share itself.
    """
    import cv2

    total = ambient + strobe
    sure = known & (total > 0)  # NaN is not
    solved = total > 0
    weights = np.where(solved, np.minimum(total / (np.float32(CLEAR) * doubt + np.float32(1e-9)), 1) ** 2, 0)
    weights = np.where(known, weights, MOVED * weights)
    surer = np.where(solved, strobe**2 / (strobe**2 + SHRINK * strobe_doubt**2 + np.float32(1e-12)), 0)
    part = np.divide(strobe * surer, total, out=np.full_like(total, 0.5), where=solved)
    # what one channel says of a pixel holds for the others
    for channel, other in ((0, 1), (2, 1), (1, 0), (1, 2), (0, 2), (2, 0)):
        lent = ~sure[channel] & sure[other]
        odds = part[other][lent] * np.float32(tint[channel] / tint[other])
        part[channel][lent] = odds / (odds + 1 - part[other][lent] + np.float32(1e-9))
        weights[channel][lent] = weights[other][lent]
        sure[channel] |= lent
    height, width = known.shape
    cell = max(height, width) / CELLS
    shape = (math.ceil(height / cell) + 1, math.ceil(width / cell) + 1, HUES, HUES, SHARES)
    y, x, *likeness = _places(colour, cell)
    at = np.ravel_multi_index([np.rint(y).astype(int), np.rint(x).astype(int), *likeness], shape[:4]).ravel() * SHARES
    lost_somewhere = np.asarray((~sure).any(axis=0), np.uint8)
    asked = np.asarray(cv2.dilate(lost_somewhere, np.ones((5, 5), np.uint8)), np.bool_)
    rows, columns, like = y[asked], x[asked], [step[asked] for step in likeness]
    share = part.copy()
    for channel in range(3):
        weight = weights[channel].ravel()
        flat = at + np.minimum((part[channel].ravel() * SHARES).astype(int), SHARES - 1)
        upper = np.clip((most[channel][asked] * SHARES).astype(int), 0, SHARES - 1)
        amount = np.bincount(flat, weight, int(np.prod(shape))).reshape(shape)
        sums = np.bincount(flat, weight * part[channel].ravel(), int(np.prod(shape))).reshape(shape)
        found = _filled(_spread(amount).cumsum(axis=-1), _spread(sums).cumsum(axis=-1))
        value = np.zeros(rows.shape)
        for down in (0, 1):
            for across in (0, 1):
                top = np.minimum(rows.astype(int) + down, shape[0] - 1)
                left = np.minimum(columns.astype(int) + across, shape[1] - 1)
                near = (1 - np.abs(rows - rows.astype(int) - down)) * (
                    1 - np.abs(columns - columns.astype(int) - across)
                )
                value += near * found[top, left, like[0], like[1], upper]
        plane, lost = share[channel], ~sure[channel]
        plane[lost] = value[lost[asked]]
        softer = cv2.GaussianBlur(plane, (0, 0), 1.5)
        plane[lost] = softer[lost]
    return np.clip(share, 0, 1)


def _places(colour: Planes, cell: float) -> tuple[NDArray[Any], ...]:
    """Of each pixel its place in the grid: row and column between cells, and the cells of its chromaticities."""
    light = np.clip(np.fmax(colour, 0), 0, 1)
    total = light.sum(axis=0) + np.float32(1e-4)
    height, width = total.shape
    y, x = np.broadcast_arrays(*np.ogrid[:height, :width])
    low, span = CHROMATICITY
    chromatic = [np.clip((light[c] / total - low) / span, 0, 0.999) * HUES for c in (0, 1)]
    return y / cell, x / cell, *(np.minimum(value.astype(int), HUES - 1) for value in chromatic)


def _spread(grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """A binomial blur along every axis, nothing flowing in over the border."""
    for axis, times in enumerate(SPREADS):
        for _ in range(times):
            line = np.moveaxis(grid, axis, 0)
            blurred = 0.5 * line
            blurred[1:] += 0.25 * line[:-1]
            blurred[:-1] += 0.25 * line[1:]
            grid = np.moveaxis(blurred, 0, axis)
    return grid


def _filled(amount: NDArray[np.float64], sums: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of each cell; of thin ones that of the same colour at any place; else of all. The last axis, the highest
    share, is never summed over."""
    whole_amount, whole_sums = amount.sum(axis=(0, 1, 2, 3)), sums.sum(axis=(0, 1, 2, 3))
    found = np.broadcast_to(whole_sums / np.maximum(whole_amount, 1e-12), amount.shape)
    for axes in ((0, 1), ()):
        many = amount.sum(axis=axes, keepdims=True) if axes else amount
        mean = sums.sum(axis=axes, keepdims=True) if axes else sums
        found = (mean + ENOUGH * found) / (many + ENOUGH)
    return found


def colour_of_strobe(ambient: Planes, strobe: Planes, known: NDArray[Any]) -> NDArray[np.float32]:
    """How s / a stands in each channel to that of green, (3,): the strobe's colour as seen under the ambient, the
    median over the places that have a good deal of both."""
    ratio = np.ones(3, np.float32)
    with np.errstate(invalid="ignore"):
        both = known & (np.minimum(ambient, strobe) > MUCH).all(axis=0)
    if np.count_nonzero(both) >= 100:
        odds = strobe[:, both] / ambient[:, both]
        ratio[:] = np.median(odds / odds[1], axis=1)
    return ratio


@inlined
def between(plane: Any, y: Any, x: Any) -> Any:
    """A plane's value between its pixels, bilinear; held at the border."""
    rows, columns = plane.shape
    y = min(max(y, ZERO), np.float32(rows - 1))
    x = min(max(x, ZERO), np.float32(columns - 1))
    row, column = np.int32(y), np.int32(x)
    below, right = min(row + 1, rows - 1), min(column + 1, columns - 1)
    down, across = y - np.float32(row), x - np.float32(column)
    upper = plane[row, column] + (plane[row, right] - plane[row, column]) * across
    lower = plane[below, column] + (plane[below, right] - plane[below, column]) * across
    return upper + (lower - upper) * down


@compiled
def mend(
    values: Any, weights: Any, times: Any, fired: Any, white: Any, share: Any, tint: Any, moved: Any,
    any_moved: Any, base: Any, top: Any, by: Any, ambient: Any, strobe: Any,
) -> None:  # fmt: skip
    """Put light into the pixels of a solved strip that have none, and that of one frame into those that moved.

    values, weights: (frames, 3, rows, width); white: (frames, 3); share: (3, height / by, width / by); tint: (3,), see
    `colour_of_strobe`; moved: weights (height / by, width / by); base: the frame whose light moved parts keep; ambient,
    strobe: (3, rows, width), in place.
    What is clipped in every frame keeps at least the light of white in the one that was exposed least.
    """
    per = ONE / np.float32(by)
    for row in range(ambient.shape[1]):
        y = (np.float32(top + row) + HALF) * per - HALF
        for x in range(ambient.shape[2]):
            weight = ZERO
            across = (np.float32(x) + HALF) * per - HALF
            if any_moved:
                weight = between(moved, y, across)
            told = -1
            for channel in range(3):
                a = ambient[channel, row, x]
                if a == a and (told < 0 or channel == 1):
                    told = channel
            shone, lit = ZERO, ZERO
            if told >= 0:
                shone, lit = ambient[told, row, x], strobe[told, row, x]
                square, total = ZERO, ZERO
                for k in range(values.shape[0]):
                    w = weights[k, told, row, x]
                    square += w * times[k] * times[k]
                    for j in range(k):
                        d = times[j] * fired[k] - times[k] * fired[j]
                        total += weights[j, told, row, x] * w * d * d
                lit *= lit * lit / (lit * lit + SHRINK * square / total)
            for channel in range(3):
                a, s = ambient[channel, row, x], strobe[channel, row, x]
                unsolved = a != a
                if not (unsolved or weight > ZERO):
                    continue
                part = between(share[channel], y, across)
                spread = part
                if unsolved:
                    if told >= 0 and shone + lit > ZERO:
                        toned = lit * tint[channel] / tint[told]
                        part = toned / (toned + shone)
                    # the frames that count say one thing only: t a + f s = light
                    total, light, t, f = ZERO, ZERO, ZERO, ZERO
                    for k in range(values.shape[0]):
                        w = weights[k, channel, row, x]
                        if w > ZERO:
                            total += w
                            light += w * values[k, channel, row, x]
                            t, f = times[k], fired[k]
                    if total > ZERO:
                        light = max(light / total, ZERO)
                        whole = light / ((ONE - part) * t + part * f) if (ONE - part) * t + part * f > ZERO else ZERO
                        a, s = (ONE - part) * whole, part * whole
                        for k in range(values.shape[0]):
                            limit = white[k, channel]
                            if values[k, channel, row, x] >= limit:  # clipped: there was at least so much
                                if f > ZERO and times[k] > t:
                                    least = (limit - light) / (times[k] - t)
                                    a = min(max(a, least), light / t)
                                    s = max(light - t * a, ZERO)
                                elif f == ZERO:
                                    s = max(s, limit - times[k] * a)
                    else:
                        dimmest, least = base, np.float32(1e30)
                        for k in range(values.shape[0]):
                            here = (ONE - part) * times[k] + part * fired[k]
                            if values[k, channel, row, x] == values[k, channel, row, x] and here < least:
                                dimmest, least = k, here
                        light = values[dimmest, channel, row, x]
                        whole = light / max(least, np.float32(1e-6)) if light == light else ZERO
                        a, s = (ONE - part) * whole, part * whole
                if weight > ZERO:
                    part = spread
                    light = values[base, channel, row, x]
                    if light == light:
                        light = max(light, ZERO)
                        here = (ONE - part) * times[base] + part * fired[base]
                        whole = light / here if here > ZERO else ZERO
                        a += weight * ((ONE - part) * whole - a)
                        s += weight * (part * whole - s)
                ambient[channel, row, x] = a
                strobe[channel, row, x] = s
