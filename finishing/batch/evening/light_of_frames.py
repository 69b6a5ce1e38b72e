"""What is seen of a frame when it is measured: the light of regions, on a reduced decode."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.batch.evening.measured import Measurements, pack, unpack
from finishing.batch.memory.ledger import hash_file
from finishing.batch.opening.picture import fitted, reduced
from finishing.compiled import singles
from finishing.engine.ends import CodedSource
from finishing.errors import Problem
from finishing.evenness.consistency import LEAST_SKIN
from finishing.evenness.reading import CLIPPED, Reading, read_light
from finishing.operation import Geometry, Planes
from finishing.photographs.reading import read_reduced
from finishing.regions.combined import written
from finishing.regions.mask_files import read_mask
from finishing.regions.region import Region
from finishing.regions.skin import Skin
from finishing.sessions.folder import FramePath
from finishing.sessions.session import Session

if TYPE_CHECKING:
    from finishing.photographs.reading import Photograph

#: Long edge in pixels of the picture that regions are measured on.
MEASURED_EDGE = 600
UNREADABLE = "the frame cannot be read"
#: A reduced pixel is clipped where more than this share of what it covers is, in any channel.
MOST_CLIPPED = 0.1


@dataclass(frozen=True)
class Seen:
    """light, colour: the regions that exposure and white are measured in, or why there is none, in words; skin: mean
    linear light of the frame's skin, None where there is none."""

    light: Reading | str
    colour: Reading | str
    skin: NDArray[np.float64] | None = None


#: So many pixels of a reading are worked with and remembered, evenly out of its ranking.
REMEMBERED = 2048


def see_frame(
    session: Session, frame: FramePath, light: Region | None, colour: Region | None, measurements: Measurements
) -> Seen:
    """Measure a frame as it came, uncut, or remember it. That it cannot be read, or lacks what a region needs, is told
    in words."""
    files = session.mask_files(frame.name)
    wanted = {name for region in (light, colour) if region is not None for name in region.mask_names}
    beside = [path for region in (light, colour) if region is not None for path in region.mask_paths]
    asked = {
        "edge": MEASURED_EDGE,
        "kept": REMEMBERED,
        "light": None if light is None else written(light),
        "colour": None if colour is None else written(colour),
        "subject": session.of_frame(frame.name).subject,
        "masks": {name: _hash(path) for name, path in sorted(files.items()) if name in wanted},
        "masks beside": [_hash(path) for path in beside],
    }
    return measurements.find(frame, "light", asked, lambda: _measure(session, frame, light, colour), _packed, _unpacked)


def _hash(path: Path) -> str:
    return hash_file(path) if path.is_file() else ""


def _packed(seen: Seen) -> bytes | None:
    """A frame that cannot be read may be once more is installed."""
    if isinstance(seen.light, str) and seen.light.startswith(UNREADABLE):
        return None
    same = seen.colour is seen.light
    skin = None if seen.skin is None else [float(part) for part in seen.skin]
    return pack({"skin": skin, "same": same}, *([seen.light] if same else [seen.light, seen.colour]))


def _unpacked(data: bytes) -> Seen:
    told, readings = unpack(data)
    skin = None if told["skin"] is None else np.array(told["skin"])
    return Seen(readings[0], readings[-1], skin)


def thinned(reading: Reading) -> Reading:
    """The same with as many pixels as are remembered."""
    count = len(reading.pixels)
    if count <= REMEMBERED:
        return reading
    kept = ((np.arange(REMEMBERED) + 0.5) * count / REMEMBERED).astype(np.int64)
    return Reading(reading.pixels[kept], reading.weights[kept], reading.dark, reading.clipped, reading.area)


def _measure(session: Session, frame: FramePath, light: Region | None, colour: Region | None) -> Seen:
    try:
        photograph = read_reduced(frame.path, MEASURED_EDGE)
    except Problem as problem:
        told = f"{UNREADABLE} ({problem.what})"
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
            readings.append(thinned(read_light(planes, clipped, region, geometry)))
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
