"""YAML with places: what a photographer writes is read as meant, and faults are told where they stand."""

from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.documents.fields import (
    Aperture,
    Aspect,
    Colour,
    Duration,
    Flag,
    Hue,
    Point,
    Shutter,
    Text,
    choice,
    number,
    whole_number,
)
from finishing.documents.reading import Model, parse_document
from finishing.errors import Place, Problem, ProblemSet


class Exposure(Model):
    aperture: Aperture
    shutter: Shutter


class Sample(Model):
    name: Text = "n"
    exposure: Exposure | None = None
    aspect: Aspect = 1.0
    ahead_by: Duration = 0.0
    subsampling: Annotated[str, choice("4:2:0", "4:4:4")] = "4:4:4"
    small: Annotated[float, number(0, 1)] = 0.5
    count: Annotated[int, whole_number(0, 100)] = 1
    skip: Flag = False
    colour: Colour = (0.0, 0.0, 0.0)
    hue: Hue = 0.0
    subject: Point | None = None
    frames: list[Text] = []
    children: list[Exposure] = []


def read(text: str) -> Sample:
    return parse_document(text, "sample.yaml", Sample).value


def faults(text: str) -> str:
    with pytest.raises(ProblemSet) as caught:
        read(text)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("aspect: 4:5", "aspect", 0.8),
        ("subsampling: 4:2:0", "subsampling", "4:2:0"),
        ("ahead_by: 00:01:30", "ahead_by", 90),
        ("ahead_by: 1:30", "ahead_by", 90),
        ("small: 1e-3", "small", 0.001),
        ("small: .5", "small", 0.5),
        ("count: 08", "count", 8),
        ("skip: on", "skip", True),
        ("skip: No", "skip", False),
        ("name: 08", "name", "08"),
        ("name: on", "name", "on"),
        ("name: 2026-09-19", "name", "2026-09-19"),
        ("name: 12:30", "name", "12:30"),
        ("frames: [0012, 1_000, A-0003]", "frames", ["0012", "1_000", "A-0003"]),
        ("subject: [0.42, 0.38]", "subject", (0.42, 0.38)),
        ("colour: '#ff0000'", "colour", (1.0, 0.0, 0.0)),
        ("hue: 430", None, None),
        ("hue: 75", "hue", 75.0),
    ],
)
def test_values_are_read_as_meant(text: str, field: str | None, value: object) -> None:
    if field is None:
        assert "a hue: an angle from 0 to 360 degrees" in faults(text)
    else:
        assert getattr(read(text), field) == value


def test_a_colour_gives_its_hue() -> None:
    # coloraide 8.13: OkLCh hue of sRGB red
    assert read("hue: '#ff0000'").hue == pytest.approx(29.2339, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "exposure: {aperture: f/8, shutter: 12:30}",
            'sample.yaml:1:36: "shutter" cannot be read\n'
            "    found:    12:30\n"
            '    expected: a shutter time such as 1/125, 0.4, 2" or 2 s\n'
            "    do this:  write shutter: 1/125, for example",
        ),
        (
            "exposure:\n  aperture: f/8\n  shuter: 1/125",
            'sample.yaml:3:3: unknown key "shuter"\n'
            "    expected: one of aperture, shutter\n"
            '    do this:  did you mean "shutter"?',
        ),
        (
            "name: a\nname: b",
            'sample.yaml:2:1: the key "name" stands here a second time\n'
            "    found:    first at line 1\n"
            "    do this:  keep one of the two",
        ),
        (
            "",
            "sample.yaml:1:1: the file is empty\n"
            "    do this:  fill it in; `finishing sample DIR` writes a session to start from",
        ),
        (
            "exposure:\n\taperture: f/8",
            "sample.yaml:2:1: a tab stands where YAML wants spaces\n"
            "    found:    aperture: f/8\n"
            '    do this:  type spaces instead; write "  aperture: f/8"',
        ),
        (
            "exposure: [f/8, 1/125]",
            'sample.yaml:1:11: "exposure" cannot be read\n'
            "    found:    [f/8, 1/125]\n"
            "    expected: a mapping (key: value)\n"
            "    do this:  write one `key: value` a line, without dashes",
        ),
        (
            "frames: A-0001",
            'sample.yaml:1:9: "frames" cannot be read\n'
            "    found:    A-0001\n"
            "    expected: a list\n"
            "    do this:  write frames: [first, second]",
        ),
        (
            "frames:\n  1. a: x\n  2. b: y",
            'sample.yaml:2:3: "frames" cannot be read\n'
            "    found:    a mapping (key: value)\n"
            "    expected: a list\n"
            "    do this:  put dashes in place of the numbers: - a: …",
        ),
        (
            "- a\n- b",
            "sample.yaml:1:1: this must be a mapping\n"
            "    found:    [a, b]\n"
            "    expected: keys and values: name, exposure, aspect, ahead_by, subsampling, small, count, skip, colour, "
            "hue, subject, frames, children\n"
            "    do this:  write one `key: value` a line, without dashes",
        ),
        (
            "small: 1.5",
            'sample.yaml:1:8: "small" cannot be read\n'
            "    found:    1.5\n"
            "    expected: a number from 0 to 1\n"
            "    do this:  1.5 is above 1: write small: 0.5, for example",
        ),
        (
            "small: .nan",
            'sample.yaml:1:8: "small" cannot be read\n'
            "    found:    .nan\n"
            "    expected: a number from 0 to 1\n"
            "    do this:  write small: 0.5, for example",
        ),
        (
            "name: {a: 1",
            "sample.yaml:1:7: this { is never closed\n    found:    name: {a: 1\n    do this:  write name: {a: 1}",
        ),
        (
            "name: &a [*a]",
            "sample.yaml:1:7: this alias contains itself\n    do this:  write the value out instead",
        ),
    ],
)
def test_faults_word_for_word(text: str, message: str) -> None:
    assert faults(text) == message


def test_all_faults_come_at_once_in_the_order_of_their_places() -> None:
    told = faults("small: 2\ncount: x\nsubject: [1]\nskip: maybe")
    assert [line.split(": ")[0] for line in told.splitlines() if line.startswith("sample")] == [
        "sample.yaml:1:8",
        "sample.yaml:2:8",
        "sample.yaml:3:10",
        "sample.yaml:4:7",
    ]


def test_places_can_be_asked_for_later() -> None:
    document = parse_document("frames:\n  - a\n  - b\n", "sample.yaml", Sample)
    assert document.place("frames", 1) == Place("sample.yaml", 3, 5)
    assert str(document.problem("no such frame", "frames", 1)) == "sample.yaml:3:5: no such frame\n    found:    b"


@given(st.text())
def test_no_text_breaks_the_reader(text: str) -> None:
    problems: list[Problem] = []
    try:
        read(text)
    except ProblemSet as error:
        problems = error.problems
    assert all(isinstance(problem.where, Place) for problem in problems)


def test_a_list_whose_entries_are_faulty_is_not_called_short_too() -> None:
    from typing import Annotated

    from pydantic import Field

    class Several(Model):
        children: Annotated[tuple[Exposure, ...], Field(min_length=1)]

    with pytest.raises(ProblemSet) as caught:
        parse_document("children:\n  - {aperture: f/8, shutter: 12:30}\n", "several.yaml", Several)
    assert [problem.what for problem in caught.value.problems] == ['"shutter" cannot be read']
    with pytest.raises(ProblemSet, match="a list with at least one entry"):
        parse_document("children: []\n", "several.yaml", Several)
