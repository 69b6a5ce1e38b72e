"""Pictures and records that the tests of reading and writing share."""

import io
import shutil
import struct
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.photographs import exif as e

Codes = NDArray[np.uint8]


@pytest.fixture
def picture() -> Codes:
    """48 × 72, different in every corner and with no symmetry, smooth enough for JPEG."""
    height, width = 48, 72
    down, across = np.mgrid[0:height, 0:width]
    codes = np.empty((height, width, 3), np.uint8)
    codes[..., 0] = 40 + 2 * across
    codes[..., 1] = 30 + 4 * down
    codes[..., 2] = 60
    codes[:24, :24, 2] = 220  # the top left corner is the blue one
    codes[40:, 60:, :] = 250  # the bottom right one is white
    return codes


@pytest.fixture
def camera_exif() -> bytes:
    """A frame's record as a camera writes it, with the values of real files for 1/400 s and f/1.8."""
    return e.write_exif(
        e.Exif(
            "<",
            {
                0x010F: e.text("Example"), 0x0110: e.text("Model 1"), 0x0112: e.short(6),
                0x0132: e.text("2026:09:19 18:52:11"), 0x0213: e.short(2), 0x0100: e.long(6000),
            },
            {
                0x829A: e.rational(1, 400), 0x829D: e.rational(18, 10), 0x8827: e.short(200),
                0x9000: e.undefined(b"0230"), 0x9003: e.text("2026:09:19 18:52:11"), 0x9011: e.text("+02:00"),
                0x9291: e.text("37"), 0x9201: e.signed_rational(8643856, 1000000),
                0x9202: e.rational(1695994, 1000000), 0x9204: e.signed_rational(-1, 3), 0x9209: e.short(0x10),
                0x920A: e.rational(50, 1), 0xA405: e.short(75), 0xA434: e.text("50 mm f/1.8"),
                0xA001: e.short(1), 0xA002: e.long(6000), 0xA003: e.long(4000), 0xA20E: e.rational(6000, 1),
                0x9214: e.short(3000, 2000, 100, 100), 0x927C: e.undefined(bytes(range(200))),
            },
            {
                0: e.Entry(e.Kind.BYTE, bytes((2, 3, 0, 0))), 1: e.text("N"),
                2: e.Entry(e.Kind.RATIONAL, ((47, 1), (24, 1), (0, 1))), 3: e.text("W"),
                4: e.Entry(e.Kind.RATIONAL, ((8, 1), (36, 1), (0, 1))),
            },
            {1: e.text("R98"), 2: e.undefined(b"0100")},
        )
    )  # fmt: skip


@pytest.fixture
def saved(tmp_path: Path) -> Callable[..., Path]:
    """Saves codes with Pillow, as other programs write frames: saved("a.png", codes, exif=…, icc_profile=…)."""

    def save(name: str, codes: NDArray[np.generic], **options: Any) -> Path:
        from PIL import Image

        path = tmp_path / name
        form = {"jpg": "JPEG", "png": "PNG", "tif": "TIFF"}[name.rpartition(".")[2]]
        exif = options.pop("exif", None)
        if isinstance(exif, bytes):
            options["exif"] = b"Exif\0\0" + exif
            if form == "TIFF":
                options["exif"] = Image.Exif()
                options["exif"].load(b"Exif\0\0" + exif)
        if form == "JPEG":
            options = {"quality": 98, "subsampling": 0, **options}
        Image.fromarray(codes).save(path, form, **options)
        return path

    return save


@pytest.fixture
def oriented_exif() -> Callable[[int], bytes]:
    """An EXIF record that says nothing but the orientation."""

    def make(orientation: int) -> bytes:
        return e.write_exif(e.Exif(">", {0x0112: e.short(orientation)}))

    return make


@pytest.fixture
def as_bytes() -> Callable[..., bytes]:
    """The bytes of a picture saved with Pillow."""

    def encode(codes: NDArray[np.generic], form: str, **options: Any) -> bytes:
        from PIL import Image

        stream = io.BytesIO()
        Image.fromarray(codes).save(stream, form, **options)
        return stream.getvalue()

    return encode


@pytest.fixture
def png_with() -> Callable[..., bytes]:
    """Makes an 8-bit RGB PNG with given chunks after its header, put together by hand."""

    def make(codes: Codes, *chunks: tuple[bytes, bytes]) -> bytes:
        height, width = codes.shape[:2]
        rows = b"".join(b"\0" + row.tobytes() for row in codes)
        head = (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
        parts = [head, *chunks, (b"IDAT", zlib.compress(rows)), (b"IEND", b"")]
        return b"\x89PNG\r\n\x1a\n" + b"".join(
            struct.pack(">I", len(c)) + k + c + struct.pack(">I", zlib.crc32(k + c)) for k, c in parts
        )

    return make


@pytest.fixture
def exiftool() -> Callable[..., str]:
    """Runs exiftool, an independent reader, and gives its standard output."""
    return _runner("exiftool", "Debian's libimage-exiftool-perl")


@pytest.fixture
def exiv2() -> Callable[..., str]:
    """Runs exiv2, another independent reader."""
    return _runner("exiv2", "Debian's exiv2")


def _runner(program: str, package: str) -> Callable[..., str]:
    if shutil.which(program) is None:
        pytest.skip(f"{package} is not installed")

    def run(*arguments: object) -> str:
        command = [program, *(str(argument) for argument in arguments)]
        return subprocess.run(command, capture_output=True, check=False, text=True).stdout

    return run


def ink_profile() -> bytes:
    """A profile of four invented inks (ICC.1:2022, 10.10, lut16Type; connection space XYZ): each ink takes its share of
    light away, straight curves, a 2×2×2×2 table."""
    from finishing.colour import icc
    from finishing.colour.adaptation import adaptation_matrix, white_xyz
    from finishing.colour.spaces import D65, SRGB

    colorants = adaptation_matrix(white_xyz(D65), icc.D50_WHITE) @ SRGB.to_xyz
    corners = []
    for inks in np.ndindex(2, 2, 2, 2):
        left = 1 - 0.95 * np.array(inks)
        corners.append(colorants @ (left[:3] * left[3]))
    grid = np.round(np.clip(corners, 0, 1.99) * 32768).astype(">u2").tobytes()
    straight = struct.pack(">2H", 0, 65535)
    unit = struct.pack(">9i", 65536, 0, 0, 0, 65536, 0, 0, 0, 65536)
    lut = b"mft2" + bytes(4) + bytes((4, 3, 2, 0)) + unit + struct.pack(">HH", 2, 2)
    lut += straight * 4 + grid + straight * 3
    parts = {b"wtpt": b"XYZ " + bytes(4) + struct.pack(">3i", 0xF6D6, 0x10000, 0xD32D), b"A2B0": lut}
    start, table, body = 132 + 24, b"", b""
    for name, content in parts.items():
        table += struct.pack(">4sII", name, start + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    size = start + len(body)
    head = struct.pack(">I4xI4s4s4s12s4s", size, 0x02400000, b"prtr", b"CMYK", b"XYZ ", bytes(12), b"acsp")
    head = head.ljust(68, b"\0") + struct.pack(">3I", 0xF6D6, 0x10000, 0xD32D)
    return head.ljust(128, b"\0") + struct.pack(">I", 2) + table + body
