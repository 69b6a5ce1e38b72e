"""The outer form of JPEG files (ITU-T T.81, JFIF: ITU-T T.871), and their pixels by libjpeg-turbo.

Metadata stands in marker segments before the scan: EXIF in APP1 (CIPA DC-008), XMP in APP1 (ISO 16684-3),
profiles in APP2, in several pieces where large (ICC.1:2022, annex B.4).
"""

import struct
from collections.abc import Iterator
from typing import TYPE_CHECKING

from finishing.errors import Problem
from finishing.photographs.containers import (
    ColourModel,
    Container,
    Damaged,
    Window,
    cut_short,
    ink_colours,
    too_many_bits,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SIGNATURE = b"\xff\xd8\xff"
EXIF_HEAD = b"Exif\0\0"
# The identifier that ISO 16684-3 prescribes for an XMP segment.
XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\0"
ICC_HEAD = b"ICC_PROFILE\0"
MOST_IN_A_SEGMENT = 65533  # a segment's 16-bit length counts its own two bytes

_SCAN, _END = 0xDA, 0xD9
_TAIL = 65536
_BARE = {0x01, *range(0xD0, 0xD9)}  # markers that stand alone
_FRAMES = set(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_SIMPLE_FRAMES = {0xC0, 0xC1, 0xC2}  # sequential and progressive DCT with Huffman codes


def segments(window: Window) -> Iterator[tuple[int, bytes]]:
    """Marker and payload of each segment up to and with the first start of scan. Raises Damaged."""
    return ((marker, payload) for marker, payload, _ in _placed_segments(window))


def _placed_segments(window: Window) -> Iterator[tuple[int, bytes, int]]:
    """The same, each with the place of the first byte behind it."""
    at = 2
    while True:
        head = window[at : at + 4]
        while head[:1] == b"\xff" and head[1:2] == b"\xff":  # fill bytes may stand before a marker
            at += 1
            head = window[at : at + 4]
        if len(head) < 2 or head[0] != 0xFF or head[1] in (0x00, _END):
            raise Damaged(f"no picture data after byte {at}")
        marker = head[1]
        if marker in _BARE:
            at += 2
            continue
        length = struct.unpack(">H", head[2:4])[0] if len(head) == 4 else 0
        payload = window[at + 4 : at + 2 + length]
        if length < 2 or len(payload) != length - 2:
            raise Damaged(f"cut short within its headers, at byte {at}")
        at += 2 + length
        yield marker, payload, at
        if marker == _SCAN:
            return


def scan(window: Window) -> Container:
    """The outer form; only the headers are read. Raises Damaged."""
    frame: tuple[int, bytes] | None = None
    exif = xmp = b""
    pieces: dict[int, bytes] = {}
    announced: set[int] = set()
    transform: int | None = None
    coded = 0
    for marker, payload, behind in _placed_segments(window):
        coded = behind
        if marker in _FRAMES and frame is None:
            frame = (marker, payload)
        elif marker == 0xE1 and payload.startswith(EXIF_HEAD) and not exif:
            exif = payload[len(EXIF_HEAD) :]
        elif marker == 0xE1 and payload.startswith(XMP_HEAD) and not xmp:
            xmp = payload[len(XMP_HEAD) :]
        elif marker == 0xE2 and payload.startswith(ICC_HEAD) and len(payload) > 14:
            pieces[payload[12]] = payload[14:]
            announced.add(payload[13])
        elif marker == 0xEE and len(payload) >= 12:
            transform = payload[11]
    if frame is None or len(frame[1]) < 6:
        raise Damaged("no picture size in its headers")
    kind, (bits, height, width, channels) = frame[0], struct.unpack_from(">BHHB", frame[1])
    if width == 0 or height == 0:
        raise Damaged(f"a size of {width} × {height} pixels in its headers")
    model: ColourModel = {1: "grey", 4: "cmyk"}.get(channels, "rgb" if transform == 0 else "ycbcr")  # type: ignore[assignment]
    return Container(
        "jpeg", width, height, bits, channels, model,
        exif=exif, xmp=xmp, icc=_profile(pieces, announced),
        refusal=_refusal(kind, bits, channels, bool(pieces)) or _cut(window, coded),
    )  # fmt: skip


def _cut(window: Window, coded: int) -> Problem | None:
    """The problem of a file that ends before its picture does. The marker of the end cannot stand within coded data,
    which begins at `coded` (T.81, B.1.1.5). Something may follow it, such as a preview; so where the last bytes have
    none, all are searched."""
    end = bytes([0xFF, _END])
    if any(end in window[start:] for start in (max(coded, len(window) - _TAIL), coded)):
        return None
    return cut_short("its picture data breaks off before its end")


def _profile(pieces: dict[int, bytes], announced: set[int]) -> bytes | None:
    """The profile put together; where a piece is missing, what is left, which its reader will find damaged."""
    if not pieces:
        return None
    if announced != {len(pieces)} or set(pieces) != set(range(1, len(pieces) + 1)):
        return pieces.get(1, b"")[:128]
    return b"".join(pieces[number] for number in sorted(pieces))


def _refusal(kind: int, bits: int, channels: int, profiled: bool) -> Problem | None:
    if bits != 8:
        return too_many_bits(bits)
    if channels == 4 and not profiled:
        return ink_colours("CMYK (printing inks)")
    if channels not in (1, 3, 4):
        return ink_colours(f"{channels} channels")
    if kind not in _SIMPLE_FRAMES:
        return Problem(
            "this frame is a rare kind of JPEG (lossless, hierarchical or arithmetic-coded)",
            expected="an ordinary or progressive JPEG",
            remedy="save it again as an ordinary JPEG of high quality",
        )
    return None


def decode(data: bytes, container: Container, reduction: int = 1) -> "NDArray[np.uint8]":
    """Pixels as RGB codes, uint8 (height, width, 3), greyscale in three equal channels; of inks as four channels, 0 for
    no ink.

    reduction: 1, 2, 4 or 8; the decoder itself gives the picture at 1/reduction, sizes rounded up.
    Raises Damaged where the data is cut short or broken: never a picture that is grey from the middle on.
    """
    import simplejpeg

    if container.model == "cmyk":
        return _decode_with_pillow(data, reduction, "CMYK")
    least = {
        "min_height": -(-container.height // reduction),
        "min_width": -(-container.width // reduction),
        "min_factor": reduction,
    }
    try:
        pixels: NDArray[np.uint8] = simplejpeg.decode_jpeg(data, "RGB", strict=True, **least)
    except ValueError as error:
        if "subsampling" in str(error):
            return _decode_with_pillow(data, reduction, "RGB")  # a chroma sampling that the fast decoder does not know
        raise Damaged(str(error)) from error
    return pixels


def _decode_with_pillow(data: bytes, reduction: int, mode: str) -> "NDArray[np.uint8]":
    """What the fast decoder does not know. mode: "RGB" or "CMYK"."""
    import io

    import numpy as np
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
            image.draft(mode, (-(-image.width // reduction), -(-image.height // reduction)))
            return np.ascontiguousarray(np.asarray(image.convert(mode)))
    except (OSError, SyntaxError, ValueError) as error:
        raise Damaged(str(error)) from error


def with_segments(jpeg: bytes, *, exif: bytes, xmp: bytes, icc: bytes, pixels_per_inch: int) -> bytes:
    """The same JFIF file with its density set, and EXIF, XMP and profile segments after its JFIF segment.

    Nothing is inserted for what is empty. Raises Problem where EXIF or XMP is too large for its one segment.
    """
    if jpeg[2:4] != b"\xff\xe0" or jpeg[6:11] != b"JFIF\0":
        raise AssertionError("the encoder gave no JFIF segment")
    head = bytearray(jpeg[: 4 + struct.unpack(">H", jpeg[4:6])[0]])
    head[13:18] = struct.pack(">BHH", 1, pixels_per_inch, pixels_per_inch)
    parts = [bytes(head)]
    if exif:
        parts.append(_segment(0xE1, EXIF_HEAD + exif, "EXIF"))
    if xmp:
        parts.append(_segment(0xE1, XMP_HEAD + xmp, "XMP"))
    room = MOST_IN_A_SEGMENT - len(ICC_HEAD) - 2
    pieces = [icc[at : at + room] for at in range(0, len(icc), room)]
    if len(pieces) > 255:
        raise Problem(
            "the colour profile is too large for a JPEG file",
            got=f"{len(icc)} bytes",
            expected=f"at most {255 * room} bytes",
            remedy="choose another profile",
        )
    for number, piece in enumerate(pieces, 1):
        parts.append(_segment(0xE2, ICC_HEAD + bytes([number, len(pieces)]) + piece, "ICC"))
    return b"".join(parts) + jpeg[len(head) :]


def _segment(marker: int, payload: bytes, what: str) -> bytes:
    if len(payload) > MOST_IN_A_SEGMENT:
        raise Problem(
            f"the {what} record is too large for a JPEG file",
            got=f"{len(payload)} bytes",
            expected=f"at most {MOST_IN_A_SEGMENT} bytes",
            remedy="shorten the texts in the session or the recipe (description, rights, settings)",
        )
    return bytes((0xFF, marker)) + struct.pack(">H", len(payload) + 2) + payload
