"""The shoot plan: what was planned at the place, set-up by set-up (`plan.yaml`).

What cannot be right is an error with its place. What is only doubtful (a shutter faster than the sync time, a
reading that does not follow from power and distance) is a warning: see `finishing.sessions.worked_out`.
"""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from finishing import units
from finishing.documents import Document, Tree
from finishing.documents.fields import (
    Aperture,
    Clock,
    Date,
    Distance,
    Iso,
    Power,
    Shutter,
    Stops,
    Text,
    UtcOffset,
    number,
    scalar,
    texts,
)
from finishing.documents.reading import Model, validate
from finishing.documents.tree import read_text, tree_and_problems
from finishing.errors import Problem, ProblemSet
from finishing.exposure.values import Exposure

Latitude = Annotated[float, number(-90, 90, "degrees", example="47.4")]
Longitude = Annotated[float, number(-180, 180, "degrees", example="8.6")]
GuideNumber = Annotated[float, number(0.5, 1000, "metres", example="43")]
Coverage = Annotated[float, number(1, 360, "degrees", example="60")]
EXPECTED_SYNC = "a shutter time up to 1 s, such as 1/200"


def _parse_sync(value: object) -> float:
    """A shutter time of no more than a second: `200` is a slip, not 200 seconds. Raises ValueError."""
    seconds = units.parse_shutter(value)
    if seconds > 1:
        raise ValueError(EXPECTED_SYNC)
    return seconds


Sync = Annotated[float, scalar(_parse_sync, EXPECTED_SYNC, "1/200", unit="seconds")]
Names = Annotated[tuple[str, ...], texts("a name pattern such as A-*, or a list of them", "A-*")]


class PlaceOfShoot(Model):
    """Where and when. latitude, longitude: degrees north and east; utc_offset: seconds east of UTC."""

    name: Text | None = None
    latitude: Latitude | None = None
    longitude: Longitude | None = None
    date: Date | None = None
    utc_offset: UtcOffset | None = None


class PlannedExposure(Model):
    """What to set on the camera, as printed on it. aperture: f-number; shutter: seconds."""

    aperture: Aperture
    shutter: Shutter
    iso: Iso

    @property
    def values(self) -> Exposure:
        """For the arithmetic of `finishing.exposure`."""
        return Exposure(self.aperture, self.shutter, self.iso)


class Strobe(Model):
    """One head.

    reads: the flash meter's f-number at the subject, at the set-up's ISO, at `power`;
    power: fraction of full power; distance: metres to the subject; coverage: degrees;
    guide_number: metres at ISO 100 and full power, of the bare head in its usual reflector;
    full_power_reads: the f-number at the subject at full power, with the modifier on, at the set-up's ISO.
    """

    name: Text
    modifier: Text | None = None
    position: Text | None = None
    power: Power | None = None
    reads: Aperture | None = None
    distance: Distance | None = None
    guide_number: GuideNumber | None = None
    full_power_reads: Aperture | None = None
    coverage: Coverage | None = None


class Setup(Model):
    """One arrangement of subject, camera and lights.

    frames: name patterns; from, to: times of day in seconds, local at the place; exposure: None where none was
    planned, and frames tell what the camera did; ambient: stops of the metered ambient against the exposure, None
    where it was not metered.
    """

    id: Text
    title: Text | None = None
    frames: Names = ()
    starts: Annotated[Clock | None, Field(alias="from")] = None
    ends: Annotated[Clock | None, Field(alias="to")] = None
    exposure: PlannedExposure | None = None
    ambient: Stops | None = None
    strobes: tuple[Strobe, ...] = ()


class ShootPlan(Model):
    """What is read from plan.yaml. sync: the fastest shutter, in seconds, that takes the whole strobe."""

    place: PlaceOfShoot = PlaceOfShoot()
    sync: Sync | None = None
    setups: Annotated[tuple[Setup, ...], Field(min_length=1)]

    def setup(self, name: str) -> Setup:
        """The set-up with this id. Raises KeyError."""
        for one in self.setups:
            if one.id == name:
                return one
        raise KeyError(name)


def read_plan(path: Path) -> Document[ShootPlan]:
    """Read and check a plan. Raises Problem (no such file) or ProblemSet (all that is wrong in it)."""
    return _checked(read_text(path), str(path), path)


def setup_ids(path: Path) -> list[str] | None:
    """The ids of the set-ups of a plan that may be faulty; None where one of them cannot be told."""
    try:
        tree, _ = tree_and_problems(read_text(path), str(path))
    except (Problem, ProblemSet):
        return None
    setups = tree.at(("setups",))
    ids = [one.id for one in _outlines(tree)]
    known = [name for name in ids if name is not None]
    return known if isinstance(setups, list) and len(known) == len(setups) else None


@dataclass(frozen=True)
class _Outline:
    """What is compared between set-ups, read by itself, so that other faults of a set-up do not hide its own.

    index: its position; what is missing or cannot be read is None (told elsewhere).
    """

    index: int
    id: str | None
    starts: float | None
    ends: float | None
    lacks: str | None
    named: bool
    strobes: tuple[str | None, ...]


def _checked(text: str, file: str, path: Path) -> Document[ShootPlan]:
    tree, problems = tree_and_problems(text, file)
    value: ShootPlan | None = None
    try:
        value = validate(tree, (), ShootPlan)
    except ProblemSet as error:
        problems += error.problems
    outlines = _outlines(tree)
    told: Document[Any] = Document(value, tree, path)
    problems += [*_names(told, outlines), *_times(told, outlines), *_overlaps(told, outlines)]
    if problems or value is None:
        raise ProblemSet(problems)
    return Document(value, tree, path)


def _outlines(tree: Tree) -> list[_Outline]:
    setups = tree.at(("setups",))
    return [
        _outline(i, one) for i, one in enumerate(setups if isinstance(setups, list) else []) if isinstance(one, dict)
    ]


def _outline(index: int, setup: dict[str, Any]) -> _Outline:
    strobes = setup.get("strobes")
    names = [one.get("name") if isinstance(one, dict) else None for one in strobes] if isinstance(strobes, list) else []
    times = [key for key in ("from", "to") if setup.get(key) is not None]
    return _Outline(
        index,
        _text(setup.get("id")),
        _clock(setup.get("from")),
        _clock(setup.get("to")),
        {"from": "to", "to": "from"}[times[0]] if len(times) == 1 else None,
        bool(setup.get("frames")),
        tuple(_text(name) for name in names),
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value.strip() else None


def _clock(value: object) -> float | None:
    try:
        return units.parse_clock(value)
    except ValueError:
        return None


def _names(document: Document[Any], outlines: list[_Outline]) -> list[Problem]:
    problems: list[Problem] = []
    first: dict[str, int] = {}
    for setup in outlines:
        at = ("setups", setup.index, "id")
        if setup.id in first:
            line = document.place("setups", first[setup.id], "id").line
            problems.append(
                document.problem(
                    f'a second set-up has the id "{setup.id}"',
                    *at,
                    expected=f"ids that differ (the first is at line {line})",
                    remedy="give each set-up an id of its own",
                )
            )
        elif setup.id == "all":
            problems.append(document.problem('"all" means every frame', *at, remedy="give the set-up another id"))
        if setup.id is not None:
            first.setdefault(setup.id, setup.index)
        problems += _strobe_names(document, setup)
    return problems


def _called(setup: _Outline) -> str:
    return f'"{setup.id}"' if setup.id else f"number {setup.index + 1}"


def _strobe_names(document: Document[Any], setup: _Outline) -> list[Problem]:
    counts = Counter(name for name in setup.strobes if name is not None)
    problems: list[Problem] = []
    for j, name in enumerate(setup.strobes):
        if name is not None and counts[name] > 1:
            counts[name] = 1  # told once
            problems.append(
                document.problem(
                    f'two strobes of set-up {_called(setup)} have the name "{name}"',
                    "setups", setup.index, "strobes", j, "name",
                    remedy=f"tell them apart, for example {name} left and {name} right",
                )
            )  # fmt: skip
    return problems


def _times(document: Document[Any], outlines: list[_Outline]) -> list[Problem]:
    problems: list[Problem] = []
    for setup in outlines:
        if setup.lacks is not None:
            there = "from" if setup.lacks == "to" else "to"
            problems.append(
                document.problem(
                    f'"{there}" stands without "{setup.lacks}" in set-up {_called(setup)}',
                    "setups", setup.index, there,
                    expected="both times, or neither",
                    remedy=f'add {setup.lacks}: "19:10", for example',
                )
            )  # fmt: skip
        elif setup.starts is not None and setup.ends is not None and setup.ends <= setup.starts:
            problems.append(
                document.problem(
                    f"set-up {_called(setup)} ends before it starts",
                    "setups", setup.index, "to",
                    expected=f"a time after {units.format_clock(setup.starts)} on the same day",
                    remedy="swap the times; past midnight, name the frames instead (frames: A-*)",
                )
            )  # fmt: skip
    return problems


def _overlaps(document: Document[Any], outlines: list[_Outline]) -> list[Problem]:
    timed = [
        (setup.starts, setup.ends, setup)
        for setup in outlines
        if setup.starts is not None and setup.ends is not None and setup.starts < setup.ends
    ]
    problems: list[Problem] = []
    for n, (starts, ends, setup) in enumerate(timed):
        for other_starts, other_ends, other in timed[:n]:
            by_name = setup.named and other.named  # then times only back the names up
            if starts < other_ends and other_starts < ends and not by_name:
                span = f"{units.format_clock(other_starts)} to {units.format_clock(other_ends)}"
                problems.append(
                    document.problem(
                        f"set-ups {_called(other)} and {_called(setup)} overlap in time",
                        "setups", setup.index, "from",
                        got=f"{units.format_clock(starts)} to {units.format_clock(ends)}",
                        expected=f"times outside {span}",
                        remedy="mend the times, or name the frames of both (frames: A-*)",
                    )
                )  # fmt: skip
    return problems
