"""The shoot plan: what was planned at the place, set-up by set-up (`plan.yaml`).

What cannot be right is an error with its place. What is only doubtful (a shutter faster than the sync time, a
reading that does not follow from power and distance) is a warning: see `finishing.sessions.worked_out`.
"""

from collections import Counter
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from finishing import units
from finishing.documents import Document, parse_document, read_document
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
    texts,
)
from finishing.documents.reading import Model
from finishing.errors import Problem, ProblemSet
from finishing.exposure.values import Exposure

Latitude: Any = number(-90, 90, "degrees", example="47.4")
Longitude: Any = number(-180, 180, "degrees", example="8.6")
GuideNumber: Any = number(0.5, 1000, "metres", example="43")
Coverage: Any = number(1, 360, "degrees", example="60")
Names: Any = texts("a name pattern such as A-*, or a list of them", "A-*")


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

    frames: name patterns; from, to: times of day in seconds, local at the place; ambient: stops of the
    metered ambient against the exposure, None where it was not metered.
    """

    id: Text
    title: Text | None = None
    frames: Names = ()
    starts: Annotated[Clock | None, Field(alias="from")] = None
    ends: Annotated[Clock | None, Field(alias="to")] = None
    exposure: PlannedExposure
    ambient: Stops | None = None
    strobes: tuple[Strobe, ...] = ()


class ShootPlan(Model):
    """What is read from plan.yaml. sync: the fastest shutter, in seconds, that takes the whole strobe."""

    place: PlaceOfShoot = PlaceOfShoot()
    sync: Shutter | None = None
    setups: Annotated[tuple[Setup, ...], Field(min_length=1)]

    def setup(self, name: str) -> Setup:
        """The set-up with this id. Raises KeyError."""
        for one in self.setups:
            if one.id == name:
                return one
        raise KeyError(name)


def read_plan(path: Path) -> Document[ShootPlan]:
    """Read and check a plan. Raises Problem (no such file) or ProblemSet (all that is wrong in it)."""
    return _checked(read_document(path, ShootPlan))


def parse_plan(text: str, file: str = "plan.yaml") -> Document[ShootPlan]:
    """The same from text."""
    return _checked(parse_document(text, file, ShootPlan))


def _checked(document: Document[ShootPlan]) -> Document[ShootPlan]:
    problems = [*_names(document), *_times(document), *_overlaps(document)]
    if problems:
        raise ProblemSet(problems)
    return document


def _names(document: Document[ShootPlan]) -> list[Problem]:
    problems: list[Problem] = []
    first: dict[str, int] = {}
    for i, setup in enumerate(document.value.setups):
        at = ("setups", i, "id")
        if setup.id in first:
            line = document.place("setups", first[setup.id]).line
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
        first.setdefault(setup.id, i)
        problems += _strobe_names(document, i, setup)
    return problems


def _strobe_names(document: Document[ShootPlan], i: int, setup: Setup) -> list[Problem]:
    counts = Counter(strobe.name for strobe in setup.strobes)
    problems: list[Problem] = []
    for j, strobe in enumerate(setup.strobes):
        if counts[strobe.name] > 1:
            counts[strobe.name] = 1  # told once
            problems.append(
                document.problem(
                    f'two strobes of set-up "{setup.id}" have the name "{strobe.name}"',
                    "setups", i, "strobes", j, "name",
                    remedy=f"tell them apart, for example {strobe.name} left and {strobe.name} right",
                )
            )  # fmt: skip
    return problems


def _times(document: Document[ShootPlan]) -> list[Problem]:
    problems: list[Problem] = []
    for i, setup in enumerate(document.value.setups):
        if (setup.starts is None) != (setup.ends is None):
            there, missing = ("from", "to") if setup.ends is None else ("to", "from")
            problems.append(
                document.problem(
                    f'"{there}" stands without "{missing}" in set-up "{setup.id}"',
                    "setups", i, there,
                    expected="both times, or neither",
                    remedy=f'add {missing}: "19:10", for example',
                )
            )  # fmt: skip
        elif setup.starts is not None and setup.ends is not None and setup.ends <= setup.starts:
            problems.append(
                document.problem(
                    f'set-up "{setup.id}" ends before it starts',
                    "setups", i, "to",
                    expected=f"a time after {units.format_clock(setup.starts)} on the same day",
                    remedy="swap the times; past midnight, name the frames instead (frames: A-*)",
                )
            )  # fmt: skip
    return problems


def _overlaps(document: Document[ShootPlan]) -> list[Problem]:
    timed = [
        (setup.starts, setup.ends, i, setup)
        for i, setup in enumerate(document.value.setups)
        if setup.starts is not None and setup.ends is not None and setup.starts < setup.ends
    ]
    problems: list[Problem] = []
    for n, (starts, ends, i, setup) in enumerate(timed):
        for other_starts, other_ends, _, other in timed[:n]:
            by_name = setup.frames and other.frames  # then times only back the names up
            if starts < other_ends and other_starts < ends and not by_name:
                span = f"{units.format_clock(other_starts)} to {units.format_clock(other_ends)}"
                problems.append(
                    document.problem(
                        f'set-ups "{other.id}" and "{setup.id}" overlap in time',
                        "setups", i, "from",
                        got=f"{units.format_clock(starts)} to {units.format_clock(ends)}",
                        expected=f"times outside {span}",
                        remedy="mend the times, or name the frames of both (frames: A-*)",
                    )
                )  # fmt: skip
    return problems
