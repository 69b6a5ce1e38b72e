"""The words in which `finishing inspect` tells what stands in a picture's record."""

import math
import unicodedata
from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from finishing import units
from finishing.documents.fields import parse_number
from finishing.documents.flow import flow
from finishing.documents.tree import parse_tree
from finishing.errors import Problem, ProblemSet
from finishing.evenness.correction import Correction
from finishing.evenness.white_words import white_words
from finishing.photographs.finished import FinishedRecord
from finishing.photographs.metadata import FrameMetadata

#: In what state a frame is that something was made from.
THERE, CHANGED, GONE, NOT_FOUND = "there, unchanged", "changed", "gone", "not found"
UNREADABLE = "cannot be read"
#: Light spans some 30 stops from starlight to the sun; a record that tells more is not of this program.
_MOST_STOPS = 100
#: Signs that are not seen, and without which words in some scripts are not written rightly (Unicode 15, 23.2).
_JOINERS = "\u200c\u200d"
#: Longer than this, a line says less than the file it comes from.
LONGEST = 100
#: No step of a recipe that people write is longer.
_LONGEST_STEP = 4000
#: Stands for a blank at which no line is broken; no text has it that went through `plain`.
_HELD = "\x00"


def plain(line: str) -> str:
    """A line without what would command a terminal or turn the reading direction (controls, formats, line ends)."""
    return "".join(
        " " if sign in "\n\r\t\v\f\u2028\u2029\x85" else sign
        for sign in line
        if sign in _JOINERS
        or sign in "\n\r\t\v\f\u2028\u2029\x85"
        or unicodedata.category(sign) not in ("Cc", "Cf", "Cs")
    )


def short(text: str) -> str:
    """A text that is cut where it gets longer than a line."""
    return text if len(text) <= LONGEST else text[: LONGEST - 2].rstrip() + " …"


def made_words(made_at: str) -> str:
    """made 2026-09-20 10:12:13 UTC, of a time as the ledger has it."""
    return f"made {made_at.replace('T', ' ').replace('+00:00', ' UTC')}"


def setting_words(settings: Mapping[str, Any]) -> str:
    """kept_hue: 72, softness: 11; regions and the like are left to the record."""
    told = (f"{key}: {short(flow(value))}" for key, value in settings.items() if not isinstance(value, dict))
    return ", ".join(short(one) for one in told)


def step_words(done: str, recipe: str | None) -> list[str]:
    """What was done, in its order, whole. done: as it was noted, without what stands at its default; recipe: the text
    that was kept of the recipe, which spells the look's steps out."""
    noted = [step[:_LONGEST_STEP] for step in done.split("; ") if step]
    steps = _spelled_out(recipe or "")
    before, same = noted[: len(noted) - len(steps)], noted[len(noted) - len(steps) :]
    if [step.partition(":")[0] for step in same] != [step.partition(":")[0] for step in steps]:
        return noted  # the text was written by somebody else
    return [*before, *(step[:_LONGEST_STEP] for step in steps)]


def _spelled_out(recipe: str) -> list[str]:
    """The steps of a recipe's text, each as it may stand in a recipe; none where it is not one."""
    try:
        data = parse_tree(recipe, "").data
        steps = data.get("steps") if isinstance(data, dict) else None
        if not isinstance(steps, list) or not all(isinstance(step, dict) and len(step) == 1 for step in steps):
            return []
        return [flow(_with_numbers(step)).removeprefix("{").removesuffix("}") for step in steps]
    except (Problem, ProblemSet, RecursionError):
        return []


def _with_numbers(value: Any) -> Any:
    """The same with numbers in place of the texts that they are written as."""
    if isinstance(value, dict):
        return {key: _with_numbers(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_with_numbers(item) for item in value]
    try:
        return parse_number(value)
    except ValueError:
        return value


def wrapped(label: str, text: str, width: int | None) -> list[str]:
    """A text behind its label, which takes the same room on every line; a name stays with its value where lines are
    broken. width: of the terminal in columns, None for one line."""
    if width is None:
        return [plain(label + text)]
    kept = plain(text).replace(": ", f":{_HELD}")
    rest = " " * (len(label) + 2)
    lines = wrap(kept, max(width, len(rest) + 30), initial_indent=label, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(_HELD, " ") for line in lines] or [label]


def stops_words(written: str) -> str:
    """−2 from "-2"; what somebody else wrote there stays as it is."""
    stops = _stops(written)
    return short(written) if stops is None else units.format_stops(stops, 2)


def _stops(written: str) -> float | None:
    """A number of stops that there can be; None for what is none."""
    try:
        stops = float(written)
    except ValueError:
        return None
    return stops if math.isfinite(stops) and abs(stops) <= _MOST_STOPS else None


def look_words(record: FinishedRecord) -> str:
    """Saffron (saffron), version 2, recipe 3f2a91c0d4e5."""
    values = record.values
    if "Recipe" not in values:
        return ""
    title = values.get("RecipeTitle")
    name = short(values["Recipe"])
    told = f"{short(title)} ({name})" if title else name
    told += f", version {short(values['RecipeVersion'])}" if "RecipeVersion" in values else ""
    return told + (f", recipe {values['RecipeHash'][:12]}" if "RecipeHash" in values else "")


def source_words(sources: Sequence[Mapping[str, Any]]) -> list[str]:
    """Each frame with the state it is in."""
    words = {
        THERE: "it is there, unchanged",
        CHANGED: "it has changed since",
        GONE: "it is gone",
        NOT_FOUND: "it is not beside this file",
        UNREADABLE: "it cannot be read",
    }
    return [
        f"{short(one['name'])} (SHA-256 {one['hash'][:12]}…): {words[one['state']]}"
        if one["hash"]
        else short(one["name"])
        for one in sources
    ]


def blend_words(record: FinishedRecord) -> str:
    """ambient +0.7 stops, strobe off."""
    values = record.values
    told = []
    for light in ("Ambient", "Strobe"):
        stops = values.get(f"Blend{light}Stops")
        if stops is not None:
            white = values.get(f"Blend{light}WhiteBalance")
            how = "off" if stops == "off" else f"{stops_words(stops)} stops"
            told.append(f"{light.lower()} {how}" + (f" (balanced for {short(white)})" if white else ""))
    return ", ".join(told)


def planned_words(values: Mapping[str, str]) -> str:
    """f/8 · 1/125 · ISO 100 · EV 13 at ISO 100 · ambient −2 stops."""
    parts = [values.get(key) for key in ("PlannedAperture", "PlannedShutter")]
    parts.append(f"ISO {values['PlannedISO']}" if "PlannedISO" in values else None)
    parts.append(f"EV {values['ExposureValue100']} at ISO 100" if "ExposureValue100" in values else None)
    if "AmbientStops" in values:
        parts.append(f"ambient {stops_words(values['AmbientStops'])} stops")
    return " · ".join(short(part) for part in parts if part)


def strobe_words(record: FinishedRecord) -> list[str]:
    """Each strobe: key: medium softbox, camera left, power 1/1, reads f/8."""
    told = []
    for strobe in record.lists.get("Strobes", ()):
        parts = [strobe.get("Modifier"), strobe.get("Position")]
        parts.append(f"power {strobe['Power']}" if "Power" in strobe else None)
        parts.append(f"reads {strobe['Reads']}" if "Reads" in strobe else None)
        said = ", ".join(part for part in parts if part)
        name = short(strobe.get("Name", ""))
        told.append(f"{name}: {short(said)}" if said else name)
    return told


def camera_against_plan(values: Mapping[str, str]) -> str:
    """gave 1 stop more light than planned."""
    written = values.get("PlanMinusCameraStops")
    if written is None:
        return ""
    stops = _stops(written)
    if stops is None:
        return short(written)
    if stops == 0:
        return "exposed as planned"
    amount = units.format_stops(abs(stops), 2).lstrip("+")
    return f"gave {amount} stop{'s' * (abs(stops) != 1)} {'less' if stops > 0 else 'more'} light than planned"


def camera(metadata: FrameMetadata, *, planned_heads: bool = False) -> list[tuple[str, str]]:
    """Exposure, time, camera and place, as far as the file tells them.

    planned_heads: the file was finished by a plan with strobes; its flash entry then follows the plan, and says nothing
    of what the camera noted. A camera notes what fires on its shoe or its cord; heads on radio leave no trace.
    """
    parts = [
        None if metadata.exposure_seconds is None else units.format_shutter(metadata.exposure_seconds),
        None if metadata.f_number is None else units.format_aperture(metadata.f_number),
        None if metadata.iso is None else units.format_iso(metadata.iso),
    ]
    if metadata.exposure_bias_stops:
        parts.append(f"{units.format_stops(metadata.exposure_bias_stops, 2)} stops dialled in")
    if metadata.flash_fired is not None and not planned_heads:
        parts.append("a flash fired on the camera" if metadata.flash_fired else "no flash on the camera")
    taken = "" if metadata.captured is None else metadata.captured.strftime("%Y-%m-%d %H:%M:%S")
    if taken and metadata.utc_offset_seconds is not None:
        taken += f" (UTC{_offset(metadata.utc_offset_seconds)})"
    body = " ".join(part for part in (metadata.make, metadata.model) if part)
    length = f"at {units.format_number(metadata.focal_length_mm, 1)} mm" if metadata.focal_length_mm else None
    place = ""
    if metadata.latitude is not None and metadata.longitude is not None:
        place = f"latitude {metadata.latitude:.5f}, longitude {metadata.longitude:.5f}"
    return [
        ("exposed", " · ".join(part for part in parts if part)),
        ("taken", taken),
        ("with", ", ".join(short(part) for part in (body, metadata.lens, length) if part)),
        ("place", place),
    ]


def _offset(seconds: float) -> str:
    minutes = round(abs(seconds) / 60)
    return f"{'−' if seconds < 0 else '+'}{minutes // 60:02}:{minutes % 60:02}"


def evening_words(values: Mapping[str, str]) -> str:
    """What evening out did: +0.33 stops, white from the grey card in A-0001: about 700 K warmer …"""
    parts = []
    if "ExposureCorrectionStops" in values:
        parts.append(f"{stops_words(values['ExposureCorrectionStops'])} stops")
    if "WhiteBalanceCorrection" in values:
        found = white_words(values["WhiteBalanceCorrection"])
        told = (values["WhiteBalanceCorrection"],) if found is None else found
        parts.append(f"white balance: {': '.join(short(one) for one in told if one)}")
    return ", ".join(parts)


def correction_words(correction: Correction) -> str:
    """The same of a correction, in brief: +0.3 stops, white: grey card in A-0001. Empty where nothing was done."""
    parts = [f"{units.format_stops(correction.stops, 2)} stops"] if correction.stops else []
    if correction.rows is not None:
        parts.append(f"white: {correction.white}" if correction.white else "white")
    return ", ".join(parts)
