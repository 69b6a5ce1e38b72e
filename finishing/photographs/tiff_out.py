"""Writes TIFF files (TIFF 6.0; compression and predictor as in its supplements) with EXIF, XMP and profile."""

import struct
import sys
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from finishing.errors import Problem
from finishing.photographs.exif import Entry, Exif, Kind, long, rational, read_exif, short, undefined, write_exif

if TYPE_CHECKING:
    from numpy.typing import DTypeLike, NDArray

Compression = Literal["none", "lzw", "deflate"]

_NUMBERS = {"none": 1, "lzw": 5, "deflate": 8}
_STRIP_BYTES = 1 << 20
_DEFLATE_LEVEL = 6
_MOST_BYTES = 4_000_000_000  # offsets have 32 bits
_HEAD, _TAIL = 8, 1 << 20  # bytes: TIFF's header before the codes, room for records and profile after them
_NATIVE = "<" if sys.byteorder == "little" else ">"
_HORIZONTAL = 2  # the predictor: each sample less the one of its channel to the left


def codes_with_room(height: int, width: int, kind: "DTypeLike") -> "NDArray[Any]":
    """An empty array for codes (height, width, 3) with room around it for the rest of a TIFF file: `encode_tiff` then
    needs no copy of the picture where it is not compressed."""
    import numpy as np

    size = height * width * 3 * np.dtype(kind).itemsize
    room = np.empty(_HEAD + size + _TAIL, np.uint8)
    return room[_HEAD : _HEAD + size].view(kind).reshape(height, width, 3)


def encode_tiff(
    codes: "NDArray[Any]",
    *,
    compression: Compression = "lzw",
    exif: bytes = b"",
    xmp: bytes = b"",
    icc: bytes = b"",
    pixels_per_inch: int = 300,
) -> bytes | memoryview:
    """A TIFF file of RGB codes, uint8 or uint16 (height, width, 3), in strips of about a million bytes.

    The header, the strips, then the directories. exif: a TIFF structure; its directories become those of the file.
    The result may lie around the codes themselves (see `codes_with_room`). Raises Problem where the file would be too
    large.
    """
    record = _ordered(read_exif(exif)[0])
    height, width = codes.shape[:2]
    if codes.nbytes > _MOST_BYTES:
        raise Problem(
            "the picture is too large for a TIFF file",
            got=f"{width} × {height} pixels of {codes.itemsize * 8} bits per channel",
            expected="at most 4000 million bytes",
            remedy="make it smaller (long_edge), or write PNG",
        )
    rows = max(1, min(height, _STRIP_BYTES // (3 * width * codes.itemsize)))
    parts = [codes[top : top + rows] for top in range(0, height, rows)]
    strips = [] if compression == "none" else [_strip(part, compression, record.byte_order) for part in parts]
    sizes = [len(strip) for strip in strips] or [part.nbytes for part in parts]
    offsets, at = [], _HEAD
    for size in sizes:
        offsets.append(at)
        at += size + size % 2
    bits = codes.itemsize * 8
    image = {
        **record.image,
        0x0100: long(width),
        0x0101: long(height),
        0x0102: short(bits, bits, bits),
        0x0103: short(_NUMBERS[compression]),
        0x0106: short(2),  # red, green, blue
        0x0111: long(*offsets),
        0x0112: record.image.get(0x0112, short(1)),
        0x0115: short(3),
        0x0116: long(rows),
        0x0117: long(*sizes),
        0x011A: rational(pixels_per_inch, 1),
        0x011B: rational(pixels_per_inch, 1),
        0x011C: short(1),  # the channels of a pixel stand together
        0x0128: short(2),  # inches
        0x0153: short(1, 1, 1),  # unsigned
    }
    if compression != "none":
        image[0x013D] = short(_HORIZONTAL)
    if xmp:
        image[0x02BC] = Entry(Kind.BYTE, xmp)
    if icc:
        image[0x8773] = undefined(icc)
    whole = Exif(record.byte_order, image, record.photo, record.gps, record.interop)
    directories = write_exif(whole, start=at)
    mark = b"II" if record.byte_order == "<" else b"MM"
    head = mark + struct.pack(record.byte_order + "HI", 42, at)
    if strips:
        return b"".join([head, *(strip + bytes(len(strip) % 2) for strip in strips), directories])
    around = _around(codes, record.byte_order, len(directories))
    if around is None:
        filled = [_in_order(part, record.byte_order) for part in parts]
        return b"".join([head, *(strip + bytes(len(strip) % 2) for strip in filled), directories])
    around[:_HEAD] = memoryview(head)
    around[_HEAD + codes.nbytes : at] = 0
    around[at : at + len(directories)] = memoryview(directories)
    return around[: at + len(directories)].data


def _ordered(record: Exif) -> Exif:
    """The record in this machine's byte order, as the pixels are; unless a comment in it depends on its own order."""
    comment = record.photo.get(0x9286)
    unicode = comment is not None and isinstance(comment.value, bytes) and comment.value.startswith(b"UNICODE")
    return record if unicode else replace(record, byte_order=_NATIVE)


def _around(codes: "NDArray[Any]", byte_order: str, tail: int) -> "NDArray[Any] | None":
    """The array with room that codes lie in; None where they do not, or the room does not do."""
    import numpy as np

    base = codes
    while isinstance(base.base, np.ndarray):
        base = base.base
    fits = base.dtype == np.uint8 and base.ndim == 1 and base.size == _HEAD + codes.nbytes + _TAIL and tail + 1 <= _TAIL
    one_strip = codes.flags.c_contiguous and (codes.shape[1] * 3 * codes.itemsize) % 2 == 0
    return base if fits and one_strip and (codes.itemsize == 1 or byte_order == _NATIVE) else None


def _in_order(codes: "NDArray[Any]", byte_order: str) -> bytes:
    return codes.astype(codes.dtype.newbyteorder("<" if byte_order == "<" else ">"), copy=False).tobytes()


def _strip(codes: "NDArray[Any]", compression: Compression, byte_order: str) -> bytes:
    differences = codes.copy()
    differences[:, 1:] -= codes[:, :-1]  # wraps round, as the predictor asks
    data = _in_order(differences, byte_order)
    if compression == "deflate":
        return zlib.compress(data, _DEFLATE_LEVEL)
    import imagecodecs

    return bytes(imagecodecs.lzw_encode(data))
