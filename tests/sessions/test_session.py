"""Sessions: read, checked against their frames and their plan, with errors that can be acted on."""

import json
import os
from pathlib import Path
from typing import Any

import pytest

from finishing.errors import Problem, ProblemSet
from finishing.sessions.deliverables import Deliverable, file_name
from finishing.sessions.folder import FramePath
from finishing.sessions.frame_names import frame_range, matches, unknown_frame
from finishing.sessions.selection import Selection, select_frames
from finishing.sessions.session import SessionFile, read_session
from tests.sessions.conftest import FRAMES, PLAN, Write

LOOKS = ("saffron", "dawn")


def broken(path: Path) -> str:
    with pytest.raises(ProblemSet) as caught:
        read_session(path, LOOKS)
    return str(caught.value)


def test_the_session_is_read(write: Write) -> None:
    session = read_session(write(), LOOKS)
    value = session.value
    assert value.session == "Orchard at dusk"
    assert tuple(frame.name for frame in session.frames) == FRAMES
    assert session.frames[0].relative == "frames/A-0001.jpg"
    assert value.camera_clock[0].seconds_ahead == 90
    assert value.rights.copyright == "© 2026 A. Example"
    assert value.looks[0].settings == {"kept_hue": "75"}
    assert value.looks[2].frames == Selection(rating_at_least=3)
    assert value.match.exposure is not None
    assert value.match.exposure.at_most == 1
    assert value.match.white_balance is not None
    assert value.match.exposure.to.one == "A-0003"
    assert value.match.white_balance.cards()["all"].box == (0.46, 0.60, 0.54, 0.70)
    entry = session.of_frame("B-0002")
    assert entry.subject == (0.42, 0.38)
    assert entry.crop is not None
    assert entry.crop.aspect == 0.8
    assert session.mask_files("B-0002")["coat"].is_file()
    assert session.ratings == {"B-0002": 4}
    assert [frame.name for frame in session.chosen] == list(FRAMES[:5])
    web, paper = value.deliverables["web"], value.deliverables["print"]
    assert (web.subsampling, web.quality, web.sharpen, web.bits) == ("4:2:0", 90, "screen", 8)
    assert (paper.format, paper.bits, paper.profile, paper.pixels_per_inch) == ("tiff", 16, "oprgb", 300)
    assert paper.subsampling == "4:4:4"
    assert "subsampling" not in paper.model_fields_set
    assert session.plan is not None
    assert [setup.id for setup in session.plan.value.setups] == ["A", "B"]
    assert session.warnings == ()


def test_the_folder_does_for_the_file(write: Write) -> None:
    folder = write().resolve().parent
    assert read_session(folder).folder == folder


def test_the_clock_can_be_behind(write: Write) -> None:
    session = read_session(write(("ahead_by", "behind_by")))
    assert session.value.camera_clock[0].seconds_ahead == -90
    text = broken(write(('ahead_by: "00:01:30"', "ahead_by: 5, behind_by: 3")))
    assert "session.yaml:4:40: the camera's clock cannot be both ahead and behind" in text


def test_a_session_needs_little(write: Write) -> None:
    path = write()
    path.write_text("session: Small\nframes: frames/A-*.jpg\n")
    session = read_session(path, LOOKS)
    assert len(session.frames) == 3
    assert session.plan is None


def test_a_frame_that_does_not_exist(write: Write) -> None:
    assert broken(write(("  B-0002:", "  B-0020:"))) == (
        'session.yaml:16:3: no frame has the name "B-0020"\n'
        "    found:    B-0020\n"
        "    expected: a frame's name or a pattern of names (A-0001 … B-0003)\n"
        '    do this:  did you mean "B-0002"?'
    )


@pytest.mark.parametrize("pattern", ["../*.jpg", "/tmp/*.jpg", "frames/../../*.jpg", "~/x.jpg", "C:/x.jpg", "..\\x"])
def test_frames_outside_the_folder(write: Write, pattern: str) -> None:
    assert broken(write(("frames/*.jpg", pattern))) == (
        "session.yaml:2:10: this path leaves the folder of this file\n"
        f"    found:    {pattern}\n"
        "    expected: a path below the folder of this file, such as frames/A-0001.jpg\n"
        "    do this:  put the file into this folder and name it from here, without .. and without a leading /"
    )


def test_a_link_that_leads_out_of_the_folder(write: Write, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "Z-0001.jpg"
    elsewhere.touch()
    path = write()
    os.symlink(elsewhere, "frames/Z-0001.jpg")
    assert broken(path) == (
        "session.yaml:2:10: a link leads out of the folder of this file\n"
        "    found:    frames/Z-0001.jpg\n"
        "    expected: a file or folder that really lies in this folder\n"
        "    do this:  copy what the link points to into this folder, and remove the link"
    )


def test_a_linked_folder_that_lies_elsewhere(write: Write, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (elsewhere / "Z-0001.jpg").touch()
    path = write(("frames/*.jpg", "linked/*.jpg"))
    os.symlink(elsewhere, "linked")
    assert "a link leads out of the folder" in broken(path)
    path = write(("plan.yaml", "linked/plan.yaml"))
    (elsewhere / "plan.yaml").write_text(PLAN)
    assert "a link leads out of the folder" in broken(path)


def test_links_in_a_ring_are_no_way_out(write: Write) -> None:
    path = write()
    os.symlink("Z-2.jpg", "frames/Z-1.jpg")
    os.symlink("Z-1.jpg", "frames/Z-2.jpg")
    assert "a link leads out of the folder" in broken(path)


@pytest.mark.parametrize("pattern", [".", "frames", "frames/", "frames/[", "*/../x"])
def test_patterns_that_mean_no_file(write: Write, pattern: str) -> None:
    assert "session.yaml:2:10:" in broken(write(("[frames/*.jpg]", f"['{pattern}']")))


def test_a_link_inside_the_folder_is_fine(write: Write) -> None:
    path = write()
    os.symlink("A-0001.jpg", "frames/A-0004.jpg")
    assert len(read_session(path).frames) == 7


def test_a_format_that_is_none(write: Write) -> None:
    assert broken(write(("format: jpeg", "format: jpg"))) == (
        'session.yaml:19:17: "format" cannot be read\n'
        "    found:    jpg\n"
        "    expected: one of jpeg, png, tiff, webp, avif\n"
        "    do this:  did you mean format: jpeg?"
    )


def test_a_list_for_a_mapping(write: Write) -> None:
    assert broken(write(('{ahead_by: "00:01:30"}', "[90]"))) == (
        'session.yaml:4:15: "camera_clock" cannot be read\n'
        "    found:    [90]\n"
        "    expected: a mapping (key: value), or a list of them, one a camera\n"
        '    do this:  write {ahead_by: "00:01:30"}, or - {camera: Example Camera, ahead_by: 90}'
    )


def test_a_look_that_is_unknown(write: Write) -> None:
    assert broken(write(("look: saffron", "look: safron"))) == (
        'session.yaml:7:11: unknown look "safron"\n'
        "    expected: one of dawn, saffron\n"
        '    do this:  did you mean "saffron"?'
    )


def test_looks_of_the_session_and_by_path(write: Write) -> None:
    path = write(("look: saffron", "look: own"), ("look: dawn", "look: recipes/own.yaml"))
    Path("recipes").mkdir()
    Path("recipes/own.yaml").touch()
    read_session(path, ())
    path = write(("look: dawn", "look: recipes/wn.yaml"))
    assert 'did you mean "recipes/own.yaml"?' in broken(path)
    path = write(("look: dawn", "look: ../own.yaml"))
    assert "this path leaves the folder" in broken(path)


def test_a_look_for_frames_that_are_not_there(write: Write) -> None:
    assert broken(write(("[B, A-0002]", "[B, A-002]"))) == (
        'session.yaml:10:30: no frame has the name "A-002", and no set-up\n'
        "    found:    A-002\n"
        "    expected: a frame's name or a pattern of names (A-0001 … B-0003), or a set-up: A, B\n"
        '    do this:  did you mean "A-0002"?'
    )


def test_a_pattern_that_finds_nothing(write: Write) -> None:
    assert broken(write(("frames/*.jpg", "frames/*.JPG"))) == (
        "session.yaml:2:10: no file has such a name\n"
        "    found:    frames/*.JPG\n"
        "    expected: a pattern such as frames/*.jpg\n"
        '    do this:  did you mean "frames/*.jpg"?'
    )


def test_two_files_of_one_name(write: Write) -> None:
    path = write(("frames/*.jpg", "frames/*.*"))
    Path("frames/A-0001.png").touch()
    assert broken(path) == (
        'session.yaml:2:9: two files are the frame "A-0001"\n'
        "    found:    frames/A-0001.jpg and frames/A-0001.png\n"
        "    do this:  narrow the patterns (frames/*.jpg) or rename one of the two files"
    )


def test_one_file_by_two_patterns_is_one_frame(write: Write) -> None:
    assert len(read_session(write(("frames/*.jpg", "frames/*.jpg, frames/A-*.jpg"))).frames) == 6


def test_a_plan_that_is_not_there(write: Write) -> None:
    assert broken(write(("plan: plan.yaml", "plan: plans.yaml"))) == (
        'session.yaml:3:7: there is no such file\n    found:    plans.yaml\n    do this:  did you mean "plan.yaml"?'
    )


def test_faults_of_plan_and_session_are_told_together(write: Write) -> None:
    text = broken(write(("  B-0002:", "  B-0020:"), plan=PLAN.replace("1/125", "12:30")))
    assert 'plan.yaml:7:40: "shutter" cannot be read' in text
    assert 'session.yaml:16:3: no frame has the name "B-0020"' in text


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "  web:",
            "  ../web:",
            'session.yaml:19:3: the deliverable "../web" cannot be a folder of that name',
        ),
        ("  web:", "  .web:", "cannot be a folder"),
        ("  web:", "  Print:", '"Print" and "print" would share a folder'),
        ("format: tiff", "format: jpeg", "session.yaml:20:31: a JPEG file has 8 bits a channel"),
        ("quality: 90", "quality: 101", "a whole number from 1 to 100"),
        ("4:2:0", "4:2:2", "one of 4:4:4, 4:2:0"),
        ("bits: 16", "bits: 12", "8 or 16"),
        ("profile: srgb", "profile: rgb", "one of srgb, display_p3, oprgb"),
        ("quality: 90", "name: '{look}/{fram}'", "did you mean {frame}?"),
        ("quality: 90", "name: '../{frame}'", "leaves the output folder"),
        ("quality: 90", "name: '/{frame}'", "leaves the output folder"),
        ("quality: 90", "name: '{look}'", "gives every frame the same name"),
        ("quality: 90", "name: '{frame'", "a lone brace"),
        ("rating: 4", "ratng: 4", 'did you mean "rating"?'),
        ("rating: 4", "rating: 6", "a whole number of stars from -1 to 5"),
        ("rating_at_least: 3", "rating_at_least: 8", "{rating_at_least: 1…5}"),
        ("rating_at_least: 3", "rating: 3", "{rating_at_least: 1…5}"),
        ("skip: on", "skip: maybe", "yes or no"),
        ("[0.42, 0.38]", "[0.42, 1.38]", "a point [x, y]"),
        ("to: A-0003", "to: A-0030", 'did you mean "A-0003"?'),
        ("frame: A-0001", "frame: A-0010", 'did you mean "A-0001"?'),
        ("masks/coat.png", "masks/boat.png", 'did you mean "masks/coat.png"?'),
        ("masks/coat.png", "../coat.png", "this path leaves the folder"),
        ("aspect: 4:5", "aspect: wide", "an aspect ratio such as 4:5"),
        ('"00:01:30"', "soon", "a time span such as 00:01:30"),
        ("session: Orchard at dusk\n", "", '"session" is missing'),
        ("deliverables:", "deliverable:", 'did you mean "deliverables"?'),
        ("[frames/*.jpg]", "[]", "a pattern of file names"),
        ("[frames/*.jpg]", "['**.jpg']", "no file has such a name"),
    ],
)
def test_what_else_is_refused(write: Write, old: str, new: str, says: str) -> None:
    assert says in broken(write((old, new)))


def test_a_missing_session(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"there is no session\.yaml in this folder"):
        read_session(tmp_path)
    with pytest.raises(Problem, match="there is no such file"):
        read_session(tmp_path / "session.yaml")


def test_settings_that_do_nothing_are_warnings(write: Write) -> None:
    session = read_session(write(("format: tiff", "format: tiff, quality: 80")))
    assert [str(w.where) + ": " + w.what for w in session.warnings] == [
        'session.yaml:20:34: "quality" means nothing for tiff files'
    ]


def test_a_setup_that_names_no_frame_is_a_warning(write: Write) -> None:
    session = read_session(write(plan=PLAN.replace("frames: A-*", "frames: [A-*, C-*]")))
    assert [str(w.where) + ": " + w.what for w in session.warnings] == [
        'plan.yaml:6:19: no frame of the session is named so for set-up "A"'
    ]


def test_which_frames_a_look_is_for(write: Write) -> None:
    session = read_session(write())
    setup_of = {name: name[0] for name in FRAMES}
    everything, listed, rated = (entry.frames for entry in session.value.looks)
    assert select_frames(everything, session.frames) == list(FRAMES)
    assert select_frames(listed, session.frames, setup_of) == ["A-0002", "B-0001", "B-0002", "B-0003"]
    assert select_frames(rated, session.frames, setup_of, session.ratings) == ["B-0002"]
    assert select_frames(Selection(names=("?-0001",)), session.frames) == ["A-0001", "B-0001"]
    assert select_frames(Selection(names=("A-0001.jpg",)), session.frames) == ["A-0001"]


def test_where_an_output_goes() -> None:
    names: dict[str, Any] = {
        "session": "Orchard: dusk/1",
        "name": "web",
        "look": "saffron",
        "frame": "A-0001",
        "setup": "A",
    }
    assert str(file_name(Deliverable(), **names)) == "web/saffron/A-0001.jpg"
    assert str(file_name(Deliverable(format="tiff"), **names)) == "web/saffron/A-0001.tif"
    pattern = Deliverable(name="{session}/{setup}-{frame}-{look}", format="png")
    assert str(file_name(pattern, **names)) == "Orchard- dusk-1/A-A-0001-saffron.png"
    assert "no-setup" in str(file_name(pattern, **{**names, "setup": None}))


def test_there_is_a_json_schema() -> None:
    schema = json.loads(json.dumps(SessionFile.model_json_schema()))
    assert "looks" in schema["properties"]
    assert schema["additionalProperties"] is False


@pytest.mark.parametrize(
    ("name", "remedy"),
    [
        ("LP43l", 'did you mean "LP431"?'),
        ("LP434", 'did you mean "LP431", "LP432" or "LP433"?'),  # all as near as each other
        ("LP431 + LP432", "write them as a list: [LP431, LP432]"),
        ("LP431 and LP432", "write them as a list: [LP431, LP432]"),
        ("LP43", "several names are as near to it"),
        ("LP341", 'did you mean "LP431"?'),
    ],
)
def test_names_that_come_equally_near(name: str, remedy: str) -> None:
    last = 438 if "several" in remedy else 433
    told = unknown_frame(name, [f"LP{number}" for number in range(431, last + 1)], None).remedy
    assert str(told).startswith(remedy)


@pytest.mark.parametrize(
    "written", ["A-0001-A-0003", "A-0001 - A-0003", "A-0001 to A-0003", "A-0001..A-0003", "A-0001–A-0003"]
)
def test_a_range_of_frames(write: Write, written: str) -> None:
    several = frame_range(written)
    assert several is not None
    assert several.ends == ("A-0001", "A-0003")
    assert [name for name in (*FRAMES, "A-0004", "A-000", "A-2", "A-02x", "AA-0002") if matches(written, name)] == [
        "A-0001", "A-0002", "A-0003", "A-2",
    ]  # fmt: skip
    session = read_session(write(("frames: {rating_at_least: 3}", f'frames: ["{written}", B-0002]')))
    chosen = select_frames(session.value.looks[2].frames, session.frames)
    assert chosen == ["A-0001", "A-0002", "A-0003", "B-0002"]
    assert session.warnings == ()


@pytest.mark.parametrize(
    "text", ["A-0001", "A-0001-B-0003", "A-0003-A-0001", "100-0431", "A-*", "2026-09-19", "A-0001-3"]
)
def test_what_is_no_range(text: str) -> None:
    assert frame_range(text) is None


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("A-0001-A-0009", "no frame is called A-0009"),
        ("A-0000-A-0009", "no frame is called A-0000 or A-0009"),
        ("A-0001-A-0009", "write A-0001-A-0003, if those are the first and the last"),
        ("A-0001-0003", "write A-0001-A-0003"),
        ("A-0001-3", "write A-0001-A-0003"),
        ("A-0001-B-0002", 'no frame has the name "A-0001-B-0002"'),
    ],
)
def test_a_range_that_lacks_an_end_or_a_beginning_is_told(write: Write, written: str, told: str) -> None:
    assert told in broken(write(("frames: {rating_at_least: 3}", f"frames: {written}")))


def test_a_range_stands_for_no_single_frame(write: Write) -> None:
    assert "a range stands where one frame is named" in broken(write(("  B-0002:", "  A-0001-A-0003:")))


def test_a_name_that_looks_like_a_range_is_a_name() -> None:
    frames = [FramePath(name, Path(name), name) for name in ("C-1", "C-2", "C-3", "C-1-C-3")]
    assert select_frames(Selection(names=("C-1-C-3",)), frames) == ["C-1-C-3"]
    assert select_frames(Selection(names=("C-1-C-2",)), frames) == ["C-1", "C-2"]
