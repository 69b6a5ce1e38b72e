"""A folder looked at: likely set-ups, and first files that check and run take as they are."""

import importlib.util
import json
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from finishing.batch.texts.checking import check_file
from finishing.batch.texts.first_files import write_first_files
from finishing.cli.main import main
from finishing.errors import Problem
from finishing.sessions.likely import likely_setups, prefix_of
from finishing.sessions.matching import FrameFacts
from finishing.sessions.session import read_session


def frame(
    path: Path, taken: str | None = None, n: float | None = 8.0, t: float = 1 / 125, iso: int = 100, **extra: Any
) -> None:
    exif = Image.Exif()
    photo = exif.get_ifd(0x8769)
    if n is not None:
        photo[0x829D], photo[0x829A], photo[0x8827] = n, t, iso
    if taken:
        photo[0x9003] = f"2026:09:{extra.get('day', 19)} {taken}"
        photo[0x9011] = "+02:00"
    exif[0x0110] = extra.get("camera", "Example Camera")
    for tag in ("artist", "copyright"):
        if tag in extra:
            exif[{"artist": 0x013B, "copyright": 0x8298}[tag]] = extra[tag].encode()
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (60, 40), (120, 110, 100)).save(path, exif=exif)


def finishing(*words: str | Path) -> Any:
    return CliRunner().invoke(main, [str(word) for word in words])


def sound(folder: Path) -> dict[str, list[str]]:
    """Both files check, a dry run takes them, every frame is of the set-up that was told; gives the set-ups."""
    written = write_first_files(folder)
    for path in (written.session, written.plan):
        checked = check_file(path)
        assert not checked.problems, [str(problem) for problem in checked.problems]
        assert not checked.warnings
    dry = finishing("run", folder, "--dry-run", "--json")
    assert dry.exit_code == 0, dry.output
    assert len(json.loads(dry.stdout)["planned"]) == sum(len(names) for names in written.setups.values())
    plan = json.loads(finishing("plan", folder, "--json").stdout)
    assert {setup["id"]: setup["frames"] for setup in plan["setups"]} == written.setups
    assert not plan["matching"]["strays"]
    assert not plan["matching"]["overlaps"]
    return written.setups


def test_one_camera_counting_on_is_told_apart_by_pauses_and_jumps(tmp_path: Path) -> None:
    folder = tmp_path / "dusk"
    taken = [
        ("18:40:00", 8, 1 / 125, 100),
        ("18:42:00", 8, 1 / 125, 100),
        ("18:49:00", 8, 1 / 60, 100),
    ]  # the light falls
    taken += [("18:50:00", 5.6, 1 / 125, 200), ("18:51:00", 5.6, 1 / 125, 200)]  # aperture and ISO change and stay
    taken += [("18:52:00", 2.8, 1 / 125, 200), ("18:53:00", 5.6, 1 / 125, 200)]  # one trial frame
    taken += [("19:10:00", 5.6, 1 / 60, 200), ("19:11:00", 5.6, 1 / 60, 200)]  # a pause
    for i, (clock, n, t, iso) in enumerate(taken):
        frame(folder / "frames" / f"F{i:04d}.jpg", clock, n, t, iso)
    assert sound(folder) == {
        "A": ["F0000", "F0001", "F0002"], "B": ["F0003", "F0004", "F0005", "F0006"], "C": ["F0007", "F0008"],
    }  # fmt: skip
    plan = read_session(folder).plan
    assert plan is not None
    assert [s.exposure for s in plan.value.setups] == [None] * 3  # what the camera did is no plan
    text = plan.path.read_text()
    for told in ("f/8, shutter: 1/125, iso: 100", "f/5.6, shutter: 1/125, iso: 200", "f/5.6, shutter: 1/60, iso: 200"):
        assert f"# exposure: {{aperture: {told}}}   # as the camera had it" in text
    assert "after a pause of 17 minutes" in text
    assert "where the aperture changes" in text
    assert 'place: {date: 2026-09-19, utc_offset: "+02:00"}' in text


def test_frames_without_times_go_by_their_names(tmp_path: Path) -> None:
    for name in ("A-1", "A-2", "gate 01", "gate 02", "[x]-1"):
        frame(tmp_path / f"{name}.jpg")
    frame(tmp_path / "A-3.jpg", "18:40:00")
    frame(tmp_path / "B-1.jpg", "19:40:00")
    assert sound(tmp_path) == {
        "A": ["A-1", "A-2", "A-3"],
        "B": ["B-1"],
        "[x]": ["[x]-1"],
        "gate": ["gate 01", "gate 02"],
    }


def test_a_shoot_over_two_days_names_its_frames(tmp_path: Path) -> None:
    for i, (day, clock) in enumerate(((19, "18:40:00"), (19, "18:41:00"), (20, "18:40:00"), (20, "18:45:00"))):
        frame(tmp_path / f"F{i}.png", clock, day=day)
    assert sound(tmp_path) == {"A": ["F0", "F1"], "B": ["F2", "F3"]}
    assert "frames: [F0, F1]" in (tmp_path / "plan.yaml").read_text()


def test_two_cameras_jump_each_for_itself(tmp_path: Path) -> None:
    for i in range(6):
        wide = i % 2
        frame(tmp_path / f"{'BA'[wide]}{i}.jpg", f"18:4{i}:00", 2.8 if wide else 8, camera=f"Camera {wide}")
    assert sound(tmp_path) == {"C": ["A1", "A3", "A5", "B0", "B2", "B4"]}
    assert '- {camera: "Camera 1", same_instant:' in (tmp_path / "session.yaml").read_text()


def test_what_the_files_do_not_tell_is_said_not_invented(tmp_path: Path) -> None:
    frame(tmp_path / "A-1.jpg", n=None)
    (tmp_path / "A-2.jpg").write_bytes(b"not a photograph")
    result = finishing("init", tmp_path)
    assert result.exit_code == 0
    assert "set-up A: its files tell no aperture, shutter, iso" in result.stderr
    assert "A-2" in result.stderr
    text = (tmp_path / "plan.yaml").read_text()
    assert "# exposure: {aperture: …, shutter: …, iso: …}   # fill in … and take the # away" in text
    assert not check_file(tmp_path / "session.yaml").problems
    (tmp_path / "plan.yaml").write_text(text.replace("# exposure", "exposure"))
    assert len(check_file(tmp_path / "session.yaml").problems) == 3  # … is no value


def test_nothing_that_was_not_planned_reaches_a_file(tmp_path: Path) -> None:
    frame(tmp_path / "A-1.jpg", n=None)
    frame(tmp_path / "B-1.jpg", "18:40:00", 5.6, 1 / 60, 200)
    write_first_files(tmp_path)
    assert finishing("run", tmp_path).exit_code == 0
    for name in ("A-1", "B-1"):
        content = (tmp_path / f"finished/web/faded_print/{name}.jpg").read_bytes()
        assert b"finishing:Setup>" in content
        for word in (b"PlannedAperture", b"PlannedShutter", b"ExposureValue100", b"PlanMinusCamera", b"f/8"):
            assert word not in content
        exif = Image.open(tmp_path / f"finished/web/faded_print/{name}.jpg").getexif().get_ifd(0x8769)
        assert exif.get(0x829D) == (5.6 if name == "B-1" else None)
    told = finishing("plan", tmp_path).output
    assert "exposure  not planned" in told
    assert "disagree" not in told
    for paper in ("plan.html", "plan.pdf"):
        assert finishing("plan", tmp_path, "--out", tmp_path / paper).exit_code == 0
    assert "no exposure planned" in (tmp_path / "plan.html").read_text()
    assert finishing("sheet", tmp_path).exit_code == 0


def test_rights_that_all_frames_state_become_the_sessions(tmp_path: Path) -> None:
    for i in range(2):
        frame(tmp_path / f"A-{i}.jpg", artist='A. "Example"', copyright="© 2026: A #1")
    write_first_files(tmp_path)
    rights = read_session(tmp_path).value.rights
    assert (rights.creator, rights.copyright) == ('A. "Example"', "© 2026: A #1")
    frame(tmp_path / "other" / "B-1.jpg", artist="B")
    write_first_files(tmp_path / "other")
    frame(tmp_path / "other" / "B-2.jpg", artist="C")
    (tmp_path / "other" / "session.yaml").unlink()
    (tmp_path / "other" / "plan.yaml").unlink()
    write_first_files(tmp_path / "other")
    assert read_session(tmp_path / "other").value.rights.creator is None


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    frame(tmp_path / "A-1.jpg")
    for name in ("session.yaml", "plan.yaml"):
        (tmp_path / name).write_text("mine")
        with pytest.raises(Problem, match="stays as it is"):
            write_first_files(tmp_path)
        assert (tmp_path / name).read_text() == "mine"
        assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["A-1.jpg", name])
        (tmp_path / name).unlink()


def test_folders_without_frames(tmp_path: Path) -> None:
    assert finishing("init", tmp_path / "none").exit_code == 2
    (tmp_path / "note.txt").write_text("x")
    frame(tmp_path / "finished" / "web" / "A-1.jpg")
    refused = finishing("init", tmp_path)
    assert refused.exit_code == 2
    assert "there are no frames in this folder" in refused.stderr
    assert not (tmp_path / "session.yaml").exists()


def test_one_name_twice_is_left_out_and_told(tmp_path: Path) -> None:
    for name in ("A-1.jpg", "A-2.jpg", "A-1.png", "sub/A-2.JPG", "sub/B-1.JPG"):
        frame(tmp_path / name) if not name.endswith("JPG") else frame_as_jpeg(tmp_path / name)
    written = write_first_files(tmp_path)
    assert written.notices == [
        "left out A-1.png (A-1.jpg has that name), sub/A-2.JPG (A-2.jpg has that name); rename them and add them under "
        "frames of session.yaml, if they are frames too"
    ]
    assert not check_file(written.session).problems


def test_of_two_cards_only_what_clashes_is_left_out(tmp_path: Path) -> None:
    """Both cameras counted alike, and one file is in small letters, which some disks take for the same."""
    for number in range(431, 437):
        frame(tmp_path / "card1" / f"LP{number}.jpg", "18:40:00")
    for number in (433, 436, 437, 438, 439):
        frame(tmp_path / "card2" / f"LP{number}.jpg", "18:41:00")
    frame_as_jpeg(tmp_path / "card2" / "lp433.JPG")
    setups = sound(tmp_path)
    assert sorted(name for names in setups.values() for name in names) == [f"LP{n}" for n in range(431, 440)]
    text = (tmp_path / "session.yaml").read_text()
    assert "frames: [card1/*.jpg" in text.replace('"', "")
    for path in ("card2/LP433.jpg (as card1/LP433.jpg)", "card2/lp433.JPG (as card1/LP433.jpg)", "card2/LP436.jpg"):
        assert f"#   {path}" in text
    for number in (437, 438, 439):
        assert read_session(tmp_path).frames[number - 431].relative == f"card2/LP{number}.jpg"


def test_names_in_other_capitals_side_by_side(tmp_path: Path) -> None:
    frame(tmp_path / "LP1.jpg")
    frame(tmp_path / "lp1.jpg")
    if len(list(tmp_path.iterdir())) < 2:
        pytest.skip("this disk takes capitals for the same")
    frame(tmp_path / "LP2.jpg")
    assert sorted(name for names in sound(tmp_path).values() for name in names) == ["LP1", "LP2"]


@pytest.mark.parametrize("suffix", ["webp", "avif"])
def test_every_format_that_is_a_frame_elsewhere_is_one_here(tmp_path: Path, suffix: str) -> None:
    frame(tmp_path / f"A-1.{suffix}", "18:40:00")
    assert sound(tmp_path) == {"A": ["A-1"]}


def heic(path: Path, taken: str) -> None:
    """A HEIC file with the record that a frame has."""
    pillow_heif = pytest.importorskip("pillow_heif", reason="the extra heif is not installed")
    frame(path.with_suffix(".jpg"), taken)
    with Image.open(path.with_suffix(".jpg")) as image:
        pillow_heif.from_pillow(image).save(path, quality=90, exif=image.info["exif"])
    path.with_suffix(".jpg").unlink()


def raw_file(path: Path) -> None:
    """What an invented sensor saw, as DNG; its name may end in anything."""
    pytest.importorskip("rawpy", reason="the extra raw is not installed")
    from tests.photographs.test_raw import scene, write_dng

    path.parent.mkdir(parents=True, exist_ok=True)
    write_dng(path, scene(), filters=True)


def finished_into(folder: Path) -> list[str]:
    done = finishing("run", folder)
    assert done.exit_code == 0, done.stderr
    return sorted(path.name for path in (folder / "finished").rglob("*.jpg"))


def test_a_folder_of_heic_becomes_a_session_as_jpegs_do(tmp_path: Path) -> None:
    for number, taken in enumerate(("18:40:00", "18:41:00", "19:10:00"), 1):
        heic(tmp_path / "frames" / f"P{number}.HEIC", taken)
    assert sound(tmp_path) == {"A": ["P1", "P2"], "B": ["P3"]}
    assert 'frames: ["frames/*.HEIC"]' in (tmp_path / "session.yaml").read_text()
    assert finished_into(tmp_path) == ["P1.jpg", "P2.jpg", "P3.jpg"]


@pytest.mark.parametrize("ending", [".dng", ".RAWFILE"])
def test_a_folder_of_raw_files_becomes_a_session_as_jpegs_do(tmp_path: Path, ending: str) -> None:
    """Raw files are told by what is in them, and what else lies in the folder is left alone."""
    for number in (1, 2):
        raw_file(tmp_path / "card" / f"P{number}{ending}")
        (tmp_path / "card" / f"P{number}.xmp").write_text("<x/>")
    (tmp_path / "card" / "notes.txt").write_text("bring the long stand")
    written = write_first_files(tmp_path)
    assert written.setups == {"P": ["P1", "P2"]}
    assert f'frames: ["card/*{ending}"]' in written.session.read_text()
    assert finished_into(tmp_path) == ["P1.jpg", "P2.jpg"]


def test_a_pattern_never_finds_what_is_no_frame(tmp_path: Path) -> None:
    raw_file(tmp_path / "P1.data")
    raw_file(tmp_path / "P2")
    (tmp_path / "table.data").write_bytes(b"numbers" * 100)
    assert write_first_files(tmp_path).setups == {"P": ["P1", "P2"]}
    assert [one.relative for one in read_session(tmp_path).frames] == ["P1.data", "P2"]


def test_a_raw_file_beside_its_jpeg_is_left_out_and_told(tmp_path: Path) -> None:
    for number in (1, 2):
        raw_file(tmp_path / f"P{number}.dng")
        frame(tmp_path / f"P{number}.jpg", "18:40:00")
    written = write_first_files(tmp_path)
    assert "left out P1.dng (P1.jpg has that name), P2.dng (P2.jpg has that name)" in written.notices[0]
    assert [one.relative for one in read_session(tmp_path).frames] == ["P1.jpg", "P2.jpg"]


def test_an_extra_that_is_missing_is_told_and_nothing_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    heic(tmp_path / "P1.heic", "18:40:00")
    heic(tmp_path / "P2.heic", "18:40:00")
    raw_file(tmp_path / "P3.RAWFILE")
    frame(tmp_path / "P4.jpg", "18:40:00")
    find = importlib.util.find_spec
    gone = ("rawpy", "pillow_heif")
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *more: None if name in gone else find(name, *more))
    refused = finishing("init", tmp_path)
    assert refused.exit_code == 2
    assert "P1.heic: this is a HEIC file, and what reads it is not installed" in refused.stderr
    assert "found:    2 such files in this folder" in refused.stderr
    assert "pip install '.[heif]'" in refused.stderr
    assert "P3.RAWFILE: this is a raw file, and what reads it is not installed" in refused.stderr
    assert "pip install '.[raw]'" in refused.stderr
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".RAWFILE", ".heic", ".heic", ".jpg"]
    for name in ("P1.heic", "P2.heic", "P3.RAWFILE", "P4.jpg"):
        (tmp_path / name).unlink()
    (tmp_path / "P5.RAWFILE").write_bytes(b"SENSOR DATA 1.0 ................")
    refused = finishing("init", tmp_path)
    assert "found:    1 other file, such as P5.RAWFILE" in refused.stderr
    assert "if P5.RAWFILE is a raw file: in the folder of this program" in refused.stderr


def frame_as_jpeg(path: Path) -> None:
    frame(path.with_suffix(".jpg"))
    path.with_suffix(".jpg").rename(path)


def test_prefixes() -> None:
    assert [prefix_of(name) for name in ("A-0001", "IMG12b", "12", "gate", "2026-09-19 7x")] == [
        "A-", "IMG", "", "gate", "2026-09-19 ",
    ]  # fmt: skip


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.integers(0, 40000)),
            st.sampled_from([None, 2.8, 5.6, 8]),
            st.sampled_from([None, 1 / 250, 1 / 60]),
            st.sampled_from(["A-", "B-", ""]),
        ),
        max_size=30,
    )
)
def test_every_frame_is_in_one_group(made: list[tuple[int | None, float | None, float | None, str]]) -> None:
    start = datetime(2026, 9, 19, 8)
    frames = [
        FrameFacts(f"{p}{i:03d}", None if s is None else start + timedelta(seconds=s), None, n, t, 100)
        for i, (s, n, t, p) in enumerate(made)
    ]
    groups = likely_setups(frames)
    names = [frame.name for group in groups for frame in group.frames]
    assert sorted(names) == sorted(frame.name for frame in frames)
    timed = [group.times for group in groups if group.times]
    assert all(one[-1] <= other[0] for one, other in pairwise(timed))
    # no pause is bridged
    assert all(b - a < timedelta(minutes=10) for times in timed for a, b in pairwise(times))
