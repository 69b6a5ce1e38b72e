"""`match` in a session: read in all its forms, and refused with its place where it cannot be meant."""

import json

import pytest

from finishing.errors import ProblemSet
from finishing.sessions.evening import ALL, Chart, KeyFrames, measured_region
from finishing.sessions.session import Session, SessionFile, read_session
from tests.sessions.conftest import SESSION, Write

LOOKS = ("saffron", "dawn")
EXPOSURE = "{to: A-0003, measure: {ellipse: [0.5, 0.4, 0.2, 0.3]}, at_most: 1.0}"
WHITE = "{grey_card: {frame: A-0001, box: [0.46, 0.60, 0.54, 0.70]}}"
CHART = "{frame: A-0001, corners: [[0.4, 0.5], [0.6, 0.5], [0.6, 0.7], [0.4, 0.7]]}"


def session(write: Write, exposure: str = EXPOSURE, white: str = WHITE, *more: tuple[str, str]) -> Session:
    assert EXPOSURE in SESSION and WHITE in SESSION  # noqa: PT018
    return read_session(write((EXPOSURE, exposure), (WHITE, white), *more), LOOKS)


def broken(write: Write, exposure: str = EXPOSURE, white: str = WHITE, *more: tuple[str, str]) -> str:
    with pytest.raises(ProblemSet) as caught:
        session(write, exposure, white, *more)
    return str(caught.value)


@pytest.mark.parametrize(
    ("to", "means"),
    [
        ("A-0003", KeyFrames(one="A-0003")),
        ("each", KeyFrames(each=True)),
        ("{A: A-0003, B: B-0002}", KeyFrames(by_setup={"A": "A-0003", "B": "B-0002"})),
    ],
)
def test_key_frames(write: Write, to: str, means: KeyFrames) -> None:
    match = session(write, f"{{to: {to}}}", f"{{to: {to}, measure: skin, follow: 0.5}}").value.match
    assert match.exposure is not None
    assert match.white_balance is not None
    assert match.exposure.to == means
    assert match.white_balance.to == means
    assert match.white_balance.follow == 0.5


def test_cards_and_charts(write: Write) -> None:
    one = session(write, EXPOSURE, f"{{chart: {CHART}}}").value.match.white_balance
    assert one is not None
    chart = one.cards()[ALL]
    assert isinstance(chart, Chart)
    assert chart.corners[2] == (0.6, 0.7)
    each = session(write, EXPOSURE, f"{{chart: {{A: {CHART}, B: {CHART}}}}}").value.match.white_balance
    assert each is not None
    assert list(each.cards()) == ["A", "B"]
    kelvin = session(write, EXPOSURE, "{kelvin: 5600}").value.match.white_balance
    assert kelvin is not None
    assert kelvin.kelvin == 5600


def test_the_region_is_read_as_behind_where(write: Write) -> None:
    document = session(write).document
    assert measured_region(document, "match", "exposure").name == "ellipse"
    assert measured_region(document, "match", "white_balance") is None
    assert measured_region(session(write, "{to: each, measure: skin}").document, "match", "exposure").name == "skin"


@pytest.mark.parametrize(
    ("exposure", "white", "says"),
    [
        (EXPOSURE.replace("A-0003", "A-0030"), WHITE, 'session.yaml:13:18: no frame has the name "A-0030"'),
        ("{to: {A: A-0030}}", WHITE, 'session.yaml:13:22: no frame has the name "A-0030"'),
        ("{to: {C: A-0003}}", WHITE, 'session.yaml:13:19: unknown set-up "C"'),
        ("{to: B-0003}", WHITE, "session.yaml:13:18: the key frame B-0003 is skipped"),
        ("{to: [A-0003]}", WHITE, "a frame's name, one for each set-up"),
        ("{measure: skin}", WHITE, '"to" is missing in "exposure"'),
        (EXPOSURE.replace("ellipse", "elipse"), WHITE, 'session.yaml:13:36: unknown region "elipse"'),
        (EXPOSURE.replace("0.4, 0.2", "0.4"), WHITE, 'session.yaml:13:45: "ellipse" cannot be read'),
        (EXPOSURE.replace("1.0", "12"), WHITE, "a number of stops from 0 to 10"),
        (EXPOSURE.replace("at_most", "at_mst"), WHITE, 'did you mean "at_most"?'),
        (EXPOSURE, WHITE.replace("A-0001", "A-0010"), 'session.yaml:14:38: no frame has the name "A-0010"'),
        (EXPOSURE, WHITE.replace("0.46", "0.64"), "session.yaml:14:51: this box has no inside"),
        (EXPOSURE, WHITE.replace("box", "bx"), 'unknown key "bx"'),
        (EXPOSURE, "{grey_card: {C: {frame: A-0001, box: [0, 0, 1, 1]}}}", 'session.yaml:14:31: unknown set-up "C"'),
        (EXPOSURE, "{grey_card: {A: {frame: A-0001}}}", '"box" is missing in "A"'),
        (EXPOSURE, "{grey_card: [A-0001]}", "a mapping (key: value)"),
        (EXPOSURE, "{kelvin: 500}", "a number of kelvin from 2000 to 25000"),
        (EXPOSURE, "{kelvin: 5600, chart: " + CHART + "}", "one of grey_card, chart, kelvin"),
        (EXPOSURE, "{}", "what to go by"),
        (EXPOSURE, "{kelvin: 5600, measure: skin}", "a key frame for measure and follow"),
        (EXPOSURE, "{to: A-0003, follow: 2}", "a number from 0 to 1"),
        (EXPOSURE, "{to: A-0003, measure: {near: nobody}}", '"near" cannot be read'),
        (
            EXPOSURE,
            "{chart: {frame: A-0001, corners: [[0.4, 0.5], [0.4, 0.7], [0.6, 0.7], [0.6, 0.5]]}}",
            "session.yaml:14:51: the chart's corners go round anticlockwise",
        ),
        (
            EXPOSURE,
            "{chart: {frame: A-0001, corners: [[0.4, 0.5], [0.6, 0.7], [0.6, 0.5], [0.4, 0.7]]}}",
            "the chart's corners do not go round a four-sided field",
        ),
        (
            EXPOSURE,
            "{chart: {frame: A-0001, corners: [[0.4, 0.5], [0.6, 0.5], [0.6, 0.7]]}}",
            '"corners" cannot be read',
        ),
        (
            EXPOSURE,
            "{chart: {frame: A-0001, corners: [[0.4, 0.5], [0.6, 0.5], [0.6, 1.7], [0, 1]]}}",
            "four corners [[x, y]",
        ),
    ],
)
def test_what_is_refused(write: Write, exposure: str, white: str, says: str) -> None:
    assert says in broken(write, exposure, white)


def test_a_grey_card_may_be_a_skipped_frame(write: Write) -> None:
    assert session(write, EXPOSURE, WHITE.replace("A-0001", "B-0003")).value.match.white_balance is not None


def test_set_ups_need_a_plan(write: Write) -> None:
    text = broken(write, "{to: {A: A-0003}}", WHITE, ("plan: plan.yaml\n", ""), ("[B, A-0002]", "[A-0002]"))
    assert "without a plan there are no set-ups" in text


def test_the_schema_has_both_forms() -> None:
    schema = json.loads(json.dumps(SessionFile.model_json_schema()))
    card = schema["$defs"]["EvenWhiteBalance"]["properties"]["grey_card"]
    text = json.dumps(card)
    assert "additionalProperties" in text
    assert "box" in text
