"""Slips of the pen in YAML and in values: each is named for what it is, with the line as it was meant."""

import string
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from finishing.documents import parse_document
from finishing.documents.fields import Aperture, Point, Shutter, Stops, Text, number, texts
from finishing.documents.reading import Model
from finishing.documents.tree import parse_tree, tree_and_problems
from finishing.errors import Place, ProblemSet
from tests.sessions.plan_text import parse_plan

Angle = Annotated[float, number(-45, 45, "degrees")]
Share = Annotated[float, number(0, 1)]
Quality = Annotated[float, number(1, 100)]
Names = Annotated[tuple[str, ...], texts("a name, or a list of them", "[a]")]


class Rights(Model):
    creator: Text | None = None
    usage: Text | None = None


class Look(Model):
    look: Text | None = None
    frames: Text | None = None


class Entry(Model):
    straighten: Angle | None = None
    subject: Point | None = None
    opacity: Share | None = None
    quality: Quality | None = None


class Sample(Model):
    session: Text | None = None
    frames: Names = ()
    rights: Rights = Rights()
    looks: tuple[Look, ...] = ()
    one: Entry = Entry()
    aperture: Aperture | None = None
    shutter: Shutter | None = None
    ambient: Stops | None = None
    many: Annotated[dict[str, Entry], Field(default_factory=dict)]


def only(text: str) -> tuple[str, str, str | None]:
    """Line:column, what is wrong and what to do, of a text with one slip."""
    with pytest.raises(ProblemSet) as caught:
        parse_document(text, "x", Sample)
    (problem,) = caught.value.problems
    assert isinstance(problem.where, Place)
    return f"{problem.where.line}:{problem.where.column}", problem.what, problem.remedy


SLIPS = {
    # a space that is missing behind the colon
    "looks:\n  - {look:faded_print}": (
        "2:6", "a space is missing behind the colon", "write - {look: faded_print}"
    ),
    "looks:\n  - {look:faded_print, frames: all}": (
        "2:6", "a space is missing behind the colon", "write - {look: faded_print, frames: all}"
    ),
    "looks:\n  - look:faded_print": (
        "2:5", "a space is missing behind the colon", "write look: faded_print"
    ),
    "session:Orchard\nframes: [a]": ("1:8", "a space is missing behind the colon", "write session: Orchard"),
    "session: x\nframes:[a, b]\nlooks: []": (
        "2:7", "a space is missing behind the colon", "write frames: [a, b]"
    ),
    "session: x\nrights:{creator: A}": (
        "2:7", "a space is missing behind the colon", "write rights: {creator: A}"
    ),
    "rights: {creator:\u00a0A}": (
        "1:10", "the space behind the colon only looks like one; type it anew", "write rights: {creator: A}"
    ),
    "rights:\n\u00a0\u00a0creator: A": (
        "2:1", "this line begins with spaces that only look like spaces",
        "delete the 2 spaces before the text of this line and type them anew",
    ),
    # a comma in a text
    "rights: {creator: A. Example, Zürich}": (
        "1:31", 'the comma ends the text of "creator"', 'write rights: {creator: "A. Example, Zürich"}'
    ),
    "rights: {creator: A. Example, Zürich, usage: x}": (
        "1:31", 'the comma ends the text of "creator"', 'write rights: {creator: "A. Example, Zürich", usage: x}'
    ),
    # a colon that is missing in braces
    "{aperture: f/8, shutter 1/125}": (
        "1:17", 'a colon is missing behind "shutter"', "write {aperture: f/8, shutter: 1/125}"
    ),
    "{shutter 1/125}": ("1:2", 'a colon is missing behind "shutter"', "write {shutter: 1/125}"),
    "rights: {creator A. Example, usage: x}": (
        "1:10", 'a colon is missing behind "creator"', "write rights: {creator: A. Example, usage: x}"
    ),
    "one: {subject: [0.5, 0.4], opacity 0.5}": (
        "1:28", 'a colon is missing behind "opacity"', "write one: {subject: [0.5, 0.4], opacity: 0.5}"
    ),
    "{session: evening, shutter 1/125}": (
        "1:20", 'a colon is missing behind "shutter"',
        'write {session: evening, shutter: 1/125}; or session: "evening, shutter 1/125" where that is one text',
    ),
    "rights {creator: A, usage: x}": (
        "1:7", 'a colon is missing behind "rights"', "write rights: {creator: A, usage: x}"
    ),
    "one {subject: [0.5, 0.4]}\nsession: x": (
        "1:4", 'a colon is missing behind "one"', "write one: {subject: [0.5, 0.4]}"
    ),
    # quotes with something missing around them
    '{session:"behind, left, high", shutter: 1/4}': (
        "1:2", "a space is missing behind the colon", 'write {session: "behind, left, high", shutter: 1/4}'
    ),
    'rights: {creator: "A, B" usage: x}': (
        "1:25", "a comma is missing here", 'write rights: {creator: "A, B", usage: x}'
    ),
    'frames: ["a" "b"]': ("1:13", "a comma is missing here", 'write frames: ["a", "b"]'),
    'session: "A, B" shutter: 1/4': (
        "1:16", "a second key stands in this line", "write shutter: 1/4 in a line of its own"
    ),
    # commas that are missing
    "one: {opacity: 0.4 subject: [0.5, 0.4]}": (
        "1:19", "a comma is missing here", "write one: {opacity: 0.4, subject: [0.5, 0.4]}"
    ),
    "rights: {creator: $who usage: x}": (
        "1:23", "a comma is missing here", "write rights: {creator: $who, usage: x}"
    ),
    "rights: {creator: Anna usage: 4}": (
        "1:23", "a comma is missing here", "write rights: {creator: Anna, usage: 4}"
    ),
    "rights: {creator: Anna motto: 4 of us}": (
        "1:29", "a text with a colon and a space in it needs quotes", 'write rights: {creator: "Anna motto: 4 of us"}'
    ),
    "many: {one: {opacity: 0.4} two: {quality: 90}}": (
        "1:27", "a comma is missing here", "write many: {one: {opacity: 0.4}, two: {quality: 90}}"
    ),
    "one: {subject: [0.5, 0.4] opacity: 0.4}": (
        "1:26", "a comma is missing here", "write one: {subject: [0.5, 0.4], opacity: 0.4}"
    ),
    "looks: [{look: a} {look: b}]": ("1:18", "a comma is missing here", "write looks: [{look: a}, {look: b}]"),
    # round brackets
    "one: (opacity: 0.4)": ("1:6", "round brackets stand where braces belong", "write one: {opacity: 0.4}"),
    "one: (opacity: 0.4, quality: 90)": (
        "1:6", "round brackets stand where braces belong", "write one: {opacity: 0.4, quality: 90}"
    ),
    "many: {a: (opacity: 0.4), b: {quality: 90}}": (
        "1:11", "round brackets stand where braces belong", "write many: {a: {opacity: 0.4}, b: {quality: 90}}"
    ),
    # decimal commas
    "one: {straighten: 0,8}": ("1:21", 'a decimal comma: "straighten" takes a point', "write one: {straighten: 0.8}"),
    "{aperture: f/5,6, shutter: 1/125}": (
        "1:16", 'a decimal comma: "aperture" takes a point', "write {aperture: f/5.6, shutter: 1/125}"
    ),
    "ambient: -0,3": ("1:10", '"ambient" is written with a decimal comma; here it is a point', "write ambient: -0.3"),
    "one: {subject: [0,5, 0,4]}": (
        "1:16", '"subject" is written with decimal commas; here they are points', "write subject: [0.5, 0.4]"
    ),
    # signs typed from the heart
    "ambient: -1½": ("1:10", '"ambient" is written with a fraction sign', "write ambient: -1.5"),
    "ambient: ⅓": ("1:10", '"ambient" is written with a fraction sign', "write ambient: 1/3"),
    "shutter: ¼": ("1:10", '"shutter" is written with a fraction sign', "write shutter: 0.25"),
    "one: {straighten: 0.8°}": (
        "1:19", '"straighten" is written with a degree sign, which is left out', "write straighten: 0.8"
    ),
    "one: {straighten: 0.8 degrees}": (
        "1:19", '"straighten" is written with its unit, which is left out', "write straighten: 0.8"
    ),
    "one: {opacity: 40 %}": ("1:16", '"opacity" is written as a percentage', "write opacity: 0.4"),
    "one: {quality: 90%}": ("1:16", '"quality" is written as a percentage', "write quality: 90"),
    # quotes
    "session: “Orchard at dusk”": (
        "1:10", "curly quotes are no quotes here", 'write session: "Orchard at dusk"'
    ),
    "rights: {creator: „A. Example, Zürich“, usage: x}": (
        "1:19", "curly quotes are no quotes here", 'write rights: {creator: "A. Example, Zürich", usage: x}'
    ),
    'rights: {creator: "A. Example, usage: x}\nlooks: []': (
        "1:19", "this quote is never closed", 'write rights: {creator: "A. Example", usage: x}'
    ),
    'rights:\n  creator: "A. Example\n  usage: x': (
        "2:12", "this quote is never closed", 'write creator: "A. Example"'
    ),
    'rights:\n  creator: "A. Example\n  usage: "x"': (
        "2:12", "this quote is never closed", 'write creator: "A. Example"'
    ),
    'session: "Orchard\nframes: ["a"]': ("1:10", "this quote is never closed", 'write session: "Orchard"'),
    "session: 'Orchard\nframes: a\nrights:\n  creator: A's studio\n  usage: x": (
        "1:10", "this quote is never closed", "write session: 'Orchard'"
    ),
    'rights:\n  creator: "A. Example\n  usage: x\nlooks:\n  - {look: "a"}': (
        "2:12", "this quote is never closed", 'write creator: "A. Example"'
    ),
    'session: "A\n\nframes: a\nmany:\n  A-1: {quality: "90"}\n  A-2: {quality: "80"}': (
        "1:10", "this quote is never closed", 'write session: "A"'
    ),
    'frames: ["a.jpg, "b.jpg"]': ("1:10", "this quote is never closed", 'write frames: ["a.jpg", "b.jpg"]'),
    'frames: ["a.jpg", "b.jpg]\nsession: x': (
        "1:19", "this quote is never closed", 'write frames: ["a.jpg", "b.jpg"]'
    ),
    'rights: {creator: "A, usage: "x"}': (
        "1:19", "this quote is never closed", 'write rights: {creator: "A", usage: "x"}'
    ),
    'session: "two\n  lines"\nrights:\n  usage: "open\n  creator: A': (
        "4:10", "this quote is never closed", 'write usage: "open"'
    ),
    "rights: {usage: 'client's web'}": (
        "1:24", "the quote closes here, in the middle of the text", 'write rights: {usage: "client\'s web"}'
    ),
    'rights: {usage: "the "big" one"}': (
        "1:22", "the quote closes here, in the middle of the text", "write rights: {usage: 'the \"big\" one'}"
    ),
    'session: "C:\\xold"': (
        "1:13", "a backslash means something else inside of double quotes",
        'paths take a /; write session: "C:/xold"',
    ),
    # brackets
    "rights: {creator: A. Example\nlooks:\n  - {look: a}": (
        "1:9", "this { is never closed", "write rights: {creator: A. Example}"
    ),
    "frames: [a, b\nlooks:\n  - {look: a}": ("1:9", "this [ is never closed", "write frames: [a, b]"),
    "one: {subject: [0.5, 0.4}": ("1:25", "a ] is missing here", "write one: {subject: [0.5, 0.4]}"),
    "rights: {creator: A. Example}}": ("1:30", "a } too many", "write rights: {creator: A. Example}"),
    "rights: {creator: A. Example]": (
        "1:29", "a ] closes what { has opened", "write rights: {creator: A. Example}"
    ),
    # texts that need quotes
    "rights:\n  usage: Client: web only": (
        "2:16", "a text with a colon and a space in it needs quotes", 'write usage: "Client: web only"'
    ),
    "rights: {usage: Client: web only}": (
        "1:23", "a text with a colon and a space in it needs quotes", 'write rights: {usage: "Client: web only"}'
    ),
    "rights: {creator: @studio, usage: x}": (
        "1:19", "a text that begins with @ needs quotes", 'write rights: {creator: "@studio", usage: x}'
    ),
    "frames: *.jpg": ("1:9", "a text that begins with * needs quotes", 'write frames: "*.jpg"'),
    "frames: [*.jpg, a]": ("1:10", "a text that begins with * needs quotes", 'write frames: ["*.jpg", a]'),
    "rights: {usage: !no web}": ("1:17", "a text that begins with ! needs quotes", 'write "!no web"'),
    "rights: {usage: #c8a21b}": (
        "1:17", "a # behind a space starts a remark, and what follows is not read",
        'write rights: {usage: "#c8a21b"}',
    ),
    "rights:\n  usage: #c8a21b": (
        "2:10", "a # behind a space starts a remark, and what follows is not read", 'write usage: "#c8a21b"'
    ),
    "rights: {usage: a; creator: b}": (
        "1:18", "a semicolon stands where a comma belongs", "write rights: {usage: a, creator: b}"
    ),
    "rights: {creator = A}": (
        "1:10", "an equals sign stands where a colon belongs", "write rights: {creator: A}"
    ),
    "rights:\n  usage: a\nlooks\n  - look: x": ("3:6", "a colon is missing behind the key", "write looks:"),
    "rights:\n  creator\n  usage: a": ("2:10", "a colon is missing behind the key", "write creator: …"),
    # tabs, dashes and indentation
    "rights:\n\tcreator: A": (
        "2:1", "a tab stands where YAML wants spaces", 'type spaces instead; write "  creator: A"'
    ),
    "looks:\n  - look: a\n\tframes: all": (
        "3:1", "a tab stands where YAML wants spaces", 'type spaces instead; write "    frames: all"'
    ),
    "looks:\n  - look: a\n  frames: all": (
        "3:3", "this line does not line up with the key above it",
        'let it begin in column 5; write "    frames: all"',
    ),
    "rights:\n  creator: A\n   usage: b": (
        "3:4", "this line does not line up with the key above it", 'let it begin in column 3; write "  usage: b"'
    ),
    "looks:\n  - look: a\n- look: b\n  - look: c": (
        "3:1", "this dash does not line up with those of its list", 'let it begin in column 3; write "  - look: b"'
    ),
    "looks:\n  - look: a\n    - look: b": (
        "3:5", "this dash does not line up with those of its list", 'let it begin in column 3; write "  - look: b"'
    ),
    "looks:\n  - look: a\n    frames: all\n   - look: b": (
        "4:4", "this dash does not line up with those of its list", 'let it begin in column 3; write "  - look: b"'
    ),
    "frames:\n  - a\n - b\n  - c": (
        "3:2", "this dash does not line up with those of its list", 'let it begin in column 3; write "  - b"'
    ),
    "looks:\n  - look: a\n\t- look: b\n  - look: c": (
        "3:1", "a tab stands where YAML wants spaces", 'type spaces instead; write "  - look: b"'
    ),
    "looks:\n\t- look: a\n    - look: b": (
        "2:1", "a tab stands where YAML wants spaces", 'type spaces instead; write "    - look: a"'
    ),
    "looks:\n  1. look: a\n  - look: b": (
        "2:3", "a number stands where a dash belongs", "write - look: a"
    ),
    "looks:\n  - look: a\n  2. look: b": (
        "3:3", "a number stands where a dash belongs", "write - look: b"
    ),
    "session: a\n- frames: b": (
        "2:1", "a dash stands before a key, where there is no list", "write frames: b"
    ),
    "rights:\n  - creator: A\n  - usage: x": (
        "2:3", 'dashes stand before the keys of "rights", which is no list', "take the dashes away: creator: …"
    ),
    "looks:\n  - look: a\n  -": (
        "3:4", "nothing stands behind this dash", "take the dash away, or write an entry behind it"
    ),
    "rights:\n  cre\tator: A": ("2:6", "a tab stands where YAML wants spaces", "write cre ator: A"),
    "rights:\n  creator: © 2026\n  A. Example\n  usage: x": (
        "3:3", "the text of the line above goes on here, too far to the left",
        "keep it in one line; write creator: © 2026 A. Example",
    ),
    "looks:\n  -look: a\n  -look: b": None,
    "looks:\n  -look: a\n    frames: c": ("2:4", "a space is missing behind the dash", 'write - look: a'),
}  # fmt: skip


@pytest.mark.parametrize("text", [text for text, told in SLIPS.items() if told is not None])
def test_a_slip_is_named_with_the_line_as_it_was_meant(text: str) -> None:
    assert only(text + "\n") == SLIPS[text]


def test_each_dash_without_its_space_is_told() -> None:
    with pytest.raises(ProblemSet) as caught:
        parse_document("looks:\n  -look: a\n  -look: b\n", "x", Sample)
    assert [problem.remedy for problem in caught.value.problems] == ["write - look: a", "write - look: b"]


@pytest.mark.parametrize(
    "text",
    [
        "session : x\nframes : [a]\n",
        "looks: [{look : x}]\n",
        'session: "“Orchard”"\n',
        "session: Bürgi’s “orchard”\n",
        "rights: {creator: \"A. Example, Zürich\", usage: 'it''s'}\n",
        "session: http://example.org/a:b\n",
        "session: 12:30\n",
        "session: a  # a remark, {with: a brace\nframes: [a,\n  b]\n",
        'session: "two\n  lines"\nrights: {\n  creator: A,\n  usage: b }\n',
        "rights:   #a remark without a space\n  creator: A\n",
    ],
)
def test_what_is_right_is_left_alone(text: str) -> None:
    parse_document(text, "x", Sample)


def test_a_mended_line_is_right() -> None:
    """Whatever whole line is told to be written can be read in the place of the one with the slip."""
    tried = 0
    for text, told in SLIPS.items():
        if told is None:
            continue
        lines = text.split("\n")
        at, mended = int(told[0].split(":")[0]) - 1, (told[2] or "").removeprefix("write ").split("; or ")[0]
        wrong = lines[at]
        if wrong.lstrip(" -{")[:5] != mended.lstrip(" -{")[:5] or "…" in mended:
            continue
        whole = mended.startswith("- ") or wrong.lstrip(" -") == mended  # else the dash of its line stays
        prefix = "- " if wrong.lstrip().startswith("- ") and not whole else ""
        lines[at] = wrong[: len(wrong) - len(wrong.lstrip())] + prefix + mended
        parse_document("\n".join(lines) + "\n", "x", Sample)
        tried += 1
    assert tried > 35


def test_a_value_behind_a_missing_colon_is_read() -> None:
    text = "setups:\n  - {id: A, strobes: [{name: key, position: camera right, power 1/4}]}\n"
    tree, (problem,) = tree_and_problems(text, "x")
    assert tree.at(("setups", 0, "strobes", 0)) == {"name": "key", "position": "camera right", "power": "1/4"}
    assert problem.what == 'a colon is missing behind "power"'


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ('{position:"behind, left", power: 1/4}', {"position": "behind, left", "power": "1/4"}),
        ("{position:'left', power: 1/4}", {"position": "left", "power": "1/4"}),
        ('{position: "behind, left" power: 1/4}', {"position": "behind, left", "power": "1/4"}),
        ("mean_lightness {between: [0.3, 0.6]}", {"mean_lightness": {"between": ["0.3", "0.6"]}}),
        ("a: {b: {c: 1}, grain {size: 1}}", {"a": {"b": {"c": "1"}, "grain": {"size": "1"}}}),
        ("{size: 0.9, layers colour}", {"size": "0.9", "layers": "colour"}),
        ("grain {size: 1}", {"grain": {"size": "1"}}),
        ("{a: '\"b', c}", {"a": '"b, c'}),
    ],
)
def test_what_is_missing_around_quotes_and_braces_is_told_once_and_read_on(text: str, read: object) -> None:
    tree, problems = tree_and_problems(text + "\n", "x")
    assert tree.data == read
    assert len(problems) == 1


@given(
    st.sampled_from([text for text, told in SLIPS.items() if told is not None]),
    st.integers(0, 80),
    st.sampled_from(["", *":,{}[]\"' "]),
)
def test_no_line_is_told_to_be_written_as_it_is(text: str, at: int, put: str) -> None:
    text = text[:at] + put + text[at + 1 :]
    try:
        tree_and_problems(text + "\n", "x")
    except ProblemSet as error:
        for problem in error.problems:
            assert isinstance(problem.where, Place)
            if problem.got is not None:
                assert problem.remedy != f"write {problem.got}"


def test_the_rest_of_a_text_that_looks_like_a_pair_is_told_as_both() -> None:
    tree, (problem,) = tree_and_problems("rights: {creator: A. Example, building 5}\n", "x")
    assert tree.at(("rights",)) == {"creator": "A. Example, building 5"}
    assert problem.remedy == (
        'write rights: {creator: A. Example, building: 5}; or creator: "A. Example, building 5" where that is one text'
    )


@given(st.text(alphabet=string.ascii_letters + " :-{}[]\"'#\n,;=\t“”\u00a0½", max_size=80))
def test_no_text_breaks_the_search_for_slips(text: str) -> None:
    problems = []
    try:
        parse_tree(text, "x")
    except ProblemSet as error:
        problems = error.problems
    assert all(isinstance(problem.where, Place) and problem.remedy for problem in problems)


@pytest.mark.parametrize(("line", "mended"), [("*x:", '"*x":'), ("*x: 3", '"*x": 3')])
def test_a_key_that_begins_with_a_sign_is_quoted_without_its_colon(line: str, mended: str) -> None:
    with pytest.raises(ProblemSet) as told:
        parse_tree(f"blends:\n  {line}\n", "session.yaml")
    assert f"write {mended}" in str(told.value.problems[0].remedy)


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ('session: "Orchard\nframes: [a, b\nlooks:\n  - {look: a}\n', ["1:10", "2:9"]),
        (
            "rights:\n  creator: © 2026\n  A. Example\n  usage: Client: web only\nlooks\n  - look: x\n",
            ["3:3", "4:16", "5:6"],
        ),
        ("rights:\n\tcreator: A\n\tusage: B\nframes: *.jpg\n", ["2:1", "3:1", "4:9"]),
        ("frames: *.jpg\nlooks:\n  - {look:a}\n", ["1:9", "3:6"]),
        # no telling how it goes on: what is found before stands alone
        ("rights: {creator: A,\n  usage: x\nlooks:\n  - {look: *a}\n", ["1:9"]),
        ("session: x\n---\nframes: *.jpg\n", ["2:1"]),
    ],
)
def test_slips_of_one_file_are_told_together(text: str, places: list[str]) -> None:
    with pytest.raises(ProblemSet) as caught:
        parse_document(text, "x", Sample)
    assert [str(problem.where).removeprefix("x:") for problem in caught.value.problems] == places


def test_values_and_keys_are_told_beside_what_is_no_yaml() -> None:
    text = 'place: {name: "x, date: 2026-09-19}\nsync: fast\nsetups:\n  - {id: A, titel: x}\n'
    with pytest.raises(ProblemSet) as caught:
        parse_plan(text)
    assert [(str(problem.where), problem.remedy) for problem in caught.value.problems] == [
        ("plan.yaml:1:15", 'write place: {name: "x", date: 2026-09-19}'),
        ("plan.yaml:2:7", "write sync: 1/200, for example"),
        ("plan.yaml:4:13", 'did you mean "title"?'),
    ]
