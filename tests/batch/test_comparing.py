"""Looks compared: figures against another implementation, maps, what is refused."""

from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image

from finishing.batch.delivery.apply import apply
from finishing.batch.pictures.comparing import Differences, compare
from finishing.batch.pictures.difference_map import DARKEST_AT, TICKS, grey_of, with_key
from finishing.batch.work.looks import read_look
from finishing.errors import ProblemSet


def test_figures_are_those_of_the_finished_files(session: Path, tmp_path: Path) -> None:
    """Both looks written as PNG, read by Pillow, and compared by colour-science."""
    image = session / "frames/A-0001.jpg"
    looks = [read_look("faded_print"), read_look("white_edge")]
    labs = []
    for look in looks:
        report = apply(look, [image], tmp_path / look.name, kind="png", jobs=1)
        with Image.open(report.written[str(image)]) as picture:
            encoded = np.asarray(picture) / 255
        labs.append(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(encoded), colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"]))
    expected = colour.delta_E(*labs, method="CIE 2000")
    report = compare(*looks, [image], long_edge=None, jobs=1)
    found = report.found[str(image)]
    # colour-science takes sRGB's matrix as rounded in IEC 61966-2-1: its greys are off by up to 0.02.
    assert found.mean == pytest.approx(float(expected.mean()), abs=0.02)
    assert found.percentile_95 == pytest.approx(float(np.percentile(expected, 95)), abs=0.03)
    assert found.maximum == pytest.approx(float(expected.max()), abs=0.05)
    assert found.pixels == 300 * 200
    assert found.mean > 2


def test_an_image_and_itself_do_not_differ(session: Path) -> None:
    image = session / "frames/A-0001.jpg"
    look = read_look("faded_print")
    for pair in ((look, look), (None, None)):
        found = compare(*pair, [image]).found[str(image)]
        assert (found.mean, found.percentile_95, found.maximum) == (0, 0, 0)
    one, other = compare(look, None, [image]).overall, compare(None, look, [image]).overall
    assert one.mean == pytest.approx(other.mean, abs=1e-9)


def test_a_neutral_recipe_is_the_original(session: Path, tmp_path: Path) -> None:
    (tmp_path / "none.yaml").write_text("look: None\nversion: 1\nsteps:\n  - exposure: {stops: 0}\n")
    (tmp_path / "some.yaml").write_text("look: Some\nversion: 2\nsteps:\n  - exposure: {stops: 0.02}\n")
    none, some = read_look(str(tmp_path / "none.yaml")), read_look(str(tmp_path / "some.yaml"))
    image = session / "frames/A-0002.jpg"
    assert compare(none, None, [image]).overall.maximum == 0
    assert 0 < compare(some, None, [image]).overall.mean < 1


def test_figures_add_up_over_images(session: Path) -> None:
    images = [session / "frames/A-0001.jpg", session / "frames/C-0004.jpg", session / "frames/Z-0009.jpg"]
    report = compare(read_look("white_edge"), None, images, long_edge=120, jobs=2)
    parts = list(report.found.values())
    assert report.overall.pixels == sum(part.pixels for part in parts) == 3 * 120 * 80
    assert report.overall.maximum == max(part.maximum for part in parts)
    assert report.overall.mean == pytest.approx(np.mean([part.mean for part in parts]))


def test_a_percentile_is_one_to_a_thousandth() -> None:
    values = np.random.default_rng(3).gamma(2.0, 3.0, 20_001)
    whole, first, second = Differences(), Differences(), Differences()
    whole.add(values)
    first.add(values[:5000])
    second.add(values[5000:])
    first.include(second)
    assert whole.percentile_95 == pytest.approx(np.percentile(values, 95, method="inverted_cdf"), abs=0.001)
    assert first.percentile_95 == whole.percentile_95
    assert whole.mean == pytest.approx(values.mean())


def test_a_bad_image_fails_alone(session: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0 nothing")
    images = [tmp_path / "bad.jpg", session / "frames/A-0001.jpg", tmp_path / "missing.jpg"]
    report = compare(read_look("white_edge"), None, images, tmp_path / "maps")
    assert set(report.failed) == {str(images[0]), str(images[2])}
    assert list(report.found) == [str(images[1])]
    assert [path.name for path in (tmp_path / "maps").iterdir()] == ["A-0001-difference.png"]


def test_a_map_is_light_where_nothing_changed(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    report = compare(read_look("white_edge"), None, [image], tmp_path / "maps", jobs=1)
    path = report.maps[str(image)]
    with Image.open(path) as picture:
        pixels = np.asarray(picture)
        assert picture.info["icc_profile"]
    assert pixels.shape[1] == 440  # wider than the picture, for the key's sake
    assert pixels.shape[0] > 200
    assert (pixels[..., 0] == pixels[..., 1]).all()
    assert (pixels[..., 0] == pixels[..., 2]).all()
    inside = pixels[:200, 70:370, 0]
    assert inside[0, 0] < inside[100, 150]  # the corner was lifted, the middle less
    content = path.read_bytes()
    compare(read_look("white_edge"), None, [image], tmp_path / "maps", jobs=1, again=True)
    assert path.read_bytes() == content


def test_the_scale_of_the_map() -> None:
    levels = np.linspace(0, 1.5 * DARKEST_AT, 400)
    greys = grey_of(levels).astype(int)
    assert (np.diff(greys) <= 0).all()
    assert greys[0] > 225
    assert grey_of(np.array([DARKEST_AT, 100.0])).tolist() == [greys[-1]] * 2
    assert (np.diff(grey_of(np.array(TICKS, float)).astype(int)) < -15).all()
    # A quarter of the way in log2(1 + difference) is L* 94 − 82 / 4; its code by colour-science.
    luminance = colour.Lab_to_XYZ([94 - 82 / 4, 0, 0])[1]
    assert grey_of(np.array([21**0.25 - 1]))[0] == round(255 * float(colour.cctf_encoding(luminance)))


def test_a_key_of_a_narrow_map_is_cut_to_its_width() -> None:
    greys = np.full((40, 30), 200, np.uint8)
    picture = with_key(greys, ["x" * 400, "short"])
    assert picture.shape[1] == 440
    assert picture[-60:, -20:].min() == 255  # nothing runs into the margin
    assert picture[41:, :, 0].min() < 60


def test_maps_are_not_overwritten_unasked(session: Path, tmp_path: Path) -> None:
    image, look = session / "frames/A-0001.jpg", read_look("white_edge")
    compare(look, None, [image], tmp_path / "maps")
    with pytest.raises(ProblemSet, match="the map exists already"):
        compare(look, None, [image], tmp_path / "maps")
    twin = tmp_path / "A-0001.jpg"
    twin.write_bytes(image.read_bytes())
    with pytest.raises(ProblemSet, match="two images would have one map"):
        compare(look, None, [image, twin], tmp_path / "others")


def test_a_map_never_takes_the_place_of_an_image_not_even_when_asked_to_overwrite(
    session: Path, tmp_path: Path
) -> None:
    image, other = tmp_path / "A-0001.png", tmp_path / "A-0001-difference.png"
    for path in (image, other):
        Image.open(session / "frames/A-0001.jpg").save(path)
    content = other.read_bytes()
    with pytest.raises(ProblemSet, match="would take the place of an original"):
        compare(read_look("white_edge"), None, [image, other], tmp_path, again=True)
    assert other.read_bytes() == content
