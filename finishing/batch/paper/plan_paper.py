"""The worked-out shoot plan written as one page, for phone and paper."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

from finishing import units
from finishing.errors import Problem
from finishing.exposure.daylight import daylight_stops
from finishing.exposure.sun import sun_position
from finishing.sessions.clocks import clock_lines
from finishing.sessions.falling_light import DayLight, SetupLight
from finishing.sessions.matching import Matching
from finishing.sessions.plan_table import (
    CAUTIONS,
    as_planned,
    frame_lines,
    left_over_lines,
    light_lines,
    over_ambient,
    sunset_lines,
)
from finishing.sessions.worked_out import WorkedPlan, WorkedSetup
from finishing.sheets.plan_page import Evening, Level, PlanPage, Rung, Section, html_page

#: Minutes between the points of the daylight curve.
_STEP = 4
#: The curve begins and ends this long before and after the set-ups and the sunset.
_AROUND = timedelta(minutes=10)


def write_plan_page(worked: WorkedPlan, path: Path, matching: Matching | None = None, *, paper: str = "a4") -> Path:
    """Write the plan as .html or .pdf, by the path's ending. paper: of a PDF.

    Raises Problem where the ending is neither, the paper is not known, the PDF library is not installed or the folder
    cannot be written to.
    """
    suffix = path.suffix.lower()
    if suffix not in (".html", ".htm", ".pdf"):
        raise Problem(
            "a plan is written as HTML or PDF",
            got=path.name,
            expected=".html or .pdf",
            remedy="end the name with .html (phone and paper) or .pdf (paper)",
        )
    page = plan_page(worked, matching)
    if suffix == ".pdf":
        from finishing.sheets.model import paper_called
        from finishing.sheets.plan_pdf import draw_plan

        return draw_plan(page, path, paper_called(paper, "portrait"))
    from finishing.sheets.replacing import Replacing

    with Replacing(path.parent) as files:
        files.open_for(path).write(html_page(page).encode())
    return path


def plan_page(worked: WorkedPlan, matching: Matching | None = None) -> PlanPage:
    """What stands on the page."""
    plan, light = worked.plan, worked.light(matching)
    facts = [plan.place.date.isoformat()] if plan.place.date else []
    facts += list(sunset_lines(light))
    if plan.sync is not None:
        facts.append(f"sync {units.format_shutter(plan.sync)} or slower")
    facts.append("stops are against the exposure")
    notes = []
    if matching is not None:
        if matching.clocks:
            notes.append(("Cameras' clocks", tuple(clock_lines(matching.clocks))))
        notes += left_over_lines(matching)
    return PlanPage(
        title=plan.place.name or "Shoot plan",
        facts=tuple(facts),
        evening=_evening(worked, light),
        sections=tuple(_section(setup, matching, light.setups.get(setup.setup.id)) for setup in worked.setups),
        notes=tuple(notes),
        cautions=CAUTIONS,
    )


def _section(worked: WorkedSetup, matching: Matching | None, light: SetupLight | None) -> Section:
    setup, exposure = worked.setup, worked.setup.exposure
    time = ""
    if setup.starts is not None and setup.ends is not None:
        time = f"{units.format_clock(setup.starts)} to {units.format_clock(setup.ends)}"
    return Section(
        id=setup.id,
        title=setup.title or "",
        time=time,
        settings=()
        if exposure is None
        else (
            units.format_aperture(exposure.aperture),
            units.format_shutter(exposure.shutter),
            units.format_iso(exposure.iso),
        ),
        settings_note="no exposure planned"
        if worked.ev100 is None
        else f"EV100 {units.format_number(worked.ev100, 1)}",
        levels=tuple(_levels(worked)),
        ladder=tuple(_ladder(worked)),
        clock=tuple(_clock(light)),
        clock_title=f"To hold the ambient at {units.format_stops(worked.ambient_stops or 0)}, open the shutter",
        facts=tuple(_facts(worked, matching, light)),
        warnings=tuple(
            (
                one.what[:1].upper() + one.what[1:],
                "; ".join(text for text in (one.expected and f"expected {one.expected}", one.remedy) if text),
            )
            for one in worked.warnings
        ),
    )


def _levels(worked: WorkedSetup) -> Iterator[Level]:
    for one in worked.strobes:
        parts = [one.strobe.modifier, one.strobe.position]
        if one.strobe.power is not None:
            parts.append(f"power {units.format_power(one.strobe.power)}")
        if one.share is not None and len(worked.strobes) > 1:
            parts.append(f"{round(one.share * 100)} % of the flash")
        reads = "?" if one.reads is None else units.format_aperture(one.reads)
        detail = ", ".join(part for part in parts if part)
        yield Level("head", one.strobe.name, detail, reads, one.stops, _stops(one.stops))
    if len(worked.strobes) > 1:
        yield Level("strobes", "strobes", "", "", worked.strobe_stops, _stops(worked.strobe_stops))
    if worked.ambient_stops is not None:
        yield Level("ambient", "ambient", "", "", worked.ambient_stops, _stops(worked.ambient_stops))
        if worked.strobe_stops is not None:
            yield Level("together", "together", "", "", worked.total_stops, _stops(worked.total_stops))


def _stops(stops: float | None) -> str:
    return "?" if stops is None else units.format_stops(stops)


def _ladder(worked: WorkedSetup) -> Iterator[Rung]:
    for target, seconds in (worked.shutter_for or {}).items():
        shutter = "no such time" if seconds is None else units.format_shutter(seconds)
        now = seconds is not None and as_planned(worked, seconds)
        note = "faster than sync" if target in worked.beyond_sync else "as planned" if now else ""
        yield Rung(units.format_stops(target), shutter, note, now)


def _clock(light: SetupLight | None) -> Iterator[Rung]:
    if light is None or len(light.hold) < 2:
        return
    for index, rung in enumerate(light.hold):
        note = "if it runs late" if rung.after and not light.from_frames else ""
        yield Rung(f"{rung.when:%H:%M}", units.format_shutter(rung.seconds), note, index == 0)


def _facts(worked: WorkedSetup, matching: Matching | None, light: SetupLight | None) -> Iterator[str]:
    over = over_ambient(worked)
    if over is not None:
        ratio = worked.lighting_ratio
        told = "" if ratio is None else f"; lighting ratio {units.format_number(ratio, 1)}:1"
        yield f"{over[:1].upper()}{over[1:]}{told}"
    if light is not None:
        yield from (f"{label.capitalize()} {told}" for label, told in light_lines(light))
    if matching is not None:
        yield from _frames(frame_lines(worked, matching))


def _frames(lines: Iterable[str]) -> Iterator[str]:
    """The table's lines as sentences: what is indented most goes on with the line above it."""
    told = ""
    for line in lines:
        text = line.strip()
        if line.startswith(" " * 6):
            told += (": " if ":" not in told else "; ") + text
            continue
        if told:
            yield told
        told = f"Frames {text.removeprefix('frames').strip()}" if text.startswith("frames") else text
    if told:
        yield told


def _evening(worked: WorkedPlan, light: DayLight) -> Evening | None:
    """The curve from before the first set-up to after the last, with sunset and twilight where they are near."""
    place, setups = worked.plan.place, light.setups
    if not setups or place.latitude is None or place.longitude is None:
        return None
    start = min(one.start.when for one in setups.values()) - _AROUND
    end = max(one.end.when for one in setups.values()) + _AROUND
    near = timedelta(hours=1)
    named = (("sunset", light.sunset), ("civil twilight ends", light.civil_twilight_end))
    marks = [(name, when) for name, when in named if when is not None and start - near < when < end + near]
    start = min([start, *(when - _AROUND for _, when in marks)])
    end = max([end, *(when + _AROUND for _, when in marks)])
    midnight = datetime(start.year, start.month, start.day, tzinfo=start.tzinfo)

    def minute(when: datetime) -> float:
        return (when - midnight).total_seconds() / 60

    curve = []
    for offset in range(0, round((end - start).total_seconds() / 60) + _STEP, _STEP):
        when = min(start + timedelta(minutes=offset), end)
        level = daylight_stops(sun_position(when, place.latitude, place.longitude).elevation)
        if level is not None:
            curve.append((minute(when), level))
    if len(curve) < 2:
        return None
    first = curve[0][1]
    return Evening(
        start=minute(start),
        end=minute(end),
        curve=tuple((at, level - first) for at, level in curve),
        spans=tuple((name, minute(one.start.when), minute(one.end.when)) for name, one in setups.items()),
        marks=tuple((f"{name} {when:%H:%M}", minute(when)) for name, when in marks),
    )
