"""`check` tells all that is wrong at once, and `run` refuses what it tells and nothing else."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.delivery.unavailable import refuse_unavailable
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.errors import Problem, ProblemSet, problems_of


def told(path: Path) -> list[str]:
    """Line and sentence of each problem that check finds, in order."""
    return [
        f"{getattr(problem.where, 'line', '')}: {problem.what}" for problem in check_file(path).problems if problem.what
    ]


def refused(path: Path) -> set[str]:
    """What a run refuses before anything is started."""
    try:
        work = assign(path, jobs=1)
        refuse_unavailable(work.session)
        run(work, work.session.folder / "finished", dry_run=True)
    except (Problem, ProblemSet) as error:
        return {problem.what for problem in problems_of(error)}
    return set()


def change(path: Path, *changes: tuple[str, str]) -> Path:
    text = path.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)
    return path


def test_a_recipe_tells_all_its_faults_at_once(tmp_path: Path) -> None:
    look = tmp_path / "look.yaml"
    look.write_text(
        "look: Bad\nversion: one\nextends: faded_prin\nsettings: {strength: 0.4}\ntitle: x\nsteps:\n"
        "  - exposure: {stops: much, where: {ellipse: middle}}\n"
        "  - edge_vignete: {toward: white}\n"
        "  - edge_vignette: {toward: white, strength: $strength, starts_at: 3}\n"
        "  - saturation: {amount: $of_the_parent}\n"
        "checks:\n  - clipped_white: {at_most: 7}\n"
    )
    assert told(look) == [
        '2: "version" cannot be read',
        '3: unknown look "faded_prin"',
        '5: unknown key "title"',
        '7: "stops" cannot be read',
        '7: "ellipse" cannot be read',
        '8: unknown operation "edge_vignete"',
        '9: "starts_at" cannot be read',
        '12: "at_most" cannot be read',
    ]  # of_the_parent may well be a setting of the look that is not found


def test_a_second_key_hides_nothing_and_unknown_settings_are_told_beside_other_faults(tmp_path: Path) -> None:
    look = tmp_path / "look.yaml"
    look.write_text("look: Bad\nlook: Worse\nsteps:\n  - exposure: {stops: $much}\n  - grain: {amont: $x, size: 1e9}\n")
    found = told(look)
    assert found[0] == '2: the key "look" stands here a second time'
    assert '4: unknown setting "much"' in found
    assert '5: unknown key "amont"' in found
    assert not any("stops" in one for one in found)


def test_a_faulty_parent_and_a_circle_do_not_hide_the_child(tmp_path: Path) -> None:
    (tmp_path / "parent.yaml").write_text("look: P\nversion: 0\nextends: child.yaml\nsteps:\n  - exposur: {}\n")
    child = tmp_path / "child.yaml"
    child.write_text("look: C\nextends: parent.yaml\nsteps:\n  - grain: {amount: lots}\n")
    found = {(Path(p.where.file).name, p.what) for p in check_file(child).problems if hasattr(p.where, "file")}
    assert found == {
        ("parent.yaml", '"version" cannot be read'),
        ("parent.yaml", "these recipes extend each other in a circle"),
        ("parent.yaml", 'unknown operation "exposur"'),
        ("child.yaml", 'unknown key "amount"'),
    }


def test_a_session_tells_all_its_faults_at_once(session: Path) -> None:
    (session / "recipes/own.yaml").write_text("look: Own\nsteps:\n  - exposure: {stops: much}\n")
    (session / "session.yaml").write_text(
        "frames: [frames/*.jpg]\n"
        "plan: plan.yaml\n"
        "camera_clock: {camera: Other Camera, ahead_by: 90}\n"
        "rights: {creater: A. Example}\n"
        "looks:\n"
        "  - {look: faded_prit, frames: A}\n"
        "  - {look: own, frames: [A, D]}\n"
        "  - {look: one_colour_kept, frames: A, with: {kept_hu: 60}}\n"
        "per_frame:\n"
        "  A-0003: {rating: 4}\n"
        "  A-0002: {rating: 9, crop: {aspect: wide}}\n"
        "deliverables:\n"
        '  web: {format: jpg, bits: 16, long_edge: 150, short_edge: 100, name: "{frame}/{lok}"}\n'
    )
    change(session / "plan.yaml", ("shutter: 1/125", "shutter: fast"))
    found = [one.split(": ", 1)[1] for one in told(session)]
    assert sorted(found) == sorted(
        [
            '"session" is missing',
            '"shutter" cannot be read',
            'no frame was taken with a camera "Other Camera"',
            'unknown key "creater"',
            'unknown look "faded_prit"',
            '"stops" cannot be read',
            'no frame has the name "D", and no set-up',
            'unknown setting "kept_hu"',
            'no frame has the name "A-0003"',
            '"rating" cannot be read',
            '"aspect" cannot be read',
            '"format" cannot be read',
            "long_edge and short_edge both say how large it is",
            "the name pattern has an unknown part {lok}",
        ]
    )
    assert refused(session) == set(found)


def test_two_outputs_of_one_name_are_told_by_check_with_their_place(session: Path) -> None:
    change(session / "session.yaml", ("quality: 90}", 'quality: 90, name: "{frame}"}'))
    assert told(session) == ["12: two outputs would have the same name"]
    assert refused(session) == {"two outputs would have the same name"}


@pytest.mark.parametrize(
    "names",
    [("Stra\u00dfe", "STRASSE"), ("Ren\u00e9e", "Rene\u0301e"), ("A-9", "a-9"), ("\u00c9t\u00e9", "e\u0301te\u0301")],
)
def test_names_that_some_disks_take_for_one_are_two_outputs_of_one_name(session: Path, names: tuple[str, str]) -> None:
    """ß and SS, an accent of its own and one that is part of its letter, capitals."""
    for name in names:
        shutil.copy(session / "frames/A-0001.jpg", session / f"frames/{name}.jpg")
    if (session / f"frames/{names[0]}.jpg").samefile(session / f"frames/{names[1]}.jpg"):
        pytest.skip("this disk itself takes the two names for one")
    assert "two outputs would have the same name" in refused(session)
    (session / f"frames/{names[1]}.jpg").rename(session / "frames/other.jpg")
    assert "two outputs would have the same name" not in {problem.what for problem in check_file(session).problems}


def test_one_look_twice_for_a_frame_is_told_for_every_deliverable(session: Path) -> None:
    change(session / "session.yaml", ("per_frame:", "  - {look: faded_print, frames: [A-0002]}\nper_frame:"))
    found = check_file(session).problems
    assert [problem.what for problem in found] == ["two outputs would have the same name"] * 2
    assert all("once" in (problem.remedy or "") for problem in found)


def test_a_camera_that_took_no_frame_is_told_by_check(session: Path) -> None:
    change(session / "session.yaml", ("{ahead_by:", "{camera: Another, ahead_by:"))
    assert told(session) == ['4: no frame was taken with a camera "Another"']
    assert refused(session) == {'no frame was taken with a camera "Another"'}


@pytest.mark.parametrize(
    ("match", "what"),
    [
        ("exposure: {to: Z-0009}", "the key frame Z-0009 is of no set-up"),
        ("exposure: {to: {C: A-0001}}", "the key frame A-0001 is of set-up A"),
        (
            "white_balance: {grey_card: {frame: A-0001, box: [0.5, 0.5, 0.5001, 0.5001]}}",
            "the grey card cannot be measured",
        ),
        (
            "white_balance: {chart: {frame: A-0001, corners: [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]}}",
            "this does not look like the chart",
        ),
    ],
)
def test_what_a_run_would_refuse_of_evening_out_is_told_by_check(session: Path, match: str, what: str) -> None:
    change(session / "session.yaml", ("per_frame:", f"match: {{{match}}}\nper_frame:"))
    found = {problem.what for problem in check_file(session).problems}
    assert found == refused(session)
    assert len(found) == 1
    assert what in found or "chart" in what


def test_a_ledger_that_cannot_be_used_is_told_by_check(session: Path) -> None:
    (session / "finished").mkdir()
    (session / "finished/ledger.sqlite").write_bytes(b"no database at all, but a text" * 100)
    assert [problem.what for problem in check_file(session).problems] == ["the ledger cannot be read"]
    assert refused(session) == {"the ledger cannot be read"}


def test_a_sound_session_is_sound_for_both(session: Path) -> None:
    checked = check_file(session)
    assert (checked.problems, checked.kind) == ([], "session")
    assert refused(session) == set()


def test_what_is_doubtful_in_a_plan_is_told_of_its_session_too(session: Path) -> None:
    """In the same words and with the same places as of the plan alone."""
    plan = session / "plan.yaml"
    assert check_file(session).warnings == check_file(plan).warnings == []
    change(plan, ("shutter: 1/125, iso: 100", "shutter: 1/500, iso: 1000000"))
    alone = check_file(plan).warnings
    assert [one.what.partition(":")[0] for one in alone] == [
        "the shutter is faster than the sync time", "set-up A asks for ISO 1000000",
    ]  # fmt: skip
    checked = check_file(session)
    assert [str(one) for one in checked.warnings] == [str(one) for one in alone]
    assert (checked.problems, checked.failing) == ([], {})
    both = CliRunner().invoke(main, ["check", str(session), str(plan)])
    assert both.exit_code == 0
    assert both.stderr.count("to look at:") == len(alone)  # each once


def test_a_pick_that_the_session_does_not_give_is_something_to_look_at(session: Path) -> None:
    change(session / "session.yaml", ("rating: 4}", "rating: 4, picked: [white_edge]}"))
    checked = check_file(session)
    assert not checked.problems
    assert any("white_edge" in warning.what for warning in checked.warnings)


def test_finished_files_are_no_frames(session: Path) -> None:
    change(session / "session.yaml", ("frames/*.jpg", '"**/*.jpg"'))
    report = run(assign(session, jobs=1), session / "finished", jobs=2)
    run(assign(session, jobs=1), session / "elsewhere", jobs=2)
    assert len(list(session.rglob("*.jpg"))) == 4 + 7 + 7
    checked = check_file(session)
    assert not checked.problems
    (warning,) = checked.warnings
    assert warning.what == "14 files in elsewhere/, finished/ are finished, and no frames"
    assert len(assign(session, jobs=1).frames) == 4
    assert not run(assign(session, jobs=1), session / "finished", jobs=2).made
    assert len(report.made) == 14
    change(session / "session.yaml", ('"**/*.jpg"', "finished/web/*/*.jpg"))
    assert [problem.what for problem in check_file(session).problems] == [
        "7 files in finished/ are finished, and no frames"
    ]


def test_a_faulty_plan_still_knows_its_set_ups(session: Path) -> None:
    change(session / "plan.yaml", ("ambient: -2", "ambient: dusk"))
    change(session / "session.yaml", ("[A, C-0004]", "[A, C, D]"))
    found = {problem.what for problem in check_file(session).problems}
    assert found == {'"ambient" cannot be read', 'no frame has the name "D", and no set-up'}


def test_a_blend_that_cannot_be_read_is_still_a_frame_by_name(session: Path) -> None:
    change(
        session / "session.yaml",
        ("per_frame:", "blends:\n  A-blend: {source: [A-0001, A-0002]}\nper_frame:\n  A-blend: {rating: 3}"),
        ("frames: all", "frames: A-blend"),
    )
    found = {problem.what for problem in check_file(session).problems}
    assert found == {'unknown key "source"'}


def test_a_broken_packet_beside_a_frame_is_told_by_check_and_by_every_run(session: Path) -> None:
    (session / "frames/A-0001.xmp").write_text("no XML at all")
    told_by_check = [warning for warning in check_file(session).warnings if warning.where == "A-0001"]
    assert [(one.what, one.remedy) for one in told_by_check] == [
        ("A-0001.xmp beside it is damaged and was not used", "have it written anew, or delete it")
    ]
    for _ in range(2):
        report = run(assign(session, jobs=1), session / "finished", jobs=1)
        assert report.notices == {
            "A-0001": ["A-0001.xmp beside it is damaged and was not used: have it written anew, or delete it"]
        }
        assert not report.failed
    assert "web/faded_print/A-0001.jpg" in report.up_to_date


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "PNG"])
def test_a_frame_that_is_cut_short_is_told_by_check(session: Path, form: str) -> None:
    frame = session / "frames/A-0001.jpg"  # the content counts, not the ending
    if form != "JPEG":
        with Image.open(frame) as picture:
            picture.save(frame, form)
    frame.write_bytes(frame.read_bytes()[: frame.stat().st_size // 2])
    checked = check_file(session)
    assert not checked.problems
    assert {name: problem.what for name, problem in checked.failing.items()} == {
        "A-0001": "the file is damaged or cut short"
    }
    report = run(assign(session, jobs=1), session / "finished", jobs=1)
    assert set(report.failed) == set(checked.failing)


def test_a_mask_that_a_look_asks_for_and_a_frame_lacks_is_told_by_check(session: Path) -> None:
    masked = "look: {0}\nsteps:\n  - exposure: {{stops: {1}, where: {{mask: coat}}}}\n"
    for name, stops in (("lifted", 1), ("lowered", -1), ("neutral", 0)):
        (session / f"recipes/{name}.yaml").write_text(masked.format(name, stops))
    looks = "".join(f"  - {{look: {name}, frames: A}}\n" for name in ("lifted", "lowered", "neutral"))
    Image.new("L", (30, 20), 255).save(session / "coat.png")
    change(
        session / "session.yaml",
        ("per_frame:\n", f"{looks}per_frame:\n"),
        ("rating: 4}", "rating: 4, masks: {Coat: coat.png}}"),
    )
    checked = check_file(session)
    assert not checked.problems
    assert [*checked.failing] == ["A-0001", "A-0001 in lowered", "A-0002", "A-0002 in lowered"]
    assert checked.frames_failing == 2
    assert {problem.got for name, problem in checked.failing.items() if "A-0001" in name} == {"no masks"}
    capitals = checked.failing["A-0002"]
    assert (capitals.got, getattr(capitals.where, "line", 0)) == ("a mask called Coat", 13)
    assert capitals.remedy == "if Coat was meant, write coat in its place, under masks in session.yaml"
    report = run(assign(session, jobs=1), session / "finished", jobs=1)
    assert report.failed.keys() == checked.failing.keys()
    assert {name: problem.got for name, problem in report.failed.items()} == {
        name: problem.got for name, problem in checked.failing.items()
    }


@pytest.mark.parametrize(
    "where",
    ["near: subject", "ellipse: subject", "not: {radial: {centre: subject, full_to: 0.1, gone_at: 0.5}}",
     "all_of: [skin, {near: subject}]"],
)  # fmt: skip
def test_a_subject_that_a_look_asks_for_and_a_frame_lacks_is_told_by_check(session: Path, where: str) -> None:
    (session / "recipes/about.yaml").write_text(f"look: x\nsteps:\n  - exposure: {{stops: 1, where: {{{where}}}}}\n")
    change(session / "session.yaml", ("per_frame:\n", "  - {look: about, frames: A}\nper_frame:\n"))
    checked = check_file(session)
    assert {name: problem.what for name, problem in checked.failing.items()} == {
        "A-0001": "this frame has no subject point"  # A-0002 names its own
    }
    report = run(assign(session, jobs=1), session / "finished", jobs=1)
    assert {name: str(problem) for name, problem in report.failed.items()} == {
        name: str(problem) for name, problem in checked.failing.items()
    }
