"""The outer form of TIFF files (TIFF 6.0), and their pixels. A TIFF's EXIF is the file's own structure."""

import struct
from typing import TYPE_CHECKING

from finishing.errors import Problem
from finishing.photographs import exif_tags
from finishing.photographs.containers import (
    ColourModel,
    Container,
    Damaged,
    Window,
    ink_colours,
    too_many_bits,
)
from finishing.photographs.exif import Directory, Exif, Kind, read_exif, with_image_tags, write_exif

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SIGNATURES = (b"II*\0", b"MM\0*")

_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _ORIENTATION, _CHANNELS = 0x0100, 0x0101, 0x0102, 0x0106, 0x0112, 0x0115
_SUBFILE, _EXTRA, _FORMAT, _XMP, _PROFILE, _RAW_VERSION = 0x00FE, 0x0152, 0x0153, 0x02BC, 0x8773, 0xC612
_MODELS: dict[int, ColourModel] = {0: "grey", 1: "grey", 2: "rgb", 3: "palette", 5: "cmyk", 6: "ycbcr"}
_FILTER_ARRAY, _LINEAR_RAW = 32803, 34892  # what a sensor saw, not yet a picture


def scan(window: Window) -> Container:
    """The outer form of the file's first picture; no pixel data is read. Raises Damaged."""
    structure, notices = read_exif(window)
    image = structure.image
    width, height = _number(image, _WIDTH, 0), _number(image, _HEIGHT, 0)
    if width <= 0 or height <= 0:
        raise Damaged("no picture size in its headers")
    bits = max(_numbers(image, _BITS) or (1,))
    channels = _number(image, _CHANNELS, 1)
    model = _MODELS.get(_number(image, _PHOTOMETRIC, 1), "other")
    extra = _numbers(image, _EXTRA)
    if channels > (len(extra) + (1 if model in ("grey", "palette") else 3)) and model != "cmyk":
        extra = extra or (0,)
    if _next_directory(window, structure):
        notices.append("this TIFF holds several pictures: only the first is used")
    return Container(
        "tiff", width, height, bits, channels, model,
        alpha=bool(extra),
        exif=write_exif(with_image_tags(structure, exif_tags.KEPT_IMAGE_TAGS)),
        xmp=_bytes(image, _XMP),
        icc=_bytes(image, _PROFILE) or None,
        notices=tuple(notices),
        refusal=_refusal(image, bits, model),
    )  # fmt: skip


def _refusal(image: Directory, bits: int, model: ColourModel) -> Problem | None:
    if _RAW_VERSION in image or _number(image, _PHOTOMETRIC, 1) in (_FILTER_ARRAY, _LINEAR_RAW):
        return Problem(
            "this is a raw file, not yet a picture",
            expected="a developed photograph",
            remedy="develop it and export it as an 8-bit JPEG, PNG or TIFF meanwhile",
        )
    if set(_numbers(image, _FORMAT)) - {1, 4}:
        form = "floating-point" if 3 in _numbers(image, _FORMAT) else "signed"
        return Problem(
            f"this frame has {form} values of {bits} bits per channel",
            got=f"{form} values of {bits} bits per channel",
            expected="8 bits per channel: this version reads 8-bit files only",
            remedy="export it as an 8-bit JPEG, PNG or TIFF meanwhile",
        )
    if bits > 8:
        return too_many_bits(bits)
    if model == "cmyk":
        return ink_colours("CMYK (printing inks)")
    if model == "other":
        return ink_colours(f"a colour model of TIFF's number {_number(image, _PHOTOMETRIC, 1)}")
    if _number(image, _SUBFILE, 0) & 1:
        return Problem(
            "the first picture in this TIFF is only a small preview",
            expected="the photograph itself as the first picture",
            remedy="export it again as a TIFF with one picture, or as JPEG or PNG",
        )
    return None


def decode(data: bytes, container: Container) -> "NDArray[np.uint8]":
    """Pixels of the first picture as RGB codes, uint8 (height, width, 3), not yet turned upright.

    Raises Damaged where the data is cut short or broken, and Problem where something is transparent.
    """
    from finishing.photographs.png import decode_with_pillow

    pixels = decode_with_pillow(_unturned(data), "TIFF", container.alpha)
    if pixels.shape[:2] != (container.height, container.width):
        raise Damaged(f"{pixels.shape[1]} × {pixels.shape[0]} pixels came out of it")
    return pixels


def _unturned(data: bytes) -> bytes:
    """The same file with its orientation set to 1, since the decoder would turn the picture by itself."""
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, at)
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        if struct.unpack_from(order + "H", data, entry)[0] == _ORIENTATION:
            value = struct.pack(order + "HHIHH", _ORIENTATION, Kind.SHORT, 1, 1, 0)
            return data[:entry] + value + data[entry + 12 :]
    return data


def _next_directory(window: Window, structure: Exif) -> bool:
    order = structure.byte_order
    (at,) = struct.unpack(order + "I", window[4:8])
    (count,) = struct.unpack(order + "H", window[at : at + 2])
    return any(window[at + 2 + 12 * count : at + 6 + 12 * count])


def _numbers(directory: Directory, tag: int) -> tuple[int, ...]:
    entry = directory.get(tag)
    if entry is None:
        return ()
    return tuple(value for value in entry.value if isinstance(value, int))


def _number(directory: Directory, tag: int, default: int) -> int:
    return (_numbers(directory, tag) or (default,))[0]


def _bytes(directory: Directory, tag: int) -> bytes:
    entry = directory.get(tag)
    return entry.value if entry is not None and isinstance(entry.value, bytes) else b""
