"""One frame carried through one look at one size: photograph in, codes out."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.turning import framed_mask, framed_source
from finishing.colour.spaces import SRGB, ColourSpace
from finishing.compiled import singles
from finishing.domains import apply_matrix
from finishing.engine.ends import CodedSink, CodedSource, LinearSource, Source
from finishing.engine.execution import execute, strip_height
from finishing.evenness.correction import NONE, Correction
from finishing.operation import Geometry
from finishing.overview import Reducer
from finishing.recipes.recipe import Step
from finishing.regions.mask_files import read_mask

if TYPE_CHECKING:
    from finishing.batch.work.assignment import FrameWork
    from finishing.photographs.reading import Photograph


def source_of(photograph: "Photograph", correction: Correction = NONE) -> CodedSource:
    """The photograph as the engine reads it, its correction worked in where its codes become light."""
    tables, matrix = photograph.encoding.tables, photograph.encoding.matrix
    if correction.stops:
        tables = tables * np.float32(correction.gain)
    if correction.rows is not None:
        matrix = correction.matrix if matrix is None else correction.matrix @ matrix
    return CodedSource(photograph.codes, tables, matrix)


def exact_source_of(photograph: "Photograph", correction: Correction = NONE) -> CodedSource | LinearSource:
    """As `source_of`, but a floating-point file as float, with all that lies beyond 0 and 1, in planes of its own."""
    if photograph.light is None:
        return source_of(photograph, correction)
    planes = np.moveaxis(photograph.light, -1, 0).astype(np.float32) * np.float32(correction.gain)
    if correction.rows is not None:
        apply_matrix(planes, singles(*correction.matrix.ravel()))
    return LinearSource(np.ascontiguousarray(planes))


def masks_of(work: "FrameWork") -> dict[str, NDArray[np.float32]]:
    """The masks that a frame's looks ask for; one that the session does not give is told by the step that needs it,
    which then knows of all that there are."""
    wanted = {name for look in work.looks for name in look.mask_names}
    lacking = not wanted.issubset(work.mask_files)
    return {name: read_mask(path) for name, path in work.mask_files.items() if name in wanted or lacking}


def kept_of(
    work: "FrameWork", source: CodedSource | LinearSource, scale: float, *, threads: int = 1
) -> tuple[Source, Geometry]:
    """What the session keeps of a frame (straightened, cropped), and its geometry: subject and masks with it.

    source: the frame as it came, whole; scale: pixels of it to one of the full-size frame.
    """
    whole = Geometry(source.width, source.height, work.says.subject, scale=scale, masks=masks_of(work))
    framing = framing_of(work.says, source.width, source.height)
    if framing.whole:
        return source, whole
    masks = {name: framed_mask(mask, framing) for name, mask in whole.masks.items()}
    subject = None if whole.subject is None else framing.point(*whole.subject)
    kept = replace(whole, width=framing.width, height=framing.height, subject=subject, masks=masks)
    return framed_source(source, framing, threads=threads), kept


def fitted(width: int, height: int, long_edge: int | None) -> tuple[int, int]:
    """Width and height brought to a long edge, in whole pixels; a frame that is smaller stays as it is."""
    if long_edge is None or max(width, height) <= long_edge:
        return width, height
    scale = long_edge / max(width, height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def reduced(source: Source, width: int, height: int) -> Source:
    """The picture at another size, in linear light: smaller, each pixel the mean of the area it covers; larger,
    between its pixels by Lanczos's filter over eight of them (C. E. Duchon, "Lanczos Filtering in One and Two
    Dimensions", 1979).

    Returns the source itself where the size is the same.
    """
    if (width, height) == (source.width, source.height):
        return source
    if width > source.width or height > source.height:
        return _enlarged(source, width, height)
    if isinstance(source, CodedSource):
        quick = source.reduced(height, width)
        if quick is not None:
            return quick
    reducer = Reducer(source.height, source.width, height, width)
    rows = strip_height(source.width)
    scratch = np.empty((3, rows, source.width), np.float32)
    for top in range(0, source.height, rows):
        strip = scratch[:, : min(rows, source.height - top)]
        source.read(strip, top)
        reducer.add(strip, top)
    return LinearSource(reducer.overview().planes)


def _enlarged(source: Source, width: int, height: int) -> Source:
    full = np.empty((3, source.height, source.width), np.float32)
    source.read(full, 0)
    return LinearSource(np.stack([_between(plane, width, height) for plane in full]))


def _between(plane: NDArray[np.float32], width: int, height: int) -> NDArray[np.float32]:
    """One channel enlarged, kept within what stands around each place, so that no seam comes up beside a hard edge."""
    size, near = (width, height), np.ones((3, 3), np.uint8)
    sharp = cv2.resize(plane, size, interpolation=cv2.INTER_LANCZOS4)
    low = cv2.resize(cv2.erode(plane, near), size, interpolation=cv2.INTER_NEAREST)
    high = cv2.resize(cv2.dilate(plane, near), size, interpolation=cv2.INTER_NEAREST)
    return np.clip(sharp, low, high)


def finish_picture(
    steps: Sequence[Step],
    source: Source,
    geometry: Geometry,
    space: ColourSpace = SRGB,
    *,
    threads: int = 1,
) -> NDArray[np.uint8]:
    """The finished codes, uint8 (height, width, 3)."""
    codes = np.empty((source.height, source.width, 3), np.uint8)
    execute(steps, source, CodedSink(codes, space), geometry, threads=threads)
    return codes
