"""What a file's outer form says about the picture in it, before any pixel is decoded."""

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Literal, Protocol

from finishing.errors import Problem

Format = Literal["jpeg", "png", "tiff"]
ColourModel = Literal["rgb", "grey", "palette", "ycbcr", "cmyk", "other"]

#: The largest picture taken, in pixels: more is a damaged header or a picture this tool is not made for.
MOST_PIXELS = 500_000_000


class Window(Protocol):
    """Bytes that can be sliced: `bytes` itself, or a `FileWindow` that reads only what is asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> bytes: ...


class FileWindow:
    """An open file as bytes that can be sliced; only the slices asked for are read."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._size = os.fstat(stream.fileno()).st_size

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, part: slice, /) -> bytes:
        start, stop, _ = part.indices(self._size)
        self._stream.seek(start)
        return self._stream.read(max(0, stop - start))


@dataclass(frozen=True)
class PngColour:
    """A PNG's own words on colour, beside a profile.

    srgb: the sRGB chunk is there; gamma: gAMA as a number; chromaticities: cHRM as white, red, green, blue;
    code_points: cICP as its four numbers (ITU-T H.273).
    """

    srgb: bool = False
    gamma: float | None = None
    chromaticities: tuple[tuple[float, float], ...] | None = None
    code_points: tuple[int, int, int, int] | None = None


@dataclass(frozen=True)
class Container:
    """A file's outer form.

    width, height: as stored, before the EXIF orientation. bits: per channel. channels: as stored, alpha
    included. exif: a TIFF structure, without the marker's preamble. icc: the profile; None where there is none.
    refusal: why this version cannot read the pixels, or None.
    """

    format: Format
    width: int
    height: int
    bits: int
    channels: int
    model: ColourModel
    alpha: bool = False
    exif: bytes = b""
    xmp: bytes = b""
    icc: bytes | None = None
    png: PngColour = field(default_factory=PngColour)
    notices: tuple[str, ...] = ()
    refusal: Problem | None = None


class Damaged(Exception):
    """The file's outer form cannot be followed; the text says where it breaks, in words."""


def scan(window: Window, name: str) -> Container:
    """The outer form of a JPEG, PNG or TIFF file, told by its content whatever its name ends in.

    Raises Problem, told with `name`, for another format and for an outer form that is damaged.
    """
    from finishing.photographs import jpeg, png, tiff

    if len(window) == 0:
        raise Problem(
            "the file is empty",
            where=name,
            got="0 bytes",
            expected="a photograph",
            remedy="copy it again from the card or the backup",
        )
    start = window[0:16]
    try:
        if start.startswith(jpeg.SIGNATURE):
            found = jpeg.scan(window)
        elif start.startswith(png.SIGNATURE):
            found = png.scan(window)
        elif start.startswith(tiff.SIGNATURES):
            found = tiff.scan(window)
        else:
            raise Problem(
                "this is not a photograph that can be read here",
                where=name,
                got=_kind(start),
                expected="a JPEG, PNG or TIFF file; the content counts, not the ending of the name",
                remedy="export it as JPEG, PNG or TIFF with 8 bits per channel, or leave it out of the session",
            )
    except Damaged as error:
        raise damaged(name, str(error)) from error
    if found.width * found.height > MOST_PIXELS:
        raise Problem(
            "the picture is too large",
            where=name,
            got=f"{found.width} × {found.height} pixels",
            expected=f"at most {MOST_PIXELS // 1_000_000} million pixels",
            remedy="check that the file is whole; if it is meant to be this large, export it smaller",
        )
    return found


def damaged(name: str, detail: str) -> Problem:
    """The one problem of every file that is cut short or broken."""
    return Problem(
        "the file is damaged or cut short",
        where=name,
        got=detail,
        expected="a whole photograph",
        remedy="copy it again from the card or the backup",
    )


def too_many_bits(bits: int) -> Problem:
    """Why a picture with more than 8 bits per channel is refused rather than read as 8-bit."""
    return Problem(
        f"this frame has {bits} bits per channel",
        got=f"{bits} bits per channel",
        expected="8 bits per channel: this version reads 8-bit files only",
        remedy="export it as an 8-bit JPEG, PNG or TIFF meanwhile",
    )


def ink_colours(model: str) -> Problem:
    """Why a picture in printing inks (or another model that is not RGB or grey) is refused."""
    return Problem(
        f"this frame is stored as {model}, not as RGB or greyscale",
        got=model,
        expected="RGB or greyscale",
        remedy="export it as RGB with its profile embedded",
    )


def read_bytes(path: Path, name: str) -> bytes:
    """All bytes of a file. Raises Problem where it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise unreadable(error, name) from error


def unreadable(error: OSError, name: str) -> Problem:
    """What to tell when the operating system does not hand over a file."""
    if isinstance(error, FileNotFoundError):
        return Problem("there is no such file", where=name, remedy="check the name and the folder")
    if isinstance(error, IsADirectoryError):
        return Problem(
            "this is a folder, not a photograph",
            where=name,
            remedy="name the files in it, for example with *.jpg",
        )
    if isinstance(error, PermissionError):
        return Problem(
            "the file may not be read by you",
            where=name,
            remedy="give yourself the right to read it, then run again",
        )
    return Problem(
        "the file cannot be read",
        where=name,
        got=error.strerror or str(error),
        remedy="check the disk or the card reader, then run again",
    )


def _kind(start: bytes) -> str:
    if start[4:8] == b"ftyp":
        return "an ISO media file (HEIF, AVIF or a film)"
    if start.startswith(b"%PDF"):
        return "a PDF document"
    if start[:4] == b"RIFF":
        return "a RIFF file"
    if start.startswith((b"GIF8", b"BM")):
        return "a GIF or BMP picture"
    return "the first bytes " + start[:8].hex(" ")
