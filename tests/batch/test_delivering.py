"""Deliverables end to end: depth, size, colours, marks, limits, and the records that go with them."""

import io
import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.delivery.apply import apply
from finishing.batch.delivery.run import Report, run
from finishing.batch.delivery.unavailable import refuse_unavailable
from finishing.batch.work.assignment import assign
from finishing.batch.work.looks import read_look
from finishing.colour.spaces import DISPLAY_P3, OPRGB, SRGB
from finishing.errors import Problem, ProblemSet
from finishing.photographs.reading import read_photograph
from tests.conftest import write_frame
from tests.photographs.conftest import ink_profile
from tests.photographs.test_encoding import table_profile

COLORD = Path("/usr/share/color/icc/colord")
PLAIN = "look: Plain\nsteps: [{exposure: {stops: 0}}]\n"
Finish = Callable[..., Report]


@pytest.fixture
def finish(tmp_path: Path) -> Finish:
    """Finishes the frames in a folder in the plain look, which changes nothing, as the deliverables given in YAML."""

    def finished(*deliverables: str, look: str = PLAIN) -> Report:
        (tmp_path / "recipes").mkdir(exist_ok=True)
        (tmp_path / "recipes/plain.yaml").write_text(look)
        lines = "\n".join(f"  {line}" for line in deliverables)
        (tmp_path / "session.yaml").write_text(
            f"session: Depth\nframes: [frames/*]\nlooks: [{{look: plain}}]\ndeliverables:\n{lines}\n"
        )
        work = assign(tmp_path)
        refuse_unavailable(work.session)
        report = run(work, tmp_path / "out", jobs=2)
        assert not report.failed, [str(problem) for problem in report.failed.values()]
        return report

    (tmp_path / "frames").mkdir()
    return finished


def gradient() -> NDArray[np.uint16]:
    """Every 16-bit code, in other orders in the three channels."""
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    return np.stack([codes, codes[::-1], codes.T], axis=-1)


def smooth() -> NDArray[np.uint16]:
    down, across = np.mgrid[0:200, 0:300] / 300
    return np.round(np.stack([across, 0.8 - down, 0.3 + across / 2], axis=-1).clip(0, 1) * 65535).astype(np.uint16)


def save_frame(path: Path, codes: NDArray[Any], **options: Any) -> None:
    import cv2
    import tifffile

    if path.suffix == ".png":
        assert cv2.imwrite(str(path), np.ascontiguousarray(codes[..., ::-1]))
    else:
        tifffile.imwrite(path, codes, photometric="rgb", **options)


@pytest.mark.parametrize("ending", ["tif", "png"])
def test_a_sixteen_bit_gradient_goes_through_bit_for_bit(ending: str, finish: Finish, tmp_path: Path) -> None:
    save_frame(tmp_path / f"frames/g.{ending}", gradient())
    finish(
        "tiff: {format: tiff, bits: 16}", "packed: {format: tiff, bits: 16, compression: deflate}",
        "png: {format: png, bits: 16}",
    )  # fmt: skip
    for path in ("tiff/plain/g.tif", "packed/plain/g.tif", "png/plain/g.png"):
        assert np.array_equal(read_photograph(tmp_path / "out" / path).codes, gradient())


@pytest.mark.parametrize("space", [DISPLAY_P3, OPRGB], ids=lambda s: s.name)
def test_a_gradient_in_a_wide_space_stays_bit_for_bit_in_that_space(space: Any, finish: Finish, tmp_path: Path) -> None:
    from finishing.colour.icc import write_profile

    profile = write_profile(space)
    save_frame(tmp_path / "frames/g.tif", gradient(), extratags=[(34675, 7, len(profile), profile, True)])
    finish(f"tiff: {{format: tiff, bits: 16, profile: {space.name}}}")
    assert np.array_equal(read_photograph(tmp_path / "out/tiff/plain/g.tif").codes, gradient())


def test_through_an_eight_bit_jpeg_within_a_code(finish: Finish, tmp_path: Path) -> None:
    save_frame(tmp_path / "frames/g.tif", smooth())
    finish("web: {format: jpeg, quality: 95}")
    codes = read_photograph(tmp_path / "out/web/plain/g.jpg").codes
    assert np.abs(codes - smooth() / 257).mean() < 1


def test_floats_keep_highlights_for_the_look_and_for_the_next_program(finish: Finish, tmp_path: Path) -> None:
    light = np.full((40, 60, 3), 2.0, np.float32)
    light[:, :30] = 0.25
    save_frame(tmp_path / "frames/f.tif", light)
    finish("light: {format: tiff, bits: 16, profile: linear}", look="look: Darker\nsteps: [{exposure: {stops: -2}}]\n")
    codes = read_photograph(tmp_path / "out/light/plain/f.tif").codes
    assert np.abs(codes[0, 50] / 65535 - 0.5).max() < 1e-4  # 2.0 less two stops
    assert np.abs(codes[0, 5] / 65535 - 0.0625).max() < 1e-4


@pytest.mark.skipif(not COLORD.is_dir(), reason="Debian's colord-data is not installed")
@pytest.mark.parametrize("bits", [8, 16])
def test_a_printers_own_profile_goes_through_little_cms(bits: int, finish: Finish, tmp_path: Path) -> None:
    from PIL import ImageCms

    shutil.copy(COLORD / "SwappedRedAndGreen.icc", tmp_path / "paper.icc")
    down, across = np.mgrid[0:60, 0:80] / 100
    codes = np.round((0.2 + np.stack([across, down, across * 0.5], -1) * 0.6) * 255).astype(np.uint8)
    Image.fromarray(codes).save(tmp_path / "frames/p.png")
    finish(f"paper: {{format: tiff, bits: {bits}, profile: paper.icc, intent: relative, black_point: no}}")
    path = tmp_path / "out/paper/plain/p.tif"
    found = read_photograph(path)
    assert found.codes.dtype == (np.uint8 if bits == 8 else np.uint16)
    stored = found.codes / (1 if bits == 8 else 257)
    assert np.abs(stored[..., 0] - codes[..., 1]).mean() < 14  # red and green have changed places
    transform = ImageCms.buildTransform(
        ImageCms.createProfile("sRGB"), str(tmp_path / "paper.icc"), "RGB", "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.HIGHRESPRECALC,
    )  # fmt: skip
    theirs = np.asarray(ImageCms.applyTransform(Image.fromarray(codes), transform)).astype(float)
    assert np.abs(stored - theirs).max() <= 1.5
    with Image.open(path) as image:
        assert image.info["icc_profile"] == (tmp_path / "paper.icc").read_bytes()


def test_profiles_that_cannot_be_printed_with_are_refused_at_their_place(finish: Finish, tmp_path: Path) -> None:
    save_frame(tmp_path / "frames/g.tif", smooth())
    (tmp_path / "paper.icc").write_bytes(b"no profile")
    with pytest.raises(ProblemSet, match="no usable ICC profile") as caught:
        finish("paper: {format: tiff, profile: paper.icc}")
    assert "session.yaml:5:" in str(caught.value)
    (tmp_path / "paper.icc").write_bytes(ink_profile())
    with pytest.raises(ProblemSet, match="for CMYK pictures"):
        finish("paper: {format: tiff, profile: paper.icc}")
    (tmp_path / "paper.icc").write_bytes(table_profile())  # a scanner's: it leads from the device only
    with pytest.raises(ProblemSet, match="not how to make them"):
        finish("paper: {format: tiff, profile: paper.icc}")


def test_sizes_are_met_and_enlarging_is_asked_for(finish: Finish, tmp_path: Path) -> None:
    save_frame(tmp_path / "frames/g.tif", smooth())
    finish(
        "small: {format: png, short_edge: 100}", "paper: {format: png, print_size: 2 x 1 inch, pixels_per_inch: 50}",
        "same: {format: png, long_edge: 600}", "large: {format: png, long_edge: 600, enlarge: yes}",
        "large_deep: {format: png, bits: 16, long_edge: 600, enlarge: yes}",
    )  # fmt: skip
    sizes = {}
    for name in ("small", "paper", "same", "large", "large_deep"):
        with Image.open(tmp_path / f"out/{name}/plain/g.png") as image:
            sizes[name] = image.size
    assert sizes == {
        "small": (150, 100), "paper": (75, 50), "same": (300, 200), "large": (600, 400), "large_deep": (600, 400),
    }  # fmt: skip
    large = read_photograph(tmp_path / "out/large_deep/plain/g.png").codes.astype(float)
    inside = large[4:-4, 4:-4].reshape(196, 2, 296, 2, 3).mean(axis=(1, 3))
    assert np.abs(inside - smooth()[2:-2, 2:-2]).max() < 300  # a smooth picture stays the same picture


def test_enlarging_puts_no_seams_beside_edges(finish: Finish, tmp_path: Path) -> None:
    codes = np.full((40, 40, 3), 6000, np.uint16)
    codes[:, 20:] = 60000
    save_frame(tmp_path / "frames/e.tif", codes)
    finish("large: {format: tiff, bits: 16, long_edge: 160, enlarge: yes}")
    found = read_photograph(tmp_path / "out/large/plain/e.tif").codes
    assert found.min() >= 5999
    assert found.max() <= 60001


def test_sharpening_dithering_and_marks_show(finish: Finish, tmp_path: Path) -> None:
    codes = np.repeat((smooth() // 257).astype(np.uint8)[:, :, :1], 3, axis=2)
    codes[80:120, 100:200] = 200
    Image.fromarray(codes).save(tmp_path / "frames/s.png")
    finish(
        "plain: {format: png}", "screen: {format: png, sharpen: screen}", "print: {format: png, sharpen: print}",
        "dither: {format: png, dither: yes}", "proof: {format: png, mark: {text: PROOF, opacity: 0.5}}",
        "corner: {format: png, mark: {text: 'a very long text that would not fit at all', place: bottom_right}}",
    )  # fmt: skip

    def found(name: str) -> NDArray[Any]:
        return np.asarray(Image.open(tmp_path / f"out/{name}/plain/s.png")).astype(int)

    assert np.array_equal(found("plain"), codes)
    edge = (slice(70, 130), slice(90, 110))
    screen, paper = (np.abs(found(name) - codes)[edge].max() for name in ("screen", "print"))
    assert 2 < screen < paper < 35
    noise = found("dither") - codes
    assert set(np.unique(noise)) == {-1, 0, 1}
    assert abs(noise[:, 20:-20].mean()) < 0.02
    changed = np.abs(found("proof") - codes).max(axis=2) > 8
    rows, columns = np.nonzero(changed)
    assert 0.005 < changed.mean() < 0.3
    assert abs(rows.mean() - 100) < 4
    assert abs(columns.mean() - 150) < 4
    corner = np.abs(found("corner") - codes).max(axis=2) > 8
    assert corner[150:].any()
    assert not corner[:150].any()
    assert not corner[:, 0].any()  # set smaller until it is whole


def test_limits_and_names_and_places(finish: Finish, tmp_path: Path) -> None:
    for name in ("B-1", "A-7"):
        write_frame(tmp_path / f"frames/{name}.jpg", seconds=1 / 125, taken="2026:09:19 18:50:00")
    report = finish(
        'web: {format: jpeg, quality: 95, at_most: 7 kB, name: "{session}-{number:03}"}',
        'more: {format: webp, name: "{frame}-{number}"}',
    )
    assert sorted(report.made) == ["A-7-1.webp", "B-1-2.webp", "Depth-001.jpg", "Depth-002.jpg"]
    assert (tmp_path / "out/Depth-001.jpg").stat().st_size <= 7000


def test_collisions_are_found_before_anything_is_written(finish: Finish, tmp_path: Path) -> None:
    save_frame(tmp_path / "frames/g.tif", smooth())
    with pytest.raises(ProblemSet, match="the same name"):
        finish('a: {format: png, name: "{frame}"}', 'b: {format: png, long_edge: 100, name: "{frame}"}')
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")
def test_a_place_is_removed_where_a_deliverable_says_so(finish: Finish, tmp_path: Path) -> None:
    image = Image.fromarray((smooth() // 257).astype(np.uint8))
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 24.0, 0.0), 3: "E", 4: (8.0, 36.0, 0.0)})
    image.save(tmp_path / "frames/p.jpg", exif=exif)
    finish(
        "kept: {format: jpeg}", "removed: {format: jpeg, location: remove}", "avif: {format: avif, location: remove}"
    )
    done = subprocess.run(
        ["exiftool", "-j", "-G1", "-r", str(tmp_path / "out")], capture_output=True, check=True, text=True
    )
    placed = {
        Path(found["SourceFile"]).parts[-3]: any("GPS" in key for key in found) for found in json.loads(done.stdout)
    }
    assert placed == {"kept": True, "removed": False, "avif": False}


def test_a_changed_profile_makes_its_outputs_anew(finish: Finish, tmp_path: Path) -> None:
    if not COLORD.is_dir():
        pytest.skip("Debian's colord-data is not installed")
    save_frame(tmp_path / "frames/g.tif", smooth())
    shutil.copy(COLORD / "Bluish.icc", tmp_path / "paper.icc")
    lines = ("paper: {format: tiff, profile: paper.icc}", "web: {format: jpeg}")
    assert len(finish(*lines).made) == 2
    assert finish(*lines).made == []
    shutil.copy(COLORD / "sRGB.icc", tmp_path / "paper.icc")
    assert finish(*lines).made == ["paper/plain/g.tif"]


@pytest.mark.parametrize(
    ("kind", "ending", "bits"), [("tiff", ".tif", 16), ("png", ".png", 16), ("webp", ".webp", 8), ("avif", ".avif", 8)]
)
def test_loose_images_in_other_formats(kind: Any, ending: str, bits: int, tmp_path: Path) -> None:
    (tmp_path / "plain.yaml").write_text(PLAIN)
    save_frame(tmp_path / "g.tif", smooth())
    report = apply(
        read_look(str(tmp_path / "plain.yaml")), [tmp_path / "g.tif"], tmp_path / "out", kind=kind, bits=bits
    )
    assert not report.failed
    path = tmp_path / f"out/g{ending}"
    codes = read_photograph(path).codes
    if bits == 16:
        assert np.array_equal(codes, smooth())
    assert np.abs(codes / (257 if bits == 16 else 1) - smooth() / 257).mean() < 3
    if bits == 8:
        with pytest.raises(Problem, match="8 bits a channel"):
            apply(read_look(str(tmp_path / "plain.yaml")), [tmp_path / "g.tif"], tmp_path / "out2", kind=kind, bits=16)


def test_profiles_written_here_equal_little_cms_on_a_dense_cube() -> None:
    """Our profiles read by littleCMS: codes of each space to sRGB's within one code (18³ colours)."""
    from PIL import ImageCms

    from finishing.colour.icc import write_profile
    from finishing.engine.ends import CodedSink, CodedSource
    from finishing.engine.execution import execute
    from finishing.operation import Geometry
    from finishing.photographs.encoding import encoding_of_profile

    levels = np.linspace(0, 255, 18).round().astype(np.uint8)
    cube = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), -1).reshape(18, -1, 3)
    for source in (SRGB, DISPLAY_P3, OPRGB):
        for target in (SRGB, DISPLAY_P3, OPRGB):
            encoding = encoding_of_profile(write_profile(source))
            ours = np.empty_like(cube)
            execute(
                [], CodedSource(cube, encoding.tables, encoding.matrix), CodedSink(ours, target),
                Geometry(cube.shape[1], 18),
            )  # fmt: skip
            profiles = [ImageCms.ImageCmsProfile(io.BytesIO(write_profile(space))) for space in (source, target)]
            transform = ImageCms.buildTransform(
                *profiles, "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE
            )
            theirs = np.asarray(ImageCms.applyTransform(Image.fromarray(cube), transform)).astype(int)
            # a plain power has no bound to its slope at black: there the profiles' whole 1/65536 are two codes
            off = (np.abs(ours.astype(int) - theirs) > 1) & ((ours > 3) | (theirs > 3))
            # outside the target's gamut the two differ on purpose: littleCMS cuts channels, we keep the hue
            light = source.decode(cube / 255) @ (target.from_working @ source.to_working).T
            inside = ((light > 5e-4) & (light < 1 - 5e-4)).all(axis=-1)
            assert inside.mean() > 0.3
            assert not off[inside].any(), (source.name, target.name)


def test_raw_deep_and_float_frames_are_straightened_and_cropped_like_others(tmp_path: Path) -> None:
    from tests.photographs.test_raw import scene, write_dng

    (tmp_path / "frames").mkdir()
    light = scene()
    write_dng(tmp_path / "frames/raw.dng", light, filters=False, orientation=6)
    save_frame(tmp_path / "frames/deep.tif", np.round(SRGB.encode(light) * 65535).astype(np.uint16))
    save_frame(tmp_path / "frames/float.tif", light.astype(np.float32))
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes/plain.yaml").write_text(PLAIN)
    (tmp_path / "session.yaml").write_text(
        "session: Depth\nframes: [frames/*]\nlooks: [{look: plain}]\n"
        "per_frame:\n  raw: {crop: {box: [0, 0, 0.5, 0.5]}}\n  deep: {straighten: 1.5}\n"
        "  float: {crop: {box: [0.25, 0, 0.75, 1]}, straighten: 0}\n"
        "deliverables: {light: {format: tiff, bits: 16, profile: linear}}\n"
    )
    report = run(assign(tmp_path), tmp_path / "out", jobs=2)
    assert not report.failed, [str(problem) for problem in report.failed.values()]
    found = {
        name: read_photograph(tmp_path / f"out/light/plain/{name}.tif").codes / 65535
        for name in ("raw", "deep", "float")
    }
    assert found["raw"].shape == (96, 48, 3)
    np.testing.assert_allclose(found["raw"][20, 24], light[72, 24], atol=1e-3)  # turned by a quarter, clockwise
    assert found["float"].shape == (96, 96, 3)
    np.testing.assert_allclose(found["float"], np.clip(light[:, 48:144], 0, 1), atol=1e-5)
    height, width = found["deep"].shape[:2]
    assert height < 96
    np.testing.assert_allclose(found["deep"][height // 4, width // 8], light[24, 24], atol=2e-4)


@pytest.mark.parametrize(("kind", "suffix"), [("jpeg", "jpg"), ("tiff", "tif")])
def test_a_small_print_opens_at_the_size_asked_for(finish: Finish, tmp_path: Path, kind: str, suffix: str) -> None:
    """300 pixels on 6 cm are 127 to an inch (2.54 cm); a frame that is large enough keeps the 200 asked for."""
    pixels = np.full((200, 300, 3), 90, np.uint8)
    pixels[:, 150:] = 160
    Image.fromarray(pixels).save(tmp_path / "frames/A-0001.png")
    large = f"large: {{format: {kind}, print_size: 3 x 2 cm, pixels_per_inch: 200, sharpen: print}}"
    finish(f"small: {{format: {kind}, print_size: 6 x 4 cm, pixels_per_inch: 300, sharpen: print}}", large)
    for name, resolution in (("small", 127), ("large", 200)):
        (path,) = (tmp_path / "out" / name).rglob(f"*.{suffix}")
        with Image.open(path) as image:
            assert image.info["dpi"] == (resolution, resolution)
            exif = image.getexif()
            assert (exif[0x011A], exif[0x011B], exif[0x0128]) == (resolution, resolution, 2)
            if kind == "jpeg":
                assert image.info["jfif_density"] == (resolution, resolution)


def test_a_small_print_is_sharpened_for_the_resolution_it_is_printed_at(finish: Finish, tmp_path: Path) -> None:
    """A wider mask belongs to more pixels an inch: the file is that of a print asked for at 127."""
    pixels = np.full((200, 300, 3), 90, np.uint8)
    pixels[:, 150:] = 160
    Image.fromarray(pixels).save(tmp_path / "frames/A-0001.png")
    paper = "format: png, print_size: 6 x 4 cm, sharpen: print"
    finish(f"small: {{{paper}, pixels_per_inch: 300}}", f"told: {{{paper}, pixels_per_inch: 127}}")
    small, told = (np.asarray(Image.open(next((tmp_path / "out" / name).rglob("*.png")))) for name in ("small", "told"))
    assert np.ptp(small[..., 1]) > 160 - 90
    np.testing.assert_array_equal(small, told)


@pytest.mark.parametrize("kind", ["jpeg", "tiff", "png"])
def test_a_margin_is_white_paper_round_the_whole_picture(finish: Finish, tmp_path: Path, kind: str) -> None:
    """3 × 2 cm less 2.5 mm all round leave 2.5 × 1.5 cm: a 3:2 frame is 2.25 × 1.5 cm there, 20 pixels to a mm."""
    pixels = np.full((400, 600, 3), 90, np.uint8)
    Image.fromarray(pixels).save(tmp_path / "frames/A-0001.png")
    paper = f"format: {kind}, print_size: 3 x 2 cm, pixels_per_inch: 508"
    finish(f"framed: {{{paper}, margin: 2.5 mm}}", f"bare: {{{paper}}}")
    (path,) = [one for one in (tmp_path / "out/framed").rglob("*.*") if one.is_file()]
    with Image.open(path) as image:
        assert image.size == (600, 400)
        assert image.info["dpi"] == pytest.approx((508, 508), abs=0.5)
        if kind == "jpeg":
            told = image.getexif().get_ifd(0x8769)
            assert (told[0xA002], told[0xA003]) == (600, 400)
        codes = np.asarray(image).astype(int)
    inside = codes[66:334, 91:509]  # away from what JPEG makes of the border
    assert np.abs(inside - 90).max() <= 1
    for side in (codes[:34], codes[-34:], codes[:, :58], codes[:, -58:]):
        assert side.min() >= 254
    with Image.open(next((tmp_path / "out/bare").rglob("A-0001.*"))) as bare:
        assert bare.size == (600, 400)


def test_a_margin_needs_paper_and_room(finish: Finish, tmp_path: Path) -> None:
    Image.fromarray(np.full((40, 60, 3), 90, np.uint8)).save(tmp_path / "frames/A-0001.png")
    for line, told in (
        ("x: {long_edge: 40, margin: 2 cm}", "a margin is measured on paper"),
        ("x: {print_size: 30 x 20 cm, margin: 10 cm}", "no room for the picture"),
        ("x: {print_size: 30 x 20 cm, margin: 2}", "with its unit"),
    ):
        with pytest.raises(ProblemSet) as caught:
            finish(line)
        assert told in str(caught.value)
