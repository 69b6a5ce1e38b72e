"""Codes mean what a file's profile, chunks or EXIF record say they mean."""

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from finishing.colour import icc
from finishing.colour.spaces import DISPLAY_P3, LINEAR, OPRGB, SRGB, ColourSpace
from finishing.errors import Problem
from finishing.photographs import containers, exif
from finishing.photographs.encoding import WIDE
from finishing.photographs.reading import Photograph, read_photograph

FORMS = ["jpg", "png", "tif"]
Save = Callable[..., Path]


def linear(photograph: Photograph) -> np.ndarray:
    """Working-space light, float64."""
    tables, matrix = photograph.encoding.tables, photograph.encoding.matrix
    light = np.stack([tables[c][photograph.codes[..., c]] for c in range(3)], -1).astype(np.float64)
    return light if matrix is None else light @ matrix.T


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, OPRGB, LINEAR], ids=lambda s: s.name)
@pytest.mark.parametrize("form", FORMS)
def test_profiles_are_honoured(form: str, space: ColourSpace, picture: np.ndarray, saved: Save) -> None:
    photograph = read_photograph(saved(f"frame.{form}", picture, icc_profile=icc.write_profile(space)))
    expected = space.decode(photograph.codes / 255) @ space.to_working.T
    np.testing.assert_allclose(linear(photograph), expected, atol=1e-4)
    assert (photograph.encoding.matrix is None) == (space in (SRGB, LINEAR))
    assert photograph.encoding.tables.shape == (3, 256)
    assert photograph.encoding.tables.dtype == np.float32
    assert photograph.notices == []


def test_grey_frames_with_grey_or_rgb_profiles(picture: np.ndarray, saved: Save) -> None:
    def grey_profile() -> bytes:
        curve = b"curv" + bytes(4) + struct.pack(">IH", 1, 0x0200)  # gamma 2
        head = struct.pack(
            ">I4xI4s4s4s12s4s", 144 + len(curve), 0x04000000, b"mntr", b"GRAY", b"XYZ ", bytes(12), b"acsp"
        )
        return head.ljust(128, b"\0") + struct.pack(">I4sII", 1, b"kTRC", 144, len(curve)) + curve

    grey = picture[..., 1]
    photograph = read_photograph(saved("a.png", grey, icc_profile=grey_profile()))
    np.testing.assert_allclose(linear(photograph)[..., 0], (grey / 255.0) ** 2, atol=1e-6)
    photograph = read_photograph(saved("b.png", grey, icc_profile=icc.write_profile(OPRGB)))
    np.testing.assert_allclose(linear(photograph), np.stack([OPRGB.decode(grey / 255)] * 3, -1), atol=1e-4)


def test_a_photograph_with_a_wide_gamut_profile_equals_little_cms() -> None:
    skimage = pytest.importorskip("skimage", reason="scikit-image carries the photograph")
    from PIL import Image, ImageCms

    path = Path(skimage.__file__).parent / "data" / "rocket.jpg"
    photograph = read_photograph(path)
    assert photograph.encoding.matrix is not None
    ours = np.round(DISPLAY_P3.encode(np.clip(linear(photograph) @ DISPLAY_P3.from_working.T, 0, 1)) * 255)
    with Image.open(path) as image:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])),
            ImageCms.ImageCmsProfile(io.BytesIO(icc.write_profile(DISPLAY_P3))),
            "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC, 0,
        )  # fmt: skip
    theirs = np.asarray(ImageCms.applyTransform(Image.fromarray(photograph.codes), transform)).astype(int)
    assert np.abs(ours - theirs).max() <= 1
    assert (linear(photograph).min(axis=(0, 1)) < -0.001).any()  # what lies outside sRGB is kept


def test_without_a_profile_srgb_is_assumed(picture: np.ndarray, saved: Save) -> None:
    photograph = read_photograph(saved("frame.png", picture))
    assert photograph.encoding.matrix is None
    assert photograph.notices == []
    np.testing.assert_allclose(linear(photograph), SRGB.decode(picture / 255), atol=1e-6)


@pytest.mark.parametrize(
    ("colour_space", "rule", "opens_as"),
    [
        (1, None, "sRGB"),
        (1, "R03", "opRGB"),
        (0xFFFF, "R03", "opRGB"),
        (0xFFFF, None, "opRGB"),
        (0xFFFF, "R98", "sRGB"),
    ],
)
def test_without_a_profile_exif_tells_the_space(
    colour_space: int, rule: str | None, opens_as: str, picture: np.ndarray, saved: Save
) -> None:
    record = exif.write_exif(
        exif.Exif(photo={0xA001: exif.short(colour_space)}, interop={1: exif.text(rule)} if rule else {})
    )
    photograph = read_photograph(saved("frame.jpg", picture, exif=record))
    assert photograph.encoding.description == opens_as
    assert bool(photograph.notices) == (opens_as == "opRGB")


def test_png_colour_chunks(png_with: Callable[..., bytes], tmp_path: Path, picture: np.ndarray) -> None:
    def opened(*chunks: tuple[bytes, bytes]) -> Photograph:
        path = tmp_path / "frame.png"
        path.write_bytes(png_with(picture, *chunks))
        photograph = read_photograph(path)
        assert np.array_equal(photograph.codes, picture)
        return photograph

    gamma = (b"gAMA", struct.pack(">I", 55556))  # 1/1.8
    points = (b"cHRM", struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000))
    srgb_points = (b"cHRM", struct.pack(">8I", 31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000))
    assert opened((b"sRGB", b"\0"), gamma).encoding.description == "sRGB"
    plain = opened((b"gAMA", struct.pack(">I", 45455)), srgb_points)
    assert plain.encoding.description == "sRGB"
    assert plain.notices == []
    found = opened(gamma)
    np.testing.assert_allclose(linear(found), (picture / 255) ** 1.8, atol=1e-4)
    assert found.notices
    found = opened(gamma, points)
    np.testing.assert_allclose(linear(found), ((picture / 255) ** 1.8) @ DISPLAY_P3.to_working.T, atol=1e-4)
    nonsense = opened((b"cHRM", bytes(32)))
    assert nonsense.encoding.matrix is None
    assert "make no sense" in nonsense.notices[0]
    assert "make" in opened((b"gAMA", bytes(4))).notices[0]
    found = opened((b"cICP", bytes((12, 13, 0, 1))), (b"sRGB", b"\0"))  # cICP goes before the others
    np.testing.assert_allclose(linear(found), SRGB.decode(picture / 255) @ DISPLAY_P3.to_working.T, atol=1e-6)
    with pytest.raises(Problem, match="high-dynamic-range"):
        opened((b"cICP", bytes((9, 16, 0, 1))))


def table_profile() -> bytes:
    """sRGB said in tables (ICC.1:2022, 10.10, lut16Type; connection space XYZ): sRGB curves, then a 2×2×2 table
    whose corners are sums of the colorants, which straight interpolation makes exactly the matrix."""
    from finishing.colour.adaptation import adaptation_matrix, white_xyz
    from finishing.colour.spaces import D65

    colorants = adaptation_matrix(white_xyz(D65), icc.D50_WHITE) @ SRGB.to_xyz
    curve = np.round(SRGB.decode(np.linspace(0, 1, 4096)) * 65535).astype(">u2").tobytes()
    corners = [colorants @ (r, g, b) for r in (0, 1) for g in (0, 1) for b in (0, 1)]
    grid = np.round(np.clip(corners, 0, 1.99) * 32768).astype(">u2").tobytes()
    unit = struct.pack(">9i", 65536, 0, 0, 0, 65536, 0, 0, 0, 65536)
    straight = struct.pack(">2H", 0, 65535)
    lut = (
        b"mft2" + bytes(4) + bytes((3, 3, 2, 0)) + unit + struct.pack(">HH", 4096, 2) + curve * 3 + grid + straight * 3
    )
    parts = {b"wtpt": b"XYZ " + bytes(4) + struct.pack(">3i", 0xF6D6, 0x10000, 0xD32D), b"A2B0": lut}
    start, table, body = 132 + 24, b"", b""
    for name, content in parts.items():
        table += struct.pack(">4sII", name, start + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    head = struct.pack(">I4xI4s4s4s12s4s", start + len(body), 0x02400000, b"scnr", b"RGB ", b"XYZ ", bytes(12), b"acsp")
    head = head.ljust(68, b"\0") + struct.pack(">3I", 0xF6D6, 0x10000, 0xD32D)
    return head.ljust(128, b"\0") + struct.pack(">I", 2) + table + body


def test_table_profiles_go_through_little_cms_and_say_so(picture: np.ndarray, saved: Save) -> None:
    photograph = read_photograph(saved("frame.png", picture, icc_profile=table_profile()))
    assert any("littleCMS" in notice for notice in photograph.notices)
    assert photograph.codes.dtype == np.uint16
    # The tables say sRGB: this is what sRGB's codes are in the wide space, to a quarter of an 8-bit code.
    expected = WIDE.encode(SRGB.decode(picture / 255) @ WIDE.from_working.T) * 65535
    assert np.abs(photograph.codes - expected).max() <= 64
    np.testing.assert_allclose(photograph.encoding.matrix, WIDE.to_working)


@pytest.mark.parametrize("damage", ["cut", "cmyk", "nonsense"])
@pytest.mark.parametrize("form", FORMS)
def test_a_profile_that_cannot_be_used_is_told(form: str, damage: str, picture: np.ndarray, saved: Save) -> None:
    data = bytearray(icc.write_profile(OPRGB))
    if damage == "cmyk":
        data[16:20] = b"CMYK"
    profile = {"cut": bytes(data[:300]), "cmyk": bytes(data), "nonsense": b"nonsense" * 20}[damage]
    with pytest.raises(Problem, match="colour profile") as caught:
        read_photograph(saved(f"frame.{form}", picture, icc_profile=profile))
    assert caught.value.where == f"frame.{form}"
    assert caught.value.remedy


def test_a_large_profile_in_pieces(picture: np.ndarray, saved: Save) -> None:
    data = bytearray(icc.write_profile(OPRGB) + bytes(150_000))
    data[0:4] = struct.pack(">I", len(data))
    path = saved("frame.jpg", picture, icc_profile=bytes(data))
    assert path.read_bytes().count(b"ICC_PROFILE\0") == 3
    np.testing.assert_allclose(read_photograph(path).encoding.matrix, OPRGB.to_working, atol=5e-5)
    broken = path.read_bytes().replace(b"ICC_PROFILE\0\x02", b"XCC_PROFILE\0\x02")
    path.write_bytes(broken)
    with pytest.raises(Problem, match="colour profile"):
        read_photograph(path)


def test_a_swollen_profile_does_not_fill_the_memory(
    png_with: Callable[..., bytes], tmp_path: Path, picture: np.ndarray
) -> None:
    bomb = zlib.compress(bytes(containers.MOST_PIXELS // 5), 9)
    path = tmp_path / "frame.png"
    path.write_bytes(png_with(picture, (b"iCCP", b"x\0\0" + bomb)))
    with pytest.raises(Problem, match="profile"):
        read_photograph(path)
