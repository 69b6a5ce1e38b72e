"""A frame's size and record from its headers alone, without decoding a pixel (and without loading NumPy)."""

from dataclasses import dataclass, replace
from pathlib import Path

from finishing.errors import Problem
from finishing.photographs.containers import Container, FileWindow, Format, scan, unreadable
from finishing.photographs.metadata import FrameMetadata, read_metadata
from finishing.photographs.xmp import NO_PACKET, Packet, read_sidecar

SIDEWAYS = frozenset({5, 6, 7, 8})  # EXIF orientations under which width and height change places


@dataclass(frozen=True)
class Header:
    """name: the frame's name (the file's without its ending); width, height: upright, in pixels.

    bits: per channel. refusal: why this version cannot read the pixels, or None. metadata.orientation is as found;
    its rating and rights are those of a packet beside the frame (frame.xmp), where there is one that has them.
    beside: those of the notices that tell what is wrong with that packet.
    """

    name: str
    path: Path
    format: Format
    width: int
    height: int
    bits: int
    metadata: FrameMetadata
    notices: tuple[str, ...]
    refusal: Problem | None = None
    beside: tuple[str, ...] = ()


def read_header(path: Path) -> Header:
    """What the headers say. Raises Problem where the file is missing, damaged or no photograph."""
    path = Path(path)
    try:
        with path.open("rb") as stream:
            container = scan(FileWindow(stream), path.name)
    except OSError as error:
        raise unreadable(error, path.name) from error
    beside, beside_notices = read_sidecar(path)
    header = header_of(path, container, beside)
    told = tuple(beside_notices)
    return replace(header, notices=(*header.notices, *told), beside=told) if told else header


def header_of(path: Path, container: Container, beside: Packet = NO_PACKET) -> Header:
    """The header that goes with a file's outer form. beside: the packet that lies beside the frame."""
    metadata, notices = read_metadata(container.exif, container.xmp, beside)
    if container.orientation is not None:
        metadata = replace(metadata, orientation=container.orientation)
    width, height = container.width, container.height
    if metadata.orientation in SIDEWAYS:
        width, height = height, width
    refusal = container.refusal.at(path.name) if container.refusal else None
    return Header(
        path.stem, path, container.format, width, height, container.bits, metadata,
        tuple(dict.fromkeys((*container.notices, *notices))), refusal,
    )  # fmt: skip


def upright_metadata(metadata: FrameMetadata) -> FrameMetadata:
    """The record of a frame whose pixels now stand upright."""
    return replace(metadata, orientation=1)
