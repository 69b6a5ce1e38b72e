"""Reads frames: pixels upright, as the file's own codes, with what the codes mean.

Formats are told by content. The orientation in EXIF is applied here, once, and nowhere else.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from finishing.colour.icc import TableProfile
from finishing.errors import Problem
from finishing.photographs import jpeg, png, tiff
from finishing.photographs.containers import Container, Damaged, damaged, read_bytes, scan
from finishing.photographs.encoding import Encoding, convert_table_profile, find_encoding
from finishing.photographs.headers import Header, header_of, read_header, upright_metadata
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.orientation import upright

__all__ = ["Encoding", "Header", "Photograph", "read_header", "read_photograph", "read_reduced"]

#: Reductions that the JPEG decoder does by itself, the strongest first.
REDUCTIONS = (8, 4, 2)


@dataclass(frozen=True, eq=False)
class Photograph:
    """A frame, upright.

    name: the file's name without its ending. codes: uint8 (height, width, 3), contiguous, row 0 at the top.
    encoding: what the codes mean. metadata: the frame's record; its orientation is 1, as the pixels now stand.
    notices: what was assumed or left out in reading, for the user to know. reduction: 1 for the whole picture;
    2, 4 or 8 where the decoder gave it smaller.
    """

    name: str
    codes: NDArray[np.uint8]
    encoding: Encoding
    metadata: FrameMetadata
    notices: list[str]
    reduction: int = 1

    @property
    def height(self) -> int:
        """In pixels."""
        return int(self.codes.shape[0])

    @property
    def width(self) -> int:
        """In pixels."""
        return int(self.codes.shape[1])


def read_photograph(path: Path) -> Photograph:
    """The whole frame. Raises Problem, told with the file's name, for anything that cannot be read rightly."""
    return _read(Path(path), None)


def read_reduced(path: Path, long_edge: int) -> Photograph:
    """The frame for a preview: a JPEG is decoded at 1/2, 1/4 or 1/8 where that still has `long_edge` pixels or more.

    Other formats come whole. The caller brings it to its size. Raises Problem as `read_photograph`.
    """
    if long_edge < 1:
        raise ValueError(f"expected a long edge of at least 1 pixel, not {long_edge}")
    return _read(Path(path), long_edge)


def _read(path: Path, long_edge: int | None) -> Photograph:
    data = read_bytes(path, path.name)
    container = scan(data, path.name)
    header = header_of(path, container)
    if header.refusal is not None:
        raise header.refusal
    reduction = 1
    if long_edge is not None and container.format == "jpeg":
        longest = max(container.width, container.height)
        reduction = next((r for r in REDUCTIONS if -(-longest // r) >= long_edge), 1)
    encoding, colour_notices = find_encoding(container, header.metadata, path.name)
    codes = _decode(data, container, reduction, path.name)
    notices = [*header.notices, *colour_notices]
    if container.alpha:
        notices.append("its transparency channel, opaque everywhere, was left out")
    if isinstance(encoding, TableProfile):
        codes, encoding, more = convert_table_profile(codes, encoding, path.name)
        notices += more
    codes = np.ascontiguousarray(upright(codes, header.metadata.orientation))
    return Photograph(header.name, codes, encoding, upright_metadata(header.metadata), notices, reduction)


def _decode(data: bytes, container: Container, reduction: int, name: str) -> NDArray[np.uint8]:
    try:
        if container.format == "jpeg":
            codes = jpeg.decode(data, container, reduction)
        elif container.format == "png":
            codes = png.decode(data, container)
        else:
            codes = tiff.decode(data, container)
    except Damaged as error:
        raise damaged(name, str(error)) from error
    except Problem as error:
        raise error.at(name) from error
    except MemoryError as error:
        raise Problem(
            "there is not enough memory for this frame",
            where=name,
            got=f"{container.width} × {container.height} pixels",
            remedy="close other programs, or run with fewer jobs",
        ) from error
    expected = (-(-container.height // reduction), -(-container.width // reduction), 3)
    if codes.shape != expected:
        raise damaged(name, f"{codes.shape[1]} × {codes.shape[0]} pixels came out of it")
    return codes
