"""One frame carried through one look at one size: photograph in, codes out."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB, ColourSpace
from finishing.engine.ends import CodedSink, CodedSource, LinearSource, Source
from finishing.engine.execution import execute, strip_height
from finishing.engine.plan import halo_of, plan
from finishing.operation import Domain, Geometry
from finishing.overview import Reducer
from finishing.recipes.recipe import Step
from finishing.regions.mask_files import read_mask

if TYPE_CHECKING:
    from finishing.batch.assignment import FrameWork
    from finishing.photographs.reading import Photograph


def source_of(photograph: "Photograph") -> CodedSource:
    """The photograph as the engine reads it."""
    return CodedSource(photograph.codes, photograph.encoding.tables, photograph.encoding.matrix)


def geometry_of(work: "FrameWork", photograph: "Photograph") -> Geometry:
    """The frame as its looks see it: its size, its subject, and the masks that its looks ask for.

    A mask that the session does not give is told by the step that needs it.
    """
    wanted = {name for look in work.looks for name in look.mask_names}
    masks = {name: read_mask(path) for name, path in work.mask_files.items() if name in wanted}
    scale = 1 / photograph.reduction
    return Geometry(photograph.width, photograph.height, work.says.subject, scale=scale, masks=masks)


def fitted(width: int, height: int, long_edge: int | None) -> tuple[int, int]:
    """Width and height brought to a long edge, in whole pixels; a frame that is smaller stays as it is."""
    if long_edge is None or max(width, height) <= long_edge:
        return width, height
    scale = long_edge / max(width, height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def reduced(source: Source, width: int, height: int) -> Source:
    """The picture at a smaller size, each pixel the mean of the area it covers, in linear light.

    Returns the source itself where the size is the same.
    """
    if (width, height) == (source.width, source.height):
        return source
    reducer = Reducer(source.height, source.width, height, width)
    rows = strip_height(source.width, 0)
    scratch = np.empty((3, rows, source.width), np.float32)
    for top in range(0, source.height, rows):
        strip = scratch[:, : min(rows, source.height - top)]
        source.read(strip, top)
        reducer.add(strip, top)
    return LinearSource(reducer.overview().planes)


def finish_picture(
    steps: Sequence[Step],
    source: Source,
    geometry: Geometry,
    space: ColourSpace = SRGB,
    *,
    into: NDArray[np.uint8] | None = None,
    threads: int = 1,
) -> NDArray[np.uint8]:
    """The finished codes, uint8 (height, width, 3). into: an array that may be written over, if the steps allow."""
    work = plan(steps, accepted=(Domain.LINEAR,), table=False)
    around = halo_of(work.items, geometry) > 0 or work.sweeps > 1
    codes = into if into is not None and not around else np.empty((source.height, source.width, 3), np.uint8)
    execute(steps, source, CodedSink(codes, space), geometry, threads=threads)
    return codes
