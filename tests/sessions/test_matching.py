"""Frames to set-ups by name and by time; camera against plan."""

import json
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.sessions.clocks import Camera
from finishing.sessions.matching import FrameFacts, Matching, disagreement, local_time, match_frames
from finishing.sessions.plan_table import plan_lines
from finishing.sessions.worked_out import work_out
from tests.sessions.conftest import PLAN
from tests.sessions.plan_text import parse_plan

DOCUMENT = parse_plan(PLAN)
PLANNED = DOCUMENT.value


def at(clock: str, day: int = 19) -> datetime:
    return datetime.fromisoformat(f"2026-09-{day} {clock}")


def match(*frames: FrameFacts, ahead: float = 0, plan: str = PLAN) -> Matching:
    return match_frames(parse_plan(plan).value, frames, ahead)


def test_by_name_and_by_time() -> None:
    found = match(FrameFacts("A-0001"), FrameFacts("X-0001", at("19:00:00")), FrameFacts("X-0002", at("20:00:00")))
    assert found.setup_of == {"A-0001": "A", "X-0001": "B"}
    assert found.how == {"A-0001": "name", "X-0001": "time", "X-0002": None}
    assert found.strays == {"X-0002": "taken at 20:00:00, in no set-up's time"}
    assert found.frames_of("B") == ["X-0001"]


def test_by_a_range_unless_another_set_up_names_the_frame_itself() -> None:
    plan = PLAN.replace("frames: A-*", "frames: X-0436 - X-0439").replace(
        'from: "18:50"', 'frames: X-0438\n    from: "18:50"'
    )
    names = [f"X-0{number}" for number in range(435, 441)]
    found = match(*(FrameFacts(name) for name in names), plan=plan)
    assert found.setup_of == {"X-0436": "A", "X-0437": "A", "X-0438": "B", "X-0439": "A"}


def test_capitals_count() -> None:
    assert match(FrameFacts("a-0001")).setup_of == {}


@pytest.mark.parametrize(
    ("clock", "ahead", "setup"),
    [
        ("18:51:29", 90, None),
        ("18:51:30", 90, "B"),
        ("18:49:00", -60, "B"),
        ("18:50:00", 0, "B"),
        ("18:49:59", 0, None),
        ("19:10:00", 0, "B"),  # the last instant belongs to it where no other set-up starts
        ("19:10:01", 0, None),
    ],
)
def test_the_cameras_clock_is_corrected(clock: str, ahead: float, setup: str | None) -> None:
    assert match(FrameFacts("X", at(clock)), ahead=ahead).frames["X"].setup == setup


def test_where_two_setups_meet_the_later_one_counts() -> None:
    plan = PLAN.replace("    frames: A-*\n", '    from: "18:30"\n    to: "18:50"\n')
    found = match(FrameFacts("X", at("18:50:00")), FrameFacts("Y", at("18:49:59")), plan=plan)
    assert found.setup_of == {"X": "B", "Y": "A"}


def test_a_frame_with_its_own_offset_is_brought_to_the_place() -> None:
    # the place is at +02:00; a camera left at UTC wrote two hours less
    frame = FrameFacts("X", at("17:00:00"), utc_offset=0)
    assert local_time(frame, PLANNED) == at("19:00:00")
    aware = FrameFacts("X", at("14:00:00").replace(tzinfo=timezone(timedelta(hours=-3))))
    assert local_time(aware, PLANNED) == at("19:00:00")
    assert match(frame, FrameFacts("Y", at("17:00:00"))).setup_of == {"X": "B"}


def test_another_day_is_no_match() -> None:
    found = match(FrameFacts("X", at("19:00:00", 20)), FrameFacts("Y"))
    assert found.strays == {
        "X": "taken on 2026-09-20, but the plan is for 2026-09-19",
        "Y": "no name pattern means it, and its file has no capture time",
    }
    anyday = PLAN.replace("date: 2026-09-19, ", "")
    assert match(FrameFacts("X", at("19:00:00", 20)), plan=anyday).setup_of == {"X": "B"}


def test_what_two_setups_claim_is_named_and_left_out() -> None:
    plan = PLAN.replace('    from: "18:50"\n    to: "19:10"\n', "    frames: [A-00*, B-*]\n")
    found = match(FrameFacts("A-0001"), FrameFacts("B-0001"), FrameFacts("A-1001"), plan=plan)
    assert found.overlaps == {"A-0001": ("A", "B")}
    assert found.setup_of == {"B-0001": "B", "A-1001": "A"}
    assert found.strays == {}
    assert found.how["A-0001"] is None


def test_an_outright_name_counts_before_a_pattern() -> None:
    plan = PLAN.replace('    from: "18:50"\n    to: "19:10"\n', "    frames: A-0007\n")
    assert match(FrameFacts("A-0007"), FrameFacts("A-0008"), plan=plan).setup_of == {
        "A-0007": "B",
        "A-0008": "A",
    }


def test_times_decide_between_two_names() -> None:
    plan = PLAN.replace("frames: A-*", 'frames: "*"\n    from: "18:30"\n    to: "18:50"').replace(
        '    from: "18:50"\n    to: "19:10"\n', '    frames: "*"\n    from: "18:50"\n    to: "19:10"\n'
    )
    found = match(FrameFacts("X", at("18:40:00")), FrameFacts("Y", at("19:00:00")), FrameFacts("Z"), plan=plan)
    assert found.setup_of == {"X": "A", "Y": "B"}
    assert found.how["X"] == "time"
    assert found.overlaps == {"Z": ("A", "B")}


def test_a_name_against_the_clock_is_told() -> None:
    plan = PLAN.replace("frames: A-*", 'frames: A-*\n    from: "18:30"\n    to: "18:50"')
    found = match(FrameFacts("A-0001", at("18:55:00")), FrameFacts("A-0002", at("18:31:00")), plan=plan)
    assert found.setup_of == {"A-0001": "A", "A-0002": "A"}
    assert found.doubtful == {"A-0001": 'named for "A" but taken at 18:55:00, in the time of "B"; check camera_clock'}


def test_camera_against_plan() -> None:
    frames = [
        FrameFacts("A-1", None, None, 8, 1 / 125, 100),
        FrameFacts("A-2", None, None, 8, 1 / 60, 100),
        FrameFacts("A-3", None, None, 11, 1 / 125, 100),
        FrameFacts("A-4", None, None, 8, 1 / 125, 400),
        FrameFacts("A-5", None, None, 11, 1 / 60, 100),
        FrameFacts("A-6", None, None, 8, None, 100),
        FrameFacts("A-7", None, None, 8, 0.0, 100),
    ]
    found = match(*frames).frames
    # plan less camera: positive where the plan lets in more light
    assert [found[f.name].difference_stops for f in frames] == [0, -1, 1, -2, 0, None, None]
    # the shutter moves the ambient (-2 as planned) alone; aperture and ISO move both
    assert [found[f.name].ambient_stops for f in frames] == [-2, -1, -3, 0, -2, None, None]
    strobe = found["A-1"].strobe_stops
    assert strobe == pytest.approx(0.585, abs=5e-4)  # heads at 0 and -1 together: log2(1.5), derived here
    assert strobe is not None
    shifts = [0, 0, -1, 2, -1]
    assert [found[f.name].strobe_stops for f in frames[:5]] == pytest.approx([strobe + s for s in shifts])
    assert [found[f.name].agrees for f in frames] == [True, False, False, False, False, None, None]


def test_a_nominal_time_is_its_exact_one() -> None:
    # EXIF may hold 1/64 or 0.0166667 for 1/60
    plan = PLAN.replace("1/125", "1/60")
    for seconds in (1 / 60, 0.0166667, 1 / 64):
        assert match(FrameFacts("A-1", None, None, 8, seconds, 100), plan=plan).frames["A-1"].agrees is True


@given(
    st.sampled_from([2.8, 4, 5.6, 8, 11]),
    st.sampled_from([1 / 200, 1 / 60, 1 / 15]),
    st.sampled_from([100, 400]),
)
def test_ambient_follows_the_difference(aperture: float, shutter: float, iso: float) -> None:
    frame = match_frames(PLANNED, [FrameFacts("A-1", None, None, aperture, shutter, iso)]).frames["A-1"]
    assert frame.ambient_stops is not None
    assert frame.difference_stops is not None
    assert frame.ambient_stops + frame.difference_stops == pytest.approx(-2, abs=1e-9)
    assert frame.taken is not None
    assert frame.agrees is (not disagreement(PLANNED.setups[0].exposure.values, frame.taken))


@given(st.lists(st.integers(0, 86399), max_size=8), st.integers(-3600, 3600))
def test_a_wrong_clock_set_right_changes_nothing(seconds: list[int], ahead: int) -> None:
    start = at("00:00:00")
    true = [FrameFacts(f"X-{i}", start + timedelta(seconds=s)) for i, s in enumerate(seconds)]
    wrong = [FrameFacts(f"X-{i}", start + timedelta(seconds=s + ahead)) for i, s in enumerate(seconds)]
    assert match_frames(PLANNED, true) == match_frames(PLANNED, wrong, ahead)


def test_the_json_and_the_table() -> None:
    frames = [
        FrameFacts("A-0001", None, None, 8, 1 / 125, 100),
        FrameFacts("A-0002", None, None, 8, 1 / 60, 100),
        FrameFacts("A-0003"),
        FrameFacts("X-0001", at("19:00:00"), None, 11, 1 / 200, 100),
        FrameFacts("X-0002", at("21:00:00")),
    ]
    found, worked = match(*frames), work_out(DOCUMENT)
    data = json.loads(json.dumps(worked.as_json(found)))
    assert [setup["frames"] for setup in data["setups"]] == [["A-0001", "A-0002", "A-0003"], ["X-0001"]]
    assert data["matching"]["strays"] == [{"frame": "X-0002", "reason": "taken at 21:00:00, in no set-up's time"}]
    assert data["matching"]["frames"][1]["difference_stops"] == -1
    lines = plan_lines(worked, found)
    assert max(map(len, lines)) <= 64
    text = "\n".join(lines)
    for part in (
        "frames    3: A-0001 … A-0003",
        "frames    1: X-0001 (1 by time)",
        "camera's exposure not known: A-0003",
        "shutter 1/60 for 1/125",
        "1 stop lighter than planned; ambient −1; strobes +0.6",
        "X-0002: taken at 21:00:00, in no set-up's time",
    ):
        assert part in text


def test_fractions_of_a_second_count() -> None:
    found = match(FrameFacts("X", at("18:49:59.990000")), FrameFacts("Y", at("18:50:00.010000")))
    assert found.setup_of == {"Y": "B"}
    late = match(FrameFacts("X", at("19:10:00.100000")), FrameFacts("Y", at("19:10:00.600000")), ahead=0.5)
    assert late.setup_of == {"X": "B"}


def exposed(name: str, shutter: float, clock: str | None = None, camera: Camera | None = None) -> FrameFacts:
    aperture = 8 if shutter == 1 / 125 else 11
    return FrameFacts(name, at(clock) if clock else None, None, aperture, shutter, 100, camera=camera or Camera())


TWO = PLAN.replace("    frames: A-*\n", '    from: "18:30"\n    to: "18:50"\n')


def test_a_frame_without_a_time_is_proposed_by_exposure_and_number() -> None:
    known = [exposed("F-0001", 1 / 125, "18:40:00"), exposed("F-0005", 1 / 125, "18:45:00")]
    known += [exposed("F-0009", 1 / 200, "18:55:00"), exposed("F-0012", 1 / 200, "18:59:00")]
    found = match(*known, exposed("F-0003", 1 / 125), exposed("G-0010", 1 / 200), plan=TWO)
    assert found.setup_of == {
        "F-0001": "A", "F-0003": "A", "F-0005": "A", "F-0009": "B", "F-0012": "B", "G-0010": "B",
    }  # fmt: skip
    assert (found.how["F-0003"], found.how["F-0001"]) == ("exposure", "time")
    assert found.strays == {}
    assert found.doubtful["F-0003"] == (
        'proposed for "A" by its exposure and its number alone, between F-0001 and F-0005; '
        "confirm it by its name in the plan (frames: [..., F-0003])"
    )
    lines = "\n".join(plan_lines(work_out(parse_plan(TWO)), found, width=120))
    assert "(2 by time, 1 by exposure)" in lines
    assert 'F-0003: proposed for "A" by its exposure' in lines


def test_what_exposure_and_number_do_not_settle_stays_a_stray() -> None:
    known = [exposed("F-0001", 1 / 125, "18:40:00"), exposed("F-0005", 1 / 125, "18:45:00")]
    known += [exposed("F-0009", 1 / 200, "18:55:00")]
    strays = [
        exposed("F-0003", 1 / 200),  # agrees with B, lies in A
        exposed("F-0007", 1 / 125),  # lies between the two
        exposed("F-0020", 1 / 200),  # lies after all
        FrameFacts("F-0004"),  # tells no exposure
        exposed("F-0002", 1 / 125, "23:00:00"),  # has a time, which is no set-up's
    ]
    assert set(match(*known, *strays, plan=TWO).strays) == {frame.name for frame in strays}
    # where two set-ups have one exposure, it says nothing
    same = TWO.replace("aperture: f/11, shutter: 1/200", "aperture: f/8, shutter: 1/125")
    assert set(match(*known, exposed("F-0003", 1 / 125), plan=same).strays) == {"F-0003"}


def test_two_cameras_count_their_files_apart() -> None:
    one, other = Camera(None, "One", None), Camera(None, "Other", None)
    known = [exposed("F-0001", 1 / 125, "18:40:00", one), exposed("F-0005", 1 / 125, "18:45:00", one)]
    known += [exposed("G-0002", 1 / 200, "18:55:00", other), exposed("G-0004", 1 / 200, "18:56:00", other)]
    found = match(*known, exposed("F-0003", 1 / 125, None, one), plan=TWO)
    assert found.setup_of["F-0003"] == "A"
    # without knowing whose it is, frames of both sides speak
    assert "F-0003" in match(*known, exposed("F-0003", 1 / 125), plan=TWO).strays
