"""Writes finished pictures with their profile and records: whole or not at all, and the same bytes each time."""

import contextlib
import errno
import io
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from finishing.errors import DiskFull, Problem
from finishing.part_files import held, part_beside
from finishing.photographs import jpeg, png
from finishing.photographs.exif import read_exif, write_exif
from finishing.photographs.tiff_out import Compression, encode_tiff

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from finishing.colour.spaces import ColourSpace

Subsampling = Literal["4:4:4", "4:2:0"]
OutputFormat = Literal["jpeg", "png", "tiff", "webp", "avif"]

#: zlib's level for PNG: on a noisy 24-megapixel picture 3 takes two fifths of the time of 6 for 2.5 % more bytes.
PNG_COMPRESSION = 3
#: How hard the encoders of WebP (0…6) and AVIF (10…0) try: in the middle, as both come.
WEBP_METHOD, AVIF_SPEED = 4, 6
#: The least quality that a limit of bytes may lead to: below it a picture is not fit to be delivered.
LEAST_QUALITY = 20
_MOST_SIDE = {"jpeg": 65500, "webp": 16383, "avif": 65536}  # of the encoders, a little under those of the formats


@dataclass(frozen=True, eq=False)
class OutputSettings:
    """One kind of output file.

    quality: JPEG, WebP and AVIF, 1…100. subsampling: JPEG and AVIF, of chroma (WebP always has 4:2:0). progressive:
    JPEG, coarse to fine. at_most: JPEG, WebP and AVIF, in bytes, the whole file: the highest quality up to `quality`
    that fits is taken. compression: TIFF. space: the codes' colour space, whose profile is embedded; profile: another
    profile that the codes are in, embedded instead. pixels_per_inch: 1…65535; says how large the picture is meant to
    print.
    """

    format: OutputFormat
    space: "ColourSpace"
    quality: int = 90
    subsampling: Subsampling = "4:4:4"
    pixels_per_inch: int = 300
    progressive: bool = False
    at_most: int | None = None
    compression: Compression = "lzw"
    profile: bytes | None = None


def write_photograph(
    path: Path, codes: "NDArray[Any]", *, settings: OutputSettings, exif: bytes = b"", xmp: bytes = b""
) -> None:
    """Writes one picture; folders are made as needed, and an older file of that name is replaced in one go.

    codes: uint8 (height, width, 3), for PNG and TIFF also uint16. exif: a TIFF structure; xmp: a packet; either may be
    empty. Raises Problem where the picture does not fit the format or the disk does not take it; nothing is then left.
    """
    path = Path(path)
    try:
        content = encode(codes, settings=settings, exif=exif, xmp=xmp)
    except Problem as error:
        raise error.at(path.name) from error
    write_bytes(path, content)


def encode(
    codes: "NDArray[Any]", *, settings: OutputSettings, exif: bytes = b"", xmp: bytes = b""
) -> bytes | memoryview:
    """The bytes of one picture file, as `write_photograph` writes them."""
    from finishing.colour.icc import write_profile

    _check(codes, deep=settings.format in ("png", "tiff"))
    icc = settings.profile or write_profile(settings.space)
    if settings.format == "png":
        return _encode_png(codes, settings, exif, xmp, icc)
    if settings.format == "tiff":
        return encode_tiff(
            codes, compression=settings.compression, exif=exif, xmp=xmp, icc=icc,
            pixels_per_inch=settings.pixels_per_inch,
        )  # fmt: skip

    def lossy(quality: int) -> bytes:
        if settings.format == "jpeg":
            return encode_jpeg(
                codes, quality=quality, subsampling=settings.subsampling, exif=exif, xmp=xmp, icc=icc,
                pixels_per_inch=settings.pixels_per_inch, progressive=settings.progressive,
            )  # fmt: skip
        return _encode_with_pillow(codes, settings, quality, exif, xmp, icc)

    if settings.format not in ("jpeg", "webp", "avif"):
        raise ValueError(f"expected the format jpeg, png, tiff, webp or avif, not {settings.format!r}")
    return lossy(settings.quality) if settings.at_most is None else _fitting(lossy, settings.quality, settings.at_most)


def _fitting(lossy: Callable[[int], bytes], quality: int, at_most: int) -> bytes:
    """The file of the highest quality that has no more bytes than it may, by halving. Raises Problem."""
    content = lossy(quality)
    if len(content) <= at_most:
        return content
    low, high = min(LEAST_QUALITY, quality), quality
    content = lossy(low)
    if len(content) > at_most:
        raise Problem(
            "the picture does not fit into so few bytes",
            got=f"{len(content)} bytes at quality {low}",
            expected=f"at most {at_most} bytes",
            remedy="allow more bytes (at_most), or make it smaller (long_edge)",
        )
    while high - low > 1:
        middle = (low + high) // 2
        tried = lossy(middle)
        if len(tried) <= at_most:
            low, content = middle, tried
        else:
            high = middle
    return content


def encode_jpeg(
    codes: "NDArray[np.uint8]",
    *,
    quality: int = 90,
    subsampling: Subsampling = "4:4:4",
    exif: bytes = b"",
    xmp: bytes = b"",
    icc: bytes = b"",
    pixels_per_inch: int = 300,
    progressive: bool = False,
) -> bytes:
    """A JPEG file of codes uint8 (height, width, 3). Raises Problem where size or records do not fit."""
    import numpy as np

    _check(codes, deep=False)
    if not 1 <= quality <= 100:
        raise ValueError(f"expected a quality of 1 to 100, not {quality}")
    if not 1 <= pixels_per_inch <= 65535:
        raise ValueError(f"expected 1 to 65535 pixels per inch, not {pixels_per_inch}")
    _check_side(codes, "jpeg")
    if progressive:
        from PIL import Image

        stream = io.BytesIO()
        sampling = {"4:4:4": 0, "4:2:0": 2}[subsampling]
        Image.fromarray(np.ascontiguousarray(codes)).save(
            stream, "JPEG", quality=quality, subsampling=sampling, progressive=True
        )
        encoded = stream.getvalue()
    else:
        import simplejpeg

        encoded = simplejpeg.encode_jpeg(
            np.ascontiguousarray(codes), quality, "RGB", subsampling.replace(":", ""), fastdct=False
        )
    return jpeg.with_segments(encoded, exif=exif, xmp=xmp, icc=icc, pixels_per_inch=pixels_per_inch)


def _encode_png(codes: "NDArray[Any]", settings: OutputSettings, exif: bytes, xmp: bytes, icc: bytes) -> bytes:
    import cv2

    done, encoded = cv2.imencode(
        ".png", cv2.cvtColor(codes, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_PNG_COMPRESSION, PNG_COMPRESSION]
    )
    if not done:
        raise Problem("the picture could not be encoded as PNG", got=f"{codes.shape[1]} × {codes.shape[0]} pixels")
    return png.with_chunks(
        encoded.tobytes(), exif=exif, xmp=xmp, icc=icc,
        profile_name=settings.space.title if settings.profile is None else "printer",
        pixels_per_inch=settings.pixels_per_inch,
    )  # fmt: skip


def _encode_with_pillow(
    codes: "NDArray[np.uint8]", settings: OutputSettings, quality: int, exif: bytes, xmp: bytes, icc: bytes
) -> bytes:
    """WebP and AVIF, with the records where their containers have room for them."""
    import numpy as np
    from PIL import Image

    _check_side(codes, settings.format)
    options: dict[str, Any] = {"method": WEBP_METHOD}
    if settings.format == "avif":
        # The encoder would take the orientation out and write the record anew; pixels stand upright as they are.
        # Tiles and threads are fixed, since they would show in the bytes.
        exif = _without_orientation(exif)
        options = {"speed": AVIF_SPEED, "subsampling": settings.subsampling, "autotiling": False, "max_threads": 2}
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(codes)).save(
        stream, settings.format.upper(), quality=quality, exif=exif, xmp=xmp, icc_profile=icc, **options
    )
    return stream.getvalue()


def _without_orientation(exif: bytes) -> bytes:
    record, _ = read_exif(exif)
    return write_exif(replace(record, image={tag: entry for tag, entry in record.image.items() if tag != 0x0112}))


def _check_side(codes: "NDArray[Any]", form: str) -> None:
    height, width = codes.shape[:2]
    if max(height, width) > _MOST_SIDE[form]:
        raise Problem(
            f"the picture is too large for a {form.upper() if form != 'webp' else 'WebP'} file",
            got=f"{width} × {height} pixels",
            expected=f"at most {_MOST_SIDE[form]} pixels a side",
            remedy="make it smaller (long_edge), or write PNG or TIFF",
        )


def _check(codes: "NDArray[Any]", *, deep: bool) -> None:
    kinds = ("uint8", "uint16") if deep else ("uint8",)
    if codes.dtype.name not in kinds or codes.ndim != 3 or codes.shape[2] != 3 or 0 in codes.shape:
        raise ValueError(f"expected {' or '.join(kinds)} codes (height, width, 3), not {codes.dtype} {codes.shape}")


def write_bytes(path: Path, content: bytes | memoryview, *, movable: bool = True) -> None:
    """Puts a whole file in its place: a temporary one beside it, flushed to the disk, then renamed.

    movable: whether the user can choose another place (--out). Whatever happens, the place holds either the old file or
    the whole new one. Raises Problem.
    """
    temporary = part_beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
        with os.fdopen(handle, "wb") as stream, held(temporary):
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
            stream.close()
            os.replace(temporary, path)
        _flush_folder(path.parent)
    except OSError as error:
        raise _unwritable(error, path, len(content), movable=movable) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    """Puts the new name on the disk as well, where the system can do so for a folder."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _unwritable(error: OSError, path: Path, size: int, *, movable: bool) -> Problem:
    where = str(path)
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return DiskFull(
            "the disk is full",
            where=where,
            expected=f"room for {size / 1e6:.1f} million bytes",
            remedy="make room or choose another folder with --out, then run again: it continues where it stopped"
            if movable
            else "make room on it, then give the command again",
        )
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return Problem(
            "the file may not be written here",
            where=where,
            got=error.strerror,
            remedy="choose a folder that you may write to with --out"
            if movable
            else "give yourself the right to write to this folder (or copy it to a disk that you may write to), "
            "then give the command again",
        )
    return Problem(
        "the file cannot be written",
        where=where,
        got=error.strerror or str(error),
        remedy="check the folder and its disk" + (", or choose another folder with --out" if movable else ""),
    )
