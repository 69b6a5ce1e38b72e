"""Files written whole, with profile and records where readers look for them, and the same bytes each time."""

import errno
import os
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from finishing.colour import icc
from finishing.colour.spaces import COLOUR_SPACES, OPRGB, SRGB, ColourSpace
from finishing.errors import Problem
from finishing.photographs import jpeg, writing
from finishing.photographs.reading import read_photograph
from finishing.photographs.writing import OutputSettings, encode, encode_jpeg, write_photograph

XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"/>'


@pytest.mark.parametrize("space", COLOUR_SPACES.values(), ids=lambda s: s.name)
@pytest.mark.parametrize("form", ["jpeg", "png"])
def test_what_is_written_reads_back(
    form: str, space: ColourSpace, tmp_path: Path, picture: np.ndarray, camera_exif: bytes
) -> None:
    path = tmp_path / "new" / "folder" / f"a.{form}"
    write_photograph(path, picture, settings=OutputSettings(form, space, quality=95), exif=camera_exif, xmp=XMP)
    photograph = read_photograph(path)
    assert photograph.encoding.description == space.title
    assert photograph.metadata.exif_raw == camera_exif
    assert photograph.metadata.xmp_raw == XMP
    upright = np.rot90(picture, -1)  # the record given says orientation 6
    assert np.abs(photograph.codes.astype(int) - upright).max() <= (12 if form == "jpeg" else 0)


@pytest.mark.parametrize("form", ["jpeg", "png"])
def test_same_input_same_bytes(form: str, picture: np.ndarray, camera_exif: bytes) -> None:
    settings = OutputSettings(form, OPRGB)
    first = encode(picture, settings=settings, exif=camera_exif, xmp=XMP)
    view = np.asfortranarray(picture)
    assert first == encode(view, settings=settings, exif=camera_exif, xmp=XMP)


def test_quality_and_subsampling(picture: np.ndarray) -> None:
    noisy = np.random.default_rng(5).integers(0, 256, (64, 64, 3), np.uint8)
    assert len(encode_jpeg(noisy, quality=60)) < len(encode_jpeg(noisy, quality=95))
    for sampling, luma in (("4:4:4", 0x11), ("4:2:0", 0x22)):
        data = encode_jpeg(noisy, subsampling=sampling)
        assert data[data.index(b"\xff\xc0") + 11] == luma
    for wrong in ({"quality": 0}, {"quality": 101}, {"pixels_per_inch": 0}):
        with pytest.raises(ValueError, match="expected"):
            encode_jpeg(noisy, **wrong)
    for codes in (picture[..., 0], picture.astype(np.float32), picture[:0], np.dstack([picture, picture])):
        with pytest.raises(ValueError, match="uint8"):
            encode_jpeg(codes)


def test_segments_stand_in_order(picture: np.ndarray, camera_exif: bytes) -> None:
    data = encode(picture, settings=OutputSettings("jpeg", SRGB, pixels_per_inch=240), exif=camera_exif, xmp=XMP)
    found = list(jpeg.segments(data))
    assert [marker for marker, _ in found[:4]] == [0xE0, 0xE1, 0xE1, 0xE2]
    assert found[0][1][:12] == b"JFIF\0\x01\x01\x01" + struct.pack(">HH", 240, 240)
    assert found[1][1] == b"Exif\0\0" + camera_exif
    assert found[2][1].endswith(b"\0" + XMP)
    assert found[3][1] == b"ICC_PROFILE\0\x01\x01" + icc.write_profile(SRGB)


def test_a_large_profile_is_cut_into_pieces(picture: np.ndarray, tmp_path: Path) -> None:
    large = bytearray(icc.write_profile(OPRGB) + bytes(200_000))
    large[0:4] = struct.pack(">I", len(large))
    path = tmp_path / "a.jpg"
    path.write_bytes(encode_jpeg(picture, icc=bytes(large)))
    assert jpeg.scan(path.read_bytes()).icc == large
    assert read_photograph(path).encoding.description == "opRGB"


def test_records_that_do_not_fit_are_told(picture: np.ndarray, tmp_path: Path) -> None:
    room = 65533 - len(jpeg.XMP_HEAD)
    settings = OutputSettings("jpeg", SRGB)
    write_photograph(tmp_path / "a.jpg", picture, settings=settings, xmp=b"x" * room)
    for records in ({"xmp": b"x" * (room + 1)}, {"exif": b"x" * 65530}):
        with pytest.raises(Problem, match="too large") as caught:
            write_photograph(tmp_path / "b.jpg", picture, settings=settings, **records)
        assert caught.value.where == "b.jpg"
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]
    with pytest.raises(Problem, match="too large"):
        encode_jpeg(np.zeros((1, 65501, 3), np.uint8))


def test_an_older_file_is_replaced_and_keeps_its_right_to_be_read(tmp_path: Path, picture: np.ndarray) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(b"old")
    write_photograph(path, picture, settings=OutputSettings("png", SRGB))
    assert np.array_equal(read_photograph(path).codes, picture)
    (tmp_path / "plain").write_bytes(b"")
    assert path.stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.ENOSPC, "disk is full"), (errno.EROFS, "may not be written"), (errno.EIO, "cannot be written")],
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failure_leaves_the_old_file_and_nothing_else(
    step: str, number: int, words: str, tmp_path: Path, picture: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    path = tmp_path / "a.jpg"
    path.write_bytes(b"old")
    monkeypatch.setattr(writing.os, step, fail)
    with pytest.raises(Problem, match=words) as caught:
        write_photograph(path, picture, settings=OutputSettings("jpeg", SRGB))
    assert caught.value.where == str(path)
    assert "--out" in str(caught.value.remedy)
    with pytest.raises(Problem, match=words) as caught:
        writing.write_bytes(path, b"new", movable=False)
    assert caught.value.remedy
    assert "--out" not in caught.value.remedy  # of a file that can be nowhere else
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]
    assert path.read_bytes() == b"old"


def test_places_that_take_no_file(tmp_path: Path, picture: np.ndarray) -> None:
    settings = OutputSettings("jpeg", SRGB)
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "folder.jpg").mkdir()
    for path in (tmp_path / "file" / "a.jpg", tmp_path / "folder.jpg", tmp_path / ("a" * 300 + ".jpg")):
        with pytest.raises(Problem, match="cannot be written"):
            write_photograph(path, picture, settings=settings)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder.jpg"]


def test_an_interruption_leaves_no_half_file(
    tmp_path: Path, picture: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(writing.os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_photograph(tmp_path / "a.jpg", picture, settings=OutputSettings("jpeg", SRGB))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("space", COLOUR_SPACES.values(), ids=lambda s: s.name)
def test_other_readers_see_profile_and_density(
    space: ColourSpace, tmp_path: Path, picture: np.ndarray, exiftool: Callable[..., str]
) -> None:
    for form in ("jpeg", "png"):
        path = tmp_path / f"a.{form}"
        write_photograph(path, picture, settings=OutputSettings(form, space, pixels_per_inch=300))
        assert space.title in exiftool("-ICC_Profile:ProfileDescription", "-s3", path)
        assert exiftool("-validate", "-warning", "-a", "-s3", path).strip() == "OK"
    assert exiftool("-JFIF:XResolution", "-JFIF:ResolutionUnit", "-s3", tmp_path / "a.jpeg").split() == [
        "300",
        "inches",
    ]
    assert exiftool("-PNG-pHYs:PixelsPerUnitX", "-s3", tmp_path / "a.png").strip() == "11811"
