"""Crop and straighten: geometry, pixels, masks and subject points, and a session finished with them."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.turning import framed_mask, framed_source
from finishing.batch.work.assignment import assign
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSource, LinearSource
from finishing.operation import Planes
from finishing.sessions.session import PerFrame

TABLE = np.stack([srgb_decode(np.arange(256) / 255)] * 3).astype(np.float32)
SIZES = st.tuples(st.integers(64, 6000), st.integers(64, 6000)).filter(lambda s: max(s) <= 10 * min(s))
DEGREES = st.floats(-45, 45)


def says(**what: Any) -> PerFrame:
    return PerFrame.model_validate(what)


def pixels_of(source: Any) -> Planes:
    planes = np.empty((3, source.height, source.width), np.float32)
    source.read(planes, 0)
    return planes


def kept(
    codes: NDArray[np.uint8], matrix: NDArray[np.float64] | None = None, *, threads: int = 1, **what: Any
) -> Planes:
    framing = framing_of(says(**what), codes.shape[1], codes.shape[0])
    return pixels_of(framed_source(CodedSource(codes, TABLE, matrix), framing, threads=threads))


def waves(x: Any, y: Any) -> Any:
    """Linear light that no filter should lose: waves of 25 pixels and more."""
    return 0.4 + 0.15 * np.sin(x / 4.1 + 1) + 0.12 * np.cos(y / 5.3) + 0.1 * np.sin((x + y) / 6.7)


@given(SIZES, DEGREES, st.floats(0.2, 5), st.tuples(st.floats(0, 1), st.floats(0, 1)) | st.none())
def test_a_crop_never_leaves_the_frame(
    size: tuple[int, int], degrees: float, aspect: float, subject: tuple[float, float] | None
) -> None:
    width, height = size
    framing = framing_of(says(straighten=degrees, crop={"aspect": aspect}, subject=subject), width, height)
    assert framing.left >= 0
    assert framing.top >= 0
    assert framing.left + framing.width <= framing.turned_width
    assert framing.top + framing.height <= framing.turned_height
    a, b, c, d, e, f = framing.to_frame()
    for x in (0, framing.width):
        for y in (0, framing.height):  # every corner of what is kept lies inside of the frame
            assert -1e-6 <= a * x + b * y + c <= width + 1e-6
            assert -1e-6 <= d * x + e * y + f <= height + 1e-6
    # the shape is the one asked for, to the nearest pixel, and nothing larger would fit
    by_height, by_width = framing.height * aspect, framing.width / aspect
    assert abs(framing.width - max(by_height, 1)) <= 0.5001 or abs(framing.height - max(by_width, 1)) <= 0.5001
    assert framing.width == framing.turned_width or framing.height == framing.turned_height


@given(SIZES, DEGREES)
def test_the_straightened_frame_keeps_its_shape_and_cannot_be_larger(size: tuple[int, int], degrees: float) -> None:
    width, height = size
    framing = framing_of(says(straighten=degrees), width, height)
    scale = min((framing.turned_width + 1) / width, (framing.turned_height + 1) / height)
    assert framing.turned_width == pytest.approx(width * scale, abs=1 + width / height)
    cosine, sine = np.cos(np.radians(framing.degrees)), abs(np.sin(np.radians(framing.degrees)))
    larger = scale * 1.0001
    fits = larger * (width * cosine + height * sine) <= width and larger * (width * sine + height * cosine) <= height
    assert not fits or framing.level


def test_the_crop_lies_about_the_subject_until_it_meets_the_border() -> None:
    assert framing_of(says(crop={"aspect": "1:1"}), 600, 400).left == 100
    assert framing_of(says(crop={"aspect": "1:1"}, subject=[0.6, 0.5]), 600, 400).left == 160
    assert framing_of(says(crop={"aspect": "1:1"}, subject=[0.95, 0.5]), 600, 400).left == 200
    portrait = framing_of(says(crop={"aspect": "4:5"}, subject=[0.1, 0.9]), 600, 400)
    assert (portrait.left, portrait.top, portrait.width, portrait.height) == (0, 0, 320, 400)
    box = framing_of(says(crop={"box": [0.25, 0.5, 0.75, 1]}), 600, 400)
    assert (box.left, box.top, box.width, box.height) == (150, 200, 300, 200)


@given(SIZES, DEGREES, st.tuples(st.floats(0.3, 0.7), st.floats(0.3, 0.7)))
def test_points_go_there_and_back(size: tuple[int, int], degrees: float, point: tuple[float, float]) -> None:
    framing = framing_of(says(straighten=degrees, crop={"aspect": 1}), *size)
    x, y = framing.point(*point)
    a, b, c, d, e, f = framing.to_frame()
    x, y = x * framing.width, y * framing.height
    assert (a * x + b * y + c) / size[0] == pytest.approx(point[0], abs=1e-9)
    assert (d * x + e * y + f) / size[1] == pytest.approx(point[1], abs=1e-9)


def test_a_crop_is_the_frames_own_codes() -> None:
    codes = np.random.default_rng(1).integers(0, 256, (40, 60, 3)).astype(np.uint8)
    source = CodedSource(codes, TABLE, None)
    framing = framing_of(says(crop={"box": [0.1, 0.25, 0.6, 0.75]}), 60, 40)
    cut = framed_source(source, framing)
    assert isinstance(cut, CodedSource)
    assert np.array_equal(cut.codes, codes[10:30, 6:36])
    assert cut.codes.flags.c_contiguous
    assert not np.shares_memory(cut.codes, codes)
    assert framed_source(source, framing_of(says(), 60, 40)) is source


@pytest.mark.parametrize("degrees", [0.4, -3.0, 17.5, 45.0])
def test_turning_samples_the_light_that_is_there(degrees: float) -> None:
    """Against the function that the frame was drawn from: another way than any filter."""
    height, width = 160, 240
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    # codes of 16 bits, so that rounding is far below what is measured
    codes = np.round(waves(x, y) * 65535).astype(np.uint16)
    source = CodedSource(
        np.stack([codes] * 3, axis=-1), np.stack([np.arange(65536) / 65535] * 3).astype(np.float32), None
    )
    framing = framing_of(says(straighten=degrees), width, height)
    found = pixels_of(framed_source(source, framing))[1]
    a, b, c, d, e, f = framing.to_frame()
    across, down = np.meshgrid(np.arange(framing.width) + 0.5, np.arange(framing.height) + 0.5)
    wanted = waves(a * across + b * down + c, d * across + e * down + f)
    inside = (slice(2, -2), slice(2, -2))
    assert np.abs(found - wanted)[inside].max() < 2e-3


@pytest.mark.parametrize("what", [{"straighten": 3.7}, {"crop": {"box": [0.1, 0.2, 0.7, 0.9]}}])
def test_float_light_is_framed_as_codes_are_and_keeps_what_lies_beyond(what: dict[str, Any]) -> None:
    codes = np.random.default_rng(3).integers(0, 256, (60, 90, 3)).astype(np.uint8)
    framing = framing_of(says(**what), 90, 60)
    coded = pixels_of(framed_source(CodedSource(codes, TABLE, None), framing))
    planes = np.ascontiguousarray(np.moveaxis(TABLE[0][codes], -1, 0))
    assert np.array_equal(pixels_of(framed_source(LinearSource(planes.copy()), framing)), coded)
    bright = pixels_of(framed_source(LinearSource(planes * 8 - 1), framing))
    assert np.allclose(bright, coded * 8 - 1, atol=2e-6)
    planes[:, 30, 45] = np.nan, np.inf, -np.inf
    assert np.isfinite(pixels_of(framed_source(LinearSource(planes), framing))).all()


def test_turned_clockwise() -> None:
    codes = np.zeros((200, 200, 3), np.uint8)
    codes[95:105, 150:160] = 255  # a dot to the right of the middle goes down when the picture turns clockwise
    found = kept(codes, straighten=20)[0]
    row, column = np.unravel_index(found.argmax(), found.shape)
    middle = found.shape[0] / 2
    assert row > middle + 10
    assert column > middle + 30


def test_flat_light_stays_and_edges_get_no_seam() -> None:
    flat = np.full((50, 70, 3), 118, np.uint8)
    assert np.abs(kept(flat, straighten=7.0) - TABLE[0, 118]).max() < 1e-6
    edge = np.full((60, 90, 3), 10, np.uint8)
    edge[:, 45:] = 250
    found = kept(edge, straighten=3.0)
    assert found.min() >= TABLE[0, 10]
    assert found.max() <= TABLE[0, 250]


def test_light_is_turned_before_the_change_of_primaries_and_threads_do_not_show() -> None:
    codes = np.random.default_rng(2).integers(0, 256, (300, 200, 3)).astype(np.uint8)
    matrix = np.array([[1.2, -0.2, 0.0], [-0.05, 1.1, -0.05], [0.0, -0.1, 1.1]])
    plain, mixed = kept(codes, straighten=5.0), kept(codes, matrix, straighten=5.0)
    assert np.allclose(mixed, np.einsum("ij,jyx->iyx", matrix, plain), atol=1e-6)
    assert np.array_equal(mixed, kept(codes, matrix, threads=3, straighten=5.0))


def test_masks_follow() -> None:
    x, y = np.meshgrid(np.arange(120) + 0.5, np.arange(80) + 0.5)
    mask = (0.5 + 0.4 * np.sin(x / 9) * np.cos(y / 7)).astype(np.float32)
    cut = framed_mask(mask, framing_of(says(crop={"box": [0.25, 0.25, 0.75, 0.75]}), 240, 160))
    assert np.array_equal(cut, mask[20:60, 30:90])
    framing = framing_of(says(straighten=6, crop={"aspect": 1}, subject=[0.4, 0.5]), 240, 160)
    turned = framed_mask(mask, framing)
    a, b, c, d, e, f = framing.to_frame()
    step_x, step_y = framing.width / turned.shape[1], framing.height / turned.shape[0]
    across, down = np.meshgrid((np.arange(turned.shape[1]) + 0.5) * step_x, (np.arange(turned.shape[0]) + 0.5) * step_y)
    at_x, at_y = (a * across + b * down + c) / 2, (d * across + e * down + f) / 2
    wanted = 0.5 + 0.4 * np.sin(at_x / 9) * np.cos(at_y / 7)
    assert np.abs(turned - wanted).max() < 0.02


def finish(session: Path, out: Path) -> Any:
    report = run(assign(session), out, jobs=2)
    assert not report.failed
    return report


def test_a_session_with_crops_is_finished_in_their_sizes(session: Path, tmp_path: Path) -> None:
    file = session / "session.yaml"
    text = file.read_text()
    per_frame = "  A-0001: {crop: {aspect: 1:1}, straighten: 1.5}\n  C-0004: {crop: {box: [0.5, 0, 1, 0.5]}}\n"
    file.write_text(text.replace("per_frame:\n", "per_frame:\n" + per_frame))
    first = finish(session, tmp_path / "out")
    with Image.open(tmp_path / "out/full/faded_print/A-0001.png") as image:
        framing = framing_of(says(crop={"aspect": 1}, straighten=1.5), 300, 200)
        assert image.size == (framing.width, framing.height)
        assert image.size[0] == image.size[1] < 200
        assert dict(image.getexif().get_ifd(0x8769))[0xA002] == image.size[0]
    with Image.open(tmp_path / "out/full/faded_print/C-0004.png") as image:
        assert image.size == (150, 100)
    with Image.open(tmp_path / "out/web/faded_print/C-0004.jpg") as image:
        assert image.size == (150, 100)
    again = finish(session, tmp_path / "out")
    assert not again.made
    # another crop makes that frame anew, and only that one
    file.write_text(file.read_text().replace("[0.5, 0, 1, 0.5]", "[0.5, 0, 1, 0.6]"))
    third = finish(session, tmp_path / "out")
    assert {Path(path).stem for path in third.made} == {"C-0004"}
    assert len(first.made) == 14


def test_the_history_tells_how_a_frame_was_turned_and_cropped(session: Path, tmp_path: Path) -> None:
    text = (session / "session.yaml").read_text()
    framed = "  A-0001: {straighten: -0.8, crop: {box: [0.1, 0, 1, 0.5]}}\n  C-0004: {straighten: 2}\n"
    (session / "session.yaml").write_text(text.replace("per_frame:\n", "per_frame:\n" + framed))
    run(assign(session), tmp_path / "out", jobs=2)

    def history(frame: str) -> str:
        content = (tmp_path / f"out/web/faded_print/{frame}.jpg").read_bytes().decode("utf-8", "replace")
        return content.split("<stEvt:parameters>")[1].split("</stEvt:parameters>")[0]

    framing = framing_of(says(straighten=-0.8, crop={"box": [0.1, 0, 1, 0.5]}), 300, 200)
    assert history("A-0001").startswith(
        "straightened by 0.8° anticlockwise; "
        f"cropped to {framing.width} × {framing.height} of {framing.turned_width} × {framing.turned_height} pixels, "
        f"{framing.left} from the left and 0 from the top; exposure: {{stops: 0.15}}; "
    )
    assert history("C-0004").startswith("straightened by 2° clockwise; exposure: ")
    assert history("A-0002").startswith("exposure: ")


def test_a_contact_sheet_shows_what_is_kept(session: Path, tmp_path: Path) -> None:
    from finishing.batch.paper.contact_sheet import make_sheet

    file = session / "session.yaml"
    file.write_text(
        file.read_text().replace("per_frame:\n", "per_frame:\n  A-0001: {crop: {aspect: 1:3}, straighten: -2}\n")
    )
    report = make_sheet(assign(session), tmp_path / "sheet.png", pixels_per_inch=60)
    assert not report.failed
    assert all(path.is_file() for path in report.files)
