"""What is seen of a frame when it is measured: the light of regions, on a reduced decode."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.batch.opening.picture import fitted, reduced
from finishing.compiled import singles
from finishing.engine.ends import CodedSource
from finishing.errors import Problem
from finishing.evenness.consistency import LEAST_SKIN
from finishing.evenness.reading import CLIPPED, Reading, read_light
from finishing.operation import Geometry, Planes
from finishing.photographs.reading import read_reduced
from finishing.regions.mask_files import read_mask
from finishing.regions.region import Region
from finishing.regions.skin import Skin
from finishing.sessions.folder import FramePath
from finishing.sessions.session import Session

if TYPE_CHECKING:
    from finishing.photographs.reading import Photograph

#: Long edge in pixels of the picture that regions are measured on.
MEASURED_EDGE = 600
#: A reduced pixel is clipped where more than this share of what it covers is, in any channel.
MOST_CLIPPED = 0.1


@dataclass(frozen=True)
class Seen:
    """light, colour: the regions that exposure and white are measured in, or why there is none, in words; skin: mean
    linear light of the frame's skin, None where there is none."""

    light: Reading | str
    colour: Reading | str
    skin: NDArray[np.float64] | None = None


def see_frame(session: Session, frame: FramePath, light: Region | None, colour: Region | None) -> Seen:
    """Measure a frame as it came, uncut. That it cannot be read, or lacks what a region needs, is told in words."""
    try:
        photograph = read_reduced(frame.path, MEASURED_EDGE)
    except Problem as problem:
        told = f"the frame cannot be read ({problem.what})"
        return Seen(told, told)
    planes, clipped = linear_light(photograph, MEASURED_EDGE)
    files = session.mask_files(frame.name)
    readings: list[Reading | str] = []
    for region in (light, colour):
        if readings and colour == light:
            readings.append(readings[0])
            continue
        try:
            wanted = region.mask_names if region is not None else frozenset()
            masks = {name: read_mask(path) for name, path in files.items() if name in wanted}
            scale = planes.shape[2] / (photograph.width * photograph.reduction)
            geometry = Geometry(
                planes.shape[2], planes.shape[1], session.of_frame(frame.name).subject, scale=scale, masks=masks
            )
            readings.append(read_light(planes, clipped, region, geometry))
        except Problem as problem:
            readings.append(problem.what)
    skin = read_light(planes, clipped, Skin(), Geometry(planes.shape[2], planes.shape[1]))
    found = skin.area * skin.usable >= LEAST_SKIN and len(skin.pixels) > 0
    return Seen(readings[0], readings[1], skin.mean() if found else None)


def linear_light(photograph: "Photograph", long_edge: int) -> tuple[Planes, NDArray[np.bool_]]:
    """A photograph in linear working light at a long edge, float32 (3, height, width), and where it was clipped.

    Clipping is looked for in the file's own codes, before anything is averaged or carried to other primaries.
    """
    size = fitted(photograph.width, photograph.height, long_edge)
    tables = photograph.encoding.tables
    ends = (tables >= CLIPPED * tables[:, -1:]).astype(np.float32)
    own = _planes(CodedSource(photograph.codes, tables, None), size)
    clipped = np.asarray((_planes(CodedSource(photograph.codes, ends, None), size) > MOST_CLIPPED).any(axis=0))
    if photograph.encoding.matrix is not None:
        domains.apply_matrix(own, singles(*np.asarray(photograph.encoding.matrix).ravel()))
    return own, clipped


def _planes(source: CodedSource, size: tuple[int, int]) -> Planes:
    small = reduced(source, *size)
    planes = np.empty((3, small.height, small.width), np.float32)
    small.read(planes, 0)
    return planes
