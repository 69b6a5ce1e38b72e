"""What cannot be read rightly is refused in words, never read wrongly."""

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from finishing.errors import Problem
from finishing.photographs.reading import read_header, read_photograph, read_reduced

Save = Callable[..., Path]


@pytest.mark.parametrize("kind", ["float16", "float64", "int8", "int16", "uint32"])
def test_other_numbers_in_a_tiff_are_refused(kind: str, tmp_path: Path, picture: np.ndarray) -> None:
    import tifffile

    path = tmp_path / "frame.tif"
    tifffile.imwrite(path, (picture // 2).astype(kind), photometric="rgb")
    with pytest.raises(Problem, match="bits per channel"):
        read_photograph(path)


def test_inks_are_refused(tmp_path: Path, picture: np.ndarray) -> None:
    from PIL import Image

    for name in ("frame.jpg", "frame.tif"):
        Image.fromarray(picture).convert("CMYK").save(tmp_path / name)
        with pytest.raises(Problem, match="CMYK") as caught:
            read_photograph(tmp_path / name)
        assert "RGB" in str(caught.value.remedy)
    Image.fromarray(picture).convert("LAB").save(tmp_path / "lab.tif")
    with pytest.raises(Problem, match="colour model"):
        read_photograph(tmp_path / "lab.tif")


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("form", ["png", "tif"])
def test_transparency(form: str, bits: int, tmp_path: Path, picture: np.ndarray) -> None:
    import cv2
    import tifffile

    picture = picture if bits == 8 else picture.astype(np.uint16) * 257
    highest = np.iinfo(picture.dtype).max
    opaque = np.dstack([picture, np.full(picture.shape[:2], highest, picture.dtype)])

    def save(name: str) -> Path:
        path = tmp_path / f"{name}.{form}"
        if form == "png":
            assert cv2.imwrite(str(path), np.ascontiguousarray(opaque[..., [2, 1, 0, 3]]))
        else:
            tifffile.imwrite(path, opaque, photometric="rgb", extrasamples=["unassalpha"])
        return path

    photograph = read_photograph(save("opaque"))
    assert np.array_equal(photograph.codes, picture)
    assert any("transparency" in notice for notice in photograph.notices)
    opaque[3, 5, 3] -= 1
    with pytest.raises(Problem, match="transparent"):
        read_photograph(save("glass"))


@pytest.mark.parametrize("progressive", [False, True])
def test_truncated_jpegs_fail_and_never_come_half_grey(
    progressive: bool, tmp_path: Path, picture: np.ndarray, as_bytes: Callable[..., bytes]
) -> None:
    data = as_bytes(np.kron(picture, np.ones((8, 8, 1), np.uint8)), "JPEG", quality=90, progressive=progressive)
    path = tmp_path / "frame.jpg"
    for size in [*range(1, 700, 23), *range(700, len(data), len(data) // 17), len(data) - 2]:
        path.write_bytes(data[:size])
        for read in (read_photograph, lambda p: read_reduced(p, 100)):
            with pytest.raises(Problem) as caught:
                read(path)
            assert caught.value.where == "frame.jpg"
            assert caught.value.remedy


@pytest.mark.parametrize(("form", "options"), [("PNG", {}), ("TIFF", {}), ("TIFF", {"compression": "tiff_lzw"})])
def test_truncated_files_of_other_forms_fail(
    form: str, options: dict[str, str], tmp_path: Path, picture: np.ndarray, as_bytes: Callable[..., bytes]
) -> None:
    data = as_bytes(picture, form, **options)
    path = tmp_path / "frame"
    # A TIFF's directory may stand before the pixels, in the last of which a cut always falls.
    for size in [*range(1, len(data) - 8, max(1, len(data) // 40)), len(data) - 9]:
        path.write_bytes(data[:size])
        with pytest.raises(Problem):
            read_photograph(path)


def test_a_flipped_bit_in_a_png_is_found(tmp_path: Path, picture: np.ndarray, as_bytes: Callable[..., bytes]) -> None:
    data = bytearray(as_bytes(picture, "PNG"))
    data[len(data) // 2] ^= 4
    path = tmp_path / "frame.png"
    path.write_bytes(data)
    with pytest.raises(Problem, match="damaged"):
        read_photograph(path)


def test_what_is_no_photograph(tmp_path: Path) -> None:
    cases = {
        "empty.jpg": (b"", "empty"),
        "text.jpg": (b"Dear client,", "not a photograph"),
        "phone.jpg": (b"\0\0\0\x18ftypheic" + bytes(12) + b"\0\0\0\x08free", "damaged"),
        "film.jpg": (b"\0\0\0\x18ftypisom" + bytes(12) + b"\0\0\0\x08free", "ISO media"),
        "brief.pdf": (b"%PDF-1.7 ....................", "PDF"),
        "bare.jpg": (b"\xff\xd8\xff\xd9", "damaged"),
        "head.png": (b"\x89PNG\r\n\x1a\n", "damaged"),
        "head.tif": (b"II*\0\x08\0\0\0", "damaged"),
    }
    for name, (content, words) in cases.items():
        (tmp_path / name).write_bytes(content)
        for read in (read_photograph, read_header):
            with pytest.raises(Problem, match=words) as caught:
                read(tmp_path / name)
            assert caught.value.where == name
            assert caught.value.remedy
    with pytest.raises(Problem, match="no such file"):
        read_photograph(tmp_path / "missing.jpg")
    with pytest.raises(Problem, match="folder"):
        read_header(tmp_path)
    with pytest.raises(Problem, match="folder"):
        read_photograph(tmp_path)


def test_sizes_beyond_all_bounds_are_refused_before_decoding(
    png_with: Callable[..., bytes], tmp_path: Path, picture: np.ndarray
) -> None:
    data = bytearray(png_with(picture))
    data[16:24] = struct.pack(">II", 100_000, 100_000)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path = tmp_path / "frame.png"
    path.write_bytes(data)
    with pytest.raises(Problem, match="too large"):
        read_photograph(path)
    data[16:24] = struct.pack(">II", 0, 10)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path.write_bytes(data)
    with pytest.raises(Problem, match="damaged"):
        read_photograph(path)


def test_rare_kinds_of_jpeg_are_told_apart(tmp_path: Path, picture: np.ndarray, as_bytes: Callable[..., bytes]) -> None:
    data = as_bytes(picture, "JPEG")
    at = data.index(b"\xff\xc0")
    for change, words in (({1: 0xC9}, "rare kind"), ({1: 0xC3}, "rare kind"), ({4: 12}, "12 bits")):
        changed = bytearray(data)
        for offset, value in change.items():
            changed[at + offset] = value
        (tmp_path / "frame.jpg").write_bytes(changed)
        with pytest.raises(Problem, match=words):
            read_photograph(tmp_path / "frame.jpg")
