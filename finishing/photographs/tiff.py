"""The outer form of TIFF files (TIFF 6.0), and their pixels. A TIFF's EXIF is the file's own structure."""

import io
import struct
from typing import TYPE_CHECKING, Any

from finishing.errors import Problem
from finishing.photographs import exif_tags
from finishing.photographs.containers import (
    ColourModel,
    Container,
    Damaged,
    Window,
    cut_short,
    ink_colours,
    too_many_bits,
)
from finishing.photographs.exif import Directory, Exif, Kind, read_directory, read_exif, with_image_tags, write_exif

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIGNATURES = (b"II*\0", b"MM\0*")

_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _ORIENTATION, _CHANNELS = 0x0100, 0x0101, 0x0102, 0x0106, 0x0112, 0x0115
_COMPRESSION, _SUB_DIRECTORIES, _OLD_JPEG, _UNSIGNED, _FLOATING, _PLANES = 0x0103, 0x014A, 6, 1, 3, 2
_STRIP_PLACES, _STRIP_LENGTHS, _TILE_PLACES, _TILE_LENGTHS, _YCBCR = 0x0111, 0x0117, 0x0144, 0x0145, 6
_SUBFILE, _EXTRA, _FORMAT, _XMP, _PROFILE, _RAW_VERSION = 0x00FE, 0x0152, 0x0153, 0x02BC, 0x8773, 0xC612
_MODELS: dict[int, ColourModel] = {0: "grey", 1: "grey", 2: "rgb", 3: "palette", 5: "cmyk", 6: "ycbcr"}
_FILTER_ARRAY, _LINEAR_RAW = 32803, 34892  # what a sensor saw, not yet a picture


def scan(window: Window) -> Container:
    """The outer form of the file's first picture; no pixel data is read. Raises Damaged."""
    structure, notices = read_exif(window)
    image = structure.image
    exif = write_exif(with_image_tags(structure, exif_tags.KEPT_IMAGE_TAGS))
    width, height = _number(image, _WIDTH, 0), _number(image, _HEIGHT, 0)
    if _maybe_raw(window, structure):
        from finishing.photographs import raw

        size = (max(width, 1), max(height, 1))
        found = raw.scan(window, exif=exif, xmp=_bytes(image, _XMP), size=size)
        if found is not None:
            return found
    if width <= 0 or height <= 0:
        raise Damaged("no picture size in its headers")
    bits = max(_numbers(image, _BITS) or (1,))
    channels = _number(image, _CHANNELS, 1)
    model = _MODELS.get(_number(image, _PHOTOMETRIC, 1), "other")
    extra = _numbers(image, _EXTRA)
    if channels > (len(extra) + {"grey": 1, "palette": 1, "cmyk": 4}.get(model, 3)):
        extra = extra or (0,)
    if _next_directory(window, structure):
        notices.append("this TIFF holds several pictures: only the first is used")
    profile = _bytes(image, _PROFILE) or None
    return Container(
        "tiff", width, height, bits, channels, model,
        alpha=bool(extra),
        exif=exif,
        xmp=_bytes(image, _XMP),
        icc=profile,
        floating=_FLOATING in _numbers(image, _FORMAT),
        notices=tuple(notices),
        refusal=_refusal(image, bits, model, profile is not None) or _cut(image, len(window)),
    )  # fmt: skip


def _cut(image: Directory, length: int) -> Problem | None:
    """The problem of a file that ends before its pixels do, as told by where their strips or tiles lie. Plain strips
    may claim more than is there, as long as the rows are: some writers count the last one as full as the others."""
    tiled = _TILE_PLACES in image
    places = _numbers(image, _TILE_PLACES if tiled else _STRIP_PLACES)
    counts = _numbers(image, _TILE_LENGTHS if tiled else _STRIP_LENGTHS)
    there = sum(max(0, min(length - at, count)) for at, count in zip(places, counts, strict=False))
    wanted = sum(counts[: len(places)])
    if not tiled and _number(image, _COMPRESSION, 1) == 1 and _number(image, _PHOTOMETRIC, 1) != _YCBCR:
        bits = sum(_numbers(image, _BITS)) or 1
        wanted = min(wanted, (_number(image, _WIDTH, 0) * bits + 7) // 8 * _number(image, _HEIGHT, 0))
    return cut_short("its pixel data is cut short") if there < wanted else None


def _maybe_raw(window: Window, structure: Exif) -> bool:
    """Whether a camera's raw picture may be in it: DNG says so; other raw files begin with a small preview or with
    none at all, or hold what the sensor saw in a directory below."""
    image = structure.image
    if _RAW_VERSION in image or _sensor(image):
        return True
    preview = _number(image, _SUBFILE, 0) & 1 == 1 or _number(image, _COMPRESSION, 1) == _OLD_JPEG
    below = (read_directory(window, structure.byte_order, at) for at in _numbers(image, _SUB_DIRECTORIES))
    return exif_tags.MAKE in image and (preview or _WIDTH not in image or any(_sensor(one) for one in below))


def _sensor(directory: Directory) -> bool:
    return _number(directory, _PHOTOMETRIC, 1) in (_FILTER_ARRAY, _LINEAR_RAW)


def _refusal(image: Directory, bits: int, model: ColourModel, profiled: bool) -> Problem | None:
    if _RAW_VERSION in image or _sensor(image):
        return Problem(
            "this is a raw file that the installed reader does not know",
            expected="a developed photograph",
            remedy="develop it and export it as a 16-bit TIFF",
        )
    formats = set(_numbers(image, _FORMAT)) - {4}
    if formats - {_UNSIGNED} and not (formats == {_FLOATING} and bits == 32):
        form = "floating-point" if _FLOATING in formats else "signed"
        return Problem(
            f"this frame has {form} values of {bits} bits per channel",
            got=f"{form} values of {bits} bits per channel",
            expected="8 or 16 bits per channel, or floating-point values of 32 bits",
            remedy="export it as a 16-bit TIFF or PNG",
        )
    if bits not in (8, 16) and formats != {_FLOATING} and not (bits < 8 and model in ("grey", "palette")):
        return too_many_bits(bits)
    if model == "cmyk" and not (profiled and bits == 8):
        return ink_colours("CMYK (printing inks)")
    if model == "other":
        return ink_colours(f"a colour model of TIFF's number {_number(image, _PHOTOMETRIC, 1)}")
    if bits > 8 and model not in ("rgb", "grey"):
        return too_many_bits(bits)
    if _number(image, _SUBFILE, 0) & 1:
        return Problem(
            "the first picture in this TIFF is only a small preview",
            expected="the photograph itself as the first picture",
            remedy="export it again as a TIFF with one picture, or as JPEG or PNG",
        )
    return None


def decode(data: bytes, container: Container) -> "NDArray[Any]":
    """Pixels of the first picture (height, width, 3), not yet turned upright: RGB codes, uint8 or uint16; for
    floating-point files float32 values as stored; for inks uint8 (height, width, 4), 0 for no ink.

    Raises Damaged where the data is cut short or broken, and Problem where something is transparent.
    """
    from finishing.photographs.png import decode_with_pillow

    if container.bits > 8:
        pixels = _decode_deep(data, container)
    else:
        mode = "CMYK" if container.model == "cmyk" else "RGB"
        pixels = decode_with_pillow(_unturned(data), "TIFF", container.alpha, mode)
    if pixels.shape[:2] != (container.height, container.width):
        raise Damaged(f"{pixels.shape[1]} × {pixels.shape[0]} pixels came out of it")
    return pixels


def _decode_deep(data: bytes, container: Container) -> "NDArray[Any]":
    """More than 8 bits, which Pillow would hand over as 8."""
    import logging
    import zlib

    import numpy as np
    import tifffile

    from finishing.photographs.png import transparent

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # what matters is raised
    failures = (tifffile.TiffFileError, ValueError, RuntimeError, OSError)
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page: Any = file.pages[0]
            if any(at + size > len(data) for at, size in zip(page.dataoffsets, page.databytecounts, strict=True)):
                raise Damaged("its pixel data is cut short")
            pixels = page.asarray(maxworkers=1)
            planar = page.planarconfig == _PLANES and pixels.ndim == 3
            inverted = page.photometric == 0
    except (*failures, zlib.error, struct.error, IndexError, KeyError, TypeError) as error:
        raise Damaged(str(error)) from error
    if planar:
        pixels = np.moveaxis(pixels, 0, -1)
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    colours = 1 if container.model == "grey" else 3
    if pixels.ndim != 3 or pixels.shape[2] < colours:
        raise Damaged(f"an array of {pixels.shape} came out of it")
    highest = 1 if container.floating else 65535
    if container.alpha:
        least = pixels[..., colours:].min()
        if least < highest:
            raise transparent(least, highest)
    pixels = pixels[..., :colours]
    if inverted:
        pixels = highest - pixels
    pixels = np.repeat(pixels, 3, axis=2) if colours == 1 else pixels
    return np.ascontiguousarray(pixels, dtype=np.float32 if container.floating else np.uint16)


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
