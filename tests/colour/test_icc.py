"""Profiles read and written, against littleCMS as a second implementation."""

import hashlib
import io
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishing.colour import icc
from finishing.colour.adaptation import adaptation_matrix, white_xyz
from finishing.colour.spaces import COLOUR_SPACES, D65, DISPLAY_P3, OPRGB, SRGB, ColourSpace

SYSTEM_PROFILES = Path("/usr/share/color/icc/colord")
SPACES = list(COLOUR_SPACES.values())


def dense_cube() -> np.ndarray:
    steps = np.array([0, 1, 2, 3, 5, 8, 12, 16, 24, 32, 48, 64, 80, 100, 128, 160, 192, 220, 240, 250, 254, 255])
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 1, 3).astype(np.uint8)


def by_little_cms(profile: bytes, target: ColourSpace, codes: np.ndarray) -> np.ndarray:
    from PIL import Image, ImageCms

    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.ImageCmsProfile(io.BytesIO(icc.write_profile(target))),
        # Unoptimised: littleCMS's 8-bit shortcut works in 1/16384, too coarse for the dark end of a plain power.
        "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    return np.asarray(ImageCms.applyTransform(Image.fromarray(codes), transform)).astype(int)


def by_us(profile: bytes, target: ColourSpace, codes: np.ndarray) -> np.ndarray:
    read = icc.read_profile(profile)
    assert isinstance(read, icc.MatrixProfile)
    tables = read.tables()
    light = np.stack([tables[channel][codes[..., channel]] for channel in range(3)], -1).astype(np.float64)
    there = light @ (target.from_working @ read.matrix_to_working).T
    return np.round(target.encode(np.clip(there, 0, 1)) * 255).astype(int)


def within_a_code(ours: np.ndarray, theirs: np.ndarray, space: ColourSpace) -> bool:
    """Within 1 code; or, where a plain power's steep start makes more codes of it, within the 1/65536 to which a
    profile holds its colorants (two of them)."""
    light = np.abs(space.decode(ours / 255) - space.decode(theirs / 255))
    return bool(((np.abs(ours - theirs) <= 1) | (light <= 2 / 65536)).all())


def tag(kind: bytes, content: bytes) -> bytes:
    return kind + bytes(4) + content


def para(kind: int, *values: float) -> bytes:
    return tag(b"para", struct.pack(f">H2x{len(values)}i", kind, *(round(v * 65536) for v in values)))


def curv(*values: int) -> bytes:
    return tag(b"curv", struct.pack(f">I{len(values)}H", len(values), *values))


def profile(
    tags: dict[str, bytes], *, kind: bytes = b"mntr", model: bytes = b"RGB ", pcs: bytes = b"XYZ ", version: int = 4
) -> bytes:
    """A profile put together by hand, tag by tag (ICC.1:2022, 7)."""
    start = 132 + 12 * len(tags)
    table, body = b"", b""
    for name, content in tags.items():
        table += struct.pack(">4sII", name.encode(), start + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    head = struct.pack(">I4xB3x4s4s4s12s4s", start + len(body), version, kind, model, pcs, bytes(12), b"acsp")
    head = head.ljust(68, b"\0") + struct.pack(">3I", 0xF6D6, 0x10000, 0xD32D)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def with_curve(curve: bytes, version: int = 4) -> bytes:
    """A profile of opRGB's colorants with this curve on each channel."""
    columns = (adaptation_matrix(white_xyz(D65), icc.D50_WHITE) @ OPRGB.to_xyz).T
    colorants = [tag(b"XYZ ", struct.pack(">3i", *(round(v * 65536) for v in c))) for c in columns]
    text = (
        tag(b"desc", struct.pack(">I", 5) + b"Test\0" + bytes(78))
        if version == 2
        else tag(b"mluc", struct.pack(">II2s2sII", 1, 12, b"en", b"US", 8, 28) + "Test".encode("utf-16-be"))
    )
    return profile(
        {
            "desc": text, "cprt": text, "wtpt": tag(b"XYZ ", struct.pack(">3i", 0xF6D6, 0x10000, 0xD32D)),
            "rXYZ": colorants[0], "gXYZ": colorants[1], "bXYZ": colorants[2],
            "rTRC": curve, "gTRC": curve, "bTRC": curve,
        },
        version=version,
    )  # fmt: skip


CURVES = {
    "identity": curv(),
    "gamma 1.8": curv(0x01CD),
    "gamma 2.2": curv(0x0233),
    "table": curv(*(round(65535 * (i / 40) ** 2.4) for i in range(41))),
    "two samples": curv(0, 65535),
    "kind 0": para(0, 2.2),
    "kind 1": para(1, 2.2, 0.9, 0.1),
    "kind 1 from a dark start": para(1, 2.0, 1.1, -0.1),
    "kind 2": para(2, 2.2, 0.9, 0.05, 0.03),
    "kind 3": para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
    "kind 4": para(4, 3.0, 0.862, 0.138, 0.11, 0.08, 0.0, 0.0),
    "kind 4 lifted": para(4, 2.2, 0.95, 0.0, 0.3, 0.1, 0.02, 0.01),
}


@pytest.mark.parametrize("space", SPACES, ids=lambda s: s.name)
def test_written_profiles_are_small_and_well_formed(space: ColourSpace) -> None:
    data = icc.write_profile(space)
    assert len(data) < 600
    assert struct.unpack(">I", data[:4])[0] == len(data)
    assert data[36:40] == b"acsp"
    blank = bytearray(data)
    blank[44:48] = blank[64:68] = bytes(4)
    blank[84:100] = bytes(16)
    assert data[84:100] == hashlib.md5(blank).digest()  # ICC.1:2022, 7.2.18
    assert data == icc.write_profile.__wrapped__(space)


@pytest.mark.parametrize("space", SPACES, ids=lambda s: s.name)
def test_written_profiles_read_back(space: ColourSpace) -> None:
    read = icc.read_profile(icc.write_profile(space))
    assert isinstance(read, icc.MatrixProfile)
    assert read.description == space.title
    np.testing.assert_allclose(read.matrix_to_working, space.to_working, atol=5e-5)
    np.testing.assert_allclose(read.tables(), [space.decode(np.arange(256) / 255)] * 3, atol=1e-5)
    np.testing.assert_allclose(read.matrix_to_working.sum(axis=1), 1, atol=1e-12)  # greys stay neutral


@pytest.mark.parametrize("target", [SRGB, DISPLAY_P3, OPRGB], ids=lambda s: s.name)
@pytest.mark.parametrize("space", SPACES, ids=lambda s: s.name)
def test_written_profiles_equal_little_cms(space: ColourSpace, target: ColourSpace) -> None:
    codes = dense_cube()
    data = icc.write_profile(space)
    assert within_a_code(by_us(data, target, codes), by_little_cms(data, target, codes), target)


@pytest.mark.parametrize("version", [2, 4])
@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
def test_every_kind_of_curve_equals_little_cms(curve: bytes, version: int) -> None:
    codes = dense_cube()
    data = with_curve(curve, version)
    read = icc.read_profile(data)
    assert read.description == "Test"
    assert np.abs(by_us(data, DISPLAY_P3, codes) - by_little_cms(data, DISPLAY_P3, codes)).max() <= 1


def test_srgb_is_exactly_the_identity() -> None:
    from PIL import ImageCms

    for data in (icc.write_profile(SRGB), ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()):
        read = icc.read_profile(data)
        assert isinstance(read, icc.MatrixProfile)
        assert np.array_equal(read.matrix_to_working, np.eye(3))


@pytest.mark.parametrize("name", ["SwappedRedAndGreen", "Bluish", "sRGB", "Rec709", "Gamma5000K"])
def test_system_profiles_equal_little_cms(name: str) -> None:
    path = SYSTEM_PROFILES / f"{name}.icc"
    if not path.exists():
        pytest.skip("Debian's colord-data is not installed")
    codes, data = dense_cube(), path.read_bytes()
    assert np.abs(by_us(data, DISPLAY_P3, codes) - by_little_cms(data, DISPLAY_P3, codes)).max() <= 1


def test_a_profile_with_red_and_green_swapped_swaps_them() -> None:
    path = SYSTEM_PROFILES / "SwappedRedAndGreen.icc"
    if not path.exists():
        pytest.skip("Debian's colord-data is not installed")
    red = by_us(path.read_bytes(), SRGB, np.array([[[250, 10, 10]]], np.uint8))[0, 0]
    assert red[1] > 200
    assert red[0] < 60


def test_grey_profile() -> None:
    read = icc.read_profile(profile({"kTRC": curv(0x0200)}, model=b"GRAY"))
    assert isinstance(read, icc.GreyProfile)
    np.testing.assert_allclose(read.tables(), [(np.arange(256) / 255) ** 2] * 3, atol=1e-7)


@pytest.mark.parametrize(
    ("data", "model"),
    [
        (profile({"A2B0": tag(b"mft2", bytes(60))}, kind=b"prtr", model=b"CMYK", pcs=b"Lab "), "CMYK"),
        (profile({"A2B0": tag(b"mft2", bytes(60)), "rTRC": curv()}), "RGB"),
        (profile({"kTRC": curv()}, model=b"GRAY", pcs=b"Lab "), "GRAY"),
        (profile({"kTRC": curv()}, kind=b"spac", model=b"Lab ", pcs=b"Lab "), "Lab"),
    ],
)
def test_what_no_matrix_can_say_comes_back_whole(data: bytes, model: str) -> None:
    read = icc.read_profile(data)
    assert isinstance(read, icc.TableProfile)
    assert read.colour_model == model
    assert read.data == data


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no ICC profile"),
        (icc.write_profile(SRGB)[:300], "cut short"),
        (profile({"rTRC": curv()}), "lacks rXYZ"),
        (with_curve(para(7, 1.0)), "unknown kind 7"),
        (with_curve(curv(0)), "damaged"),
        (with_curve(tag(b"curv", struct.pack(">I", 1000))), "cut short"),
        (profile({"kTRC": curv()}, kind=b"link"), "describes no picture"),
        (profile({"desc": curv()}, model=b"GRAY"), "lacks kTRC"),
    ],
)
def test_damaged_profiles_are_told_in_words(data: bytes, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        icc.read_profile(data)


def test_colorants_on_one_line_are_damage() -> None:
    data = bytearray(icc.write_profile(DISPLAY_P3))
    at = data.find(b"XYZ ", data.find(b"sf32"))
    red = data[at + 8 : at + 20]
    data[at + 28 : at + 40] = red
    data[at + 48 : at + 60] = red
    with pytest.raises(ValueError, match="span"):
        icc.read_profile(bytes(data))


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_damage_gives_a_profile_or_words(data: st.DataObject) -> None:
    whole = bytearray(with_curve(CURVES["table"], 2) if data.draw(st.booleans()) else icc.write_profile(OPRGB))
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(whole)))
    for damaged in (bytes(whole), bytes(whole[:cut])):
        try:
            read = icc.read_profile(damaged)
        except ValueError:
            continue  # any other exception is a failure
        if isinstance(read, icc.MatrixProfile):
            assert np.isfinite(read.tables()).all()
            assert np.isfinite(read.matrix_to_working).all()


def test_a_transfer_function_without_a_profile_is_refused() -> None:
    odd = ColourSpace("odd", "Odd", SRGB.primaries, lambda v: np.asarray(v) / 2, lambda v: np.asarray(v) * 2)
    with pytest.raises(ValueError, match="transfer function"):
        icc.write_profile(odd)


def test_bradford_matrix() -> None:
    # colour-science 0.4.7: the first row for the whites of ASTM E308, and what becomes of one colour between the
    # whites of CIE 15's chromaticities.
    row = adaptation_matrix((0.95047, 1, 1.08883), (0.96422, 1, 0.82521))[0]
    np.testing.assert_allclose(row, [1.0478112, 0.0228866, -0.0501270], atol=1e-6)
    matrix = adaptation_matrix((0.95045593, 1, 1.08905775), (0.96429568, 1, 0.82510460))
    adapted = matrix @ [0.20654008, 0.12197225, 0.05136952]
    np.testing.assert_allclose(adapted, [0.21666003, 0.12604777, 0.03855068], atol=1e-6)


def test_adaptation_to_the_same_white_changes_nothing() -> None:
    np.testing.assert_allclose(adaptation_matrix(white_xyz(D65), white_xyz(D65)), np.eye(3), atol=1e-15)
