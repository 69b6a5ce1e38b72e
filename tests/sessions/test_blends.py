"""Blends in session.yaml: read, what they take over, and all that is refused, with places."""

import re
from pathlib import Path

import pytest

from finishing.batch.texts.schemas import schema_of
from finishing.documents.reading import parse_document
from finishing.errors import ProblemSet
from finishing.sessions.blends import (
    BlendLight,
    BlendWhite,
    FrameBlend,
    blend_problems,
    blend_words,
    missing_source,
    parse_light,
    parse_white,
    setup_of_blend,
    setup_problems,
)
from finishing.sessions.selection import Selection
from finishing.sessions.session import Session, SessionFile, read_session
from tests.sessions.conftest import Write

BLENDS = """\
blends:
  A-blend:
    sources: [A-0001, A-0002]
    strobes_off: [A-0002]
    light: {ambient: +0.7, strobe: -0.3}
    white_balance: {ambient: 5600, strobe: [1.1, 1, 0.85]}
"""


def with_blends(write: Write, *changes: tuple[str, str]) -> Path:
    text = BLENDS
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = write()
    path.write_text(path.read_text() + text)
    return path


def broken(path: Path) -> str:
    with pytest.raises(ProblemSet) as caught:
        read_session(path)
    assert all(problem.remedy for problem in caught.value.problems)
    assert all("session.yaml:" in str(problem.where) for problem in caught.value.problems)
    return str(caught.value)


def read(path: Path) -> Session:
    return read_session(path)


def test_a_blend_is_read(write: Write) -> None:
    session = read(with_blends(write))
    blend = session.blends["A-blend"]
    assert blend.sources == ("A-0001", "A-0002")
    assert blend.strobes_off == ("A-0002",)
    assert (blend.light.ambient, blend.light.strobe) == (0.7, -0.3)
    assert (blend.white_balance.ambient, blend.white_balance.strobe) == (5600, (1.1, 1, 0.85))
    assert [frame.name for frame in session.blended] == ["A-blend"]
    assert not session.blended[0].path.exists()
    assert "A-blend" not in [frame.name for frame in session.frames]


def test_a_blend_needs_its_sources_alone(write: Write) -> None:
    path = write()
    path.write_text(path.read_text() + "blends: {both: {sources: [A-0001, A-0002]}}\n")
    blend = read(path).blends["both"]
    assert (blend.light.ambient, blend.light.strobe, blend.white_balance.ambient) == (0, 0, None)
    path.write_text(path.read_text().replace("A-0002]}}", "A-0002], light: {ambient: off, strobe: 1/3}}}"))
    blend = read(path).blends["both"]
    assert blend.light.ambient is None
    assert blend.light.strobe == pytest.approx(1 / 3)


def test_what_is_said_of_the_first_source_holds_for_the_blend(write: Write) -> None:
    said = "  A-0001: {subject: [0.4, 0.6], rating: 4, crop: {aspect: 1:1}, straighten: 1, note: hers, picked: dawn}\n"
    path = with_blends(write)
    path.write_text(path.read_text().replace("per_frame:\n", "per_frame:\n" + said))
    session = read(path)
    held = session.of_frame("A-blend")
    assert held.subject == (0.4, 0.6)
    assert held.rating == 4
    assert held.crop == session.of_frame("A-0001").crop
    assert held.straighten == 1
    assert (held.note, held.picked, held.skip) == (None, (), False)
    assert session.ratings["A-blend"] == 4
    own = "  A-blend: {rating: 2, crop: {box: [0, 0, 1, 1]}}\n"
    path.write_text(path.read_text().replace("per_frame:\n", "per_frame:\n" + own))
    session = read(path)
    held = session.of_frame("A-blend")
    assert (held.subject, held.rating) == ((0.4, 0.6), 2)
    assert held.crop is not None
    assert held.crop.box == (0, 0, 1, 1)
    assert session.ratings["A-blend"] == 2


def test_a_blend_can_be_skipped_and_chosen_by_name(write: Write) -> None:
    path = with_blends(write)
    path.write_text(path.read_text().replace("frames: [B, A-0002]", "frames: [A-bl*]"))
    session = read(path)
    assert session.value.looks[1].frames == Selection(names=("A-bl*",))
    path.write_text(path.read_text().replace("per_frame:\n", "per_frame:\n  A-blend: {skip: yes}\n"))
    assert read(path).blends == {}


def test_unknown_keys_and_values_that_cannot_be_read(write: Write) -> None:
    text = broken(with_blends(write, ("light:", "lights:")))
    assert 'session.yaml:25:5: unknown key "lights"' in text
    assert 'did you mean "light"?' in text
    text = broken(with_blends(write, ("ambient: +0.7", "ambient: bright")))
    assert "session.yaml:25:22:" in text
    assert "or off" in text
    assert "session.yaml:26:30:" in broken(with_blends(write, ("5600", "560")))
    assert "three gains" in broken(with_blends(write, ("[1.1, 1, 0.85]", "[1.1, 1]")))
    assert "is missing" in broken(with_blends(write, ("    sources: [A-0001, A-0002]\n", "")))


def test_sources_that_cannot_be_meant(write: Write) -> None:
    text = broken(with_blends(write, ("sources: [A-0001, A-0002]", "sources: [A-0001, A-0020]")))
    assert "session.yaml:24:19: " in text  # A-0002 is then not among the sources
    assert "no frame has the name" not in text  # of which its blend alone fails
    assert "two frames or more" in broken(with_blends(write, ("A-0001, A-0002]\n", "A-0002]\n")))
    assert "named twice" in broken(with_blends(write, ("A-0001, A-0002]\n", "A-0002, A-0002]\n")))
    assert 'name alone: "A-0001"' in broken(with_blends(write, ("A-0001, ", "A-0001.jpg, ")))
    assert "no frame has the name" in broken(with_blends(write, ("sources: [A-0001, A-0002]", "sources: A-*")))
    text = broken(with_blends(write, ("[A-0001, A-0002]", "[B-0003, A-0002]")))
    assert 'session.yaml:23:15: the source "B-0003" is left out of the session' in text
    others = "  more: {sources: [A-blend, A-0001]}\n  rest:\n    sources: [A-0001, A-0003]\n"
    more = ("    light:", f"    light: {{}}\n{others}    light:")
    assert '"A-blend" is a blend itself' in broken(with_blends(write, more))


def test_a_source_that_no_frame_has_the_name_of(write: Write) -> None:
    path = with_blends(write, ("sources: [A-0001, A-0002]", "sources: [A-0001, A-0020]"), ("[A-0002]", "A-0020"))
    session = read(path)
    frames = [frame.name for frame in session.chosen]
    problem = missing_source(session.document, "A-blend", session.blends["A-blend"], frames)
    assert problem is not None
    assert problem.where == "A-blend"
    assert problem.what == 'no frame has the name "A-0020"'
    assert problem.got == "A-0020 at session.yaml:23:23"
    assert 'did you mean "A-0002"?' in str(problem.remedy)
    path = with_blends(write)
    session = read(path)
    assert missing_source(session.document, "A-blend", session.blends["A-blend"], frames) is None


def test_no_source_is_suggested_that_is_one_already(write: Write) -> None:
    path = with_blends(write, ("sources: [A-0001, A-0002]", "sources: [A-0002, A-001]"))
    session = read(path)
    problem = missing_source(session.document, "A-blend", session.blends["A-blend"], ["A-0002", "B-0001"])
    assert problem is not None
    assert "A-0002" not in f"{problem.remedy} {problem.expected}"


def test_a_blend_that_is_left_out_says_nothing(write: Write) -> None:
    wrong = (
        ("[A-0001, A-0002]\n", "[B-0003]\n"), ("[A-0002]", "[A-0003]"), ("+0.7, strobe: -0.3", "off, strobe: off"),
    )  # fmt: skip
    path = with_blends(write, *wrong)
    assert "session.yaml:23:15" in broken(path)
    path.write_text(path.read_text().replace("per_frame:\n", "per_frame:\n  A-blend: {skip: yes}\n"))
    assert read(path).blends == {}
    # but for a name that a frame has as well: which of the two is left out?
    path.write_text(path.read_text().replace("A-blend", "A-0001"))
    assert 'the name of the frame "A-0001"' in broken(path)


def test_what_is_commented_out_below_a_key_is_empty(write: Write) -> None:
    path = write()
    path.write_text(path.read_text() + "blends:\n  # A-blend:\n  #   sources: [A-0001, A-0002]\n")
    assert read(path).blends == {}
    cut = re.sub(r"(per_frame|deliverables|match|rights):.*?\n(?=\w)", r"\1:\n", path.read_text(), flags=re.DOTALL)
    path.write_text(cut)
    value = read(path).value
    assert (value.per_frame, value.blends) == ({}, {})
    assert value.match.model_fields_set == set()
    path.write_text(cut.replace("frames: [frames/*.jpg]", "frames:"))  # which has no default
    assert '"frames" cannot be read' in broken(path)


def test_strobes_off_are_some_of_the_sources(write: Write) -> None:
    text = broken(with_blends(write, ("strobes_off: [A-0002]", "strobes_off: A-0003")))
    assert 'session.yaml:24:18: "A-0003" is not among the sources' in text
    assert "strobes on" in broken(with_blends(write, ("off: [A-0002]", "off: [A-0001, A-0002]")))
    assert "both lights are off" in broken(with_blends(write, ("+0.7, strobe: -0.3", "off, strobe: off")))


@pytest.mark.parametrize(
    "name",
    [
        "A-0001",
        "a-0001",
        "A",
        "all",
        "picked",
        '"A/B"',
        '".A"',
        '"A?"',
        '" A"',
        '"A:1"',
        '"A,B"',
        '"-A"',
        '"A*"',
        "CON",
        "nul",
        '"Com1.x"',
        "x" * 101,
        "é" * 60,
    ],
)
def test_names_that_cannot_stand_for_a_frame_or_a_file(write: Write, name: str) -> None:
    assert "session.yaml:22:3: " in broken(with_blends(write, ("A-blend", name)))


def test_names_that_differ_in_how_an_accent_is_written(write: Write) -> None:
    more = ("    light:", "    light: {}\n  Cafe\u0301:\n    sources: [A-0001, A-0003]\n  CAF\u00c9:\n"
            "    sources: [A-0001, A-0003]\n    light:")  # fmt: skip
    assert "session.yaml:28:3: the blend" in broken(with_blends(write, more))


def test_names_that_differ_in_capitals_alone(write: Write) -> None:
    more = ("    light:", "    light: {}\n  a-BLEND:\n    sources: [A-0001, A-0003]\n    light:")
    assert 'session.yaml:26:3: the blend "A-blend" differs' in broken(with_blends(write, more))


def test_sources_of_different_setups(write: Write) -> None:
    session = read(with_blends(write))
    value = session.value.blends
    assert setup_problems(session.document, value, {"A-0001": "A", "A-0002": "A"}) == []
    assert setup_problems(session.document, value, {"A-0002": "A"}) == []
    (problem,) = setup_problems(session.document, value, {"A-0001": "A", "A-0002": "B"})
    assert str(problem.where) == "session.yaml:23:14"
    assert problem.got == "A-0001 is of A, A-0002 is of B"
    assert setup_of_blend(value["A-blend"], {"A-0002": "A"}) == "A"
    assert setup_of_blend(value["A-blend"], {}) is None


def test_a_blend_in_words() -> None:
    def words(**parts: object) -> str:
        return blend_words(FrameBlend(sources=["C-0012", "C-0013"], **parts))

    light = BlendLight(ambient="+0.7", strobe="-0.3")
    assert words(light=light) == "blend of C-0012 and C-0013, ambient +0.7 stop, strobe −0.3 stop"
    assert words() == "blend of C-0012 and C-0013, ambient as taken, strobe as taken"
    off = BlendLight(ambient="off", strobe="2")
    assert words(light=off) == "blend of C-0012 and C-0013, no ambient, strobe +2 stops"
    white = BlendWhite(ambient="5600 K", strobe=["1.1", "1", "0.85"])
    assert words(light=light, white_balance=white).endswith(
        "ambient +0.7 stop (balanced for 5600 K), strobe −0.3 stop (balanced for gains 1.1, 1, 0.85)"
    )


@pytest.mark.parametrize("value", ["-11", "", "0.7 m", None, [1]])
def test_stops_that_are_none(value: object) -> None:
    with pytest.raises((ValueError, TypeError)):
        parse_light(value)


@pytest.mark.parametrize("value", ["5600", "5600 K", "5600 k", "5600K", "5600k ", 5600])
def test_kelvin_with_their_unit_or_without(value: object) -> None:
    assert parse_white(value) == 5600


@pytest.mark.parametrize("value", ["1999", "25001", [1, 1], [0, 1, 1], [17, 1, 1], "warm", None])
def test_whites_that_are_none(value: object) -> None:
    with pytest.raises((ValueError, TypeError)):
        parse_white(value)


def test_the_readme_s_example_is_one() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```yaml\n(blends:\n.*?)```", readme, re.DOTALL)
    document = parse_document("session: Example\nframes: frames/*.jpg\n" + example, "README.md", SessionFile)
    blends = document.value.blends
    assert blend_problems(document, blends, ["C-0012", "C-0013"], [], ["C"]) == []
    assert blends["C-blend"].light.ambient == 0.7
    assert blends["C-blend"].white_balance.strobe == 7200


def test_the_schema_knows_blends() -> None:
    schema = schema_of("session")
    blend = schema["$defs"]["FrameBlend"]
    listed, nothing = schema["properties"]["blends"]["anyOf"]
    assert listed["additionalProperties"] == {"$ref": "#/$defs/FrameBlend"}
    assert nothing == {"type": "null"}
    assert blend["required"] == ["sources"]
    assert blend["additionalProperties"] is False
    assert set(blend["properties"]) == {"sources", "strobes_off", "light", "white_balance"}
    assert schema["$defs"]["BlendLight"]["properties"]["ambient"]["anyOf"]


@pytest.mark.parametrize("written", ["A-0001 A-0002", '"A-0001, A-0002"', "A-0001 + A-0002"])
def test_several_frames_as_one_text_are_told_as_a_list(write: Write, written: str) -> None:
    text = broken(with_blends(write, ("[A-0001, A-0002]", written), ("    strobes_off: [A-0002]\n", "")))
    assert "several frames stand here as one text" in text
    assert "write sources: [A-0001, A-0002]" in text
    assert "does not tell strobe and ambient apart" not in text


def test_several_names_as_one_text_are_told_as_a_list(write: Write) -> None:
    path = write(("frames: [B, A-0002]", "frames: B A-0002"))
    assert "write them as a list: [B, A-0002]" in broken(path)
