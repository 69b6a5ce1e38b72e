"""The outer form of WebP files (RFC 9649), and their pixels."""

import struct
from collections.abc import Iterator
from typing import TYPE_CHECKING

from finishing.errors import Problem
from finishing.photographs.containers import Container, Damaged, Window

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_PICTURES = (b"VP8 ", b"VP8L", b"ANMF")
_ALPHA_FLAG, _ANIMATION_FLAG = 0x10, 0x02


def is_webp(start: bytes) -> bool:
    """Whether these first bytes are those of a WebP file."""
    return start[:4] == b"RIFF" and start[8:12] == b"WEBP"


def chunks(window: Window) -> Iterator[tuple[bytes, bytes]]:
    """Name and content of each chunk; of pixel data no more than its first bytes. Raises Damaged."""
    (size,) = struct.unpack("<I", window[4:8])
    if size + 8 > len(window):
        raise Damaged(f"it should have {size + 8} bytes and has {len(window)}")
    at = 12
    while at + 8 <= size + 8:
        name, length = struct.unpack("<4sI", window[at : at + 8])
        if at + 8 + length > len(window):
            raise Damaged(f"cut short within its part {name.decode('latin-1')!r}")
        wanted = min(length, 32) if name in _PICTURES else length
        yield name, window[at + 8 : at + 8 + wanted]
        at += 8 + length + length % 2


def scan(window: Window) -> Container:
    """The outer form; no pixel is decoded. Raises Damaged."""
    try:
        found: dict[bytes, bytes] = {}
        for name, content in chunks(window):
            found.setdefault(name, content)
        width, height, alpha = _size(found)
    except struct.error as error:
        raise Damaged("no picture size in its headers") from error
    refusal = None
    if found.get(b"VP8X", b"\0")[0] & _ANIMATION_FLAG:
        refusal = Problem(
            "this WebP file is a film of several pictures",
            expected="a photograph",
            remedy="export one picture of it, or leave it out",
        )
    return Container(
        "webp", width, height, 8, 4 if alpha else 3, "rgb",
        alpha=alpha, exif=found.get(b"EXIF", b"").removeprefix(b"Exif\0\0"), xmp=found.get(b"XMP ", b""),
        icc=found.get(b"ICCP"), refusal=refusal,
    )  # fmt: skip


def _size(found: dict[bytes, bytes]) -> tuple[int, int, bool]:
    """Width, height and whether there is an alpha channel."""
    if b"VP8X" in found:
        head = found[b"VP8X"]
        width, height = (1 + int.from_bytes(head[at : at + 3], "little") for at in (4, 7))
        return width, height, bool(head[0] & _ALPHA_FLAG)
    if b"VP8L" in found:
        _, packed = struct.unpack_from("<BI", found[b"VP8L"])
        return 1 + (packed & 0x3FFF), 1 + (packed >> 14 & 0x3FFF), bool(packed >> 28 & 1)
    if b"VP8 " in found:
        width, height = struct.unpack_from("<HH", found[b"VP8 "], 6)
        return width & 0x3FFF, height & 0x3FFF, False
    raise Damaged("it holds no picture data")


def decode(data: bytes, container: Container) -> "NDArray[np.uint8]":
    """Pixels as RGB codes, uint8 (height, width, 3). Raises Damaged, and Problem where something is transparent."""
    from finishing.photographs.png import decode_with_pillow

    return decode_with_pillow(data, "WEBP", container.alpha)
