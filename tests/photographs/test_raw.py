"""Raw files with known light: a test draws the scene, lets an invented sensor see it and writes what it saw as DNG."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB
from finishing.photographs.orientation import upright
from finishing.photographs.reading import Photograph, read_header, read_photograph, read_reduced

pytest.importorskip("rawpy", reason="the extra raw is not installed")

#: An invented sensor: its colours from XYZ, with daylight as what it was measured under (DNG 1.4: ColorMatrix1).
SENSOR = np.array([[0.8, -0.25, -0.08], [-0.45, 1.25, 0.22], [-0.08, 0.2, 0.62]])
BLACK, WHITE = 512, 65532
COLOURS = np.array(
    [[0.5, 0.5, 0.5], [0.18, 0.18, 0.18], [0.6, 0.2, 0.1], [0.1, 0.4, 0.2],
     [0.05, 0.1, 0.5], [0.9, 0.8, 0.1], [0.08, 0.08, 0.08], [0.95, 0.95, 0.95]]
)  # fmt: skip


def scene() -> NDArray[np.float64]:
    """Eight patches of 48 × 48 pixels, linear light of the working space."""
    return np.repeat(np.repeat(COLOURS.reshape(2, 4, 3), 48, 0), 48, 1)


def fractions(values: NDArray[np.float64]) -> tuple[int, ...]:
    return tuple(int(part) for value in values.ravel() for part in (round(value * 1_000_000), 1_000_000))


def write_dng(path: Path, light: NDArray[np.float64], *, filters: bool, orientation: int = 1, **more: Any) -> Path:
    """What the sensor saw, at an exposure under which white just fills its green."""
    import tifffile

    white = SENSOR @ SRGB.to_xyz.sum(axis=1)
    seen = light @ SRGB.to_xyz.T @ SENSOR.T / white.max()
    codes = np.clip(np.round(BLACK + seen * (WHITE - BLACK)), 0, WHITE).astype(np.uint16)
    tags: list[Any] = [
        (50706, 1, 4, bytes((1, 4, 0, 0)), True), (50708, 2, 0, "Example Model 1", True),
        (50721, 10, 9, fractions(SENSOR), True), (50778, 3, 1, 21, True),
        (50728, 5, 3, fractions(more.get("neutral", white / white.max())), True), (271, 2, 0, "Example", True),
        (274, 3, 1, orientation, True),
    ]  # fmt: skip
    if "crop" in more:
        left, top, width, height = more["crop"]
        tags += [(50719, 4, 2, (left, top), True), (50720, 4, 2, (width, height), True)]
    if filters:
        mosaic = codes[..., 1].copy()
        mosaic[0::2, 0::2] = codes[0::2, 0::2, 0]
        mosaic[1::2, 1::2] = codes[1::2, 1::2, 2]
        tags += [(33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes((0, 1, 1, 2)), True)]
        tags += [(50714, 4, 1, BLACK, True), (50717, 4, 1, WHITE, True)]
        tifffile.imwrite(path, mosaic, photometric=32803, extratags=tags)
    else:
        tags += [(50714, 4, 3, (BLACK,) * 3, True), (50717, 4, 3, (WHITE,) * 3, True)]
        tifffile.imwrite(path, codes, photometric=34892, extratags=tags, planarconfig="contig")
    return path


def light_of(photograph: Photograph) -> NDArray[np.float64]:
    assert photograph.codes.dtype == np.uint16
    assert photograph.encoding.matrix is not None
    tables = photograph.encoding.tables
    seen = np.stack([tables[c][photograph.codes[..., c]] for c in range(3)], -1).astype(np.float64)
    return seen @ photograph.encoding.matrix.T


def patches(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """The means of the patches' middles."""
    height, width = light.shape[0] // 48, light.shape[1] // 48
    return np.array([
        light[48 * y + 16 : 48 * y + 32, 48 * x + 16 : 48 * x + 32].mean(axis=(0, 1))
        for y in range(height) for x in range(width)
    ])  # fmt: skip


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("filters", [True, False], ids=["colour filters", "linear"])
def test_known_light_comes_out(filters: bool, orientation: int, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", scene(), filters=filters, orientation=orientation)
    header, photograph = read_header(path), read_photograph(path)
    expected = upright(scene(), orientation)
    assert header.refusal is None
    assert (header.format, header.metadata.make) == ("raw", "Example")
    assert (header.height, header.width) == photograph.codes.shape[:2] == expected.shape[:2]
    assert photograph.metadata.orientation == 1
    found, wanted = patches(light_of(photograph)), patches(expected)
    # every channel; the darkest is 0.05: both the sensor's numbers and LibRaw's are whole, of 65535 for white
    assert np.abs(found / wanted - 1).max() < 1e-3


def test_the_cameras_white_balance_is_followed(tmp_path: Path) -> None:
    white = SENSOR @ SRGB.to_xyz.sum(axis=1)
    warm = write_dng(tmp_path / "a.dng", scene(), filters=True, neutral=white * (0.8, 1, 1.25) / white.max())
    grey = patches(light_of(read_photograph(warm)))[0]
    assert grey[0] > grey[1] > grey[2]


def test_blown_highlights_are_white(tmp_path: Path) -> None:
    light = scene()
    light[:48, :48] = (4.0, 3.0, 2.0)
    found = patches(light_of(read_photograph(write_dng(tmp_path / "a.dng", light, filters=False))))
    np.testing.assert_allclose(found[0], 1.0, atol=1e-3)


def test_the_cameras_own_frame_is_kept_and_previews_are_half_the_size(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", scene(), filters=True, crop=(8, 10, 160, 70))
    photograph = read_photograph(path)
    assert photograph.codes.shape == (70, 160, 3)
    assert (read_header(path).width, read_header(path).height) == (160, 70)
    np.testing.assert_allclose(light_of(photograph)[14:24, 15:25].mean(axis=(0, 1)), 0.5, rtol=1e-3)
    small = read_reduced(path, 60)
    assert (small.reduction, small.codes.shape) == (2, (35, 80, 3))


def test_a_raw_picture_below_a_small_preview_is_found(tmp_path: Path) -> None:
    """As many cameras write it: the first directory is a preview, the sensor's own stands below."""
    import tifffile

    whole = tifffile.TiffFile(write_dng(tmp_path / "a.dng", scene(), filters=True)).pages[0]
    kept = [(t.code, t.dtype, t.count, t.value, True) for t in whole.tags if t.code in (50721, 50778, 50728, 271)]
    kept = [(c, d, n, v.encode() if isinstance(v, str) else v, w) for c, d, n, v, w in kept]
    levels = [(33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes((0, 1, 1, 2)), True), (50714, 4, 1, BLACK, True)]
    path = tmp_path / "b.dng"
    with tifffile.TiffWriter(path) as writer:
        preview = np.full((24, 48, 3), 90, np.uint8)
        head = [*kept, (50706, 1, 4, bytes((1, 4, 0, 0)), True), (50708, 2, 0, "Example Model 1", True)]
        writer.write(preview, photometric="rgb", subfiletype=1, subifds=1, extratags=head)
        tags = [*levels, (50717, 4, 1, WHITE, True)]
        writer.write(whole.asarray(), photometric=32803, subfiletype=0, extratags=tags)
    assert (read_header(path).width, read_header(path).height) == (192, 96)
    assert np.abs(patches(light_of(read_photograph(path))) - COLOURS).max() < 1e-3


def test_a_tiff_from_a_camera_is_no_raw_file(tmp_path: Path) -> None:
    import tifffile

    path = tmp_path / "a.tif"
    codes = np.full((24, 48, 3), 90, np.uint8)
    with tifffile.TiffWriter(path) as writer:
        writer.write(codes, photometric="rgb", subifds=1, extratags=[(271, 2, 0, "Example", True)])
        writer.write(codes[::2, ::2], photometric="rgb", subfiletype=1)
    header = read_header(path)
    assert (header.format, header.width) == ("tiff", 48)
    assert np.array_equal(read_photograph(path).codes, codes)


def test_cut_raw_files_fail(tmp_path: Path) -> None:
    from finishing.errors import Problem

    data = write_dng(tmp_path / "a.dng", scene(), filters=True).read_bytes()
    path = tmp_path / "cut.dng"
    for size in range(20, len(data) - 2000, len(data) // 11):
        path.write_bytes(data[:size])
        with pytest.raises(Problem) as caught:
            read_photograph(path)
        assert caught.value.remedy
