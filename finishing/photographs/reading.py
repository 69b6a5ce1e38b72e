"""Reads frames: pixels upright, as the file's own codes, with what the codes mean.

Formats are told by content. The orientation in EXIF is applied here, once, and nowhere else.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.icc import TableProfile
from finishing.errors import Problem
from finishing.photographs import heif, jpeg, png, raw, tiff, webp
from finishing.photographs.containers import (
    Container,
    Damaged,
    FileWindow,
    damaged,
    read_bytes,
    scan,
    unreadable,
)
from finishing.photographs.encoding import (
    Encoding,
    codes_of_light,
    convert_table_profile,
    find_encoding,
    light_of_floats,
)
from finishing.photographs.headers import Header, header_of, read_header, upright_metadata
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.orientation import upright

__all__ = ["Encoding", "Header", "Photograph", "read_header", "read_photograph", "read_reduced", "read_xmp_packet"]

#: Reductions that the JPEG decoder does by itself, the strongest first.
REDUCTIONS = (8, 4, 2)


@dataclass(frozen=True, eq=False)
class Photograph:
    """A frame, upright.

    name: the file's name without its ending. codes: uint8 or uint16 (height, width, 3), contiguous, row 0 at the top.
    light: of a floating-point file its values as linear light of the working space, float32 (height, width, 3),
    unbounded; its codes are then those of the part that lies within a wide space, for whatever works on codes.
    encoding: what the codes mean. metadata: the frame's record; its orientation is 1, as the pixels now stand.
    notices: what was assumed or left out in reading, for the user to know. reduction: 1 for the whole picture;
    2, 4 or 8 where the decoder gave it smaller.
    """

    name: str
    codes: NDArray[Any]
    encoding: Encoding
    metadata: FrameMetadata
    notices: list[str]
    reduction: int = 1
    light: NDArray[np.float32] | None = None

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
    if long_edge is not None and container.format in ("jpeg", "raw") and container.model != "cmyk":
        longest = max(container.width, container.height)
        possible = REDUCTIONS if container.format == "jpeg" else (2,)
        reduction = next((r for r in possible if -(-longest // r) >= long_edge), 1)
    light: NDArray[np.float32] | None = None
    if container.floating:
        values = _guarded(lambda: tiff.decode(data, container), container, path.name)
        light, told = light_of_floats(upright(values, header.metadata.orientation), container, path.name)
        codes, encoding = codes_of_light(light)
    else:
        codes, encoding, told = _pixels(data, container, header, reduction, path.name)
        codes = np.ascontiguousarray(upright(codes, header.metadata.orientation))
    notices = [*header.notices, *told]
    if container.alpha:
        notices.append("its transparency channel, opaque everywhere, was left out")
    return Photograph(header.name, codes, encoding, upright_metadata(header.metadata), notices, reduction, light)


def _pixels(
    data: bytes, container: Container, header: Header, reduction: int, name: str
) -> tuple[NDArray[Any], Encoding, list[str]]:
    """Codes as stored (not turned), what they mean, and notices."""
    if container.format == "raw":
        codes, matrix = _guarded(lambda: raw.develop(data, half=reduction == 2), container, name)
        _check_size(codes, container, reduction, name)
        light = np.linspace(0, 1, 65536, dtype=np.float32)
        return codes, Encoding("camera light", np.stack([light] * 3), matrix), []
    encoding, notices = find_encoding(container, header.metadata, name)
    codes = _guarded(lambda: _decode(data, container, reduction), container, name)
    _check_size(codes, container, reduction, name)
    if isinstance(encoding, TableProfile):
        codes, encoding, more = convert_table_profile(codes, encoding, name)
        notices += more
    return codes, encoding, notices


def _decode(data: bytes, container: Container, reduction: int) -> NDArray[Any]:
    if container.format == "jpeg":
        return jpeg.decode(data, container, reduction)
    if container.format == "png":
        return png.decode(data, container)
    if container.format == "tiff":
        return tiff.decode(data, container)
    if container.format == "webp":
        return webp.decode(data, container)
    return heif.decode(data, container)


def _guarded(decode: Callable[[], Any], container: Container, name: str) -> Any:
    """What decoding gives, its failures told with the file's name."""
    try:
        return decode()
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


def _check_size(codes: NDArray[Any], container: Container, reduction: int, name: str) -> None:
    if codes.shape[:2] != (-(-container.height // reduction), -(-container.width // reduction)):
        raise damaged(name, f"{codes.shape[1]} × {codes.shape[0]} pixels came out of it")


def read_xmp_packet(path: Path) -> bytes:
    """The XMP packet that is embedded in a picture file of any format, or the bytes of a packet that lies in a file of
    its own; empty where there is none. Raises Problem where the file is missing or damaged."""
    path = Path(path)
    if path.suffix.lower() == ".xmp":
        return read_bytes(path, path.name)
    try:
        with path.open("rb") as stream:
            return scan(FileWindow(stream), path.name).xmp
    except OSError as error:
        raise unreadable(error, path.name) from error
