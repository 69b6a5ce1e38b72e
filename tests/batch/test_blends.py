"""Blends as frames of a session: made with their light, looks and evening out like any frame."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from finishing.batch.delivery.run import run
from finishing.batch.memory.ledger import hash_file
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.colour.adaptation import white_xyz
from finishing.colour.white import chromaticity, neutralising_matrix
from finishing.photographs.exif import Exif, rational, short, write_exif
from tests.batch.blending import EVEN, finish, light_in, off_by, sure
from tests.light.blend_session import exif, lights, rewrite, write_blend_session, write_frame


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def test_a_blend_is_made_like_any_frame(folder: Path) -> None:
    before = {path: hash_file(path) for path in (folder / "frames").iterdir()}
    report = finish(folder)
    assert not report.failed
    assert set(report.made) == {f"light/plain/{name}.tif" for name in ("C-0012", "C-0013", "C-blend", "D-0001")}
    ambient, strobe = lights()
    truth = 2**0.7 * ambient + 2**-0.3 * strobe
    assert off_by(light_in(folder), truth, sure(ambient, strobe)) < 0.004
    assert off_by(light_in(folder, "C-0012"), ambient + strobe, sure(ambient, strobe)) < 0.004
    assert {path: hash_file(path) for path in (folder / "frames").iterdir()} == before


def test_light_above_white_is_there_for_the_looks(folder: Path) -> None:
    rewrite(folder, ("{ambient: +0.7, strobe: -0.3}", "{ambient: 0, strobe: +1}"), ("look: plain", "look: darker"))
    finish(folder, frames=("C-blend",))
    ambient, strobe = lights()
    truth = (ambient + 2 * strobe) / 2
    bright = sure(ambient, strobe) & (2 * truth > 1.1)
    assert bright.any()  # would be cut at 0.5 by codes that end at white
    assert np.abs(light_in(folder, look="darker")[bright] / truth[bright] - 1).max() < 0.004


def test_a_light_can_be_left_out_and_a_frame_have_no_strobes(folder: Path) -> None:
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0014.tif", ambient, exif(1 / 125))
    rewrite(
        folder,
        ("sources: [C-0012, C-0013]", "sources: [C-0012, C-0014]\n    strobes_off: C-0014"),
        ("{ambient: +0.7, strobe: -0.3}", "{ambient: off, strobe: +0.5}"),
    )
    assert not finish(folder, frames=("C-blend",)).failed
    assert off_by(light_in(folder), 2**0.5 * strobe, sure(ambient, strobe)) < 0.004


def test_each_light_has_its_own_white(folder: Path) -> None:
    rewrite(folder, ("    light:", "    white_balance: {ambient: 5600, strobe: [0.8, 1, 1.2]}\n    light:"))
    finish(folder, frames=("C-blend",))
    ambient, strobe = lights()
    matrix = neutralising_matrix(white_xyz(chromaticity(5600)))  # the law that the step white_balance has
    truth = 2**0.7 * ambient @ matrix.T + 2**-0.3 * strobe * np.array([0.8, 1, 1.2])
    assert off_by(light_in(folder), truth, sure(ambient, strobe)) < 0.006


def test_looks_crop_rating_and_subject_as_for_any_frame(folder: Path) -> None:
    rewrite(
        folder,
        ("{look: plain, frames: [C, D]}", "{look: plain, frames: all}\n  - {look: darker, frames: C-bl*}"),
        ("per_frame:\n", "per_frame:\n  C-blend: {crop: {box: [0.25, 0.25, 0.75, 0.75]}, rating: 5}\n"),
    )
    work = assign(folder)
    blend = work.frames[-1]
    assert [frame.frame.name for frame in work.frames] == ["C-0012", "C-0013", "D-0001", "C-blend"]
    assert blend.setup is not None
    assert blend.setup.setup.id == "C"
    assert (blend.rating, blend.says.subject) == (5, (0.458, 0.68))
    assert [look.name for look in blend.looks] == ["plain", "darker"]
    assert blend.match is not None
    assert blend.match.name == "C-0012"
    finish(folder, frames=("C-blend",))
    ambient, strobe = lights()
    part = (slice(60, 180), slice(90, 270))
    truth = (2**0.7 * ambient + 2**-0.3 * strobe)[part]
    assert off_by(light_in(folder), truth, sure(ambient, strobe)[part]) < 0.004
    assert off_by(light_in(folder, look="darker"), truth / 2, sure(ambient, strobe)[part]) < 0.004


def test_frames_are_named_by_setup_rating_and_pick(folder: Path) -> None:
    rewrite(folder, ("frames: [C, D]", "frames: {rating_at_least: 4}"))
    assert [f.frame.name for f in assign(folder).frames if f.looks] == ["C-0012", "C-blend"]
    assert [f.frame.name for f in assign(folder, frames=["C"]).frames] == ["C-0012", "C-0013", "C-blend"]
    rewrite(folder, ("per_frame:\n", "per_frame:\n  C-blend: {picked: plain}\n"))
    assert [f.frame.name for f in assign(folder, frames=["picked"]).frames] == ["C-blend"]
    rewrite(folder, ("{picked: plain}", "{skip: yes}"))
    assert "C-blend" not in [f.frame.name for f in assign(folder).frames]


def test_a_blend_leaves_every_frame_its_number(folder: Path) -> None:
    rewrite(folder, ("profile: linear}", 'profile: linear, name: "{number:02}-{frame}"}'))
    made = {Path(path).name for path in finish(folder, dry_run=True).planned}
    assert made == {"01-C-0012.tif", "02-C-0013.tif", "03-D-0001.tif", "04-C-blend.tif"}


def test_evening_out_does_to_a_blend_what_it_does_to_its_first_source(folder: Path) -> None:
    rewrite(folder, ("blends:", EVEN), ("{ambient: +0.7, strobe: -0.3}", "{}"))
    work = {frame.frame.name: frame for frame in assign(folder).frames}
    assert abs(work["C-0012"].correction.stops) > 0.1
    assert work["C-blend"].correction == work["C-0012"].correction
    assert work["C-0013"].correction.stops == 0
    finish(folder, frames=("C-blend",))  # its set-up is measured for it
    finish(folder, frames=("C-0012",))
    both = light_in(folder), light_in(folder, "C-0012")
    ambient, strobe = lights()
    assert off_by(both[0], both[1], sure(ambient, strobe)) < 0.004
    assert "ExposureCorrectionStops" in (folder / "finished/light/plain/C-blend.tif").read_bytes().decode("latin-1")


def test_a_blend_with_a_white_of_its_own_takes_the_exposure_alone(folder: Path) -> None:
    both = EVEN.replace("}}\n", "}, white_balance: {kelvin: 5000}}\n")
    rewrite(folder, ("blends:", both))
    work = {frame.frame.name: frame for frame in assign(folder).frames}
    assert work["C-blend"].correction == work["C-0012"].correction
    assert work["C-blend"].correction.rows is not None
    rewrite(folder, ("    light:", "    white_balance: {strobe: 5600}\n    light:"))
    work = {frame.frame.name: frame for frame in assign(folder).frames}
    assert work["C-0012"].correction.rows is not None
    assert work["C-blend"].correction.rows is None
    assert work["C-blend"].correction.stops == work["C-0012"].correction.stops


def test_what_there_is_to_know_is_told(folder: Path) -> None:
    shutil.rmtree(folder)
    write_blend_session(folder, ending="jpg")
    report = finish(folder)
    assert any(notice.startswith("approximate: ") for notice in report.notices["C-blend"])
    assert "C-0012" not in report.notices


def test_a_source_whose_record_says_that_the_flash_fired(folder: Path) -> None:
    ambient, _ = lights()
    photo = {0x829A: rational(1, 125), 0x829D: rational(8, 1), 0x8827: short(100), 0x9209: short(1)}
    write_frame(folder / "frames/C-0014.tif", ambient, write_exif(Exif("<", {}, photo)))
    rewrite(folder, ("sources: [C-0012, C-0013]", "sources: [C-0012, C-0014]\n    strobes_off: C-0014"))
    told = "C-0014.tif: you say that no strobe fired in it (strobes_off), the file says that the flash fired"
    assert told in finish(folder, frames=("C-blend",)).notices["C-blend"]
    checked = check_file(folder)
    assert not checked.problems
    (warning,) = [one for one in checked.warnings if one.what == told]
    assert "session.yaml" in str(warning.where)


def test_check_and_run_count_the_same_small_prints(folder: Path) -> None:
    """A blend counts as a frame, and what gets no look does not."""
    rewrite(
        folder,
        ("{format: tiff,", "{format: tiff, print_size: 30 x 20 cm,"),
        ("{look: plain, frames: [C, D]}", "{look: plain, frames: C}"),
    )
    told = [one for one in check_file(folder).warnings if "too small" in one.what]
    dry = run(assign(folder), folder / "finished", dry_run=True)
    assert [one.as_dict() for one in told] == [one.as_dict() for one in dry.warnings]
    assert told[0].what.startswith("3 frames are too small")
    assert "C-0012, C-0013, C-blend:" in str(told[0].got)
