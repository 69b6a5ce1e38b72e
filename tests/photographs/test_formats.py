"""Frames of every format come in whole: depth, orientation, profile and record."""

import importlib.util
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.colour import icc
from finishing.colour.spaces import DISPLAY_P3, LINEAR, OPRGB, SRGB, ColourSpace
from finishing.errors import Problem
from finishing.photographs import exif as e
from finishing.photographs.encoding import WIDE
from finishing.photographs.reading import Photograph, read_header, read_photograph, read_reduced, read_xmp_packet
from tests.photographs.conftest import ink_profile

COLORD = Path("/usr/share/color/icc/colord")


def light_of(photograph: Photograph) -> NDArray[np.float64]:
    """Working-space light, float64."""
    tables, matrix = photograph.encoding.tables, photograph.encoding.matrix
    light = np.stack([tables[c][photograph.codes[..., c]] for c in range(3)], -1).astype(np.float64)
    return light if matrix is None else light @ matrix.T


@pytest.fixture
def deep(picture: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """16-bit codes that 8 bits cannot hold."""
    return picture.astype(np.uint16) * 257 + np.arange(72, dtype=np.uint16)[None, :, None] % 11


def save_deep(path: Path, codes: NDArray[Any], **options: Any) -> Path:
    import cv2
    import tifffile

    if path.suffix == ".png":
        assert cv2.imwrite(str(path), codes if codes.ndim == 2 else np.ascontiguousarray(codes[..., ::-1]))
    else:
        tifffile.imwrite(path, codes, photometric="rgb" if codes.ndim == 3 else "minisblack", **options)
    return path


@pytest.mark.parametrize("form", ["png", "tif"])
def test_sixteen_bits_stay_sixteen_bits(form: str, tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    path = save_deep(tmp_path / f"a.{form}", deep)
    assert read_header(path).bits == 16
    photograph = read_photograph(path)
    assert photograph.codes.dtype == np.uint16
    assert np.array_equal(photograph.codes, deep)
    np.testing.assert_allclose(light_of(photograph), SRGB.decode(deep / 65535), atol=1e-6)
    grey = read_photograph(save_deep(tmp_path / f"grey.{form}", deep[..., 1]))
    assert np.array_equal(grey.codes, np.repeat(deep[..., 1:2], 3, axis=2))


@pytest.mark.parametrize(
    "options",
    [
        {"compression": "zlib", "predictor": True},
        {"compression": "lzw"},
        {"compression": "packbits"},
        {"tile": (16, 32)},
        {"byteorder": ">"},
        {"planarconfig": "separate"},
        {"bigtiff": False, "rowsperstrip": 5},
    ],
    ids=lambda options: "-".join(f"{key}" for key in options),
)
@pytest.mark.parametrize("kind", ["uint16", "float32"])
def test_forms_of_deep_tiffs(kind: str, options: dict[str, Any], tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    values = deep if kind == "uint16" else (deep / 65535).astype(np.float32)
    stored = np.moveaxis(values, -1, 0) if options.get("planarconfig") else values
    photograph = read_photograph(save_deep(tmp_path / "a.tif", np.ascontiguousarray(stored), **options))
    found = photograph.codes if kind == "uint16" else photograph.light
    assert np.array_equal(found, values)


def test_white_may_be_zero(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    import tifffile

    tifffile.imwrite(tmp_path / "a.tif", 65535 - deep[..., 0], photometric="miniswhite")
    assert np.array_equal(read_photograph(tmp_path / "a.tif").codes[..., 0], deep[..., 0])


@pytest.mark.parametrize("form", ["png", "tif"])
def test_truncated_deep_files_fail(form: str, tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    data = save_deep(tmp_path / f"a.{form}", deep, **({"compression": "lzw"} if form == "tif" else {})).read_bytes()
    path = tmp_path / "cut"
    for size in range(10, len(data) - 8, len(data) // 29):
        path.write_bytes(data[:size])
        with pytest.raises(Problem) as caught:
            read_photograph(path)
        assert caught.value.remedy


@pytest.mark.parametrize("space", [SRGB, OPRGB, DISPLAY_P3, LINEAR], ids=lambda s: s.name)
def test_floats_keep_what_lies_beyond_white(space: ColourSpace, tmp_path: Path) -> None:
    values = np.random.default_rng(3).uniform(-0.3, 3, (20, 30, 3)).astype(np.float32)
    profile = icc.write_profile(space)
    path = save_deep(tmp_path / "a.tif", values, extratags=[(34675, 7, len(profile), profile, True)])
    photograph = read_photograph(path)
    assert photograph.light is not None
    assert photograph.notices == []
    expected = space.decode(values.astype(np.float64)) @ space.to_working.T
    # a profile's parameters are whole 1/65536
    np.testing.assert_allclose(photograph.light, expected, rtol=2e-3, atol=3e-4)
    # what works on codes gets the part within the wide space
    inside = WIDE.decode(WIDE.encode(np.clip(expected @ WIDE.from_working.T, 0, 1))) @ WIDE.to_working.T
    np.testing.assert_allclose(light_of(photograph), inside, atol=3e-4)


def test_floats_without_a_profile_are_linear_light(tmp_path: Path) -> None:
    values = np.random.default_rng(3).uniform(-1, 8, (5, 6, 3)).astype(np.float32)
    photograph = read_photograph(save_deep(tmp_path / "a.tif", values))
    assert np.array_equal(photograph.light, values)
    assert "linear light" in photograph.notices[0]


def encoded(form: str, codes: NDArray[np.uint8], exif: bytes, **options: Any) -> bytes:
    """A file as other programs write it."""
    from PIL import Image

    stream = io.BytesIO()
    image = Image.fromarray(codes)
    if form == "heic":
        pillow_heif = pytest.importorskip("pillow_heif", reason="the extra heif is not installed")
        pillow_heif.from_pillow(image).save(stream, quality=95, exif=exif, chroma=444, **options)
    else:
        quality = {"webp": {"quality": 100, "method": 0}, "avif": {"quality": 95, "subsampling": "4:4:4", "speed": 8}}
        image.save(stream, form.upper(), exif=exif, **quality[form], **options)
    return stream.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["jpg", "png", "tif", "png16", "tif16", "tif32", "webp", "avif", "heic"])
def test_orientations(
    form: str, orientation: int, tmp_path: Path, picture: NDArray[np.uint8], oriented_exif: Callable[[int], bytes],
    saved: Callable[..., Path],
) -> None:  # fmt: skip
    """What EXIF 2.32 (CIPA DC-008) says row 0 and column 0 stand for, drawn by turning the picture the other way."""
    stored = {
        1: picture, 2: picture[:, ::-1], 3: picture[::-1, ::-1], 4: picture[::-1], 5: picture.swapaxes(0, 1),
        6: np.rot90(picture, 1), 7: picture.swapaxes(0, 1)[::-1, ::-1], 8: np.rot90(picture, -1),
    }[orientation]  # fmt: skip
    stored = np.ascontiguousarray(stored)
    record = oriented_exif(orientation)
    if form in ("jpg", "png", "tif"):
        path = saved(f"a.{form}", stored, exif=record)
    elif form in ("webp", "avif", "heic"):
        # an AVIF's own properties turn it; its writer makes them out of the record
        content = encoded(form, stored, record)
        path = tmp_path / f"a.{form}"
        path.write_bytes(content)
    else:
        values = stored.astype(np.uint16) * 257 if form != "tif32" else SRGB.decode(stored / np.float32(255))
        kept = [(274, 3, 1, orientation, True)]
        path = save_deep(tmp_path / f"a.{form[:3]}", values, **({"extratags": kept} if form[:3] == "tif" else {}))
        if form == "png16":
            from finishing.photographs import png

            path.write_bytes(
                png.with_chunks(path.read_bytes(), exif=record, xmp=b"", icc=b"", profile_name="", pixels_per_inch=72)
            )
    header, photograph = read_header(path), read_photograph(path)
    assert (header.height, header.width) == photograph.codes.shape[:2] == picture.shape[:2]
    if form == "tif32":
        found = np.round(SRGB.encode(photograph.light) * 255)
    else:
        found = photograph.codes / (257 if photograph.codes.dtype == np.uint16 else 1)
    assert np.abs(found - picture).mean() < 4
    assert np.abs(found[2:20, 2:20] - picture[2:20, 2:20]).mean() < 4
    assert photograph.metadata.orientation == 1


@pytest.mark.parametrize("form", ["webp", "avif", "heic"])
def test_records_and_profiles_of_newer_formats(
    form: str, tmp_path: Path, picture: NDArray[np.uint8], camera_exif: bytes
) -> None:
    packet = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    packet += b'<rdf:Description xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmp:Rating="4"/></rdf:RDF></x:xmpmeta>'
    record, _ = e.read_exif(camera_exif)
    record.image.pop(0x0112)
    path = tmp_path / f"a.{form}"
    path.write_bytes(
        encoded(form, picture, e.write_exif(record), xmp=packet, icc_profile=icc.write_profile(DISPLAY_P3))
    )
    for found in (read_header(path).metadata, read_photograph(path).metadata):
        assert (found.exposure_seconds, found.f_number, found.iso, found.rating) == (1 / 400, 1.8, 200, 4)
        assert found.latitude == pytest.approx(47.4)
    photograph = read_photograph(path)
    np.testing.assert_allclose(photograph.encoding.matrix, DISPLAY_P3.to_working, atol=5e-5)
    assert np.abs(photograph.codes.astype(int) - picture).mean() < 6
    assert read_xmp_packet(path) == packet
    (tmp_path / "a.xmp").write_bytes(packet)
    assert read_xmp_packet(tmp_path / "a.xmp") == packet


@pytest.mark.parametrize("bits", [10, 12])
def test_avif_of_more_than_eight_bits(bits: int, tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    import imagecodecs

    codes = deep >> (16 - bits)
    data = imagecodecs.avif_encode(codes, level=100, bitspersample=bits, pixelformat="444", speed=8)
    (tmp_path / "a.avif").write_bytes(data)
    photograph = read_photograph(tmp_path / "a.avif")
    assert photograph.encoding.tables.shape == (3, 2**bits)
    assert np.abs(photograph.codes.astype(int) - codes).mean() < 2 ** (bits - 8)
    assert photograph.codes.max() > 255


@pytest.mark.parametrize("form", ["webp", "avif", "heic"])
def test_truncated_newer_formats_fail(
    form: str, tmp_path: Path, picture: NDArray[np.uint8], camera_exif: bytes
) -> None:
    data = encoded(form, picture, camera_exif)
    path = tmp_path / "cut"
    for size in [*range(12, len(data) - 1, max(1, len(data) // 31)), len(data) - 9]:
        path.write_bytes(data[:size])
        with pytest.raises(Problem) as caught:
            read_photograph(path)
        assert caught.value.where == "cut"
        assert caught.value.remedy


def test_greyscale_jpegs(picture: NDArray[np.uint8], saved: Callable[..., Path]) -> None:
    photograph = read_photograph(saved("a.jpg", picture[..., 1]))
    assert (photograph.codes == photograph.codes[..., :1]).all()
    assert np.abs(photograph.codes[..., 0].astype(int) - picture[..., 1]).max() < 12


@pytest.mark.parametrize("form", ["jpg", "tif"])
def test_inks_go_through_their_profile(form: str, tmp_path: Path, picture: NDArray[np.uint8]) -> None:
    from PIL import Image, ImageCms

    inks = Image.fromarray(picture).convert("CMYK")
    path = tmp_path / f"a.{form}"
    inks.save(path, icc_profile=ink_profile(), **({"quality": 100, "subsampling": 0} if form == "jpg" else {}))
    photograph = read_photograph(path)
    assert "printing inks" in photograph.notices[0]
    with Image.open(path) as image:
        transform = ImageCms.buildTransform(
            *(ImageCms.ImageCmsProfile(io.BytesIO(data)) for data in (ink_profile(), icc.write_profile(WIDE))),
            "CMYK", "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.HIGHRESPRECALC,
        )  # fmt: skip
        theirs = np.asarray(ImageCms.applyTransform(image, transform)).astype(int)
    assert np.abs(photograph.codes / 257 - theirs).max() <= 1
    np.testing.assert_allclose(photograph.encoding.matrix, WIDE.to_working)
    assert read_reduced(path, 20).reduction == 1


@pytest.mark.skipif(not COLORD.is_dir(), reason="Debian's colord-data is not installed")
@pytest.mark.parametrize("form", ["jpg", "png", "tif", "webp", "avif", "png16", "tif16"])
def test_a_wrong_profile_proves_that_profiles_count(
    form: str, tmp_path: Path, picture: NDArray[np.uint8], saved: Callable[..., Path]
) -> None:
    profile = (COLORD / "SwappedRedAndGreen.icc").read_bytes()
    if form in ("webp", "avif"):
        path = tmp_path / f"a.{form}"
        path.write_bytes(encoded(form, picture, b"", icc_profile=profile))
    elif form.endswith("16"):
        path = save_deep(tmp_path / f"a.{form[:3]}", picture.astype(np.uint16) * 257)
        from finishing.photographs import png, tiff_out

        if form == "png16":
            path.write_bytes(
                png.with_chunks(
                    path.read_bytes(), exif=b"", xmp=b"", icc=profile, profile_name="swapped", pixels_per_inch=72
                )
            )
        else:
            path.write_bytes(tiff_out.encode_tiff(picture.astype(np.uint16) * 257, icc=profile))
    else:
        path = saved(f"a.{form}", picture, icc_profile=profile)
    photograph = read_photograph(path)
    seen = SRGB.encode(np.clip(light_of(photograph), 0, 1))
    plain = photograph.codes / np.iinfo(photograph.codes.dtype).max
    assert np.abs(seen[..., 0] - plain[..., 1]).mean() < 0.05
    assert np.abs(seen[..., 1] - plain[..., 0]).mean() < 0.05
    assert np.abs(seen[..., 0] - plain[..., 0]).mean() > 0.1


def test_a_missing_extra_names_what_to_install(
    tmp_path: Path,
    picture: NDArray[np.uint8],
    oriented_exif: Callable[[int], bytes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import tifffile

    dng = tmp_path / "a.dng"
    tifffile.imwrite(dng, picture[..., 0], photometric="cfa", extratags=[(50706, 1, 4, bytes((1, 4, 0, 0)), True)])
    heic = tmp_path / "a.heic"
    heic.write_bytes(encoded("heic", picture, oriented_exif(1)))
    unknown = tmp_path / "a.raw"
    unknown.write_bytes(b"SENSOR DATA 1.0 ................")
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name in ("rawpy", "pillow_heif") else find(name, *more)
    )
    for path, words in ((dng, ".[raw]"), (heic, ".[heif]"), (unknown, ".[raw]")):
        with pytest.raises(Problem) as caught:
            read_photograph(path)
        assert f"pip install '{words}'" in str(caught.value.remedy)
        assert caught.value.where == path.name
    assert read_header(heic).width == 72
    assert read_header(heic).refusal is not None


BROKEN = {
    "fractions over zero": e.Exif(photo={0x829A: e.rational(0, 0), 0x829D: e.rational(0, 0)}),
    "wrong types": e.Exif(image={0x0112: e.text("up")}, photo={0x829A: e.text("fast"), 0x9003: e.short(2026)}),
    "blank dates": e.Exif(photo={0x9003: e.text("    :  :     :  :  "), 0x9291: e.text(" ")}),
}


@pytest.mark.parametrize("damage", [*BROKEN, "cut", "nonsense"])
@pytest.mark.parametrize("form", ["jpeg", "png", "tiff", "webp", "avif"])
def test_a_broken_record_never_fails_a_frame(
    form: str, damage: str, tmp_path: Path, picture: NDArray[np.uint8], camera_exif: bytes
) -> None:
    from finishing.photographs.writing import OutputSettings, encode

    record = {"cut": camera_exif[: len(camera_exif) // 2], "nonsense": b"nonsense" * 9}.get(damage)
    record = e.write_exif(BROKEN[damage]) if record is None else record
    content = encode(picture, settings=OutputSettings(form, SRGB, quality=95))
    if form in ("jpeg", "png"):
        content = encode(picture, settings=OutputSettings(form, SRGB, quality=95), exif=record)
    elif form == "tiff":
        from finishing.photographs import tiff_out

        content = bytes(tiff_out.encode_tiff(picture, exif=record))
    else:  # put where the container has it, past writers that would mend it
        sound = e.write_exif(e.Exif(image={0x010F: e.text("x" * (len(record) - 40 if len(record) > 40 else 1))}))
        content = encode(picture, settings=OutputSettings(form, SRGB, quality=95), exif=sound)
        assert content.count(sound) == 1
        content = content.replace(sound, record.ljust(len(sound), b"\0")[: len(sound)])
    path = tmp_path / f"a.{form}"
    path.write_bytes(content)
    header, photograph = read_header(path), read_photograph(path)
    assert sorted(photograph.codes.shape) == sorted(picture.shape)  # the cut one still says orientation 6
    assert photograph.metadata.exposure_seconds is None or damage == "cut"
    assert header.metadata.captured is None or damage == "cut"
    if damage in ("fractions over zero", "nonsense") and form != "tiff":
        assert photograph.notices
