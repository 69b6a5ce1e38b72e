"""What a file's outer form says about the picture in it, before any pixel is decoded."""

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import BinaryIO, Literal, Protocol

from finishing.errors import Problem, install_extra

Format = Literal["jpeg", "png", "tiff", "webp", "avif", "heif", "raw"]
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
        self.path = str(stream.name)
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
    included. floating: whether the values are floating-point numbers. exif: a TIFF structure, without the marker's
    preamble. icc: the profile; None where there is none. orientation: what the form itself says, which then counts
    instead of EXIF's. refusal: why the pixels cannot be read, or None.
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
    floating: bool = False
    orientation: int | None = None
    notices: tuple[str, ...] = ()
    refusal: Problem | None = None


class Damaged(Exception):
    """The file's outer form cannot be followed; the text says where it breaks, in words."""


def scan(window: Window, name: str) -> Container:
    """The outer form of a file, told by its content whatever its name ends in.

    Raises Problem, told with `name`, for another format and for an outer form that is damaged.
    """
    if len(window) == 0:
        raise Problem(
            "the file is empty",
            where=name,
            got="0 bytes",
            expected="a photograph",
            remedy="copy it again from the card or the backup",
        )
    try:
        found = _scan(window)
    except Damaged as error:
        raise damaged(name, str(error)) from error
    if found is None:
        from finishing.photographs import raw

        more = "" if raw.missing() is None else f"; if it is a raw file: {install_extra('raw')}"
        raise Problem(
            "this is not a photograph that can be read here",
            where=name,
            got=_kind(window[0:16]),
            expected="a JPEG, PNG, TIFF, WebP, AVIF, HEIC or raw file; the content counts, not the ending of the name",
            remedy=f"export it as TIFF, PNG or JPEG, or leave it out of the session{more}",
        )
    if found.width * found.height > MOST_PIXELS:
        raise Problem(
            "the picture is too large",
            where=name,
            got=f"{found.width} × {found.height} pixels",
            expected=f"at most {MOST_PIXELS // 1_000_000} million pixels",
            remedy="check that the file is whole; if it is meant to be this large, export it smaller",
        )
    return found


def _scan(window: Window) -> Container | None:
    """The outer form by its first bytes; None for what is no photograph. Raises Damaged."""
    from finishing.photographs import boxes, jpeg, png, raw, tiff, webp

    start = window[0:16]
    if start.startswith(jpeg.SIGNATURE):
        return jpeg.scan(window)
    if start.startswith(png.SIGNATURE):
        return png.scan(window)
    if start.startswith(tiff.SIGNATURES):
        return tiff.scan(window)
    if webp.is_webp(start):
        return webp.scan(window)
    kind = boxes.kind_of(window)
    if kind is not None:
        found = boxes.scan(window, kind)
        if kind == "heif":
            from finishing.photographs import heif

            found = replace(found, refusal=heif.refusal())
        return found
    # Some cameras' raw files are of a form of their own, which only LibRaw knows.
    return raw.scan(window) if raw.missing() is None else None


def missing_extra(what: str, extra: str) -> Problem:
    """What to install for a format that not everybody needs."""
    return Problem(
        f"this is {what}, and what reads it is not installed",
        expected=f"the extra {extra}",
        remedy=install_extra(extra),
    )


def missing_for(form: Format) -> Problem | None:
    """Why pictures of a format cannot be read for want of an extra; None where they can be."""
    from finishing.photographs import heif, raw

    return heif.refusal() if form == "heif" else raw.missing() if form == "raw" else None


def damaged(name: str, detail: str) -> Problem:
    """The one problem of every file that is cut short or broken."""
    return cut_short(detail).at(name)


def cut_short(detail: str) -> Problem:
    """The same without a name: the refusal of a file whose headers can be read, and whose pixels are not all there."""
    return Problem(
        "the file is damaged or cut short",
        got=detail,
        expected="a whole photograph",
        remedy="copy it again from the card or the backup",
    )


def too_many_bits(bits: int) -> Problem:
    """Why a picture is refused rather than read with fewer bits than it has."""
    return Problem(
        f"this frame has {bits} bits per channel, in a form that is not read here",
        got=f"{bits} bits per channel",
        expected="8 bits per channel in a JPEG; 8 or 16 bits, or floating-point values of 32, in a TIFF",
        remedy="export it as a 16-bit TIFF or PNG",
    )


def ink_colours(model: str) -> Problem:
    """Why a picture in printing inks (or another model that is not RGB or grey) is refused."""
    return Problem(
        f"this frame is stored as {model}, not as RGB or greyscale",
        got=model,
        expected="RGB or greyscale",
        remedy="export it as RGB with its profile embedded, or embed the profile of its inks",
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
        return "an ISO media file without a picture (a film, say)"
    if start.startswith(b"%PDF"):
        return "a PDF document"
    if start[:4] == b"RIFF":
        return "a RIFF file (sound or film)"
    if start.startswith((b"GIF8", b"BM")):
        return "a GIF or BMP picture"
    return "the first bytes " + start[:8].hex(" ")
