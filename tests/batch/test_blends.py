"""Blends as frames of a session: made, recorded, going on where a run stopped, failing alone."""

import json
import shutil
import subprocess
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from finishing.batch.client.proofing import make_proof
from finishing.batch.delivery.run import Report, run
from finishing.batch.lighting import taking_apart
from finishing.batch.lighting.light_files import FILES, light_session
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.opening.opened import open_frame
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.colour.adaptation import white_xyz
from finishing.colour.white import chromaticity, neutralising_matrix
from finishing.errors import Problem, ProblemSet
from finishing.operation import Planes
from finishing.photographs.exif import Exif, rational, short, write_exif
from tests.light.blend_session import HEIGHT, SESSION, WIDTH, exif, lights, rewrite, write_blend_session, write_frame
from tests.light.scene import Floats


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def finish(folder: Path, *, frames: tuple[str, ...] = (), jobs: int = 2, **how: bool) -> Report:
    return run(assign(folder, frames=frames), folder / "finished", jobs=jobs, **how)


def light_in(folder: Path, name: str = "C-blend", look: str = "plain") -> Floats:
    """A finished file's linear light, by an independent reader."""
    return tifffile.imread(folder / f"finished/light/{look}/{name}.tif") / 65535


def sure(ambient: Floats, strobe: Floats) -> Any:
    """Where no frame is clipped and both lights are there: the arithmetic is exact there."""
    return (4 * ambient + strobe < 0.97) & (ambient > 0.005) & (strobe > 0.005)


def off_by(made: Floats, truth: Floats, where: Any) -> float:
    """The largest error, as a share of the truth, where there is light to speak of and the file can hold it."""
    much = where & (truth > 0.01) & (truth < 0.97).all(axis=-1, keepdims=True)
    assert much.mean() > 0.1
    return float(np.abs(made[much] / truth[much] - 1).max())


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


def test_nothing_is_made_twice_and_what_changed_is(folder: Path) -> None:
    finish(folder)
    assert finish(folder).made == []
    rewrite(folder, ("strobe: -0.3", "strobe: -0.4"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + 0.99 * strobe, exif(1 / 30))
    assert set(finish(folder).made) == {"light/plain/C-0013.tif", "light/plain/C-blend.tif"}
    rewrite(folder, ("    light:", "    white_balance: {ambient: 5600}\n    light:"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    write_frame(folder / "frames/D-0001.jpg", ambient, exif(1 / 60, f_number=5.6))
    assert finish(folder).made == ["light/plain/D-0001.tif"]


def test_frames_that_moved_within_the_session_make_nothing_anew(folder: Path) -> None:
    finish(folder)
    (folder / "frames").rename(folder / "originals")
    rewrite(folder, ("[frames/*]", "[originals/*]"))
    assert finish(folder).made == []


def test_a_reference_that_changes_makes_it_anew(folder: Path) -> None:
    finish(folder)
    rewrite(folder, ("sources: [C-0012, C-0013]", "sources: [C-0013, C-0012]"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    assert finish(folder).made == []


def test_same_input_same_bytes(folder: Path, tmp_path: Path) -> None:
    for name, jobs in (("one", 1), ("two", 2)):
        run(assign(folder), tmp_path / name, jobs=jobs)
    blend = "light/plain/C-blend.tif"
    assert (tmp_path / "one" / blend).read_bytes() == (tmp_path / "two" / blend).read_bytes()


def test_the_ledger_knows_what_a_blend_is_of(folder: Path) -> None:
    finish(folder)
    with open_ledger(folder / "finished", create=False) as ledger:
        entry = next(one for one in ledger.entries() if one.frame == "C-blend")
        told = ledger.blends()[entry.source_hash]
    assert entry.source == "blend of frames/C-0012.tif and frames/C-0013.tif, ambient +0.7 stop, strobe −0.3 stop"
    assert entry.setup == "C"
    assert [one["frame"] for one in told["sources"]] == ["frames/C-0012.tif", "frames/C-0013.tif"]
    assert [one["hash"] for one in told["sources"]] == [
        hash_file(folder / f"frames/{name}.tif") for name in ("C-0012", "C-0013")
    ]
    assert [one["seconds"] for one in told["sources"]] == [1 / 128, 1 / 32]
    assert told["light"] == {"ambient": 0.7, "strobe": -0.3}
    assert told["words"] == "blend of C-0012 and C-0013, ambient +0.7 stop, strobe −0.3 stop"


def test_another_reader_finds_the_record(folder: Path) -> None:
    if shutil.which("exiftool") is None:
        pytest.skip("exiftool is not installed")
    rewrite(
        folder,
        ("{format: tiff, bits: 16, profile: linear}", "{format: jpeg}"),
        ("    light:", "    white_balance: {ambient: 5600, strobe: [1.1, 1, 0.85]}\n    light:"),
    )
    finish(folder, frames=("C-blend",))
    path = folder / "finished/light/plain/C-blend.jpg"
    asked = ["exiftool", "-j", "-a", "-G1", "-struct", "-validate", "-warning", str(path)]
    (told,) = json.loads(subprocess.run([*asked, "-all"], capture_output=True, text=True, check=True).stdout)
    assert told["ExifTool:Validate"] == "OK"
    hashes = [hash_file(folder / f"frames/{name}.tif") for name in ("C-0012", "C-0013")]
    assert told["XMP-xmpMM:Ingredients"] == [
        {"FilePath": f"C-00{number}.tif", "DocumentID": f"sha256:{digest}"}
        for number, digest in zip((12, 13), hashes, strict=True)
    ]
    assert told["XMP-xmpMM:DerivedFrom"] == {"FilePath": "C-0012.tif", "DocumentID": f"sha256:{hashes[0]}"}
    own = {key.rpartition(":")[2]: value for key, value in told.items() if key.startswith("XMP-finishing:")}
    assert (own["BlendAmbientStops"], own["BlendStrobeStops"]) == (0.7, -0.3)
    assert own["BlendAmbientWhiteBalance"] == "5600 K"
    assert own["BlendStrobeWhiteBalance"] == "gains 1.1, 1, 0.85"
    assert own["BlendSources"] == [
        {"File": "C-0012.tif", "Shutter": pytest.approx(1 / 125), "StrobesFired": True},  # told as 1/125
        {"File": "C-0013.tif", "Shutter": pytest.approx(1 / 30), "StrobesFired": True},
    ]
    assert own["Setup"] == "C"
    line = "blend of C-0012 and C-0013, ambient +0.7 stop (balanced for 5600 K), strobe −0.3 stop"
    assert line in told["XMP-dc:Description"]
    assert line in told["IFD0:ImageDescription"]
    assert told["ExifIFD:ExposureTime"] == "1/125"
    assert told["ExifIFD:FNumber"] == 8
    assert told["ExifIFD:DateTimeOriginal"] == "2026:09:19 19:05:00"
    assert told["XMP-xmp:Rating"] == 4


def failure(folder: Path) -> Problem:
    """Why the blend failed; everything else must be made."""
    report = finish(folder)
    assert list(report.failed) == ["C-blend"]
    assert {"light/plain/C-0012.tif", "light/plain/D-0001.tif"} <= {*report.made, *report.up_to_date}
    problem = report.failed["C-blend"]
    assert "C-blend" in str(problem.where)
    assert problem.remedy
    assert not (folder / "finished/light/plain/C-blend.tif").exists()
    return problem


def test_where_the_arithmetic_cannot_hold_the_blend_alone_fails(folder: Path) -> None:
    ambient, strobe = lights()
    second = folder / "frames/C-0013.tif"

    def again(seconds: float, light: Floats = 4 * ambient + strobe, **record: Any) -> Problem:
        write_frame(second, light, exif(seconds, **record))
        return failure(folder)

    problem = again(1 / 30, f_number=5.6)
    assert "another aperture" in problem.what
    assert "C-0013.tif" in str(problem.got)
    assert "f/5.6" in str(problem.got)
    assert "another ISO" in again(1 / 30, iso=400).what
    problem = again(1 / 125)
    assert "shutters are equal" in problem.what
    assert "strobes_off" in str(problem.remedy)
    assert "--off" not in str(problem)
    assert "sync" in again(1 / 500).what
    assert "does not lie on the first" in again(1 / 30, (4 * ambient + strobe)[::-1, ::-1]).what
    assert "another size" in again(1 / 30, (4 * ambient + strobe)[:150]).what
    problem = again(1 / 30, f_number=5.6, iso=400)
    assert "another aperture" in str(problem.got)
    assert "another ISO" in str(problem.got)
    contradicting = again(1 / 30, 0.3 * ambient + 0.02 * strobe)
    assert "contradict" in contradicting.what
    assert "strobes_off" in str(contradicting.remedy)
    write_frame(second, 4 * ambient + strobe, exif(1 / 30))
    assert finish(folder).failed == {}


def test_frames_without_a_record_take_the_plan_s_exposure_or_fail(folder: Path) -> None:
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + strobe, b"")
    problem = failure(folder)
    assert "equal" in problem.what  # both as the plan has it
    (folder / "plan.yaml").write_text((folder / "plan.yaml").read_text().replace("frames: C-00*", "frames: C-0012"))
    problem = failure(folder)
    assert "shutter time" in problem.what
    assert "--shutter" not in str(problem)
    write_frame(folder / "frames/C-0012.tif", ambient + strobe, b"")
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + strobe, exif(1 / 30))
    assert finish(folder).failed == {}
    assert off_by(light_in(folder), 2**0.7 * ambient + 2**-0.3 * strobe, sure(ambient, strobe)) < 0.004


def test_a_source_that_cannot_be_read(folder: Path, tmp_path: Path) -> None:
    for name in ("C-0013", "C-0012"):  # then the reference, whose header the blend has
        (folder / f"frames/{name}.tif").write_bytes(b"no photograph")
        report = run(assign(folder), tmp_path / name, jobs=1)
        assert {"C-blend", name} <= set(report.failed)
        assert f"the source {name} cannot be read" in report.failed["C-blend"].what
        assert "light/plain/D-0001.tif" in report.made
    proof = make_proof(assign(folder, frames=["D-0001", "C-blend"]), tmp_path / "proof", jobs=1)
    assert "cannot be read" in proof.failed["C-blend"].what


@pytest.mark.parametrize("gone", [("C-0013",), ("C-0012",), ("C-0012", "C-0013")])
def test_a_source_that_is_not_there_fails_its_blend_alone(folder: Path, tmp_path: Path, gone: tuple[str, ...]) -> None:
    for name in gone:
        (folder / f"frames/{name}.tif").unlink()
    report = finish(folder)
    assert set(report.failed) == {"C-blend"}
    problem = report.failed["C-blend"]
    assert problem.what == f'no frame has the name "{gone[0]}"'
    assert f"session.yaml:8:{15 if gone[0] == 'C-0012' else 23}" in str(problem.got)
    assert 'mean "C-00' not in str(problem.remedy)  # a source already, and no frame that could be meant
    assert "card" in str(problem.remedy)
    assert len(report.made) == 3 - len(gone)
    lit = light_session(folder, tmp_path / "lit")
    assert set(lit.failed) == {"C-blend"}
    proof = make_proof(assign(folder, frames=["D-0001", "C-blend"]), tmp_path / "proof", jobs=1)
    assert set(proof.failed) == {"C-blend"}


def test_a_source_that_is_not_there_while_frames_are_evened_out(folder: Path) -> None:
    rewrite(folder, ("blends:", EVEN), ("[C-0012, C-0013]", "[C-0031, C-0013]"))
    assert set(finish(folder).failed) == {"C-blend"}


def test_the_plan_says_which_source_is_not_there(folder: Path) -> None:
    rewrite(folder, ("[C-0012, C-0013]", "[C-0012, C-0031]"))
    matching = assign(folder).matching
    assert matching is not None
    assert matching.blends["C"]["C-blend"].endswith("; cannot be made, no frame has the name C-0031")


def test_a_source_whose_pixels_are_damaged(folder: Path) -> None:
    ambient, strobe = lights()
    (folder / "frames/C-0013.tif").unlink()
    path = write_frame(folder / "frames/C-0013.jpg", 4 * ambient + strobe, exif(1 / 30))
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    report = finish(folder)
    assert set(report.failed) == {"C-0013", "C-blend"}
    assert len(report.made) == 2


def test_sources_of_two_setups_are_refused_before_anything_starts(folder: Path) -> None:
    rewrite(folder, ("[C-0012, C-0013]", "[C-0012, D-0001]"))
    with pytest.raises(ProblemSet, match=r"session.yaml:8:14: the sources of this blend are of different set-ups"):
        assign(folder)


EVEN = "match: {exposure: {to: {C: C-0013}, measure: {box: [0.4, 0.5, 0.5, 0.8]}, at_most: 4}}\nblends:"


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


def test_one_scene_at_a_time(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many workers open blends, no two are in memory at once."""
    inside, most = 0, 0
    guard = threading.Lock()
    real = taking_apart.separate

    def watched(*given: Any, **more: Any) -> Any:
        nonlocal inside, most
        with guard:
            inside += 1
            most = max(most, inside)
        try:
            return real(*given, **more)
        finally:
            with guard:
                inside -= 1

    monkeypatch.setattr(taking_apart, "separate", watched)
    (blend,) = assign(folder, frames=["C-blend"]).frames
    workers = [threading.Thread(target=open_frame, args=(blend, 200)) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert most == 1


def test_a_blend_is_taken_apart_once_for_all_looks(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[int] = []
    real = taking_apart.separate

    def counted(*given: Any, **more: Any) -> Any:
        seen.append(1)
        return real(*given, **more)

    monkeypatch.setattr(taking_apart, "separate", counted)
    rewrite(
        folder,
        ("  - {look: plain", "  - {look: darker, frames: C}\n  - {look: plain"),
        ("deliverables:\n", "deliverables:\n  web: {format: jpeg, long_edge: 300}\n"),
    )
    assert len(finish(folder, frames=("C-blend",)).made) == 4
    assert seen == [1]


def test_a_preview_is_the_whole_picture_at_a_smaller_size(folder: Path) -> None:
    rewrite(folder, ("per_frame:\n", "per_frame:\n  C-blend: {subject: [0.5, 0.5], crop: {aspect: 1:1}}\n"))
    (blend,) = assign(folder, frames=["C-blend"]).frames

    def light(long_edge: int | None) -> Planes:
        opened = open_frame(blend, long_edge)
        planes = np.empty((3, opened.source.height, opened.source.width), np.float32)
        opened.source.read(planes, 0)
        assert opened.geometry.width == opened.source.width
        return planes

    whole, small = light(None), light(120)
    assert whole.shape == (3, 240, 240)
    assert small.shape == (3, 120, 120)
    means = whole.reshape(3, 120, 2, 120, 2).mean(axis=(2, 4))
    assert np.abs(small - means).max() < 1e-5
    assert light(5000).shape == whole.shape


def test_the_proof_shows_a_blend(folder: Path, tmp_path: Path) -> None:
    report = make_proof(assign(folder), tmp_path / "proof", jobs=2)
    assert not report.failed
    assert report.frames == 4
    assert "C-blend" in report.page.read_text()
    with Image.open(tmp_path / "proof/pictures/0004-look1.jpg") as image:
        assert image.size == (WIDTH, HEIGHT)


def test_files_of_every_blend(folder: Path, tmp_path: Path) -> None:
    rewrite(folder, ("blends:\n", "blends:\n  D-odd: {sources: [D-0001, C-0012]}\n"))
    plan = folder / "plan.yaml"
    plan.write_text(plan.read_text().replace("frames: D-*", "frames: X-*"))
    out = tmp_path / "light"
    told: list[str] = []
    report = light_session(folder, out, threads=2, progress=told.append)
    assert list(report.made) == ["C-blend"]
    assert "another aperture" in report.failed["D-odd"].what
    assert {path.name for path in (out / "C-blend").iterdir()} == set(FILES)
    assert not (out / "D-odd").exists()
    ambient, strobe = lights()
    blend = tifffile.imread(out / "C-blend/blend.tif") / 65535
    assert off_by(blend, 2**0.7 * ambient + 2**-0.3 * strobe, sure(ambient, strobe)) < 0.004
    facts = json.loads((out / "C-blend/report.json").read_text())
    assert facts["subject"]["given"] is True
    assert facts["blend"]["ambient"]["stops"] == 0.7
    with pytest.raises(ProblemSet, match="exists already"):
        light_session(folder, out)
    light_session(folder, out, again=True, threads=2)


def test_a_session_without_blends_has_no_light_to_write(folder: Path, tmp_path: Path) -> None:
    (folder / "session.yaml").write_text(SESSION[: SESSION.index("blends:")] + SESSION[SESSION.index("per_frame:") :])
    with pytest.raises(Problem, match="no blends"):
        light_session(folder, tmp_path / "light")
    assert not finish(folder).failed
