"""Every kind of output file: pixels, records, limits, and what independent readers make of them."""

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.colour import icc
from finishing.colour.spaces import COLOUR_SPACES, DISPLAY_P3, OPRGB, SRGB
from finishing.errors import Problem
from finishing.photographs import exif as e
from finishing.photographs import tiff_out
from finishing.photographs.metadata import read_metadata
from finishing.photographs.reading import read_photograph
from finishing.photographs.records import FinishRecord, Rights, output_metadata
from finishing.photographs.writing import OutputSettings, encode, write_photograph

KINDS = [("jpeg", 8), ("png", 8), ("png", 16), ("tiff", 8), ("tiff", 16), ("webp", 8), ("avif", 8)]
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"/>'


@pytest.fixture
def deep(picture: NDArray[np.uint8]) -> NDArray[np.uint16]:
    return picture.astype(np.uint16) * 257 + np.arange(72, dtype=np.uint16)[None, :, None] % 11


def record_of(camera_exif: bytes, form: str, **changes: Any) -> FinishRecord:
    return FinishRecord(
        source=read_metadata(camera_exif, b"")[0], source_name="A-0001.jpg", source_hash="ab" * 32, width=72, height=48,
        colour_space=changes.pop("colour_space", "srgb"), format=f"image/{form}", software="finishing 1.2.3",
        rights=Rights("Ä. Example", "© 2026 Ä. Example", "Client use only", "studio@example.org"), rating=4,
        description="Standing by the ladder", setup="A", planned_aperture=8.0, **changes,
    )  # fmt: skip


@pytest.mark.parametrize("compression", ["none", "lzw", "deflate"])
@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("bits", [8, 16])
def test_tiffs_are_exact_and_other_readers_agree(
    bits: int, order: str, compression: str, tmp_path: Path, picture: NDArray[np.uint8], deep: NDArray[np.uint16]
) -> None:
    import cv2
    import tifffile

    codes: NDArray[Any] = picture if bits == 8 else deep
    codes = np.tile(codes, (40, 20, 1))[:-1]  # several strips, the last one shorter
    exif = e.write_exif(e.Exif(order, {0x010F: e.text("Example")}, {0x829A: e.rational(1, 400)}))
    path = tmp_path / "a.tif"
    settings = OutputSettings("tiff", OPRGB, compression=compression, pixels_per_inch=240)
    write_photograph(path, codes, settings=settings, exif=exif, xmp=XMP)
    assert path.read_bytes()[:2] == b"II"  # of this machine, whatever the record's order was
    roomy = tiff_out.codes_with_room(*codes.shape[:2], codes.dtype)
    roomy[:] = codes
    assert bytes(encode(roomy, settings=settings, exif=exif, xmp=XMP)) == path.read_bytes()
    with tifffile.TiffFile(path) as file:  # one reader
        page = file.pages[0]
        assert np.array_equal(page.asarray(), codes)
        assert page.tags["InterColorProfile"].value == icc.write_profile(OPRGB)
        assert bytes(page.tags["XMP"].value) == XMP
        assert page.tags["XResolution"].value == (240, 1)
        assert page.tags["ExifTag"].value["ExposureTime"] == (1, 400)
    assert np.array_equal(cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1], codes)  # libtiff, another
    photograph = read_photograph(path)
    assert np.array_equal(photograph.codes, codes)
    assert photograph.metadata.make == "Example"
    assert photograph.metadata.xmp_raw == XMP


def test_a_comment_that_depends_on_the_byte_order_keeps_it(deep: NDArray[np.uint16]) -> None:
    comment = e.undefined(b"UNICODE\0" + "ä".encode("utf-16-be"))
    exif = e.write_exif(e.Exif(">", photo={0x9286: comment}))
    data = bytes(tiff_out.encode_tiff(deep, compression="none", exif=exif))
    assert data[:2] == b"MM"
    assert e.read_exif(data)[0].photo[0x9286] == comment
    import tifffile

    assert np.array_equal(tifffile.imread(io.BytesIO(data)), deep)


def test_deep_pngs_are_exact_and_other_readers_agree(tmp_path: Path, deep: NDArray[np.uint16]) -> None:
    import imagecodecs

    path = tmp_path / "a.png"
    write_photograph(path, deep, settings=OutputSettings("png", OPRGB), xmp=XMP)
    assert np.array_equal(read_photograph(path).codes, deep)
    assert np.array_equal(imagecodecs.png_decode(path.read_bytes()), deep)


@pytest.mark.parametrize("form", ["webp", "avif"])
def test_newer_formats_read_back(form: str, tmp_path: Path, picture: NDArray[np.uint8], camera_exif: bytes) -> None:
    path = tmp_path / f"a.{form}"
    exif, xmp = output_metadata(record_of(camera_exif, form, colour_space="display_p3"))
    write_photograph(path, picture, settings=OutputSettings(form, DISPLAY_P3, quality=95), exif=exif, xmp=xmp)
    photograph = read_photograph(path)
    assert np.abs(photograph.codes.astype(int) - picture).mean() < 3
    assert photograph.encoding.description == "Display P3"
    assert photograph.metadata.artist == "Ä. Example"  # UTF-8, not question marks
    assert photograph.metadata.xmp_raw == xmp
    written, read = e.read_exif(exif)[0], e.read_exif(photograph.metadata.exif_raw)[0]
    assert (read.photo, read.gps) == (written.photo, written.gps)


@pytest.mark.parametrize(("form", "bits"), KINDS)
def test_same_input_same_bytes(
    form: str, bits: int, picture: NDArray[np.uint8], deep: NDArray[np.uint16], camera_exif: bytes
) -> None:
    settings = OutputSettings(form, OPRGB, progressive=True)
    codes: NDArray[Any] = np.tile(picture if bits == 8 else deep, (4, 4, 1))
    first = encode(codes, settings=settings, exif=camera_exif, xmp=XMP)
    assert first == encode(np.asfortranarray(codes), settings=settings, exif=camera_exif, xmp=XMP)


@pytest.mark.parametrize("form", ["jpeg", "webp", "avif"])
def test_files_are_made_to_fit(form: str, picture: NDArray[np.uint8]) -> None:
    noisy = np.random.default_rng(5).normal(0, 12, (192, 288, 3)) + np.kron(picture, np.ones((4, 4, 1)))
    codes = np.clip(noisy, 0, 255).astype(np.uint8)

    def size(quality: int, at_most: int | None = None) -> int:
        return len(encode(codes, settings=OutputSettings(form, SRGB, quality=quality, at_most=at_most), xmp=XMP))

    whole = size(95)
    assert size(95, whole) == whole
    limit = (whole + size(40)) // 2
    fitted = size(95, limit)
    assert fitted <= limit
    assert fitted > 0.8 * limit  # the best that fits, not just any
    with pytest.raises(Problem, match="so few bytes") as caught:
        size(95, 700)
    assert "at_most" in str(caught.value.remedy)


def test_progressive_jpegs(picture: NDArray[np.uint8], camera_exif: bytes) -> None:
    plain = encode(picture, settings=OutputSettings("jpeg", SRGB), exif=camera_exif)
    progressive = encode(picture, settings=OutputSettings("jpeg", SRGB, progressive=True), exif=camera_exif)
    assert b"\xff\xc2" in progressive
    assert b"\xff\xc2" not in plain
    from PIL import Image

    one, other = (Image.open(io.BytesIO(data)) for data in (plain, progressive))
    assert one.quantization == other.quantization  # the same quality, in another order
    losses = [np.abs(np.asarray(image).astype(int) - picture).mean() for image in (one, other)]
    assert losses[1] < losses[0] + 0.3


def test_what_does_not_fit_is_told(picture: NDArray[np.uint8], deep: NDArray[np.uint16]) -> None:
    for form in ("jpeg", "webp", "avif"):
        with pytest.raises(ValueError, match="uint8"):
            encode(deep, settings=OutputSettings(form, SRGB))
    for form, side in (("webp", 16384), ("jpeg", 65501)):
        with pytest.raises(Problem, match="too large"):
            encode(np.zeros((1, side, 3), np.uint8), settings=OutputSettings(form, SRGB))


@pytest.mark.parametrize("located", [True, False])
@pytest.mark.parametrize(("form", "bits"), KINDS)
def test_exiftool_reads_the_same_set_and_has_no_complaint(
    form: str, bits: int, located: bool, tmp_path: Path, picture: NDArray[np.uint8], deep: NDArray[np.uint16],
    camera_exif: bytes, exiftool: Callable[..., str],
) -> None:  # fmt: skip
    paths = []
    for space in COLOUR_SPACES.values():
        exif, xmp = output_metadata(record_of(camera_exif, form, colour_space=space.name, location_kept=located))
        paths.append(tmp_path / f"{space.name}.{form}")
        codes: NDArray[Any] = picture if bits == 8 else deep
        write_photograph(paths[-1], codes, settings=OutputSettings(form, space), exif=exif, xmp=xmp)
    found: dict[str, Any] = json.loads(exiftool("-json", "-G1", "-struct", paths[0]))[0]
    expected = {
        "IFD0:Make": "Example", "IFD0:Artist": "Ä. Example", "IFD0:Copyright": "© 2026 Ä. Example",
        "IFD0:ImageDescription": "Standing by the ladder", "IFD0:XResolution": 300, "IFD0:Software": "finishing 1.2.3",
        "ExifIFD:ExposureTime": "1/400", "ExifIFD:FNumber": 1.8, "ExifIFD:ISO": 200,
        "ExifIFD:DateTimeOriginal": "2026:09:19 18:52:11", "ExifIFD:OffsetTimeOriginal": "+02:00",
        "ExifIFD:LensModel": "50 mm f/1.8", "ExifIFD:ColorSpace": "sRGB", "ICC_Profile:ProfileDescription": "sRGB",
        "XMP-dc:Creator": ["Ä. Example"], "XMP-xmpRights:UsageTerms": "Client use only", "XMP-xmp:Rating": 4,
        "XMP-finishing:Setup": "A", "XMP-finishing:PlannedAperture": "f/8",
        "XMP-xmpMM:DerivedFrom": {"DocumentID": "sha256:" + "ab" * 32, "FilePath": "A-0001.jpg"},
    }  # fmt: skip
    assert {key: found.get(key) for key in expected} == expected
    # an AVIF's own properties would turn it; its record says nothing of the kind
    assert found.get("IFD0:Orientation") == (None if form == "avif" else "Horizontal (normal)")
    assert ("Composite:GPSPosition" in found) == located
    assert any("GPS" in key for key in found) == located
    report = exiftool("-validate", "-warning", "-error", "-a", "-s3", "-q", *paths)
    assert report.split() == ["OK"] * len(paths), report


def test_places_found_by_a_receiver_are_told_from_others(camera_exif: bytes) -> None:
    """A TIFF's GPS directory has to say how the place was found (EXIF 2.32, GPSProcessingMethod)."""
    structure, _ = e.read_exif(camera_exif)
    structure.gps[7] = e.Entry(e.Kind.RATIONAL, ((16, 1), (52, 1), (11, 1)))
    for source, word in ((camera_exif, b"MANUAL"), (e.write_exif(structure), b"GPS")):
        exif, _ = output_metadata(record_of(source, "tiff"))
        assert e.read_exif(exif)[0].gps[27] == e.undefined(b"ASCII\0\0\0" + word)
        assert 27 not in e.read_exif(output_metadata(record_of(source, "jpeg"))[0])[0].gps


@pytest.mark.parametrize("form", ["jpeg", "png", "tiff"])
def test_exiv2_reads_them_too(
    form: str, tmp_path: Path, picture: NDArray[np.uint8], camera_exif: bytes, exiv2: Callable[..., str]
) -> None:
    exif, xmp = output_metadata(record_of(camera_exif, form))
    path = tmp_path / f"a.{form}"
    write_photograph(path, picture, settings=OutputSettings(form, SRGB), exif=exif, xmp=xmp)
    lines = {line.split()[0]: line.split() for line in exiv2("-Pkyv", path).splitlines()}
    assert lines["Exif.Photo.ShutterSpeedValue"][1:] == ["SRational", "8643856/1000000"]
    assert lines["Exif.Photo.ExposureTime"][1:] == ["Rational", "1/400"]
    assert lines["Xmp.xmp.Rating"][2] == "4"
    assert lines["Exif.Image.Orientation"][2] == "1"
