"""Sequences: what a frame's neighbours say about it, without blurring what is true of it alone."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Frames to each side that count as neighbours, and the standard deviation in frames of their weights.
NEIGHBOURS, REACH = 3, 1.5
#: Neighbours agree where the robust spread of their values is at most this, in stops.
AGREE = 0.25
#: A frame is moved only while it lies within so many times its own doubt of its neighbours.
MOST_DOUBTS = 4.0
#: No spread among neighbours counts as smaller than this, in stops.
LEAST_SPREAD = 0.02
#: Frames that a local line looks at.
SPAN = 7


def smoothed(values: Sequence[float | None], doubts: Sequence[float]) -> list[float | None]:
    """Values of a sequence of frames with the flicker of measuring taken out. None stands for what was not measured.

    values: what is left of each frame's measurement when all that is foreseen (a turn of the shutter) has been taken
    off; doubts: how uncertain each is, in the same unit, above 0. With m the median of the frame's nearest neighbours,
    as many before it as after it, weighted by a Gaussian of the distance in frames, s their robust spread and u the
    frame's own doubt, the frame moves toward m by

        (value − m) · u² / (s² + u²) · (1 − ((value − m) / 4u)²)²,

    the first factor the weight of two uncertain values for one thing, the second Tukey's biweight: a frame that lies
    more than 4u off is no matter of measuring, it is so, and stays; and so do the first and the last. What was not
    measured becomes m, of all its neighbours, where at least two agree within a quarter stop, else None. A constant
    stays exactly what it is.
    """
    result: list[float | None] = []
    for at, value in enumerate(values):
        found = neighbours_of(values, at, both_sides=value is not None)
        if found is None:
            result.append(value)
            continue
        middle, spread = found
        if value is None:
            result.append(middle if spread <= AGREE else None)
            continue
        off, doubt = value - middle, doubts[at]
        nearness = max(0.0, 1 - (off / (MOST_DOUBTS * doubt)) ** 2) ** 2
        spread = max(spread, LEAST_SPREAD)
        result.append(value - off * nearness * doubt**2 / (spread**2 + doubt**2))
    return result


def neighbours_of(values: Sequence[float | None], at: int, *, both_sides: bool) -> tuple[float, float] | None:
    """Weighted median and robust spread of a frame's neighbours, itself left out; None with fewer than two.

    both_sides: as many from before it as from after it, so that a course that rises or falls evenly gives its own
    value.
    """
    before = [i for i in range(at - 1, max(-1, at - 1 - NEIGHBOURS), -1) if values[i] is not None]
    after = [i for i in range(at + 1, min(len(values), at + 1 + NEIGHBOURS)) if values[i] is not None]
    if both_sides:
        count = min(len(before), len(after))
        before, after = before[:count], after[:count]
    known = [(values[i], float(np.exp(-0.5 * ((i - at) / REACH) ** 2))) for i in (*before, *after)]
    if len(known) < 2:
        return None
    own, weights = np.array([value for value, _ in known], np.float64), np.array([weight for _, weight in known])
    middle = weighted_median(own, weights)
    return middle, 1.4826 * weighted_median(np.abs(own - middle), weights)


def weighted_median(values: Floats, weights: Floats) -> float:
    """The median of weighted values, in a straight line between the two that lie around it."""
    order = np.argsort(values, kind="stable")
    ranked, share = values[order], weights[order] / weights.sum()
    return float(np.interp(0.5, np.cumsum(share) - share / 2, ranked))


def course(values: Floats) -> Floats:
    """The smooth course of a sequence: values (n, k) with rows of NaN where nothing was measured; the same shape back.

    At each frame a straight line through the nearest measured frames (7 at most), weighted by the tricube of their
    distance in frames and twice by the biweight of their residuals (Cleveland, "Robust locally weighted regression",
    J. Am. Stat. Assoc. 74, 1979). Constants and straight courses stay; nothing is drawn out beyond the first and the
    last measured frame. All NaN where nothing was measured at all.
    """
    known = np.flatnonzero(np.isfinite(values).all(axis=1))
    if len(known) == 0:
        return np.full_like(values, np.nan)
    if len(known) < 3:
        return np.tile(values[known].mean(axis=0), (len(values), 1))
    trust = np.ones((len(known), values.shape[1]))
    for turn in range(3):
        fitted = np.stack([_line(known, values[known], trust, int(at)) for at in known])
        if turn == 2:
            break
        left = np.abs(values[known] - fitted)
        scale = 6 * np.median(left, axis=0)
        trust = np.where(scale > 1e-12, np.maximum(0, 1 - (left / np.maximum(scale, 1e-12)) ** 2) ** 2, 1.0)
    inside = np.clip(np.arange(len(values)), known[0], known[-1])
    return np.stack([_line(known, values[known], trust, int(at)) for at in inside])


def _line(places: NDArray[np.int64], values: Floats, trust: Floats, at: int) -> Floats:
    """The value at `at` of weighted straight lines, one a column."""
    distance = np.abs(places - at).astype(np.float64)
    reach = np.sort(distance)[min(SPAN, len(places)) - 1] + 1
    near = np.maximum(0, 1 - (distance / reach) ** 3) ** 3
    result = np.empty(values.shape[1])
    for column in range(values.shape[1]):
        weights = near * trust[:, column]
        if np.count_nonzero(weights > 1e-6) < 2:
            weights = near
        total = weights.sum()
        x, y = places - weights @ places / total, values[:, column]
        mean = weights @ y / total
        square = weights @ (x * x)
        slope = weights @ (x * (y - mean)) / square if square > 1e-9 else 0.0
        result[column] = mean + slope * (at - weights @ places / total)
    return result
