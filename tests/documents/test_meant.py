"""Values that are written otherwise than they are read: what to write is told where it is sure, and both ways where two
are as likely."""

from typing import Annotated

import pytest

from finishing.documents import parse_document
from finishing.documents.fields import Box, Centre, Clock, Iso, Point, Power, Shutter, Stops, number, whole_number
from finishing.documents.reading import Model
from finishing.errors import ProblemSet


class Sample(Model):
    iso: Iso = 100
    shutter: Shutter = 1
    kelvin: Annotated[float, number(2000, 25000, "kelvin")] = 5600
    long_edge: Annotated[int, whole_number(16, 65000, "pixels")] = 100
    radius: Annotated[float, number(0.2, 12, "pixels")] = 1
    start: Clock = 0
    latitude: Annotated[float, number(-90, 90, "degrees", example="47.4")] = 0
    longitude: Annotated[float, number(-180, 180, "degrees", example="8.6")] = 0
    power: Power = 1
    ambient: Stops = 0
    light: Annotated[float, number(-10, 10, "stops", example="-2")] = 0
    amount: Annotated[float, number(0, 4, example="0.8")] = 1
    point: Point = (0, 0)
    box: Box = (0, 0, 1, 1)
    centre: Centre = "frame"
    angle: Annotated[float, number(-45, 45, "degrees")] = 0


def remedy(line: str) -> str | None:
    """What to do about a line with one fault."""
    with pytest.raises(ProblemSet) as caught:
        parse_document(line, "x", Sample)
    (problem,) = caught.value.problems
    return problem.remedy


@pytest.mark.parametrize("line", ["{}", "{{{}}}"])
@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("iso: 1,600", "write iso: 1600"),
        ("iso: ISO 1,600", "write iso: ISO 1600"),
        ("iso: 12,800", "write iso: 12800"),
        ("iso: 1.600", "write iso: 1600"),
        ("iso: 12.800", "write iso: 12800"),
        ("iso: 102,400", "write iso: 102400"),
        ("kelvin: 5,600", "write kelvin: 5600"),
        ("kelvin: 5.600", "write kelvin: 5600"),
        ("long_edge: 2,048", "write long_edge: 2048"),
        ("long_edge: 10,000", "write long_edge: 10000"),
        ("radius: 1,250", "write radius: 1.250"),  # 1250 pixels are out of the question
        ("angle: 1,250", "write angle: 1.250"),
        ("shutter: 1,250", "write shutter: 1.250, or shutter: 1250 where the comma parts the thousands"),
        ("shutter: 1/1,250", "write shutter: 1/1250"),
    ],
)
def test_a_comma_before_three_digits_is_read_as_its_field_has_it(line: str, written: str, told: str) -> None:
    assert remedy(line.format(written)) == told


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("12:30 am", "00:30"),
        ("12 a.m.", "00:00"),
        ("12:30 pm", "12:30"),
        ("12 p.m.", "12:00"),
        ("6:50 am", "06:50"),
        ("6.50 P. M.", "18:50"),
        ("11:59 pm", "23:59"),
        ("18:50 pm", "18:50"),
        ("1850", "18:50"),
    ],
)
def test_hours_of_half_a_day(written: str, told: str) -> None:
    assert remedy(f"start: {written}") == f'write start: "{told}"'


@pytest.mark.parametrize(
    "line",
    [
        "start: 18:50 am",
        "amount: +20%",  # a change: 1.2
        "amount: -20%",
        "ambient: 5%",
        "light: 5%",
        "light: 15",
        "radius: 0.1",
        "radius: 1%",
        "latitude: 8.6 W",
        "longitude: 8.6 S",
    ],
)
def test_what_is_not_sure_is_told_with_what_is_expected(line: str) -> None:
    with pytest.raises(ProblemSet) as caught:
        parse_document(line, "x", Sample)
    (problem,) = caught.value.problems
    assert problem.what == f'"{line.split(":")[0]}" cannot be read'
    assert problem.expected
    assert problem.remedy is not None
    assert problem.remedy.endswith(", for example")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("amount: 80%", "write amount: 0.8"),
        ("power: 25%", "write power: 0.25"),
        ("power: 4", "write power: 1/4"),
        ("power: 64", "write power: 1/64"),
        ("power: 50", "write power: 1/50, or power: 0.5 where that is a percentage"),
        ("power: 100", "write power: 1/100, or power: 1 where that is a percentage"),
        ("power: 128", "write power: 1/128"),
        ("amount: 60", "60 is above 4: write amount: 0.6 where that is a percentage"),
        ("amount: 5", "5 is above 4: write amount: 0.8, for example"),
        ("amount: -1", "-1 is below 0: write amount: 0.8, for example"),
        ("light: -20", "-20 is below -10: write light: -2, for example"),
        ("light: 60", "60 is above 10: write light: -2, for example"),
        ("light: 1/3 stop", "write light: 0.33"),
        ("light: -1 1/3 stops", "write light: -1.33"),
        ("light: ½ stop", "write light: 0.5"),
        ("light: minus 0.5 EV", "write light: -0.5"),
        ("long_edge: 10", "10 is below 16: write long_edge: 16, for example"),
        ("latitude: 8.6 S", "write latitude: -8.6"),
        ("longitude: 8.6 W", "write longitude: -8.6"),
        ("longitude: 8.6° E", "write longitude: 8.6"),
        ("point: [50, 40]", "write point: [0.5, 0.4]"),
        ("box: [0, 10, 100, 90]", "write box: [0, 0.1, 1, 0.9]"),
        ("point: [50%, 40%]", "write point: [0.5, 0.4]"),
        ("point: [0.5, 1.2]", "1.2 is above 1: write a number from 0 to 1 there"),
        ("centre: [0.5, 1.2]", "1.2 is above 1: write a number from 0 to 1 there"),
        ("centre: [-0.1, 0.2]", "-0.1 is below 0: write a number from 0 to 1 there"),
        ("box: [0.1, 0.1, 1.1, 0.9]", "1.1 is above 1: write a number from 0 to 1 there"),
        ("point: [0, 1.2]", "1.2 is above 1: write a number from 0 to 1 there"),
        ("point: [0.5, 40]", "40 is above 1: write a number from 0 to 1 there"),
        ("point: [-1, 2]", "2 is above 1, -1 is below 0: write a number from 0 to 1 there"),
        (
            "box: [100, 200, 800, 900]",
            "900 looks like pixels: divide each number by the side of the frame that it is a fraction of",
        ),
        ("point: [0.5; 0.4]", "write point: [0.5, 0.4]"),
        ("box: [0.1; 0.2; 0.8; 0.9]", "write box: [0.1, 0.2, 0.8, 0.9]"),
        ("point: [1, 2]", "2 is above 1: write a number from 0 to 1 there"),
    ],
)
def test_what_to_write_for_fractions_percentages_and_sides_of_the_globe(line: str, told: str) -> None:
    assert remedy(line) == told
