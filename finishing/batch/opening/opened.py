"""The one way in which a frame of a session becomes a picture: from its file, or, a blend, from its sources."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.picture import exact_source_of, fitted, kept_of, reduced
from finishing.batch.work.assignment import FrameWork
from finishing.batch.work.blends import BlendWork, one_problem
from finishing.engine.ends import LinearSource, Source
from finishing.errors import ProblemSet
from finishing.operation import Geometry
from finishing.photographs.reading import read_photograph, read_reduced


@dataclass(frozen=True, eq=False)
class Opened:
    """A frame, straightened and cropped. notices: what reading it had to tell."""

    source: Source
    geometry: Geometry
    notices: list[str]


def open_frame(work: FrameWork, long_edge: int | None = None, *, threads: int = 1) -> Opened:
    """Open a frame whole, or for a preview: at a size at which what is kept of it has this long edge, or more.

    A blend comes with all that lies above white, as float32 planes; only one is taken apart at a time, whoever else
    waits (`taking_apart`). Raises Problem where it cannot be read, or the arithmetic of a blend does not hold.
    """
    if work.blend is not None:
        return _open_blend(work, work.blend, long_edge, threads)
    if long_edge is None:
        photograph = read_photograph(work.frame.path)
    else:
        photograph = read_reduced(work.frame.path, edge_to_open(work, long_edge))
    source = exact_source_of(photograph, work.correction)
    return Opened(*kept_of(work, source, 1 / photograph.reduction, threads=threads), photograph.notices)


def edge_to_open(work: FrameWork, long_edge: int) -> int:
    """The long edge that a frame must be opened with, for what is kept of it to have this one."""
    if work.header is None:
        return long_edge
    kept = framing_of(work.says, work.header.width, work.header.height)
    return math.ceil(long_edge * max(kept.full_width, kept.full_height) / max(kept.width, kept.height))


def _open_blend(work: FrameWork, blend: BlendWork, long_edge: int | None, threads: int) -> Opened:
    from finishing.batch.lighting.lighting_frames import IN_SESSION
    from finishing.batch.lighting.taking_apart import taken_apart, what_to_know
    from finishing.light.blending import BlendSource

    if blend.refusal is not None:
        raise blend.refusal
    light = blend.light
    try:
        with taken_apart(blend.taken, IN_SESSION, threads=threads) as apart:
            doubt = apart.doubt(light, work.says.subject or (0.5, 0.5))
            told = what_to_know(apart, blend.plan, doubt)
            own = to_working(work, apart.matrix)
            source = BlendSource(apart.separation.lean(), light, own)
            full = source.width
            del apart
            edge = None if long_edge is None else edge_to_open(work, long_edge)
            small = reduced(source, *fitted(source.width, source.height, edge))
            opened = small if isinstance(small, LinearSource) else LinearSource(source.light(threads))
            del source, small
    except ProblemSet as error:
        raise one_problem(error) from error
    return Opened(*kept_of(work, opened, opened.width / full, threads=threads), told)


def to_working(work: FrameWork, matrix: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """From the primaries of a blend's sources to the working space, evened out: the correction is linear, so it is the
    same whether it is done to both lights or to what they come to. None where nothing is to be done."""
    correction = work.correction
    if correction.changes_nothing:
        return matrix
    own = np.eye(3) if matrix is None else matrix
    return np.asarray(correction.matrix @ own * correction.gain, np.float64)
