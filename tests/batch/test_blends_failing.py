"""Blends that cannot be made: each fails alone, and says why."""

from pathlib import Path
from typing import Any

import pytest

from finishing.batch.client.proofing import make_proof
from finishing.batch.delivery.run import run
from finishing.batch.lighting.light_files import light_session
from finishing.batch.work.assignment import assign
from finishing.errors import Problem, ProblemSet
from tests.batch.blending import EVEN, finish, light_in, off_by, sure
from tests.light.blend_session import exif, lights, rewrite, write_blend_session, write_frame
from tests.light.scene import Floats


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


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
