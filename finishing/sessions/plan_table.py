"""The shoot plan worked out, as plain lines that also read well on a narrow screen."""

import textwrap
from collections.abc import Iterable, Iterator

from finishing import units
from finishing.sessions.blends import listed
from finishing.sessions.clocks import clock_lines
from finishing.sessions.falling_light import STEADY, DayLight, SetupLight
from finishing.sessions.matching import FrameMatch, Matching, disagreement
from finishing.sessions.plan import ShootPlan
from finishing.sessions.worked_out import WorkedPlan, WorkedSetup, WorkedStrobe

WIDTH = 64

#: Said briefly with every plan. Common practice, no source; local codes and licensed people come first.
CAUTIONS = (
    "Keep power packs, cables and connectors away from water, dew and wet ground.",
    "Weigh stands down; in wind lower them, or hold them; take large modifiers down first.",
    "No flash close to anyone's eyes; ask about sensitivity to flashes; none at traffic or animals.",
    "Local codes and licensed practice (electricity, rigging, permits) come before this plan.",
)


def plan_lines(worked: WorkedPlan, matching: Matching | None = None, *, width: int = WIDTH) -> list[str]:
    """The table as lines of at most `width` characters (40 or more), without line ends.

    Per set-up: the exposure and its EV at ISO 100, ambient against strobes, each head with its share, the
    shutter ladder, warnings, and, where frames were matched, which they are and where camera and plan
    disagree.
    """
    light = worked.light(matching)
    lines = [*_head(worked.plan, light)]
    for setup in worked.setups:
        lines += ["", *_setup(setup, matching, light.setups.get(setup.setup.id))]
    if matching is not None:
        if matching.clocks:
            lines += ["", "Cameras' clocks", *(f"  {line}" for line in clock_lines(matching.clocks))]
        for heading, told in left_over_lines(matching):
            lines += ["", heading, *(f"  {line}" for line in told)]
    lines += ["", "Take care"]
    lines += [f"  - {caution}" for caution in CAUTIONS]
    return [wrapped for line in lines for wrapped in _wrap(line, width)]


def _wrap(line: str, width: int) -> list[str]:
    """A line folded under its own indentation; lines that fit stay as they are."""
    if len(line) <= width:
        return [line]
    indent = len(line) - len(line.lstrip())
    under = " " * (indent + 2)
    return textwrap.wrap(line.strip(), width, initial_indent=" " * indent, subsequent_indent=under)


def _head(plan: ShootPlan, light: DayLight) -> Iterator[str]:
    place = plan.place
    yield (", ".join(text for text in (place.name, place.date and place.date.isoformat()) if text) or "Shoot plan")
    if plan.sync is not None:
        yield f"Sync {units.format_shutter(plan.sync)} or slower"
    yield from sunset_lines(light)
    yield "Stops are against the exposure: 0 as set, + more, − less light"


def sunset_lines(light: DayLight) -> Iterator[str]:
    """Sunset and civil twilight, or what the plan lacks for them; nothing where the plan says nothing of a place."""
    if light.lacking:
        if "latitude" not in light.lacking:
            yield f"For sun and daylight add to place: {', '.join(light.lacking)}"
        return
    parts = ["no sunset that day" if light.sunset is None else f"Sunset {light.sunset:%H:%M}"]
    if light.civil_twilight_end is not None:
        parts.append(f"end of civil twilight {light.civil_twilight_end:%H:%M}")
    yield ", ".join(parts)


def light_lines(light: SetupLight) -> Iterator[tuple[str, str]]:
    """The sun through a set-up's time and the fall of daylight, each with its label; for a clear sky."""
    start, end = light.start, light.end
    times = f"{start.when:%H:%M}" + ("" if start.when == end.when else f" to {end.when:%H:%M}")
    high = _through(start.position.elevation, end.position.elevation, 1)
    yield "sun", f"{times}: {high} high, azimuth {_through(start.position.azimuth, end.position.azimuth, 0)}"
    fall = light.fall_stops_per_minute
    if fall is None:
        yield "daylight", "night: none to speak of"
    elif abs(fall) < STEADY:
        yield "daylight", "steady"
    else:
        rate = f"{'falls' if fall > 0 else 'rises'} {units.format_number(abs(fall))} stops a minute"
        yield "daylight", f"{rate}: one stop every {round(1 / abs(fall))} min"


def _through(first: float, last: float, places: int) -> str:
    texts = [f"{value:.{places}f}°".replace("-", "−") for value in (first, last)]
    return texts[0] if texts[0] == texts[1] else f"{texts[0]} to {texts[1]}"


def _setup(worked: WorkedSetup, matching: Matching | None, light: SetupLight | None) -> Iterator[str]:
    setup = worked.setup
    yield f"{setup.id}  {setup.title}" if setup.title else f"{setup.id}"
    if setup.starts is not None and setup.ends is not None:
        yield f"  time      {units.format_clock(setup.starts)} to {units.format_clock(setup.ends)}"
    yield f"  exposure  {_exposure(worked)}"
    yield f"  ambient   {_level(worked.ambient_stops, 'not metered')}"
    yield f"  strobes   {_level(worked.strobe_stops, 'none' if not worked.strobes else 'not known')}"
    if worked.total_stops is not None and worked.strobe_stops is not None and worked.ambient_stops is not None:
        yield f"  together  {_level(worked.total_stops)}"
    over = over_ambient(worked)
    if over is not None:
        yield f"  {over}"
    if worked.lighting_ratio is not None:
        yield f"  ratio     {units.format_number(worked.lighting_ratio, 1)}:1 (key and fill to fill)"
    yield from _heads(worked.strobes)
    yield from _ladder(worked)
    if light is not None:
        yield from (f"  {label:<8}  {told}" for label, told in light_lines(light))
        if len(light.hold) > 1:
            yield f"  to hold the ambient at {units.format_stops(worked.ambient_stops or 0)} by the clock"
            for rung in light.hold:
                late = "  past its time" if rung.after and not light.from_frames else ""
                yield f"    {rung.when:%H:%M}  {units.format_shutter(rung.seconds)}{late}"
    for warning in worked.warnings:
        yield f"  ! {warning.what}"
        if warning.expected:
            yield f"    expected: {warning.expected}"
        if warning.remedy:
            yield f"    do this: {warning.remedy}"
    if matching is not None:
        yield from frame_lines(worked, matching)


def over_ambient(worked: WorkedSetup) -> str | None:
    """How far the heads together lie over the ambient at the meter, which was held at the subject: elsewhere in the
    picture it is another figure, which the map of a blend shows place by place. None where the plan does not say."""
    if worked.strobe_stops is None or worked.ambient_stops is None:
        return None
    heads = [one.strobe.name for one in worked.strobes if one.stops is not None]
    who = f"{listed(heads)} together" if len(heads) > 1 else heads[0]
    over = worked.strobe_stops - worked.ambient_stops
    size = units.format_number(abs(over), 1)
    if size == "0":
        return f"metered at the subject: {who} in balance with the ambient"
    unit = "stop" if size == "1" else "stops"
    return f"metered at the subject: {who} {size} {unit} {'over' if over > 0 else 'under'} the ambient"


def _exposure(worked: WorkedSetup) -> str:
    exposure = worked.setup.exposure
    if exposure is None or worked.ev100 is None:
        return "not planned"
    return (
        f"{units.format_aperture(exposure.aperture)}  {units.format_shutter(exposure.shutter)}  "
        f"{units.format_iso(exposure.iso)}  EV100 {units.format_number(worked.ev100, 1)}"
    )


def _level(stops: float | None, unknown: str = "not known") -> str:
    if stops is None:
        return unknown
    text = units.format_stops(stops)
    return f"{text} {'stop' if text.lstrip('+−') == '1' else 'stops'}" if text != "0" else "0 (as the exposure)"


def _heads(strobes: Iterable[WorkedStrobe]) -> Iterator[str]:
    rows = [
        (
            one.strobe.name,
            "" if one.strobe.power is None else units.format_power(one.strobe.power),
            "?" if one.reads is None else units.format_aperture(one.reads),
            "?" if one.stops is None else units.format_stops(one.stops),
            "" if one.share is None else f"{round(one.share * 100)} %",
        )
        for one in strobes
    ]
    if not rows:
        return
    rows.insert(0, ("head", "power", "reads", "stops", "share"))
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(row[i].rjust(widths[i]) for i in range(1, 5))]
        yield "  " + "  ".join(cells).rstrip()


def _ladder(worked: WorkedSetup) -> Iterator[str]:
    if worked.shutter_for is None:
        return
    yield "  shutter for ambient at"
    for target, seconds in worked.shutter_for.items():
        text = "no such time" if seconds is None else units.format_shutter(seconds)
        notes = []
        if seconds is not None and as_planned(worked, seconds):
            notes.append("as planned")
        if target in worked.beyond_sync:
            notes.append("faster than sync")
        if target == 0 and worked.strobe_stops is not None:
            notes.append("as much as the exposure")
        yield f"    {units.format_stops(target):>2}  {text:<8}  {', '.join(notes)}".rstrip()


def as_planned(worked: WorkedSetup, seconds: float) -> bool:
    """Whether a shutter is the planned one."""
    planned = worked.setup.exposure
    return planned is not None and abs(seconds - planned.shutter) < 1e-9


def frame_lines(worked: WorkedSetup, matching: Matching) -> Iterator[str]:
    """The frames of a set-up, and where camera and plan disagree."""
    names = matching.frames_of(worked.setup.id)
    if not names:
        yield "  frames    none"
        return
    span = names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}"
    counts = {how: sum(matching.how[name] == how for name in names) for how in ("time", "exposure")}
    told = ", ".join(f"{count} by {how}" for how, count in counts.items() if count)
    yield f"  frames    {len(names)}: {span}" + (f" ({told})" if told else "")
    yield from (f"  blend {told}" for told in matching.blends.get(worked.setup.id, {}).values())
    unknown = [name for name in names if matching.frames[name].taken is None]
    if unknown:
        yield f"  camera's exposure not known: {_listed(unknown)}"
    differing: dict[str, list[FrameMatch]] = {}
    for name in names:
        match = matching.frames[name]
        if match.taken is not None:
            planned = worked.setup.exposure
            found = ", ".join(disagreement(planned.values, match.taken)) if planned is not None else ""
            if found:
                differing.setdefault(found, []).append(match)
    if differing:
        yield "  camera and plan disagree"
    for found, matches in differing.items():
        yield f"    {_listed([match.name for match in matches])}"
        yield f"      {found}"
        yield f"      {_told(matches[0])}"


def _told(match: FrameMatch) -> str:
    """What a difference means for the picture."""
    stops = match.difference_stops or 0.0
    text = units.format_stops(abs(stops)).lstrip("+")
    unit = "stop" if text == "1" else "stops"
    darker = "darker" if stops > 0 else "lighter"
    parts = ["as light as planned" if text == "0" else f"{text} {unit} {darker} than planned"]
    if match.ambient_stops is not None:
        parts.append(f"ambient {units.format_stops(match.ambient_stops)}")
    if match.strobe_stops is not None:
        parts.append(f"strobes {units.format_stops(match.strobe_stops)}")
    return "; ".join(parts)


def _listed(names: list[str], most: int = 6) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[: most - 1])} … {names[-1]} ({len(names)})"


def left_over_lines(matching: Matching) -> list[tuple[str, tuple[str, ...]]]:
    """What is left to look at, as headings with lines: strays, frames that several set-ups claim, doubtful ones."""
    reasons: dict[str, list[str]] = {}
    for name, reason in matching.strays.items():
        reasons.setdefault(reason, []).append(name)
    claims: dict[tuple[str, ...], list[str]] = {}
    for name, ids in matching.overlaps.items():
        claims.setdefault(ids, []).append(name)
    found = [
        ("Frames of no set-up", [f"{_listed(names)}: {reason}" for reason, names in reasons.items()]),
        (
            "Frames that several set-ups claim (left out)",
            [f"{_listed(names)}: {' and '.join(ids)}; narrow their name patterns" for ids, names in claims.items()],
        ),
        ("Blends of no set-up", list(matching.blends.get(None, {}).values())),
        ("Doubtful: look at these", [f"{name}: {reason}" for name, reason in matching.doubtful.items()]),
    ]
    return [(heading, tuple(lines)) for heading, lines in found if lines]
