"""The sample as it is written: bytes that repeat, EXIF where promised, colours that serve the looks."""

import io
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray
from PIL import Image

from finishing.cli.main import main
from finishing.errors import Problem
from finishing.photographs.exif import read_exif
from finishing.sample import components, material_map, photograph, write_sample, writer
from finishing.sample.renderer import STRIP_PIXELS
from finishing.sample.scenario import SETUPS, all_frames, frame_of
from finishing.sample.scene import COAT, PAINT, QUINCE, SKIN
from finishing.sample.writer import KEPT_HUE, frame_file, time_words
from finishing.sessions.plan import read_plan

SMALL = 72


def oklch(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Lightness, chroma, hue in degrees of sRGB codes (CSS Color 4: Ottosson's OkLab)."""
    v = picture / 255.0
    rgb = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    to_cones = np.array(
        [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ]
    )
    to_lab = np.array(
        [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ]
    )
    lab = np.cbrt(rgb @ to_cones.T) @ to_lab.T
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360
    return np.stack([lab[..., 0], np.hypot(lab[..., 1], lab[..., 2]), hue], axis=-1)


def seen(name: str, material: int, width: int = 150) -> NDArray[np.float64]:
    """OkLCh of a material's pixels in a frame as the camera took it, without noise."""
    setup, frame = frame_of(name)
    ambient, heads = components(setup.id, name, width)
    picture = photograph(
        ambient, heads if frame.fires else {}, frame.seconds, frame.aperture or setup.aperture, setup.iso
    )
    mask = material_map(setup.id, name, width) == material
    assert mask.sum() > 12, f"{name} shows too little of material {material}"
    return oklch(picture[mask])


@pytest.mark.parametrize("name", ["A-0003", "B-0008", "C-0010"])
def test_the_coat_keeps_its_hue_and_a_distractor_is_near(name: str) -> None:
    coat = np.median(seen(name, COAT), axis=0)
    assert 65 <= coat[2] <= 82
    assert abs(coat[2] - KEPT_HUE) < 8
    assert coat[1] > 0.08
    fruit = np.median(seen(name, QUINCE), axis=0)
    assert abs(fruit[2] - coat[2]) < 15
    if name == "A-0003":
        assert abs(np.median(seen(name, PAINT), axis=0)[2] - coat[2]) < 15


@pytest.mark.parametrize("name", ["B-0008", "C-0010"])
def test_skin_is_skin(name: str) -> None:
    """Skin of all tones lies in a narrow fan of hues, orange to reddish; the bounds are common practice, no source."""
    lightness, chroma, hue = np.median(seen(name, SKIN), axis=0)
    assert 30 <= hue <= 75
    assert 0.02 <= chroma <= 0.14
    assert 0.2 <= lightness <= 0.9


def test_two_skin_tones_differ() -> None:
    dark, light = (np.median(seen(name, SKIN), axis=0)[0] for name in ("B-0008", "C-0010"))
    assert light - dark > 0.12


def test_same_call_same_bytes() -> None:
    assert frame_file("C-0012", SMALL) == frame_file("C-0012", SMALL)


def test_strips_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = components("B", "B-0009", 120)[0]
    monkeypatch.setattr("finishing.sample.renderer.STRIP_PIXELS", 120 * 64 // 2)
    assert STRIP_PIXELS > 120 * 80
    strips = components("B", "B-0009", 120)[0]
    np.testing.assert_array_equal(strips, whole)


def test_exif_is_there_or_not_as_promised() -> None:
    silent = []
    for name in all_frames():
        setup, frame = frame_of(name)
        if not frame.exif:
            silent.append(name)
            continue
        from finishing.sample.files import exif_of

        exif, notices = read_exif(exif_of(name, 85, 1500, 1000))
        assert notices == []
        top, bottom = exif.photo[0x829A].value[0]  # type: ignore[misc]
        assert math.isclose(top / bottom, frame.seconds)
        top, bottom = exif.photo[0x829D].value[0]  # type: ignore[misc]
        assert math.isclose(top / bottom, frame.aperture or setup.aperture)
        assert exif.photo[0x8827].value == (setup.iso,)
        top, bottom = exif.photo[0x9201].value[0]  # type: ignore[misc]
        assert math.isclose(2 ** -(top / bottom), frame.seconds, rel_tol=1e-5)
        assert exif.photo[0x9201].kind == 10  # SRATIONAL, EXIF 2.32
        assert exif.photo[0x9011].value == b"+02:00\0"
    assert len(silent) == 2
    for name in silent:
        assert not dict(Image.open(io.BytesIO(frame_file(name, SMALL))).getexif())


def test_one_upright_frame_is_stored_turned() -> None:
    turned = [name for name in all_frames() if frame_of(name)[1].stored_turned]
    assert len(turned) == 1
    picture = Image.open(io.BytesIO(frame_file(turned[0], SMALL)))
    assert picture.size == (SMALL, round(SMALL / 1.5))
    assert picture.getexif()[0x0112] == 6
    upright = Image.open(io.BytesIO(frame_file("B-0006", SMALL)))
    assert upright.size == (round(SMALL / 1.5), SMALL)
    # turned as the tag says, it shows what an upright drawing shows: sky above, darker grass below
    shown = np.asarray(picture.transpose(Image.Transpose.ROTATE_270).convert("L"), float)
    assert shown[:8].mean() > shown[-8:].mean()


def test_the_camera_clock_runs_ninety_seconds_ahead() -> None:
    from finishing.sample.files import exif_of

    exif, _ = read_exif(exif_of("A-0001", 135, 1500, 1000))
    assert exif.photo[0x9003].value == b"2026:09:19 19:00:40\0"  # true time 18:59:10


def test_folder_is_written_and_never_overwritten(tmp_path: Path) -> None:
    told: list[str] = []
    files = write_sample(tmp_path / "sample", SMALL, ["A-0001", "C-0010"], told.append)
    assert [file.name for file in files] == ["plan.yaml", "session.yaml", "A-0001.jpg", "C-0010.jpg"]
    assert len(told) == 2
    again = write_sample(tmp_path / "sample", SMALL, ["A-0001", "C-0010"])
    assert again == files
    (tmp_path / "sample" / "plan.yaml").write_text("place: {name: Elsewhere}\n")
    with pytest.raises(Problem, match="something else is there"):
        write_sample(tmp_path / "sample", SMALL, ["A-0001"])
    assert (tmp_path / "sample" / "plan.yaml").read_text() == "place: {name: Elsewhere}\n"


@pytest.mark.parametrize(
    ("frames", "long_edge", "told"),
    [
        (12, 300, "12 frames of 300 × 200 pixels: less than a minute"),
        (12, 1500, "12 frames of 1500 × 1000 pixels: about 3 minutes"),
        (12, 900, "12 frames of 900 × 600 pixels: about a minute"),
        (1, 1500, "1 frame of 1500 × 1000 pixels: less than a minute"),
        (12, 6000, "12 frames of 6000 × 4000 pixels: about 40 minutes"),
        (12, 12000, "12 frames of 12000 × 8000 pixels: about 3 hours"),
    ],
)
def test_how_long_it_takes_is_said_in_round_figures(frames: int, long_edge: int, told: str) -> None:
    words = time_words(frames, long_edge)
    assert words.startswith(f"{told} on two free cores")
    assert "the first time" in words


def test_how_long_it_takes_is_said_before_it_begins_and_each_number_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "frame_file", lambda name, long_edge: name.encode())
    done = CliRunner().invoke(main, ["sample", str(tmp_path / "new"), "--long-edge", "300"])
    assert done.exit_code == 0, done.output
    first, *lines = done.stderr.splitlines()
    assert first == f"drawing {time_words(12, 300)}"
    assert lines[0] == "[1/12] A-0001: drawn"
    assert lines[-1] == "[12/12] C-0012: drawn"
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "plan.yaml").write_text("place: {}\n")
    refused = CliRunner().invoke(main, ["sample", str(tmp_path / "other")])
    assert refused.exit_code == 2
    assert "drawing" not in refused.stderr


def test_wrong_requests_are_told(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="no such frame"):
        write_sample(tmp_path, SMALL, ["Z-0001"])
    with pytest.raises(Problem, match="out of range"):
        write_sample(tmp_path, 20)
    assert not list(tmp_path.iterdir())


def test_the_plan_reads_back(tmp_path: Path) -> None:
    write_sample(tmp_path, SMALL, [])
    plan = read_plan(tmp_path / "plan.yaml").value
    assert [setup.id for setup in plan.setups] == [setup.id for setup in SETUPS]
    for read, meant in zip(plan.setups, SETUPS, strict=True):
        assert read.ambient == meant.ambient
        assert read.exposure.aperture == pytest.approx(meant.aperture, rel=0.03)
        assert [strobe.name for strobe in read.strobes] == [head.name for head in meant.heads]
