"""Values that are written otherwise than they are read: what to write is told where it is sure, and both ways where two
are as likely."""

from typing import Annotated

import pytest

from finishing.documents import parse_document
from finishing.documents.fields import Iso, Shutter, number, whole_number
from finishing.documents.reading import Model
from finishing.errors import ProblemSet


class Sample(Model):
    iso: Iso = 100
    shutter: Shutter = 1
    kelvin: Annotated[float, number(2000, 25000, "kelvin")] = 5600
    long_edge: Annotated[int, whole_number(16, 65000, "pixels")] = 100
    radius: Annotated[float, number(0.2, 12, "pixels")] = 1
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
