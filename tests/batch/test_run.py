"""A session finished end to end: outputs, records, going on where it stopped, failures that stay alone."""

import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from finishing.batch.delivery.run import Report, run
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.memory.verifying import verify_outputs
from finishing.batch.opening import opened
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.errors import Problem, ProblemSet
from finishing.part_files import part_beside


def finish(session: Path, out: Path, **how: bool) -> Report:
    return run(assign(session), out, jobs=2, **how)


def all_hashes(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hash_file(p) for p in sorted(folder.rglob("*")) if p.suffix in (".jpg", ".png")}


def test_every_look_and_deliverable_is_made(session: Path, tmp_path: Path) -> None:
    report = finish(session, tmp_path / "out")
    expected = {
        f"{deliverable}/{look}/{frame}.{ending}"
        for deliverable, ending in (("web", "jpg"), ("full", "png"))
        for look, frames in (
            ("faded_print", ("A-0001", "A-0002", "C-0004", "Z-0009")),
            ("one_colour_kept", ("A-0001", "A-0002", "C-0004")),
        )
        for frame in frames
    }
    assert set(report.made) == expected
    assert not report.failed
    with Image.open(tmp_path / "out/web/faded_print/A-0002.jpg") as image:
        assert image.size == (100, 150)
        assert "sRGB" in _profile_name(image)
    with Image.open(tmp_path / "out/full/faded_print/A-0002.png") as image:
        assert image.size == (200, 300)
        assert "P3" in _profile_name(image)


@pytest.mark.skipif(os.name != "posix", reason="nothing is cleared on this system")
def test_what_a_killed_run_left_unfinished_is_deleted_and_told(session: Path, tmp_path: Path) -> None:
    """Where this run writes, where an earlier one did, and in the folder itself; a dry run deletes nothing."""
    out = tmp_path / "out"
    finish(session, out)
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    parts = []
    for folder in (out, out / "web" / "faded_print", out / "full" / "one_colour_kept"):
        own = part_beside(folder / "A-0001.jpg")
        parts.append(own.with_name(own.name.replace(f"-{os.getpid()}.", f"-{process.pid}.")))
        parts[-1].write_bytes(b"half")
    (out / "web" / "notes.part").write_bytes(b"mine")
    assert finish(session, out, dry_run=True).cleared == []
    assert all(part.exists() for part in parts)
    result = CliRunner().invoke(main, ["run", str(session), "--out", str(out)])
    assert result.exit_code == 0
    assert "deleted 3 unfinished files that an earlier run left when it was cut off" in result.stderr
    assert not any(part.exists() for part in parts)
    assert (out / "web" / "notes.part").read_bytes() == b"mine"
    assert finish(session, out).cleared == []


def _profile_name(image: Image.Image) -> str:
    import io

    from PIL import ImageCms

    return ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])))


def test_a_second_run_redoes_nothing(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    first = finish(session, out)
    times = {path: path.stat().st_mtime_ns for path in out.rglob("*.*")}
    second = finish(session, out)
    assert second.made == []
    assert set(second.up_to_date) == set(first.made)
    assert {p: p.stat().st_mtime_ns for p in times if p.suffix != ".sqlite"} == {
        p: t for p, t in times.items() if p.suffix != ".sqlite"
    }


def test_same_input_same_bytes(session: Path, tmp_path: Path) -> None:
    finish(session, tmp_path / "one")
    run(assign(session), tmp_path / "two", jobs=1)
    assert all_hashes(tmp_path / "one") == all_hashes(tmp_path / "two")
    before = all_hashes(tmp_path / "one")
    assert len(finish(session, tmp_path / "one", again=True).made) == len(before)
    assert all_hashes(tmp_path / "one") == before


def test_only_what_changed_is_made_anew(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    finish(session, out)
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("kept_hue: 60", "kept_hue: 65"))
    assert {Path(p).parts[1] for p in finish(session, out).made} == {"one_colour_kept"}
    shutil.copy(session / "frames/A-0001.jpg", session / "frames/Z-0009.jpg")
    assert {Path(p).stem for p in finish(session, out).made} == {"Z-0009"}
    (out / "web/faded_print/A-0001.jpg").unlink()
    assert finish(session, out).made == ["web/faded_print/A-0001.jpg"]


def test_one_bad_frame_never_stops_the_others(session: Path, tmp_path: Path) -> None:
    whole = (session / "frames/A-0001.jpg").read_bytes()
    (session / "frames/A-0001.jpg").write_bytes(whole[: len(whole) // 2])
    (session / "frames/B-0003.jpg").write_bytes(b"")
    (session / "frames/B-0004.jpg").write_bytes(b"no photograph")
    report = finish(session, tmp_path / "out")
    assert set(report.failed) == {"A-0001", "B-0003", "B-0004"}
    assert len(report.made) == 10
    assert all(problem.remedy for problem in report.failed.values())
    assert not list((tmp_path / "out").rglob("*A-0001*"))
    shutil.copy(session / "frames/A-0002.jpg", session / "frames/A-0001.jpg")
    mended = finish(session, tmp_path / "out")
    assert {Path(p).stem for p in mended.made} == {"A-0001"}


def test_a_fault_of_the_program_fails_one_frame_only(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = opened.read_photograph

    def broken(path: Path) -> object:
        if path.stem == "C-0004":
            raise ZeroDivisionError("odd")
        return real(path)

    monkeypatch.setattr(opened, "read_photograph", broken)
    report = finish(session, tmp_path / "out")
    assert list(report.failed) == ["C-0004"]
    assert "ZeroDivisionError: odd" in str(report.failed["C-0004"])
    assert len(report.made) == 10


def test_a_full_disk_leaves_no_half_file(session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    report = finish(session, tmp_path / "out")
    assert len([*report.failed, *report.not_done]) == 4
    assert [p.name for p in (tmp_path / "out").rglob("*") if p.is_file()] == ["ledger.sqlite"]


def test_what_others_put_or_changed_is_not_overwritten(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "web/faded_print").mkdir(parents=True)
    mine = out / "web/faded_print/Z-0009.jpg"
    mine.write_bytes(b"mine")
    report = finish(session, out)
    assert report.failed["Z-0009"].what == "a file is in the way that this program did not make"
    assert mine.read_bytes() == b"mine"
    retouched = out / "web/faded_print/A-0001.jpg"
    retouched.write_bytes(retouched.read_bytes() + b"retouched")
    report = finish(session, out)
    assert report.failed["A-0001"].what == "this finished file was changed after it was made"
    assert retouched.read_bytes().endswith(b"retouched")
    assert not finish(session, out, again=True).failed
    assert mine.read_bytes() != b"mine"


def test_originals_are_never_written_to(session: Path, tmp_path: Path) -> None:
    before = all_hashes(session)
    finish(session, tmp_path / "out")
    assert all_hashes(session) == before
    assert sorted(p.name for p in session.iterdir()) == ["frames", "plan.yaml", "recipes", "session.yaml"]


def test_a_dry_run_makes_nothing(session: Path, tmp_path: Path) -> None:
    report = finish(session, tmp_path / "out", dry_run=True)
    assert len(report.planned) == 14
    assert not (tmp_path / "out").exists()


def test_the_ledger_knows_what_was_made_from_what(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    finish(session, out)
    with open_ledger(out, create=False) as ledger:
        entries = {entry.path: entry for entry in ledger.entries()}
    entry = entries["web/one_colour_kept/C-0004.jpg"]
    assert entry.source == "frames/C-0004.jpg"
    assert entry.source_hash == hash_file(session / entry.source)
    assert entry.setup == "C"
    assert entry.as_json()["settings"]["kept_hue"] == "60"
    assert (entry.width, entry.height) == (150, 100)
    (out / "web/faded_print/A-0001.jpg").write_bytes(b"x")
    (out / "web/faded_print/A-0002.jpg").unlink()
    state = verify_outputs(out, list(entries.values()))
    assert state["web/faded_print/A-0001.jpg"] == "changed"
    assert state["web/faded_print/A-0002.jpg"] == "missing"
    assert state["full/faded_print/A-0001.png"] == "as made"


def test_a_damaged_ledger_is_told(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "ledger.sqlite").write_bytes(b"this is no database, and long enough to be looked at as one" * 20)
    with pytest.raises(Problem, match="the ledger cannot be read"):
        finish(session, out)


def test_it_goes_on_where_it_stopped(session: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"

    told: list[str] = []

    def interrupt(name: str, made: int, problem: Problem | None) -> None:
        told.append(name)
        if len(told) == 1:
            raise KeyboardInterrupt

    report = run(assign(session), out, jobs=1, progress=interrupt)
    assert report.stopped
    connection = sqlite3.connect(out / "ledger.sqlite")
    known = {row[0] for row in connection.execute("SELECT path FROM outputs")}
    connection.close()
    assert known == set(all_hashes(out))
    rest = finish(session, out)
    assert len(rest.made) + len(known) == 14


def test_a_reduced_picture_equals_the_look_on_the_area_mean(session: Path, tmp_path: Path) -> None:
    """The web size is the mean in linear light, not of encoded values: a fine checkerboard keeps its light."""
    board = (np.indices((200, 300)).sum(axis=0) % 2 * 255).astype(np.uint8)
    Image.fromarray(np.stack([board] * 3, axis=-1)).save(session / "frames/Z-0009.png")
    (session / "frames/Z-0009.jpg").unlink()
    (session / "recipes/plain.yaml").write_text("look: Plain\nsteps: [{exposure: {stops: 0}}]\n")
    (session / "session.yaml").write_text(
        "session: Board\nframes: [frames/Z-*]\nlooks: [{look: plain}]\n"
        "deliverables: {web: {format: png, long_edge: 150}}\n"
    )
    assert not finish(session, tmp_path / "out").failed
    codes = np.asarray(Image.open(tmp_path / "out/web/plain/Z-0009.png"))
    # half the light of white is code 187.5 (IEC 61966-2-1); the mean of the codes would be 127
    assert np.abs(codes.astype(int) - 188).max() <= 1


def test_a_look_that_cannot_be_done_leaves_the_others_alone(session: Path, tmp_path: Path) -> None:
    (session / "recipes/by_subject.yaml").write_text(
        "look: By subject\nsteps:\n  - exposure: {stops: 0.5, where: {near: subject}}\n"
    )
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("looks:\n", "looks:\n  - {look: by_subject, frames: A}\n"))
    report = finish(session, tmp_path / "out")
    assert list(report.failed) == ["A-0001"]  # A-0002 has a subject point
    assert "by_subject" in str(report.failed["A-0001"].where)
    made = {Path(path).parts[1] for path in report.made if "A-0001" in path}
    assert made == {"faded_print", "one_colour_kept"}
    assert len(report.made) == 16


def test_strict_fails_what_an_earlier_run_let_pass(session: Path, tmp_path: Path) -> None:
    recipe = session / "recipes/faded_print.yaml"
    recipe.write_text(recipe.read_text() + "checks:\n  - mean_lightness: {at_least: 0.99}\n")
    plain = finish(session, tmp_path / "out")
    assert not plain.failed
    assert len(plain.failed_checks) == 4
    strict = finish(session, tmp_path / "out", strict=True)
    assert sorted(strict.failed) == ["A-0001", "A-0002", "C-0004", "Z-0009"]
    fresh = finish(session, tmp_path / "other", strict=True)
    assert len(fresh.failed) == 4
    assert {Path(path).parts[1] for path in fresh.made} == {"one_colour_kept"}


def test_a_frame_that_is_skipped_is_not_told_as_unknown(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("per_frame:\n", "per_frame:\n  Z-0009: {skip: yes}\n"))
    with pytest.raises(ProblemSet, match="is skipped in"):
        assign(session, frames=["Z-0009"])
    with pytest.raises(ProblemSet, match="no frame has the name"):
        assign(session, frames=["Z-0010"])


def test_frames_by_a_range_and_set_ups_without_frames(session: Path) -> None:
    for name in ("A-0003", "A-0004"):
        shutil.copy(session / "frames/A-0001.jpg", session / f"frames/{name}.jpg")
    assert [one.frame.name for one in assign(session, frames=["A-0002-A-0004"]).frames] == [
        "A-0002",
        "A-0003",
        "A-0004",
    ]
    with pytest.raises(ProblemSet, match="no frame is called A-0009") as caught:
        assign(session, frames=["A-0002-A-0009"])
    assert "write A-0002-A-0004, if those are the first and the last" in str(caught.value)
    plan = session / "plan.yaml"
    plan.write_text(plan.read_text().replace('"19:00"', '"21:00"').replace('"19:30"', '"21:30"'))
    with pytest.raises(ProblemSet, match='no frame of the session belongs to set-up "C"') as caught:
        assign(session, frames=["C"])
    assert getattr(caught.value.problems[0].where, "line", 0) == 12
    shutil.copy(session / "frames/A-0001.jpg", session / "frames/C.jpg")
    assert [one.frame.name for one in assign(session, frames=["C"]).frames] == ["C"]
