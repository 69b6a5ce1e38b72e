"""The sun and the falling daylight of a plan: times, ladders by the clock, what is lacking."""

import json
from datetime import datetime, timedelta
from typing import Any

import pytest

from finishing.exposure.daylight import fall_in_stops
from finishing.exposure.series import exact_shutter
from finishing.sessions.falling_light import day_light
from finishing.sessions.matching import FrameFacts, match_frames
from finishing.sessions.plan_table import plan_lines
from finishing.sessions.worked_out import work_out
from tests.sessions.conftest import PLAN
from tests.sessions.plan_text import parse_plan


def facts(*clocks: str, day: int = 19) -> list[FrameFacts]:
    return [FrameFacts(f"A-{i:04d}", datetime.fromisoformat(f"2026-09-{day} {c}")) for i, c in enumerate(clocks)]


def worked(plan: str = PLAN, *frames: FrameFacts) -> Any:
    document = parse_plan(plan)
    matching = match_frames(document.value, frames) if frames else None
    return json.loads(json.dumps(work_out(document).as_json(matching)))


def test_the_json_of_a_dusk() -> None:
    plan = worked()
    # sunset and civil twilight at 47.4 N 8.6 E on that day: NREL's algorithm as pvlib has it, to the minute
    assert plan["sunset"].startswith("2026-09-19T19:29:")
    assert plan["civil_twilight_end"].startswith("2026-09-19T20:00:")
    a, b = plan["setups"]
    assert a["sun"] is None  # no time, and no frames to tell it
    assert b["sun"]["from"]["time"] == "2026-09-19T18:50:00+02:00"
    assert b["sun"]["to"]["time"] == "2026-09-19T19:10:00+02:00"
    assert b["sun"]["from"]["elevation"] > b["sun"]["to"]["elevation"] > 0
    assert b["sun"]["from"]["azimuth"] < b["sun"]["to"]["azimuth"]
    assert b["sun"]["times_from"] == "plan"
    start, end = (datetime.fromisoformat(b["sun"][key]["time"]) for key in ("from", "to"))
    assert b["sun"]["fall_stops_per_minute"] == pytest.approx(
        (fall_in_stops(start, end, 47.4, 8.6) or 0) / 20, abs=1e-4
    )
    assert b["sun"]["minutes_per_stop"] == pytest.approx(1 / b["sun"]["fall_stops_per_minute"], rel=0.01)


def test_the_shutter_by_the_clock_holds_the_ambient() -> None:
    plan = (
        PLAN.replace('"18:50"', '"19:20"')
        .replace('"19:10"', '"19:50"')
        .replace("f/11, shutter: 1/200", "f/11, shutter: 1/125")
    )
    light = day_light(parse_plan(plan).value).setups["B"]
    assert light.hold[0].seconds == 1 / 125
    assert sum(rung.after for rung in light.hold) == 1
    for one, other in zip(light.hold, light.hold[1:], strict=False):
        opened = exact_shutter(other.seconds) / exact_shutter(one.seconds)
        assert opened == pytest.approx(2, rel=0.01)
        assert fall_in_stops(one.when, other.when, 47.4, 8.6) == pytest.approx(1, abs=0.01)


def test_times_come_from_the_frames_where_the_plan_gives_none() -> None:
    found = worked(PLAN, *facts("18:40:00", "18:31:00", "18:44:30"))["setups"][0]["sun"]
    assert found["times_from"] == "frames"
    assert (found["from"]["time"][11:16], found["to"]["time"][11:16]) == ("18:31", "18:44")
    undated = worked(PLAN.replace("date: 2026-09-19, ", ""), *facts("18:40:00"))
    assert undated["sunset"].startswith("2026-09-19T")
    two_days = [*facts("18:40:00"), FrameFacts("A-0009", datetime(2026, 9, 20, 18, 0))]
    assert worked(PLAN.replace("date: 2026-09-19, ", ""), *two_days)["sunset"] is None


@pytest.mark.parametrize(
    ("gone", "lacking"),
    [("date: 2026-09-19, ", "date"), (', utc_offset: "+02:00"', "utc_offset"), ("longitude: 8.6, ", "longitude")],
)
def test_what_the_place_lacks_is_told(gone: str, lacking: str) -> None:
    document = parse_plan(PLAN.replace(gone, ""))
    assert day_light(document.value).lacking == (lacking,)
    assert f"For sun and daylight add to place: {lacking}" in plan_lines(work_out(document))
    nowhere = parse_plan(PLAN.replace("latitude: 47.4, longitude: 8.6, ", ""))
    assert not any("add to place" in line for line in plan_lines(work_out(nowhere)))


def test_the_table_tells_sun_and_daylight() -> None:
    plan = PLAN.replace("1/200, iso", "1/125, iso")
    text = "\n".join(plan_lines(work_out(parse_plan(plan)), width=100))
    for part in (
        "Sunset 19:29, end of civil twilight 20:00",
        "  sun       18:50 to 19:10: 5.9° to 2.5° high, azimuth 265° to 269°",
        "  daylight  falls 0.06 stops a minute: one stop every 16 min",
        "  to hold the ambient at −2 by the clock",
        "    18:50  1/125",
    ):
        assert part in text
    morning = plan.replace("18:50", "07:50").replace("19:10", "08:10")
    assert "daylight  rises" in "\n".join(plan_lines(work_out(parse_plan(morning))))
    night = plan.replace("18:50", "23:00").replace("19:10", "23:30")
    assert "daylight  night: none to speak of" in "\n".join(plan_lines(work_out(parse_plan(night))))
    noon = plan.replace("18:50", "13:10").replace("19:10", "13:30")
    assert "daylight  steady" in "\n".join(plan_lines(work_out(parse_plan(noon))))


def test_beyond_the_polar_circle_there_may_be_no_sunset() -> None:
    plan = PLAN.replace("latitude: 47.4", "latitude: 70").replace("2026-09-19", "2026-06-21")
    assert worked(plan)["sunset"] is None
    assert "no sunset that day" in plan_lines(work_out(parse_plan(plan)))


def test_a_shoot_that_goes_on_into_the_night_ends_its_ladder_there() -> None:
    plan = PLAN.replace("18:50", "20:30").replace("19:10", "22:30")
    light = day_light(parse_plan(plan).value).setups["B"]
    assert light.fall_stops_per_minute is None  # at its end there is no daylight to compare with
    assert light.hold == ()
    assert light.end.lux == 0
    assert light.end.when - light.start.when == timedelta(hours=2)
