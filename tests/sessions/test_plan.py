"""Shoot plans: read, checked, worked out."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing import units
from finishing.errors import ProblemSet
from finishing.sessions.plan import ShootPlan, read_plan
from finishing.sessions.plan_table import CAUTIONS, plan_lines
from finishing.sessions.worked_out import work_out
from tests.sessions.conftest import PLAN
from tests.sessions.plan_text import parse_plan


def worked(text: str) -> Any:
    """The JSON of a plan worked out, through JSON and back."""
    return json.loads(json.dumps(work_out(parse_plan(text)).as_json()))


def one(aperture: str, shutter: str, ambient: str, strobes: str, iso: str = "100", sync: str = "1/200") -> Any:
    """The one set-up of a small plan, worked out."""
    return worked(
        f"sync: {sync}\nsetups:\n  - id: S\n    ambient: {ambient}\n"
        f"    exposure: {{aperture: {aperture}, shutter: {shutter}, iso: {iso}}}\n    strobes: [{strobes}]\n"
    )["setups"][0]


def broken(*change: str, text: str = PLAN) -> str:
    """The error text of the plan with a part replaced."""
    for old, new in zip(change[::2], change[1::2], strict=True):
        assert old in text, old
        text = text.replace(old, new)
    with pytest.raises(ProblemSet) as caught:
        parse_plan(text)
    return str(caught.value)


def test_the_plan_is_read() -> None:
    plan = parse_plan(PLAN).value
    assert plan.place.utc_offset == 7200
    assert plan.place.date is not None
    assert plan.place.date.isoformat() == "2026-09-19"
    assert plan.sync == 1 / 200
    a, b = plan.setups
    assert a.frames == ("A-*",)
    assert (a.exposure.aperture, a.exposure.shutter, a.exposure.iso) == (8, 1 / 125, 100)
    assert a.ambient == -2
    assert [s.power for s in a.strobes] == [1, 0.25]
    assert (b.starts, b.ends) == (67800, 69000)
    assert plan.setup("B") is b
    with pytest.raises(KeyError):
        plan.setup("C")


def test_the_names_in_json_are_fixed() -> None:
    setup = worked(PLAN)["setups"][0]
    assert {
        "id", "ev100", "ambient_stops", "strobe_stops", "total_stops", "lighting_ratio", "shutter_for",
        "strobes", "warnings", "frames",
    } <= set(setup)  # fmt: skip
    assert {"name", "stops"} <= set(setup["strobes"][0])
    assert setup["id"] == "A"
    assert setup["ev100"] == 13  # f/8 at 1/125: Av 6 + Tv 7 of the exact series (APEX)
    assert setup["ambient_stops"] == -2
    assert setup["shutter_for"] == {"-2": "1/125", "-1": "1/60", "0": "1/30"}
    assert [s["stops"] for s in setup["strobes"]] == [0, -1]
    assert setup["strobe_stops"] == pytest.approx(0.585, abs=5e-4)  # log2(1 + 1/2), derived here
    assert setup["total_stops"] == pytest.approx(0.8074, abs=1e-4)  # log2(1 + 1/2 + 1/4), derived here
    assert setup["lighting_ratio"] is None  # a rim does not fill
    assert setup["warnings"] == []


def test_a_strobe_at_its_aperture_and_ambient_two_under() -> None:
    # derived here: ambient goes to 0 at 1/50, and then the two together are one stop over
    setup = one("f/11", "1/200", "-2", "{name: key, reads: f/11}")
    assert setup["shutter_for"] == {"-2": "1/200", "-1": "1/100", "0": "1/50"}
    assert setup["total_stops"] == pytest.approx(0.322, abs=5e-4)
    assert one("f/11", "1/50", "0", "{name: key, reads: f/11}")["total_stops"] == pytest.approx(1)


def test_what_the_plan_does_not_say_is_null() -> None:
    plan = worked("setups: [{id: S, exposure: {aperture: 8, shutter: 1/60, iso: 100}}]")
    setup = plan["setups"][0]
    nothing = ("ambient_stops", "strobe_stops", "total_stops", "lighting_ratio", "shutter_for")
    assert [setup[key] for key in nothing] == [None] * 5
    assert setup["strobes"] == setup["frames"] == setup["warnings"] == []
    assert plan["place"]["date"] is None


@pytest.mark.parametrize(("reads", "ratio"), [("f/8", 2), ("f/5.6", 3), ("f/4", 5), ("f/2.8", 9)])
def test_lighting_ratio(reads: str, ratio: float) -> None:
    # common practice, no source
    setup = one("f/8", "1/125", "-2", f"{{name: key, reads: f/8}}, {{name: fill, reads: {reads}}}")
    assert setup["lighting_ratio"] == pytest.approx(ratio)


def test_a_shutter_faster_than_sync_is_a_warning_with_ways_out() -> None:
    setup = one("f/8", "1/800", "-2", "{name: key, power: 1/1, reads: f/8}", iso="400")
    assert len(setup["warnings"]) == 1
    assert "the shutter is faster than the sync time" in setup["warnings"][0]
    assert "1/200 with f/16" in setup["warnings"][0]
    assert "neutral-density filter of 2 stops" in setup["warnings"][0]
    assert "1/200 with ISO 100" in setup["warnings"][0]
    assert "key cannot give that much more power" in setup["warnings"][0]
    assert [way["strobe_stops"] for way in setup["ways"]] == [2, 2, 2]
    assert setup["beyond_sync"] == ["-2", "-1"]
    place = work_out(parse_plan(PLAN.replace("1/125", "1/500"))).warnings[0].where
    assert str(place) == "plan.yaml:7:40"
    # without strobes any shutter will do
    assert one("f/8", "1/800", "-2", "")["warnings"] == []


def test_readings_that_follow_from_power_and_distance() -> None:
    # guide number 43 m at 5 m: f/8.6 (derived here); full power f/11, power 1/4: f/5.6
    setup = one("f/8", "1/125", "-2", "{name: key, power: 1/1, guide_number: 43, distance: 5 m}")
    assert setup["strobes"][0]["reads"] == "f/8.6"
    assert setup["warnings"] == []
    setup = one("f/5.6", "1/125", "-2", "{name: key, power: 1/4, full_power_reads: f/11}")
    assert setup["strobe_stops"] == pytest.approx(0, abs=1e-4)
    assert setup["warnings"] == []


@pytest.mark.parametrize(
    ("strobe", "warned"),
    [
        ("{name: key, power: 1/4, full_power_reads: f/11, reads: f/5.6}", False),
        ("{name: key, power: 1/4, full_power_reads: f/11, reads: f/6.3}", False),
        ("{name: key, power: 1/4, full_power_reads: f/11, reads: f/8}", True),
        ("{name: key, power: 1/1, guide_number: 43, distance: 5 m, reads: f/9}", False),
        ("{name: key, power: 1/1, guide_number: 43, distance: 5 m, reads: f/4}", True),
        # a modifier takes light from the bare head: less is no surprise, more is
        ("{name: key, modifier: softbox, power: 1/1, guide_number: 43, distance: 5 m, reads: f/4}", False),
        ("{name: key, modifier: softbox, power: 1/1, guide_number: 43, distance: 5 m, reads: f/16}", True),
        ("{name: key, modifier: softbox}", True),
    ],
)
def test_a_reading_that_does_not_follow_is_a_warning(strobe: str, warned: bool) -> None:
    assert bool(one("f/8", "1/125", "-2", strobe)["warnings"]) is warned


def test_a_strobe_without_a_reading_is_left_out_of_the_sums() -> None:
    setup = one("f/8", "1/125", "-2", "{name: key, reads: f/8}, {name: rim, power: 1/4}")
    assert setup["strobe_stops"] == 0
    assert setup["strobes"][1]["stops"] is None
    assert "nothing says what strobe" in setup["warnings"][0]


def test_a_misspelt_key() -> None:
    text = broken(
        "ambient: -2\n    strobes:\n      - {name: key, m",
        "ambience: -2\n    strobes:\n      - {name: key, m",
    )
    assert text == (
        'plan.yaml:8:5: unknown key "ambience"\n'
        "    expected: one of ambient, exposure, frames, from, id, strobes, title, to\n"
        '    do this:  did you mean "ambient"?'
    )


def test_a_shutter_that_yaml_might_take_for_a_time() -> None:
    assert broken("1/125", "12:30") == (
        'plan.yaml:7:40: "shutter" cannot be read\n'
        "    found:    12:30\n"
        '    expected: a shutter time such as 1/125, 0.4, 2" or 2 s\n'
        "    do this:  write shutter: 1/125, for example"
    )


def test_two_setups_of_one_id() -> None:
    assert broken("id: B", "id: A") == (
        'plan.yaml:12:9: a second set-up has the id "A"\n'
        "    found:    A\n"
        "    expected: ids that differ (the first is at line 4)\n"
        "    do this:  give each set-up an id of its own"
    )


def test_an_end_before_the_start() -> None:
    assert broken('"19:10"', '"18:10"') == (
        'plan.yaml:14:9: set-up "B" ends before it starts\n'
        "    found:    18:10\n"
        "    expected: a time after 18:50 on the same day\n"
        "    do this:  swap the times; past midnight, name the frames instead (frames: A-*)"
    )


def test_a_start_without_an_end() -> None:
    assert broken('    to: "19:10"\n', "") == (
        'plan.yaml:13:11: "from" stands without "to" in set-up "B"\n'
        "    found:    18:50\n"
        "    expected: both times, or neither\n"
        '    do this:  add to: "19:10", for example'
    )


def test_setups_that_overlap_in_time() -> None:
    assert broken("    frames: A-*\n", '    from: "18:30"\n    to: "19:00"\n') == (
        'plan.yaml:14:11: set-ups "A" and "B" overlap in time\n'
        "    found:    18:50 to 19:10\n"
        "    expected: times outside 18:30 to 19:00\n"
        "    do this:  mend the times, or name the frames of both (frames: A-*)"
    )
    parse_plan(PLAN.replace("    frames: A-*\n", '    from: "18:30"\n    to: "18:50"\n'))  # touching is no overlap


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("f/8, shutter", "wide, shutter", 'plan.yaml:7:26: "aperture" cannot be read'),
        ("power: 1/4", "power: 5/4", '"power" cannot be read'),
        ("latitude: 47.4", "latitude: 147.4", "a number of degrees from -90 to 90"),
        ("date: 2026-09-19", "date: 2026-09-31", "a date such as 2026-09-19"),
        ('"+02:00"', "CEST", "a UTC offset such as +02:00"),
        ("id: A", "id: all", '"all" means every frame'),
        ("name: rim", "name: key", "two strobes of set-up"),
        ("name: rim", "nam: rim", 'did you mean "name"?'),
    ],
)
def test_what_else_is_refused(old: str, new: str, says: str) -> None:
    assert says in broken(old, new)


def test_every_fault_is_told_at_once() -> None:
    text = broken("id: B", "id: A", '"19:10"', '"18:10"')
    assert text.count("do this:") == 2


def test_a_missing_plan(tmp_path: Any) -> None:
    from finishing.errors import Problem

    with pytest.raises(Problem, match="there is no such file"):
        read_plan(tmp_path / "plan.yaml")


def test_there_is_a_json_schema() -> None:
    schema = json.loads(json.dumps(ShootPlan.model_json_schema()))
    assert schema["additionalProperties"] is False
    assert {"place", "sync", "setups"} == set(schema["properties"])


@given(
    st.sampled_from([2.8, 4, 5.6, 8, 11, 16]),
    st.sampled_from([1 / 200, 1 / 125, 1 / 60, 1 / 30]),
    st.integers(-4, 2),
    st.lists(st.sampled_from([2.8, 4, 5.6, 8, 11]), min_size=1, max_size=4),
)
def test_a_plan_written_from_numbers_reads_back_to_them(
    aperture: float, shutter: float, ambient: int, reads: list[float]
) -> None:
    strobes = ", ".join(f"{{name: s{i}, reads: {units.format_aperture(r)}}}" for i, r in enumerate(reads))
    setup = one(units.format_aperture(aperture), units.format_shutter(shutter), str(ambient), strobes)
    assert setup["exposure"]["shutter"] == units.format_shutter(shutter)
    assert setup["ambient_stops"] == ambient
    assert sum(s["share"] for s in setup["strobes"]) == pytest.approx(1, abs=1e-3)
    parts = [2.0**ambient, *(2.0 ** s["stops"] for s in setup["strobes"])]
    assert 2 ** setup["total_stops"] == pytest.approx(sum(parts), rel=1e-3)


def test_the_table_fits_a_narrow_screen() -> None:
    text = PLAN.replace("shutter: 1/200", "shutter: 1/500") + "      - {name: fill}\n"
    for width in (40, 64):
        lines = plan_lines(work_out(parse_plan(text)), width=width)
        assert max(map(len, lines)) <= width
        assert not any("\n" in line for line in lines)


def test_the_table_says_what_matters() -> None:
    text = "\n".join(plan_lines(work_out(parse_plan(PLAN)), width=100))
    for part in (
        "A  Standing by the ladder",
        "exposure  f/8  1/125  ISO 100  EV100 13",
        "ambient   −2 stops",
        "−2  1/125     as planned",
        " 0  1/30      as much as the exposure",
        "key     1/1    f/8      0   67 %",
        *CAUTIONS,
    ):
        assert part in text
    assert "frames" not in text  # nothing was matched
    assert "!" not in text


MISTAKES = """\
place: {name: Example orchard, latitude: 147.4, longitude: 8.6, date: 2026-09-31, utc_offset: CEST}
sink: 1/200
setups:
  - id: A
    frames: A-*
    exposure: {aperture: wide, shutter: 12:30, iso: 0}
    ambient: dark
    strobes:
      - {name: key, power: 5/4, reads: f/8}
      - {name: key, reads: f/5.6, modifer: softbox}
  - id: A
    from: "19:10"
    to: "18:50"
    exposure: {aperture: f/8, iso: 100}
  - id: C
    from: "18:30"
    to: "19:00"
    exposure: {aperture: f/8, shutter: 1/60, iso: 100}
  - id: D
    from: "18:50"
    to: "19:20"
    exposure: {aperture: f/8, shutter: 1/60, iso: 100}
  - id: E
    from: "19:30"
    exposure: {aperture: f/8, shutter: 1/60, iso: 100}
  - title: without an id
    frames: []
    exposure: f/8 at 1/60
"""


def test_a_plan_with_all_kinds_of_mistakes_tells_each_with_its_place_and_a_remedy() -> None:
    with pytest.raises(ProblemSet) as caught:
        parse_plan(MISTAKES)
    found = {(str(problem.where).removeprefix("plan.yaml:"), problem.what) for problem in caught.value.problems}
    assert found == {
        ("1:42", '"latitude" cannot be read'),
        ("1:71", '"date" cannot be read'),
        ("1:95", '"utc_offset" cannot be read'),
        ("2:1", 'unknown key "sink"'),
        ("6:26", '"aperture" cannot be read'),
        ("6:41", '"shutter" cannot be read'),
        ("6:53", '"iso" cannot be read'),
        ("7:14", '"ambient" cannot be read'),
        ("9:28", '"power" cannot be read'),
        ("9:16", 'two strobes of set-up "A" have the name "key"'),
        ("10:35", 'unknown key "modifer"'),
        ("11:9", 'a second set-up has the id "A"'),
        ("13:9", 'set-up "A" ends before it starts'),
        ("14:15", '"shutter" is missing in "exposure"'),
        ("20:11", 'set-ups "C" and "D" overlap in time'),
        ("24:11", '"from" stands without "to" in set-up "E"'),
        ("26:5", '"id" is missing'),
        ("27:13", '"frames" cannot be read'),
        ("28:15", '"exposure" cannot be read'),
    }
    assert all(problem.remedy for problem in caught.value.problems)


def test_doubtful_plans_tell_each_doubt_with_its_place_and_a_remedy() -> None:
    text = (
        PLAN.replace("1/125, iso", "1/500, iso")
        .replace("power: 1/1, reads: f/8", "power: 1/1, guide_number: 20, distance: 5 m, reads: f/16")
        .replace("power: 1/4, reads: f/5.6", "power: 1/4")
        .replace("{name: key, power: 1/2, reads: f/11}", "{name: key, power: 1/2, full_power_reads: f/8, reads: f/11}")
    )
    warnings = work_out(parse_plan(text)).warnings
    assert [(str(one.where).split(":")[1], one.what.split(":")[0].split(",")[0]) for one in warnings] == [
        ("7", "the shutter is faster than the sync time"),
        ("10", 'strobe "key" reads f/16'),
        ("11", 'nothing says what strobe "rim" gives; it is left out of the sums'),
        ("18", 'strobe "key" reads f/11'),
    ]
    assert all(one.remedy for one in warnings)


def test_a_bare_shutter_above_half_a_minute_is_asked_about() -> None:
    # a camera's display says 125 for 1/125: common practice, no source
    from finishing.sessions.worked_out import work_out

    plan = "setups:\n  - id: A\n    exposure: {{aperture: f/8, shutter: {}, iso: 100}}\n"
    (warning,) = work_out(parse_plan(plan.format("125"))).warnings
    assert "write 1/125" in str(warning)
    assert not work_out(parse_plan(plan.format("1/125"))).warnings
    assert not work_out(parse_plan(plan.format("30"))).warnings
    assert not work_out(parse_plan(plan.format("125 s"))).warnings


def test_a_set_up_may_have_no_planned_exposure_and_is_told_where_something_hangs_on_it() -> None:
    text = PLAN.replace("    exposure: {aperture: f/8, shutter: 1/125, iso: 100}\n", "", 1)
    worked = work_out(parse_plan(text))
    first = worked.setups[0]
    assert (first.setup.exposure, first.ev100, first.shutter_for, first.strobe_stops, first.ways) == (
        None, None, None, None, (),
    )  # fmt: skip
    assert first.as_json()["exposure"] is None
    assert [warning.what for warning in first.warnings] == ["set-up A has ambient and no exposure to tell it against"]
    assert "  exposure  not planned" in plan_lines(worked)


@pytest.mark.parametrize(
    ("ambient", "strobes", "told"),
    [
        # key at the exposure and rim a stop below it: log2(1 + 1/2) = +0.6 stop together (derived here)
        (
            "-2",
            "[{name: key, reads: f/8}, {name: rim, reads: f/5.6}]",
            "key and rim together 2.6 stops over the ambient",
        ),
        ("1", "[{name: key, reads: f/8}]", "key 1 stop under the ambient"),
        ("0", "[{name: key, reads: f/8}, {name: hair}]", "key in balance with the ambient"),  # hair was not metered
    ],
)
def test_the_lights_are_told_for_the_place_of_the_meter(ambient: str, strobes: str, told: str) -> None:
    """The map of a blend shows the picture place by place; a plan knows the one place where the meter was held."""
    text = (
        "setups:\n  - id: A\n    exposure: {aperture: f/8, shutter: 1/125, iso: 100}\n"
        f"    ambient: {ambient}\n    strobes: {strobes}\n"
    )
    lines = plan_lines(work_out(parse_plan(text)), width=100)
    assert f"  metered at the subject: {told}" in lines


@pytest.mark.parametrize(
    ("aperture", "iso", "reads", "asked"),
    [
        ("f/8", "100", "f/8", []),
        ("f/64", "409600", "f/45", []),
        ("f/8", "3200000", "f/8", ["set-up S asks for ISO 3200000; expected ISO 10 to ISO 819200, as a rule"]),
        ("f/8", "100", "f/80", ['strobe "key" reads f/80; expected f/0.9 to f/64, as a rule']),
        ("f/110", "5", "f/8", ["set-up S asks for f/110", "set-up S asks for ISO 5"]),
    ],
)
def test_values_with_a_digit_too_many_are_asked_about(aperture: str, iso: str, reads: str, asked: list[str]) -> None:
    warnings = one(aperture, "1/125", "-2", f"{{name: key, power: 1/1, reads: {reads}}}", iso=iso)["warnings"]
    assert len(warnings) == len(asked)
    for warning, start in zip(warnings, asked, strict=True):
        assert warning.startswith(start)
        assert warning.endswith("; look whether it has a digit too many or too few; leave it if it is meant")


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("f5.6 1/2", "f/6.7"),  # half a stop further closed, as printed on lenses and meters
        ("f/8 + 1/3", "f/9"),
        ("8 2/3", "f/10"),
        ("5.6 +0.5", "f/6.7"),
        ("f/11 0.3 stops", "f/13"),
    ],
)
def test_a_part_of_a_stop_behind_an_f_number_is_worked_out(written: str, meant: str) -> None:
    told = broken("reads: f/8}", f'reads: "{written}"}}')
    assert '"reads" is written with a part of a stop behind it' in told
    assert f"write reads: {meant}" in told
