"""Blends of a session: frames of one tripod whose strobe and ambient are put together anew, as written under `blends`.

A blend is a frame like any other. What `per_frame` says of its first source holds for it as well (subject, crop,
straighten, masks, rating), key by key, unless `per_frame` says otherwise under the blend's own name.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from pathlib import PurePath
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema

from finishing import units
from finishing.documents import Document
from finishing.documents.fields import Words, parse_number, texts
from finishing.documents.reading import Model
from finishing.errors import Problem
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.frame_names import is_pattern, several_names, unknown_frame

#: A light is moved by no more than so many stops: beyond it there is nothing but noise, or white.
MOST_STOPS = 10.0
LEAST_KELVIN, MOST_KELVIN, MOST_GAIN = 2000.0, 25000.0, 16.0
OFF = "off"

EXPECTED_STOPS = f"stops from -{MOST_STOPS:g} to +{MOST_STOPS:g} against the first source, or off"
EXPECTED_WHITE = "kelvin from 2000 to 25000, or three gains [red, green, blue] above 0 and up to 16"

#: Names that mean something else where frames are named.
_TAKEN = ("all", "picked")
#: What some disk or file name pattern has no place for.
_UNSAFE = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|\[\]{},]')


#: Names of devices, with any ending, on disks of Windows.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³")}
#: In bytes of UTF-8: a file system's 255 leave room for what a deliverable's name puts around it.
_LONGEST = 100


def parse_light(value: object) -> float | None:
    """Stops against the first source; None for `off`, which leaves the light out. Raises ValueError."""
    if isinstance(value, str) and value.strip().lower() == OFF:
        return None
    stops = units.parse_stops(value)
    if abs(stops) > MOST_STOPS:
        raise ValueError(EXPECTED_STOPS)
    return stops


def parse_white(value: object) -> float | tuple[float, float, float]:
    """Kelvin (5600, 5600 K) or three gains. Raises ValueError."""
    if isinstance(value, list | tuple):
        gains = tuple(parse_number(part) for part in value)
        if len(gains) != 3 or not all(0 < gain <= MOST_GAIN for gain in gains):
            raise ValueError(EXPECTED_WHITE)
        return gains[0], gains[1], gains[2]
    kelvin = parse_number(re.sub(r"\s*K\s*$", "", value, flags=re.IGNORECASE) if isinstance(value, str) else value)
    if not LEAST_KELVIN <= kelvin <= MOST_KELVIN:
        raise ValueError(EXPECTED_WHITE)
    return kelvin


def _read(parse: Any, expected: str) -> Any:
    def read(value: object) -> Any:
        try:
            return parse(value)
        except (ValueError, TypeError, OverflowError):
            raise ValueError(f"expected {expected}") from None

    return BeforeValidator(read)


LightStops: Any = Annotated[
    float | None,
    _read(parse_light, EXPECTED_STOPS),
    WithJsonSchema(
        {
            "description": EXPECTED_STOPS,
            "anyOf": [{"type": "number", "minimum": -MOST_STOPS, "maximum": MOST_STOPS}, {"type": "string"}],
        }
    ),
    Words(EXPECTED_STOPS, "+0.7", "stops", also=(("no", OFF), ("none", OFF), ("false", OFF))),
]
White: Any = Annotated[
    float | tuple[float, float, float],
    _read(parse_white, EXPECTED_WHITE),
    WithJsonSchema(
        {
            "description": EXPECTED_WHITE,
            "anyOf": [
                {"type": "number", "minimum": LEAST_KELVIN, "maximum": MOST_KELVIN},
                {
                    "type": "array",
                    "items": {"type": "number", "exclusiveMinimum": 0, "maximum": MOST_GAIN},
                    "minItems": 3,
                    "maxItems": 3,
                },
            ],
        }
    ),
    Words(EXPECTED_WHITE, "5600"),
]
Sources = Annotated[
    tuple[str, ...], texts("frames of the session, two or more: the first is the reference", "[C-0012, C-0013]")
]
Dark = Annotated[tuple[str, ...], texts("those of the sources in which no strobe fired", "[C-0013]")]


class BlendLight(Model):
    """Each light against the first source, in stops: + is more of it; None (`off`) leaves it out."""

    ambient: LightStops = 0.0
    strobe: LightStops = 0.0


class BlendWhite(Model):
    """Each light's white balance: kelvin of a light that becomes neutral (6504 leaves it as it is, more makes it
    warmer), or three gains of linear red, green and blue."""

    ambient: White | None = None
    strobe: White | None = None


class FrameBlend(Model):
    """One blend. sources: names of frames from one tripod, with the same aperture and ISO and different shutters (or
    one of them without strobes), the first being the reference; strobes_off: those in which no strobe fired."""

    sources: Sources
    strobes_off: Dark = ()
    light: BlendLight = BlendLight()
    white_balance: BlendWhite = BlendWhite()


Blends: Any = Annotated[dict[str, FrameBlend], Field(default_factory=dict)]


def blend_problems(
    document: Document[Any],
    blends: Mapping[str, FrameBlend],
    frames: Collection[str],
    skipped: Collection[str],
    setups: Iterable[str],
) -> list[Problem]:
    """All that is wrong with the blends of a session. frames: names of its frames; skipped: frames and blends that are
    left out, of which blends nothing is told; setups: ids of the plan's set-ups.

    A source that is not there is not told: its blend fails alone (see `missing_source`), as other frames do.
    """
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    for name, blend in blends.items():
        if name in skipped and name not in frames:
            continue
        problems += _name(document, name, frames, setups, seen)
        problems += _sources(document, name, blend, frames, blends, skipped)
        problems += _strobes_off(document, name, blend)
        if blend.light.ambient is None and blend.light.strobe is None:
            problems.append(
                document.problem(
                    "nothing is left of this blend: both lights are off",
                    "blends", name, "light",
                    remedy="take off away from ambient or from strobe",
                )
            )  # fmt: skip
    return problems


def _name(
    document: Document[Any], name: str, frames: Collection[str], setups: Iterable[str], seen: dict[str, str]
) -> list[Problem]:
    """Whether the name can stand for a frame and for files made of it, on every disk."""
    place = document.tree.key_place(("blends", name))

    def wrong(what: str, remedy: str, expected: str | None = None) -> list[Problem]:
        return [Problem(what, where=place, got=name, expected=expected, remedy=remedy)]

    if len(name.encode()) > _LONGEST:
        return wrong("this name of a blend is too long for a file name", "write C-blend, for example",
                     f"at most {_LONGEST} letters and digits, fewer with accents")  # fmt: skip
    if name.split(".")[0].strip().lower() in _DEVICES:
        return wrong("some disks keep this name for a device", f"give the blend another name, such as {name}-blend")
    if _UNSAFE.search(name) or name != name.strip() or name.startswith((".", "-", "~")) or name.endswith("."):
        return wrong(
            "this name of a blend is not safe as a file name",
            "write C-blend, for example",
            "letters, digits, - and _, as in the names of frames",
        )
    frame = next((one for one in frames if as_disks_compare(one) == as_disks_compare(name)), None)
    if frame is not None:
        return wrong(
            f'the blend has the name of the frame "{frame}"', f"give the blend a name of its own, such as {name}-blend"
        )
    if name.lower() in _TAKEN or name in setups:
        what = "a set-up" if name in setups else "more than one frame"
        return wrong(f'"{name}" means {what}, and no blend', f"give the blend another name, such as {name}-blend")
    other = seen.setdefault(as_disks_compare(name), name)
    if other != name:
        how = "capitals" if other.lower() == name.lower() else "capitals or in how an accent is written"
        return wrong(f'the blend "{other}" differs from this one in {how} alone', "give one of them another name")
    return []


def _sources(
    document: Document[Any],
    name: str,
    blend: FrameBlend,
    frames: Collection[str],
    blends: Mapping[str, FrameBlend],
    skipped: Collection[str],
) -> list[Problem]:
    problems: list[Problem] = []
    known = [frame for frame in frames if frame not in skipped]
    for index, source in enumerate(blend.sources):
        at = _at(document, name, "sources", index)
        if source in blends:
            what, remedy = f'"{source}" is a blend itself', "name the frames that it is made of"
            problems.append(document.problem(what, *at, expected="frames as the camera took them", remedy=remedy))
        elif (is_pattern(source) and source not in frames) or (
            source not in frames and PurePath(source).stem in frames
        ):
            file = PurePath(source).stem
            found = unknown_frame(source, known, document.place(*at))
            near = f'write the frame\'s name alone: "{file}"' if file in frames else found.remedy
            problems.append(Problem(found.what, where=found.where, got=found.got, expected=found.expected, remedy=near))
        elif source in skipped:
            what, remedy = f'the source "{source}" is left out of the session', f"take skip: yes away from {source}"
            problems.append(document.problem(what, *at, remedy=f"{remedy}, or use another frame"))
        elif source in blend.sources[:index]:
            problems.append(document.problem(f'the source "{source}" is named twice', *at, remedy="name it once"))
    apart = None if len(blend.sources) > 1 else several_names(blend.sources[0], known)
    if apart is not None:
        what = "several frames stand here as one text"
        problems.append(document.problem(what, *_at(document, name, "sources", 0), remedy=f"write sources: {apart}"))
    if len(set(blend.sources)) < 2 and not problems:
        problems.append(
            document.problem(
                "one frame does not tell strobe and ambient apart",
                "blends", name, "sources",
                expected="two frames or more from one tripod, with different shutters, or one without strobes",
                remedy="add the frame with the shutter two stops longer, or one with the strobes off",
            )
        )  # fmt: skip
    return problems


def missing_source(document: Document[Any], name: str, blend: FrameBlend, frames: Collection[str]) -> Problem | None:
    """Why a blend cannot be made of which a source is not there, with the place of that name; None where all are.
    frames: names of the frames that are not left out. No source is suggested that the blend has already."""
    for index, source in enumerate(blend.sources):
        if source in frames:
            continue
        place = document.place(*_at(document, name, "sources", index))
        found = unknown_frame(source, [frame for frame in frames if frame not in blend.sources], place)
        remedy = f"bring the file of {source} back from the card, or correct the name"
        if found.remedy is not None and found.remedy.startswith("did you mean"):
            remedy = f"{found.remedy} if not, {remedy}"
        return Problem(found.what, where=name, got=f"{source} at {place}", expected=found.expected, remedy=remedy)
    return None


def _strobes_off(document: Document[Any], name: str, blend: FrameBlend) -> list[Problem]:
    problems = [
        document.problem(
            f'"{dark}" is not among the sources',
            *_at(document, name, "strobes_off", index),
            expected="one of " + ", ".join(blend.sources),
            remedy="name it among the sources as well, or leave it out here",
        )
        for index, dark in enumerate(blend.strobes_off)
        if dark not in blend.sources
    ]
    if not problems and set(blend.sources) <= set(blend.strobes_off):
        problems.append(
            document.problem(
                "no source has the strobes on",
                "blends", name, "strobes_off",
                remedy="leave out here the frames in which they fired",
            )
        )  # fmt: skip
    return problems


def _at(document: Document[Any], name: str, key: str, index: int) -> tuple[str | int, ...]:
    """The path of one of several names, or of the one that stands alone."""
    listed = isinstance(document.tree.at(("blends", name, key)), list)
    return ("blends", name, key, index) if listed else ("blends", name, key)


def setup_problems(
    document: Document[Any], blends: Mapping[str, FrameBlend], setup_of: Mapping[str, str]
) -> list[Problem]:
    """Blends whose sources are of different set-ups. setup_of: ids by frame; a frame of none says nothing."""
    problems = []
    for name, blend in blends.items():
        own = {source: setup_of[source] for source in blend.sources if source in setup_of}
        if len(set(own.values())) > 1:
            told = ", ".join(f"{source} is of {setup}" for source, setup in own.items())
            problems.append(
                document.problem(
                    "the sources of this blend are of different set-ups",
                    "blends", name, "sources",
                    got=told,
                    expected="frames of one set-up, from one tripod, one after the other",
                    remedy="use frames of one set-up; `finishing plan` lists which belong where",
                )
            )  # fmt: skip
    return problems


def setup_of_blend(blend: FrameBlend, setup_of: Mapping[str, str]) -> str | None:
    """The set-up of a blend: that of its sources; None where none of them has one."""
    return next((setup_of[source] for source in blend.sources if source in setup_of), None)


def blends_by_setup(
    blends: Mapping[str, FrameBlend], setup_of: Mapping[str, str], frames: Collection[str]
) -> dict[str | None, dict[str, str]]:
    """The blends in words, by the set-up that they belong to and by name. frames: names of those that are there."""
    found: dict[str | None, dict[str, str]] = {}
    for name, blend in blends.items():
        own = {source: setup_of[source] for source in blend.sources if source in setup_of}
        told = f"{name} of {listed(blend.sources)}: {lights_words(blend)}"
        if len(set(own.values())) > 1:
            others = ", ".join(f"{source} is of {setup}" for source, setup in own.items())
            told += f"; cannot be made, its sources are of different set-ups: {others}"
        elif missing := [source for source in blend.sources if source not in frames]:
            told += f"; cannot be made, no frame has the name {listed(missing)}"
        found.setdefault(setup_of_blend(blend, setup_of), {})[name] = told
    return found


def blend_words(blend: FrameBlend) -> str:
    """A blend in a line: blend of C-0012 and C-0013, ambient +0.7 stop, strobe −0.3 stop."""
    return f"{made_of(blend)}, {lights_words(blend)}"


def made_of(blend: FrameBlend) -> str:
    """Blend of C-0012 and C-0013."""
    return f"blend of {listed(blend.sources)}"


def lights_words(blend: FrameBlend) -> str:
    """Both lights: ambient +0.7 stop, strobe −0.3 stop."""
    lights = (
        ("ambient", blend.light.ambient, blend.white_balance.ambient),
        ("strobe", blend.light.strobe, blend.white_balance.strobe),
    )
    return ", ".join(light_words(name, stops, white) for name, stops, white in lights)


def light_words(name: str, stops: float | None, white: float | tuple[float, float, float] | None = None) -> str:
    """One light of a blend: ambient +0.7 stop; strobe as taken; no strobe; with its white balance in brackets."""
    if stops is None:
        return f"no {name}"
    told = f"{name} {stops_words(stops)}"
    return told if white is None else f"{told} (balanced for {white_words(white)})"


def stops_words(stops: float) -> str:
    """+0.7 stop, −2 stops; as taken where nothing is changed."""
    text = units.format_stops(stops, 2)
    if text == "0":
        return "as taken"
    return f"{text} stop" + ("" if abs(stops) <= 1 else "s")


def white_words(white: float | tuple[float, float, float]) -> str:
    """5600 K, or gains 1.1, 1, 0.85."""
    if isinstance(white, tuple):
        return "gains " + ", ".join(units.format_number(gain, 3) for gain in white)
    return f"{units.format_number(white, 0)} K"


def listed(names: Iterable[str]) -> str:
    """C-0012 and C-0013; A, B and C."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last
