"""The outer form of PNG files (ISO/IEC 15948, "PNG Specification (Third Edition)", W3C), and their pixels."""

import io
import struct
import warnings
import zlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from finishing.errors import Problem
from finishing.photographs.containers import (
    MOST_PIXELS,
    ColourModel,
    Container,
    Damaged,
    PngColour,
    Window,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
# The keyword that ISO 16684-3 prescribes for XMP in a PNG.
XMP_KEYWORD = b"XML:com.adobe.xmp"

_COLOUR_TYPES: dict[int, tuple[ColourModel, int, bool]] = {
    0: ("grey", 1, False),
    2: ("rgb", 3, False),
    3: ("palette", 1, False),
    4: ("grey", 2, True),
    6: ("rgb", 4, True),
}
_MOST_METADATA = 64 * 1024 * 1024  # an inflated profile or text beyond this is an attack or damage


def chunks(window: Window, *, skip_data: bool = False) -> Iterator[tuple[bytes, bytes]]:
    """Type and content of each chunk up to IEND; with `skip_data`, the content of IDAT is not read.

    Raises Damaged where a chunk is cut short or its checksum is wrong (unless skipped).
    """
    at = len(SIGNATURE)
    while True:
        head = window[at : at + 8]
        if len(head) < 8:
            raise Damaged("it ends before its last part (IEND)")
        length, kind = struct.unpack(">I4s", head)
        if skip_data and kind == b"IDAT":
            yield kind, b""
        else:
            content = window[at + 8 : at + 8 + length]
            check = window[at + 8 + length : at + 12 + length]
            if len(content) < length or len(check) < 4:
                raise Damaged(f"cut short within its part {kind.decode('latin-1')}")
            if zlib.crc32(content, zlib.crc32(kind)) != struct.unpack(">I", check)[0]:
                raise Damaged(f"the checksum of its part {kind.decode('latin-1')} is wrong")
            yield kind, content
        if kind == b"IEND":
            return
        at += 12 + length


def scan(window: Window) -> Container:
    """The outer form; no pixel data is read. Raises Damaged."""
    found: dict[bytes, bytes] = {}
    xmp = b""
    notices: list[str] = []
    for kind, content in chunks(window, skip_data=True):
        if kind == b"iTXt" and content.startswith(XMP_KEYWORD + b"\0") and not xmp:
            xmp = _text(content)
        elif kind not in found:
            found[kind] = content
    head = found.get(b"IHDR", b"")
    if len(head) != 13:
        raise Damaged("no picture size in its headers")
    width, height, bits, colour = struct.unpack(">IIBB", head[:10])
    if colour not in _COLOUR_TYPES or not 0 < width < 2**31 or not 0 < height < 2**31:
        raise Damaged("an impossible size or colour type in its headers")
    if b"IDAT" not in found:
        raise Damaged("it holds no picture data")
    if b"acTL" in found:
        notices.append("this PNG is animated: only its still picture is used")
    model, channels, alpha = _COLOUR_TYPES[colour]
    return Container(
        "png", width, height, bits, channels, model,
        alpha=alpha or b"tRNS" in found,
        exif=found.get(b"eXIf", b"").removeprefix(b"Exif\0\0"),
        xmp=xmp,
        icc=_profile(found[b"iCCP"]) if b"iCCP" in found else None,
        png=_colour(found),
        notices=tuple(notices),
    )  # fmt: skip


def _profile(content: bytes) -> bytes:
    """The profile in iCCP; what cannot be inflated comes back empty, which its reader will find damaged."""
    _, _, rest = content.partition(b"\0")
    return _inflate(rest[1:]) or b""


def _inflate(data: bytes) -> bytes | None:
    try:
        unpacker = zlib.decompressobj()
        inflated = unpacker.decompress(data, _MOST_METADATA)
        return inflated if unpacker.eof else None
    except zlib.error:
        return None


def _text(content: bytes) -> bytes:
    """The text of an iTXt chunk as UTF-8; empty where it cannot be inflated."""
    _, _, rest = content.partition(b"\0")
    compressed, rest = rest[:1] == b"\x01", rest[2:]
    _language, _, rest = rest.partition(b"\0")
    _keyword, _, text = rest.partition(b"\0")
    return (_inflate(text) or b"") if compressed else text


def _colour(found: dict[bytes, bytes]) -> PngColour:
    gamma = points = code_points = None
    if len(found.get(b"gAMA", b"")) == 4:
        gamma = struct.unpack(">I", found[b"gAMA"])[0] / 100_000
    if len(found.get(b"cHRM", b"")) == 32:
        n = [v / 100_000 for v in struct.unpack(">8I", found[b"cHRM"])]
        points = ((n[0], n[1]), (n[2], n[3]), (n[4], n[5]), (n[6], n[7]))
    if len(found.get(b"cICP", b"")) == 4:
        a, b, c, d = found[b"cICP"]
        code_points = (a, b, c, d)
    return PngColour(b"sRGB" in found, gamma, points, code_points)


def decode(data: bytes, container: Container) -> "NDArray[Any]":
    """Pixels as RGB codes, uint8 or uint16 (height, width, 3); grey in three equal channels, a palette looked up.

    Raises Damaged where the data is cut short or broken, and Problem where something is transparent.
    """
    for _ in chunks(data):  # every part is there, with the right checksum
        pass
    if container.bits == 16:
        return _decode_deep(data)
    return decode_with_pillow(data, "PNG", container.alpha)


def _decode_deep(data: bytes) -> "NDArray[np.uint16]":
    """16-bit pixels, which Pillow would hand over as 8-bit."""
    import cv2
    import numpy as np

    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None or pixels.dtype != np.uint16:
        raise Damaged("its pixel data cannot be decoded")
    if pixels.ndim == 3 and pixels.shape[2] in (2, 4):
        least = int(pixels[..., -1].min())
        if least < 65535:
            raise transparent(least, 65535)
    if pixels.ndim == 2 or pixels.shape[2] < 3:
        return np.repeat(pixels.reshape(*pixels.shape[:2], -1)[..., :1], 3, axis=2)
    return np.ascontiguousarray(pixels[..., 2::-1])


def decode_with_pillow(data: bytes, form: str, alpha: bool, mode: str = "RGB") -> "NDArray[np.uint8]":
    """Pixels of an 8-bit picture by Pillow. `form` is Pillow's word for the format, `mode` for RGB or CMYK. As
    `decode`."""
    import numpy as np
    from PIL import Image

    # What Pillow warns of (entries it does not use) is no matter here; where pixels are missing, it raises.
    warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
    Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # the size was checked against this very limit
    try:
        with Image.open(io.BytesIO(data), formats=[form]) as image:
            if alpha:
                pixels = np.asarray(image.convert("RGBA"))
                least = int(pixels[..., 3].min())
                if least < 255:
                    raise transparent(least, 255)
                return np.ascontiguousarray(pixels[..., :3])
            return np.ascontiguousarray(np.asarray(image if image.mode == mode else image.convert(mode)))
    except (OSError, SyntaxError, ValueError, EOFError, zlib.error, struct.error) as error:
        raise Damaged(str(error)) from error


def transparent(least: int, highest: int) -> Problem:
    """Why a picture with a transparent part is refused."""
    return Problem(
        "parts of this frame are transparent",
        got=f"an alpha channel that goes down to {least} of {highest}",
        expected="a photograph without transparency",
        remedy="flatten it onto a background and save it again",
    )


def with_chunks(png: bytes, *, exif: bytes, xmp: bytes, icc: bytes, profile_name: str, pixels_per_inch: int) -> bytes:
    """A PNG of the same pixel data with profile, density, EXIF and XMP, and with no other metadata.

    Nothing is written for what is empty. profile_name: 1 to 79 Latin-1 characters.
    """
    kept = [(kind, content) for kind, content in chunks(png) if kind in (b"IHDR", b"IDAT", b"IEND")]
    per_metre = round(pixels_per_inch / 0.0254)
    extra = []
    if icc:
        extra.append((b"iCCP", profile_name.encode("latin-1") + b"\0\0" + zlib.compress(icc, 9)))
    extra.append((b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)))
    if exif:
        extra.append((b"eXIf", exif))
    if xmp:
        extra.append((b"iTXt", XMP_KEYWORD + b"\0\0\0\0\0" + xmp))
    parts = [SIGNATURE]
    for kind, content in kept[:1] + extra + kept[1:]:
        parts.append(struct.pack(">I4s", len(content), kind))
        parts.append(content)
        parts.append(struct.pack(">I", zlib.crc32(content, zlib.crc32(kind))))
    return b"".join(parts)
