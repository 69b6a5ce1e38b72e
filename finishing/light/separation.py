"""Frames of one scene taken apart: aligned, their noise and shutters looked at, what moved found, ready to be read."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from finishing.light.alignment import Alignment, align, structure
from finishing.light.frames import LitFrame, Planes, read_rows, reduced
from finishing.light.mending import colour_of_strobe, mend, spread_share
from finishing.light.moved import feathered, find_moved, loosened, unlike
from finishing.light.noise import Noise, estimate_noise
from finishing.light.shutters import ShutterCheck, check_shutter
from finishing.light.solving import doubt, misfit, solve, weigh

#: The long edge, in pixels, at which what moved is looked for and the map is drawn; larger frames are reduced to it.
OVERVIEW = 1000
#: Frames whose corners lie off by less than this, in pixels of the overview, are taken to lie on each other: the
#: measurement is not surer, and pixels that are not interpolated keep their value.
ON_EACH_OTHER = 0.06
#: Floats of a strip of all frames: as many as the cache holds.
STRIP_FLOATS = 400_000
#: Where the frames are turned, a strip brings rows around it along: it is made higher, so that they are few.
ROWS_OF_TURNED = 64


@dataclass(frozen=True, eq=False)
class Overview:
    """The whole scene at 1/by of its size, in light of the frames' own primaries, as it lit the first frame.

    ambient, strobe: (3, height, width); ambient_doubt, strobe_doubt: their standard deviations, by error propagation;
    covariance: of the two; share: the strobe's share of the light, told where the frames do not tell it; tint: the
    strobe's colour as seen under the ambient, green at 1; moved: weights 0…1 (height, width), fading at the border;
    clipped: 0 where no frame is clipped, 1 where some are, 2 where not two are left to tell the lights apart.
    """

    by: int
    ambient: Planes
    strobe: Planes
    ambient_doubt: Planes
    strobe_doubt: Planes
    covariance: Planes
    share: Planes
    tint: NDArray[np.float32]
    moved: NDArray[np.float32]
    moved_mask: NDArray[np.bool_]
    clipped: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Separation:
    """What there is to know of a scene's two lights.

    frames: laid over the first one. times, fired: float32, shutter times over that of the first, and 1 where the
    strobes fired. base: the index of the frame whose light moved parts keep, the first with strobes. alignments,
    shutters: of the frames after the first, as they were found.
    """

    frames: tuple[LitFrame, ...]
    times: NDArray[np.float32]
    fired: NDArray[np.float32]
    noise: Noise
    alignments: tuple[Alignment, ...]
    shutters: tuple[ShutterCheck, ...]
    overview: Overview

    @property
    def height(self) -> int:
        """In pixels."""
        return self.frames[0].height

    @property
    def width(self) -> int:
        """In pixels."""
        return self.frames[0].width

    def lean(self) -> "Separation":
        """The same for reading its rows alone: the overview's lights and doubts are let go."""
        none = np.empty((3, 0, 0), np.float32)
        over = replace(self.overview, ambient=none, strobe=none, ambient_doubt=none, strobe_doubt=none, covariance=none)
        return replace(self, overview=over)

    @property
    def base(self) -> int:
        """The index of the first frame with strobes."""
        return int(np.argmax(self.fired))

    @property
    def strip_rows(self) -> int:
        """Rows that are best read at once."""
        rows = max(4, STRIP_FLOATS // (3 * self.width * len(self.frames)))
        return max(rows, ROWS_OF_TURNED) if any(frame.placed is not None for frame in self.frames) else rows

    def rows(self, ambient: Planes, strobe: Planes, top: int) -> None:
        """Fill (3, rows, width) with the two lights of the rows from `top` on: linear, of the frames' own primaries,
        none below 0, as they lit the first frame (the strobe as it would have, where the first had none)."""
        count = ambient.shape[1]
        values = np.empty((len(self.frames), 3, count, self.width), np.float32)
        weights = np.empty_like(values)
        for frame, planes in zip(self.frames, values, strict=True):
            read_rows(frame, planes, top)
        white = np.stack([frame.white for frame in self.frames])
        weigh(values, white, *_single(self.noise), weights)
        solve(values, weights, self.times, self.fired, ambient, strobe)
        over = self.overview
        first, last = top // over.by - 2, (top + count) // over.by + 3
        any_moved = bool(over.moved[max(first, 0) : max(last, 1)].any())
        mend(
            values, weights, self.times, self.fired, white, over.share, over.tint, over.moved, any_moved, self.base,
            top, over.by, ambient, strobe,
        )  # fmt: skip


def error_gain(times: Sequence[float], fired: Sequence[bool]) -> tuple[float, float]:
    """How many times the error of one frame the errors of ambient and strobe are, all frames being equally uncertain:
    the roots of the diagonal of (XᵀX)⁻¹, X the rows (t_k, f_k), t_k over the first frame's time.

    Infinite where the frames do not tell the two apart. Shutters two stops apart, t = 1 and 4: 0.47 and 1.37; one stop
    apart, t = 1 and 2: 1.41 and 2.24.
    """
    rows = np.stack([np.asarray(times, np.float64) / times[0], np.asarray(fired, np.float64)], axis=1)
    normal = rows.T @ rows
    if np.linalg.det(normal) < 1e-9 * max(float(np.trace(normal)), 1e-30) ** 2:
        return float("inf"), float("inf")
    errors = np.sqrt(np.diag(np.linalg.inv(normal)))
    return float(errors[0]), float(errors[1])


def separate(
    frames: Sequence[LitFrame], luminance: NDArray[np.float64], *, check_shutters: bool = True,
    threads: int | None = None,
) -> Separation:  # fmt: skip
    """Take two frames or more apart. luminance: the weights of the frames' own primaries in luminance.

    Every frame after the first is laid over the first. The frames must tell the lights apart (`error_gain`), have one
    size and one encoding; ValueError otherwise. Whether they are of one scene is for the caller to see:
    `Alignment.found`.
    """
    sizes = {(frame.height, frame.width) for frame in frames}
    if len(frames) < 2 or len(sizes) > 1:
        raise ValueError("expected two frames or more of one size")
    if not np.isfinite(error_gain([f.seconds for f in frames], [f.strobes for f in frames])).all():
        raise ValueError("these frames do not tell ambient and strobe apart")
    height, width = sizes.pop()
    by = max(1, -(-max(height, width) // OVERVIEW))
    workers = threads or os.cpu_count() or 1
    with ThreadPoolExecutor(min(workers, len(frames))) as pool:
        small = list(pool.map(lambda frame: reduced(frame, by), frames))
        alignments = tuple(pool.map(lambda planes: align(small[0], planes, luminance, by), small[1:]))
    placed = [frames[0]]
    for frame, alignment in zip(frames[1:], alignments, strict=True):
        placed.append(replace(frame, placed=None if alignment.largest < ON_EACH_OTHER * by else alignment.matrix))
    values = np.empty((len(frames), *small[0].shape), np.float32)
    for index, (frame, planes) in enumerate(zip(placed, small, strict=True)):
        values[index] = planes if frame.placed is None else _laid_over(frame, planes, by)
    small.clear()
    noise = estimate_noise(placed)
    less = noise.reduced(by)
    checks = tuple(
        check_shutter(placed[0], frame, values[0], values[index], less)
        for index, frame in enumerate(placed[1:], 1)
        if check_shutters
    )
    for index, check in enumerate(checks, 1):
        placed[index] = replace(placed[index], seconds=placed[index].seconds * 2.0**check.excess_stops)
    times = np.array([frame.seconds / placed[0].seconds for frame in placed], np.float32)
    fired = np.array([frame.strobes for frame in placed], np.float32)
    overview = _overview(placed, values, times, fired, less, by, luminance)
    return Separation(tuple(placed), times, fired, noise, alignments, checks, overview)


def _laid_over(frame: LitFrame, planes: Planes, by: int) -> Planes:
    """A reduced frame as it lies in the first."""
    assert frame.placed is not None
    to_small = np.array([[1 / by, 0, (1 / by - 1) / 2], [0, 1 / by, (1 / by - 1) / 2], [0, 0, 1.0]])
    matrix = (to_small @ np.vstack([frame.placed, [0, 0, 1]]) @ np.linalg.inv(to_small))[:2]
    # light that is floating-point already, but clipped where the frame's own light is
    values = _Reduced(
        frame.name, np.moveaxis(planes, 0, -1), np.empty((3, 0), np.float32), frame.seconds, frame.strobes, matrix,
        limit=frame.white,
    )  # fmt: skip
    out = np.empty_like(planes)
    read_rows(values, out, 0)
    return out


@dataclass(frozen=True, eq=False)
class _Reduced(LitFrame):
    limit: Planes | None = None

    @property
    def white(self) -> Planes:
        assert self.limit is not None
        return self.limit


def _single(noise: Noise) -> tuple[np.float32, np.float32, np.float32]:
    return np.float32(noise.floor), np.float32(noise.per_light), np.float32(noise.per_square)


def _overview(
    frames: Sequence[LitFrame], values: Planes, times: NDArray[np.float32], fired: NDArray[np.float32],
    noise: Noise, by: int, luminance: NDArray[np.float64],
) -> Overview:  # fmt: skip
    white = np.stack([frame.white for frame in frames])
    weights = np.empty_like(values)
    weigh(values, white, *_single(noise), weights)
    shape = values.shape[1:]
    ambient, strobe = np.empty(shape, np.float32), np.empty(shape, np.float32)
    smooth, searching = loosened(frames, values, weights)
    solve(smooth, searching, times, fired, ambient, strobe)
    off = np.empty(shape[1:], np.float32)
    misfit(smooth, searching, times, fired, ambient, strobe, off)
    other = unlike(*(structure(planes, luminance) for planes in smooth)) if len(frames) == 2 else None
    moved = find_moved(off, len(frames), other)
    del searching, smooth
    solve(values, weights, times, fired, ambient, strobe)
    unsolved = np.isnan(ambient).any(axis=0)
    clipped = np.asarray((values >= white[:, :, None, None]).any(axis=(0, 1)), np.uint8)
    clipped[unsolved & (clipped > 0)] = 2
    ambient_variance, strobe_variance = np.empty(shape, np.float32), np.empty(shape, np.float32)
    covariance = np.empty(shape, np.float32)
    doubt(weights, times, fired, ambient_variance, strobe_variance, covariance)
    tint = colour_of_strobe(ambient, strobe, ~unsolved & ~moved)
    share = np.full((3, 1, 1), 0.5, np.float32)
    base = int(np.argmax(fired))
    if unsolved.any() or moved.any():
        total = np.ones(shape, np.float32)
        np.add(ambient_variance, strobe_variance + 2 * covariance, out=total, where=np.isfinite(ambient_variance))
        np.sqrt(np.maximum(total, 0, out=total), out=total)
        most = _most_strobe(values, white, times, base, tint)
        most[:, moved] = 1  # frames that saw different things do not bound each other
        share = spread_share(ambient, strobe, total, np.sqrt(strobe_variance), ~moved, values[base], tint, most)
    weight = feathered(moved) if moved.any() else np.zeros(shape[1:], np.float32)
    mend(values, weights, times, fired, white, share, tint, weight, bool(moved.any()), base, 0, 1, ambient, strobe)
    return Overview(
        by, ambient, strobe, np.sqrt(ambient_variance), np.sqrt(strobe_variance), covariance, share, tint, weight,
        moved, clipped,
    )  # fmt: skip


def _most_strobe(
    values: Planes, white: Planes, times: NDArray[np.float32], base: int, tint: NDArray[np.float32]
) -> Planes:
    """The share that the strobe can have at most, where a longer frame is clipped and the one with strobes is not:
    t_k a + s is at least white there. What bounds one channel bounds the others, by the colours of the lights, with
    room for half as much again. 1 elsewhere."""
    own, t = values[base], times[base]
    most = np.ones_like(own)
    for k, time in enumerate(times):
        if time <= t:
            continue
        limit = white[k][:, None, None]
        bound = (values[k] >= limit) & (own < white[base][:, None, None])
        if bound.any():
            ambient = np.minimum((limit - own) / (time - t), own / t)
            strobe = np.maximum(own - t * ambient, 0)
            least = np.divide(strobe, strobe + ambient, out=np.ones_like(own), where=bound & (strobe + ambient > 0))
            np.minimum(most, least, out=most)
    odds = most / np.maximum(1 - most, np.float32(1e-6)) / tint[:, None, None]
    shared = np.minimum(odds, 1.5 * odds.min(axis=0)) * tint[:, None, None]
    return np.asarray(shared / (1 + shared), np.float32)
