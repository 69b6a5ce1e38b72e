"""Frames of every form come upright, as the codes that were stored."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from finishing.photographs import jpeg
from finishing.photographs.reading import read_header, read_photograph, read_reduced

FORMS = ["jpg", "png", "tif"]
Save = Callable[..., Path]


# Row 0 and column 0 of the stored picture are these edges of the upright one (CIPA DC-008, tag 0112).
STORED = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: np.rot90(p, 1),
    7: lambda p: p[::-1, ::-1].transpose(1, 0, 2),
    8: lambda p: np.rot90(p, -1),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_upright(
    form: str, orientation: int, picture: np.ndarray, saved: Save, oriented_exif: Callable[[int], bytes]
) -> None:
    stored = np.ascontiguousarray(STORED[orientation](picture))
    path = saved(f"frame.{form}", stored, exif=oriented_exif(orientation))
    photograph = read_photograph(path)
    assert photograph.codes.shape == picture.shape
    assert photograph.codes.flags.c_contiguous
    assert np.abs(photograph.codes.astype(int) - picture).max() <= (12 if form == "jpg" else 0)
    assert photograph.metadata.orientation == 1
    header = read_header(path)
    assert (header.width, header.height) == (72, 48)
    assert header.metadata.orientation == orientation


@pytest.mark.parametrize("orientation", [0, 9, 700])
def test_an_impossible_orientation_is_ignored(
    orientation: int, picture: np.ndarray, saved: Save, oriented_exif: Callable[[int], bytes]
) -> None:
    photograph = read_photograph(saved("frame.png", picture, exif=oriented_exif(orientation)))
    assert np.array_equal(photograph.codes, picture)
    assert any("orientation" in notice for notice in photograph.notices)


@pytest.mark.parametrize("form", FORMS)
def test_names_and_formats_go_by_content(form: str, picture: np.ndarray, saved: Save) -> None:
    path = saved(f"frame.{form}", picture)
    odd = path.rename(path.with_name("frame.dat"))
    assert read_header(odd).format == {"jpg": "jpeg", "png": "png", "tif": "tiff"}[form]
    photograph = read_photograph(odd)
    assert photograph.name == "frame"
    assert photograph.codes.dtype == np.uint8
    assert photograph.notices == []


@pytest.mark.parametrize("form", FORMS)
def test_greyscale_comes_in_three_equal_channels(form: str, picture: np.ndarray, saved: Save) -> None:
    photograph = read_photograph(saved(f"frame.{form}", picture[..., 1]))
    assert photograph.codes.shape == picture.shape
    assert photograph.codes.flags.c_contiguous
    assert np.array_equal(photograph.codes[..., 0], photograph.codes[..., 2])
    assert np.abs(photograph.codes[..., 1].astype(int) - picture[..., 1]).max() <= (6 if form == "jpg" else 0)


def test_palettes_are_looked_up(tmp_path: Path, picture: np.ndarray) -> None:
    from PIL import Image

    few = picture // 64 * 64
    for name in ("frame.png", "frame.tif"):
        Image.fromarray(few).quantize(256).save(tmp_path / name)
        assert np.abs(read_photograph(tmp_path / name).codes.astype(int) - few).max() <= 1


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate", "packbits"])
@pytest.mark.parametrize("order", ["<", ">"])
def test_tiff_in_all_its_forms(compression: str | None, order: str, tmp_path: Path, picture: np.ndarray) -> None:
    import tifffile
    from PIL import Image

    path = tmp_path / "frame.tif"
    if compression:
        Image.fromarray(picture).save(path, compression=compression)
    else:
        tifffile.imwrite(path, picture, photometric="rgb", byteorder=order)
    assert np.array_equal(read_photograph(path).codes, picture)
    tifffile.imwrite(path, picture.transpose(2, 0, 1), photometric="rgb", planarconfig="separate", byteorder=order)
    assert np.array_equal(read_photograph(path).codes, picture)
    tifffile.imwrite(path, 255 - picture[..., 0], photometric="miniswhite", byteorder=order)
    assert np.array_equal(read_photograph(path).codes[..., 2], picture[..., 0])


def test_chroma_sampling_that_the_fast_decoder_does_not_know(tmp_path: Path, as_bytes: Callable[..., bytes]) -> None:
    # 4:1:0, luma sampled 4×2: eight luma blocks and two of chroma, of an even grey, whose codes in the standard's
    # tables (ITU-T T.81, annex K.3) are 00 1010 for a luma block and 00 00 for a chroma block.
    data = as_bytes(np.full((16, 32, 3), 128, np.uint8), "JPEG", subsampling=0)
    data = data.replace(b"\x01\x11\x00\x02\x11\x01\x03\x11\x01", b"\x01\x42\x00\x02\x11\x01\x03\x11\x01")
    scan = data.index(b"\xff\xda")
    bits = "001010" * 8 + "0000" * 2
    body = int(bits, 2).to_bytes(len(bits) // 8, "big")
    path = tmp_path / "frame.jpg"
    path.write_bytes(data[: scan + 14] + body + b"\xff\xd9")
    assert (read_photograph(path).codes == 128).all()


@pytest.mark.parametrize(("edge", "reduction"), [(1200, 1), (601, 1), (600, 2), (301, 2), (300, 4), (150, 8), (10, 8)])
def test_reduced_reading_never_falls_below_the_edge_asked_for(
    edge: int, reduction: int, picture: np.ndarray, saved: Save, oriented_exif: Callable[[int], bytes]
) -> None:
    large = np.kron(picture, np.ones((17, 17, 1), np.uint8))[:767, :1199]
    path = saved("frame.jpg", np.ascontiguousarray(np.rot90(large, 1)), exif=oriented_exif(6))
    photograph = read_reduced(path, edge)
    assert photograph.reduction == reduction
    assert photograph.codes.shape == (-(-767 // reduction), -(-1199 // reduction), 3)
    small = large[reduction // 2 :: reduction, reduction // 2 :: reduction]
    near = photograph.codes[: small.shape[0], : small.shape[1]].astype(int)
    assert np.abs(near - small).mean() < 5
    whole = read_reduced(saved("frame.png", picture), 10)
    assert whole.codes.shape == picture.shape
    assert whole.reduction == 1


def test_fill_bytes_and_restart_markers_before_the_scan(
    tmp_path: Path, picture: np.ndarray, as_bytes: Callable[..., bytes]
) -> None:
    data = as_bytes(picture, "JPEG")
    path = tmp_path / "frame.jpg"
    path.write_bytes(data[:2] + b"\xff\xff\xff" + data[3:])
    assert [m for m, _ in jpeg.segments(path.read_bytes())][-1] == 0xDA
    assert read_photograph(path).codes.shape == picture.shape


def test_reading_leaves_the_file_alone(picture: np.ndarray, saved: Save) -> None:
    path = saved("frame.jpg", picture)
    before, when = path.read_bytes(), path.stat().st_mtime_ns
    path.chmod(0o444)
    read_photograph(path)
    read_header(path)
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == when


def test_headers_load_no_pixel_library() -> None:
    code = (
        "import sys, finishing.photographs.headers, finishing.photographs.records;"
        "print(sorted({'numpy', 'cv2', 'PIL', 'simplejpeg'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
