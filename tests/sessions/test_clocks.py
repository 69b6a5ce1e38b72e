"""Cameras' clocks: one, several, and found from two frames of one instant."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.documents import parse_document
from finishing.errors import ProblemSet
from finishing.sessions.clocks import Camera, Stamp, clock_lines, clock_warnings, clocks_of
from finishing.sessions.matching import FrameFacts, match_frames
from finishing.sessions.session import SessionFile, read_session
from tests.sessions.conftest import PLAN, Write
from tests.sessions.plan_text import parse_plan

ONE, OTHER = Camera("Maker", "Example Camera", "1001"), Camera("Maker", "Second Camera", "2002")
NOON = datetime(2026, 9, 19, 12)


def clocks(written: str, stamps: dict[str, Stamp]) -> tuple[dict[str, float], list[str]]:
    """Seconds ahead by frame, and the entries in words."""
    document = parse_document(f"session: x\nframes: a\ncamera_clock: {written}\n", "session.yaml", SessionFile)
    ahead, found = clocks_of(document, document.value.camera_clock, stamps)
    return ahead, clock_lines(found)


def stamp(camera: Camera, seconds: float | None = 0.0) -> Stamp:
    return Stamp(camera, None if seconds is None else NOON + timedelta(seconds=seconds))


FRAMES = {"A-1": stamp(ONE, 100), "B-1": stamp(OTHER, 40), "C-1": stamp(Camera(), 0)}


def test_one_clock_for_all() -> None:
    ahead, told = clocks('{ahead_by: "00:01:30"}', FRAMES)
    assert ahead == {"A-1": 90, "B-1": 90, "C-1": 90}
    assert told == ["the camera: 00:01:30 ahead"]


def test_one_clock_each_and_one_for_the_rest() -> None:
    written = (
        '[{camera: example camera, ahead_by: 5}, {behind_by: "00:10"}, {camera: Maker Second Camera, ahead_by: 0}]'
    )
    ahead, told = clocks(written, FRAMES)
    assert ahead == {"A-1": 5, "B-1": 0, "C-1": -10}
    assert told == [
        "example camera: 00:00:05 ahead",
        "every other camera: 00:00:10 behind",
        "Maker Second Camera: right",
    ]


def test_two_bodies_of_one_model_are_told_apart_by_their_serial_numbers() -> None:
    twin = Camera("Maker", "Example Camera", "1002")
    ahead, _ = clocks(
        "[{camera: Example Camera, ahead_by: 5}, {camera: 1002, ahead_by: 7}]",
        {"A-1": stamp(ONE), "B-1": stamp(twin)},
    )
    assert ahead == {"A-1": 5, "B-1": 7}


def test_a_clock_from_two_frames_of_one_instant() -> None:
    # A-1 was taken at 100 s by a clock 30 s ahead, so truly at 70 s; B-1 shows 40 s, so that camera is 30 s behind
    written = "[{camera: Example Camera, ahead_by: 30}, {camera: Second Camera, same_instant: {frame: B-1, as: A-1}}]"
    ahead, told = clocks(written, FRAMES)
    assert ahead == {"A-1": 30, "B-1": -30, "C-1": 0}
    assert told[1] == "Second Camera: 00:00:30 behind (B-1 at the instant of A-1)"


@given(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_the_two_frames_then_fall_on_one_instant(first: float, second: float, known: float) -> None:
    frames = {"A-1": stamp(ONE, first), "B-1": stamp(OTHER, second)}
    written = (
        f"[{{camera: Example Camera, ahead_by: {known:.3f}}}, "
        "{camera: Second Camera, same_instant: {frame: B-1, as: A-1}}]"
    )
    ahead, _ = clocks(written, frames)
    times = [frames[name].time - timedelta(seconds=ahead[name]) for name in frames]  # type: ignore[operator]
    assert abs((times[0] - times[1]).total_seconds()) < 1e-5


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("[{camera: Exmple Camera, ahead_by: 5}]", 'did you mean "Example Camera"?'),
        ("[{camera: Second Camera, same_instant: {frame: A-1, as: B-1}}]", "swap frame and as"),
        ("[{camera: Second Camera, same_instant: {frame: B-1, as: B-2}}]", "name a frame that another camera took"),
        ("[{camera: Second Camera, same_instant: {frame: D-1, as: A-1}}]", 'the frame "D-1" has no capture time'),
        ("[{camera: Second Camera, same_instant: {frame: Z-1, as: A-1}}]", 'the frame "Z-1" is left out'),
        (
            "[{camera: Second Camera, same_instant: {frame: B-1, as: A-1}}, "
            "{camera: Example Camera, same_instant: {frame: A-1, as: B-1}}]",
            "these clocks are each told by the other",
        ),
    ],
)
def test_what_the_frames_contradict(written: str, says: str) -> None:
    frames = {**FRAMES, "B-2": stamp(OTHER, 50), "D-1": stamp(OTHER, None)}
    with pytest.raises(ProblemSet) as caught:
        clocks(written, frames)
    assert says in str(caught.value)
    assert "session.yaml:3:" in str(caught.value)
    assert "do this:" in str(caught.value)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("{ahed_by: 5}", 'did you mean "ahead_by"?'),
        ("[{camera: X, ahed_by: 5}]", 'did you mean "ahead_by"?'),
        ("{ahead_by: 5, behind_by: 3}", "cannot be both ahead and behind"),
        ("[{camera: X, ahead_by: 5}, {camera: x, ahead_by: 3}]", 'the clock of the camera "x" is told a second time'),
        ("[{ahead_by: 5}, {ahead_by: 3}]", "the clock of all other cameras is told a second time"),
        ("{same_instant: {frame: A-0001, as: B-0001}}", "but no camera is named"),
        ("[{camera: X, same_instant: {frame: A-0001}}]", '"as" is missing in "same_instant"'),
        ("[{camera: X, same_instant: {frame: A-001, as: B-0001}}]", 'did you mean "A-0001"?'),
        ("[{camera: X, ahead_by: 5, same_instant: {frame: A-0001, as: B-0001}}]", "is told twice"),
        ("[]", "a mapping (key: value), or a list of them"),
    ],
)
def test_what_is_refused_without_looking_into_frames(write: Write, written: str, says: str) -> None:
    path = write(('{ahead_by: "00:01:30"}', written))
    with pytest.raises(ProblemSet) as caught:
        read_session(path)
    assert says in str(caught.value)
    assert "session.yaml:4:" in str(caught.value)


def test_the_schema_takes_one_clock_and_a_list() -> None:
    schema = json.dumps(SessionFile.model_json_schema()["properties"]["camera_clock"])
    assert "array" in schema
    assert schema.count("CameraClock") == 2


def test_frames_of_two_cameras_are_matched_by_their_own_clocks() -> None:
    plan = parse_plan(PLAN).value
    at = datetime(2026, 9, 19, 19, 0)
    frames = [FrameFacts("X-1", at, camera=ONE), FrameFacts("Y-1", at + timedelta(hours=2), camera=OTHER)]
    assert match_frames(plan, frames).setup_of == {"X-1": "B"}
    found = match_frames(plan, frames, {"Y-1": 7200.0})
    assert found.setup_of == {"X-1": "B", "Y-1": "B"}
    assert found.frames["Y-1"].time == at


def test_a_session_needs_no_clock(write: Write) -> None:
    path: Path = write(('camera_clock: {ahead_by: "00:01:30"}\n', ""))
    assert read_session(path).value.camera_clock == ()


@pytest.mark.parametrize(
    ("written", "what", "remedy"),
    [
        ('{ahead_by: "01:00"}', "ahead by 1 minute", 'write "00:01:00" if that is so, or "01:00:00" for 1 hour'),
        ('{behind_by: "1:30"}', "behind by 1 minute 30 seconds", 'or "01:30:00" for 1 hour 30 minutes'),
        ('{ahead_by: "-02:00"}', "ahead by 2 minutes", 'write "-00:02:00" if that is so, or "-02:00:00" for 2 hours'),
        ('{ahead_by: "00:01:00"}', None, ""),
        ("{ahead_by: 90}", None, ""),
        ('{ahead_by: "00:00"}', None, ""),
    ],
)
def test_two_parts_of_a_clock_are_asked_about(write: Write, written: str, what: str | None, remedy: str) -> None:
    """01:00 is a minute, and whoever left a camera on summer time means an hour."""
    for clock in (written, f"[{written[:1]}camera: A, {written[1:]}]"):
        document = parse_document(f"session: x\nframes: a\ncamera_clock: {clock}\n", "session.yaml", SessionFile)
        warnings = clock_warnings(document, document.value.camera_clock)
        if what is None:
            assert not warnings
        else:
            (warning,) = warnings
            assert warning.what == f"the camera's clock is read as {what}"
            assert remedy in str(warning.remedy)
            assert getattr(warning.where, "line", 0) == 3
    told = read_session(write(('{ahead_by: "00:01:30"}', written))).warnings
    assert sum("clock" in warning.what for warning in told) == (what is not None)
