"""Frames of one tripod read and taken apart into strobe and ambient, one scene at a time in the whole program."""

import os
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from finishing import units
from finishing.batch.lighting.lighting_frames import Asked, Taken, is_light, lit_frame, one_encoding
from finishing.colour.spaces import LUMINANCE
from finishing.errors import Problem, ProblemSet
from finishing.light.blending import Blend
from finishing.light.curve import CurveDoubt, curve_doubt
from finishing.light.separation import Separation, error_gain, separate
from finishing.photographs.metadata import FrameMetadata
from finishing.sessions.plan import ShootPlan

#: Errors of one light over those of a frame from which on it is told; more of the picture moving than this is no
#: subject that moved.
NOISY, MOST_MOVED = 3.0, 0.5

_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, eq=False)
class Apart:
    """A scene's two lights. matrix: 3×3 from the frames' primaries to the working space, None for none; luminance:
    weights of the frames' primaries; exact: whether the files hold light itself; encoding: theirs, in words; metadata:
    of the first frame; told: what reading the files had to tell."""

    taken: tuple[Taken, ...]
    separation: Separation
    matrix: NDArray[np.float64] | None
    luminance: NDArray[np.float64]
    exact: bool
    encoding: str
    metadata: FrameMetadata
    told: tuple[str, ...]

    def lean(self) -> "Apart":
        """The same for reading its rows alone."""
        return replace(self, separation=self.separation.lean())

    def doubt(self, blend: Blend, place: tuple[float, float]) -> CurveDoubt | None:
        """What an unknown camera curve does to a blend and to the stops at a place; None where nothing is unknown."""
        if self.exact:
            return None
        stops = blend.ambient.stops or 0.0, blend.strobe.stops or 0.0
        return curve_doubt(self.separation, self.luminance, place, *stops)


@contextmanager
def taken_apart(taken: Sequence[Taken], asked: Asked, *, threads: int | None = None) -> Iterator[Apart]:
    """Read frames and take them apart; for as long as the context holds, no other frames are.

    Two frames of 24 megapixels need some 830 MB at the peak: workers wait here for each other rather than do so twice.
    Raises Problem or ProblemSet where a frame cannot be read, the frames are encoded differently or are not of one
    scene from one place.
    """
    with _ONE_AT_A_TIME:
        yield _take_apart(taken, asked, threads)


def _take_apart(taken: Sequence[Taken], asked: Asked, threads: int | None) -> Apart:
    workers = threads or os.cpu_count() or 1
    with ThreadPoolExecutor(min(workers, len(taken))) as pool:
        read = list(pool.map(lit_frame, taken))
    matrix = one_encoding(taken, [photograph for _, photograph in read])
    luminance = LUMINANCE if matrix is None else np.asarray(LUMINANCE @ matrix, np.float64)
    first = read[0][1]
    told = [f"{frame.path.name}: {notice}" for frame, (_, photograph) in zip(taken, read, strict=True)
            for notice in photograph.notices]  # fmt: skip
    separation = separate([frame for frame, _ in read], luminance, threads=threads)
    exact = all(is_light(photograph) for _, photograph in read)
    apart = Apart(
        tuple(taken), separation, matrix, luminance, exact, first.encoding.description, first.metadata, tuple(told)
    )
    _refuse(apart, asked)
    return apart


def _refuse(apart: Apart, asked: Asked) -> None:
    """Raises ProblemSet where the frames are not of one scene from one place."""
    taken, separation = apart.taken, apart.separation
    problems = [
        Problem(
            "this frame does not lie on the first: they are not of one scene, or the camera moved too far",
            where=frame.path.name,
            got=f"agreement {found.agreement:.2f} of 1, {found.shift[0]:+.0f} and {found.shift[1]:+.0f} pixels, "
            f"{found.degrees:+.1f}°",
            expected=f"a frame from the same tripod as {taken[0].path.name}",
            remedy="use frames that were taken from one tripod, one after the other",
        )
        for frame, found in zip(taken[1:], separation.alignments, strict=True)
        if not found.found
    ]
    moved = float(separation.overview.moved_mask.mean())
    if not problems and moved > MOST_MOVED:
        problems.append(
            Problem(
                "the frames contradict each other nearly everywhere",
                got=f"{moved:.0%} of the picture",
                expected="one light that follows the shutter and one that does not",
                remedy=f"check {asked.doubtful}, and that neither the strobes' power nor the daylight changed in "
                "between",
            )
        )
    if problems:
        raise ProblemSet(problems)


def what_to_know(apart: Apart, plan: ShootPlan | None, doubt: CurveDoubt | None) -> list[str]:
    """What the photographer should know of a scene's two lights."""
    taken, separation = apart.taken, apart.separation
    told = []
    if doubt is not None:
        told.append(_approximate(doubt))
    ambient, strobe = error_gain([frame.seconds for frame in taken], [frame.strobes for frame in taken])
    if max(ambient, strobe) > NOISY:
        told.append(
            f"the shutters lie near each other: noise in the ambient is {ambient:.1f} times that of a frame, in the "
            f"strobe {strobe:.1f} times; two stops apart it would be 0.5 and 1.4"
        )
    for frame, check in zip(taken[1:], separation.shutters, strict=True):
        if check.excess_stops:
            told.append(
                f"{frame.path.name}: where no strobe falls, it is {units.format_stops(check.excess_stops, 2)} stops "
                f"off what its shutter says against {taken[0].path.name}; that was taken into account"
            )
    over = separation.overview
    if over.moved_mask.any():
        told.append(
            f"something moved between the frames: {over.moved_mask.mean():.1%} of the picture keeps the light of "
            f"{separation.frames[separation.base].name}, split into strobe and ambient as around it"
        )
    lost = float((over.clipped == 2).mean())
    if lost > 0.001:
        told.append(f"{lost:.1%} of the picture is clipped in all but one frame: there the split is an estimate")
    for what, values in (("aperture", [f.aperture for f in taken]), ("ISO", [f.iso for f in taken])):
        if any(value is None for value in values):
            told.append(f"not every frame tells its {what}: it was taken to be the same in all")
    if (plan is None or plan.sync is None) and all(frame.strobes for frame in taken):
        what = "a plan" if plan is None else "a sync time in the plan"
        told.append(f"without {what} nobody checked that the shutters are no faster than the sync time")
    return [*told, *apart.told]


def _approximate(doubt: CurveDoubt) -> str:
    at = "" if doubt.stops_at_place is None else f"strobe over ambient by up to {doubt.stops_at_place:.2f} stop and "
    return (
        "approximate: the camera's curve is not known and was taken for the file's profile; a tenth more or less "
        f"contrast changes {at}the blend by {doubt.blend_codes:.1f} codes of 255; "
        "a 16-bit linear TIFF or a raw file is exact"
    )
