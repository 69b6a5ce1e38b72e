"""Pixels of AVIF and HEIC files. HEIC needs the extra `heif`."""

import importlib.util
import io
from typing import TYPE_CHECKING, Any

from finishing.errors import Problem
from finishing.photographs.boxes import without_exif
from finishing.photographs.containers import Container, Damaged, missing_extra
from finishing.photographs.png import transparent

if TYPE_CHECKING:
    from numpy.typing import NDArray


def refusal() -> Problem | None:
    """Why HEIC pixels cannot be read here, or None."""
    if importlib.util.find_spec("pillow_heif") is None:
        return missing_extra("a HEIC file", "heif")
    return None


def decode(data: bytes, container: Container) -> "NDArray[Any]":
    """Pixels as RGB codes (height, width, 3): uint8, or uint16 with codes up to 2^bits − 1 where there are more than
    8 bits. A HEIC picture comes upright, an AVIF picture as stored.

    Raises Damaged where the data cannot be decoded, and Problem where something is transparent.
    """
    import numpy as np

    data = without_exif(data)
    pixels = _avif(data) if container.format == "avif" else _heif(data, container.bits)
    highest = 2**container.bits - 1
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    if pixels.shape[2] in (2, 4):
        least = int(pixels[..., -1].min())
        if least < highest:
            raise transparent(least, highest)
        pixels = pixels[..., :-1]
    if pixels.shape[2] == 1:
        pixels = np.repeat(pixels, 3, axis=2)
    return np.ascontiguousarray(pixels)


def _avif(data: bytes) -> "NDArray[Any]":
    import imagecodecs

    try:
        pixels = imagecodecs.avif_decode(data, index=0, numthreads=1)
    except (imagecodecs.AvifError, ValueError, IndexError) as error:
        raise Damaged(str(error)) from error
    return pixels


def _heif(data: bytes, bits: int) -> "NDArray[Any]":
    import numpy as np
    import pillow_heif

    try:
        picture = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        pixels = np.asarray(picture)
    except (ValueError, OSError, RuntimeError, SyntaxError, EOFError) as error:
        raise Damaged(str(error)) from error
    # more than 8 bits come shifted up to fill 16
    return pixels >> (16 - bits) if pixels.dtype == np.uint16 else pixels
