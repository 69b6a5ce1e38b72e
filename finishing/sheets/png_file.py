"""A page as a PNG file (PNG specification, third edition): 8-bit RGB, quickly packed.

Every row is stored as its difference from the row above (filter type 2, 9.2), so that paper becomes zeros, and the
whole is packed by libdeflate, which takes less than half of zlib's time and comes out no larger.
"""

import struct
import zlib
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_SRGB_GAMA = 45455  # the gAMA value that the specification pairs with sRGB (11.3.2.5)
_PERCEPTUAL = b"\x00"
_LEVEL = 1  # higher ones make pages of photographs 3 % smaller
_UP = 2
_INCHES_A_METRE = 1 / 0.0254


def png_file(codes: "NDArray[np.uint8]", pixels_per_inch: float, texts: Mapping[str, str]) -> Iterator[bytes]:
    """The file's parts in their order. codes: sRGB (rows, columns, 3). texts: keywords with Latin-1 texts."""
    height, width = codes.shape[:2]
    yield _SIGNATURE
    yield _chunk(b"IHDR", struct.pack(">LLBBBBB", width, height, 8, 2, 0, 0, 0))
    yield _chunk(b"sRGB", _PERCEPTUAL)
    yield _chunk(b"gAMA", struct.pack(">L", _SRGB_GAMA))
    each_metre = round(pixels_per_inch * _INCHES_A_METRE)
    yield _chunk(b"pHYs", struct.pack(">LLB", each_metre, each_metre, 1))
    for keyword, text in texts.items():
        yield _chunk(b"tEXt", keyword.encode("latin-1") + b"\x00" + text.encode("latin-1"))
    yield _chunk(b"IDAT", _packed(codes))
    yield _chunk(b"IEND", b"")


def _chunk(kind: bytes, content: bytes | bytearray) -> bytes:
    """A chunk with its length and check value (5.3)."""
    return b"".join((struct.pack(">L", len(content)), kind, content, struct.pack(">L", zlib.crc32(kind + content))))


def _packed(codes: "NDArray[np.uint8]") -> "bytes | bytearray":
    import imagecodecs
    import numpy as np

    flat = codes.reshape(codes.shape[0], -1)
    rows = np.empty((flat.shape[0], flat.shape[1] + 1), np.uint8)
    rows[:, 0] = _UP
    rows[0, 1:] = flat[0]
    np.subtract(flat[1:], flat[:-1], out=rows[1:, 1:])
    packed: bytes | bytearray = imagecodecs.deflate_encode(rows, level=_LEVEL)  # type: ignore[arg-type]  # any buffer will do
    return packed
