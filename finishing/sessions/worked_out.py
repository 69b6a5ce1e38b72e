"""The shoot plan worked out: exposure values, strobes against ambient, shutter ladder, what is doubtful."""

from dataclasses import dataclass
from typing import Any

from finishing import units
from finishing.documents import Document
from finishing.documents.tree import Path_
from finishing.errors import Problem
from finishing.exposure.light import lighting_ratio, shutter_ladder, strobe_stops, together, within_sync
from finishing.exposure.possible import Way, stops_beyond_full_power, ways_within_sync
from finishing.exposure.series import exact_exposure
from finishing.exposure.values import luminance
from finishing.sessions.falling_light import DayLight, SetupLight, day_light
from finishing.sessions.matching import Matching, rounded
from finishing.sessions.plan import Setup, ShootPlan, Strobe
from finishing.sessions.readings import doubts_about, heads_of, reading_of

#: Cameras print a bare 125 for 1/125, but seconds up to this as such.
LONGEST_BARE = 30
#: F-numbers and ISO speeds beyond these are asked about (common practice, no source).
USUAL_APERTURES, USUAL_SPEEDS = (0.9, 64.0), (10.0, 819200.0)


@dataclass(frozen=True)
class WorkedStrobe:
    """One head. reads: f-number or None; stops: against the exposure; share: of all strobe light, 0…1."""

    strobe: Strobe
    reads: float | None
    stops: float | None
    share: float | None

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "name": self.strobe.name,
            "modifier": self.strobe.modifier,
            "position": self.strobe.position,
            "power": None if self.strobe.power is None else units.format_power(self.strobe.power),
            "reads": None if self.reads is None else units.format_aperture(self.reads),
            "stops": rounded(self.stops),
            "share": rounded(self.share),
        }


@dataclass(frozen=True)
class WorkedSetup:
    """One set-up. All levels are stops against the exposure; None where the plan does not say enough (without an
    exposure hardly anything follows).

    ev100: of the exact values behind the printed ones; strobe_stops: all heads together; total_stops:
    ambient and strobes together; lighting_ratio: (key + fill) : fill, over 1; shutter_for: printed seconds
    that put the ambient at -2, -1, 0; beyond_sync: those of them that need a shutter faster than the sync
    time; ambient_luminance: cd/m2 that the metered ambient stands for (ISO 2720, K = 12.5); ways: what
    brings a shutter faster than the sync time back; [] where it is not.
    """

    setup: Setup
    ev100: float | None
    ambient_stops: float | None
    strobe_stops: float | None
    total_stops: float | None
    lighting_ratio: float | None
    shutter_for: dict[int, float | None] | None
    beyond_sync: tuple[int, ...]
    strobes: tuple[WorkedStrobe, ...]
    warnings: tuple[Problem, ...]
    ways: tuple[Way, ...]
    ambient_luminance: float | None

    def as_json(self, matching: Matching | None = None, light: SetupLight | None = None) -> dict[str, Any]:
        """Plain values; `frames` are the names that the matching gives this set-up, `sun` is null where it is not
        known."""
        exposure = self.setup.exposure
        ladder = self.shutter_for
        return {
            "id": self.setup.id,
            "title": self.setup.title,
            "exposure": None
            if exposure is None
            else {
                "aperture": units.format_aperture(exposure.aperture),
                "shutter": units.format_shutter(exposure.shutter),
                "iso": exposure.iso,
            },
            "ev100": rounded(self.ev100),
            "ambient_stops": rounded(self.ambient_stops),
            "ambient_luminance": rounded(self.ambient_luminance),
            "strobe_stops": rounded(self.strobe_stops),
            "total_stops": rounded(self.total_stops),
            "lighting_ratio": rounded(self.lighting_ratio),
            "shutter_for": None
            if ladder is None
            else {str(t): None if s is None else units.format_shutter(s) for t, s in ladder.items()},
            "beyond_sync": [str(target) for target in self.beyond_sync],
            "strobes": [strobe.as_json() for strobe in self.strobes],
            "warnings": [warning_text(warning) for warning in self.warnings],
            "ways": [_way_json(way) for way in self.ways],
            "sun": None if light is None else light.as_json(),
            "frames": [] if matching is None else matching.frames_of(self.setup.id),
        }


@dataclass(frozen=True)
class WorkedPlan:
    """The whole plan worked out."""

    plan: ShootPlan
    setups: tuple[WorkedSetup, ...]

    @property
    def warnings(self) -> list[Problem]:
        """All warnings, with their places in the plan."""
        return [warning for setup in self.setups for warning in setup.warnings]

    def light(self, matching: Matching | None = None) -> DayLight:
        """The sun and the daylight; matching: for set-ups that the plan gives no time."""
        return day_light(self.plan, matching)

    def as_json(self, matching: Matching | None = None) -> dict[str, Any]:
        """Plain values for `--json`; `matching` is null without frames to match."""
        place, light = self.plan.place, self.light(matching)
        return {
            "place": {
                "name": place.name,
                "latitude": place.latitude,
                "longitude": place.longitude,
                "date": None if place.date is None else place.date.isoformat(),
                "utc_offset_seconds": place.utc_offset,
            },
            "sync": None if self.plan.sync is None else units.format_shutter(self.plan.sync),
            **light.as_json(),
            "setups": [setup.as_json(matching, light.setups.get(setup.setup.id)) for setup in self.setups],
            "matching": None if matching is None else matching.as_json(),
        }


def warning_text(warning: Problem) -> str:
    """A warning as one sentence, without its place."""
    parts = [warning.what]
    if warning.expected:
        parts.append(f"expected {warning.expected}")
    if warning.remedy:
        parts.append(warning.remedy)
    return "; ".join(parts)


def work_out(document: Document[ShootPlan]) -> WorkedPlan:
    """Work the whole plan out."""
    return WorkedPlan(document.value, tuple(_setup(document, i) for i in range(len(document.value.setups))))


def _setup(document: Document[ShootPlan], index: int) -> WorkedSetup:
    setup, sync = document.value.setups[index], document.value.sync
    planned = None if setup.exposure is None else setup.exposure.values
    strobes = _strobes(setup)
    strobe = together(s.stops for s in strobes if s.stops is not None)
    ev100 = None if planned is None else exact_exposure(planned).ev100
    ways = tuple(ways_within_sync(planned, sync)) if planned is not None and sync is not None and setup.strobes else ()
    ladder = None if setup.ambient is None or planned is None else shutter_ladder(setup.ambient, planned.seconds)
    limit = sync if setup.strobes else None
    beyond = [t for t, s in (ladder or {}).items() if s is not None and limit and not within_sync(s, limit)]
    return WorkedSetup(
        setup=setup,
        ev100=ev100,
        ambient_stops=setup.ambient,
        strobe_stops=strobe,
        total_stops=together(level for level in (setup.ambient, strobe) if level is not None),
        lighting_ratio=lighting_ratio(heads_of(setup)),
        shutter_for=ladder,
        beyond_sync=tuple(beyond),
        strobes=strobes,
        warnings=tuple(_warnings(document, index, ways)),
        ways=ways,
        ambient_luminance=None if setup.ambient is None or ev100 is None else luminance(ev100 + setup.ambient),
    )


def _strobes(setup: Setup) -> tuple[WorkedStrobe, ...]:
    listed = [(strobe, reading_of(strobe, setup)) for strobe in setup.strobes]
    aperture = None if setup.exposure is None else setup.exposure.aperture
    stops = [None if reads is None or aperture is None else strobe_stops(reads, aperture) for _, reads in listed]
    whole = sum(2.0**s for s in stops if s is not None)
    return tuple(
        WorkedStrobe(strobe, reads, level, None if level is None else 2.0**level / whole)
        for (strobe, reads), level in zip(listed, stops, strict=True)
    )


def way_text(way: Way) -> str:
    """One way out of a shutter that is too fast, in a line."""
    stops = units.format_number(way.strobe_stops, 1)
    camera = f"{units.format_shutter(way.exposure.seconds)}"
    if way.kind == "aperture":
        camera += f" with {units.format_aperture(way.exposure.f_number)}"
    elif way.kind == "iso":
        camera += f" with {units.format_iso(way.exposure.iso)}"
    else:
        camera += f" with a neutral-density filter of {units.format_number(way.filter_stops, 1)} stops"
    return f"{camera}, and strobes {stops} stops stronger"


def _way_json(way: Way) -> dict[str, Any]:
    return {
        "kind": way.kind,
        "aperture": units.format_aperture(way.exposure.f_number),
        "shutter": units.format_shutter(way.exposure.seconds),
        "iso": way.exposure.iso,
        "filter_stops": rounded(way.filter_stops),
        "strobe_stops": rounded(way.strobe_stops),
        "power_factor": rounded(way.power_factor),
        "distance_factor": rounded(way.distance_factor),
        "ambient_change": rounded(way.ambient_change),
    }


def _warnings(document: Document[ShootPlan], index: int, ways: tuple[Way, ...]) -> list[Problem]:
    setup = document.value.setups[index]
    warnings: list[Problem] = []
    if ways:
        warnings.append(_too_fast(document, index, ways))
    if setup.exposure is None and (setup.ambient is not None or setup.strobes):
        warnings.append(_no_exposure(document, index))
    written = str(document.tree.at(("setups", index, "exposure", "shutter")) or "").strip()
    if written.isdigit() and int(written) > LONGEST_BARE:
        warnings.append(
            document.problem(
                f"the shutter of set-up {setup.id} is read as {written} seconds",
                "setups", index, "exposure", "shutter",
                remedy=f"write 1/{written} if that is what the camera showed, or {written} s",
            )
        )  # fmt: skip
    warnings += _far_out(document, index)
    for j, strobe in enumerate(setup.strobes):
        key = "reads" if strobe.reads is not None else "name"
        for what, expected, remedy in doubts_about(strobe, setup):
            warnings.append(
                document.problem(what, "setups", index, "strobes", j, key, expected=expected, remedy=remedy)
            )
    return warnings


def _far_out(document: Document[ShootPlan], index: int) -> list[Problem]:
    """Values that can be read, and that hardly any camera, lens or meter has: a digit too many, mostly."""
    setup = document.value.setups[index]
    exposure: Path_ = ("setups", index, "exposure")
    planned = setup.exposure
    asked: list[tuple[Path_, str, float | None, tuple[float, float]]] = [
        (
            (*exposure, "aperture"),
            f"set-up {setup.id} asks for",
            planned.aperture if planned else None,
            USUAL_APERTURES,
        ),
        ((*exposure, "iso"), f"set-up {setup.id} asks for", planned.iso if planned else None, USUAL_SPEEDS),
    ]
    for j, strobe in enumerate(setup.strobes):
        at: Path_ = ("setups", index, "strobes", j)
        for key in ("reads", "full_power_reads"):
            what = f'strobe "{strobe.name}" reads{" at full power" * (key != "reads")}'
            asked.append(((*at, key), what, getattr(strobe, key), USUAL_APERTURES))
    warnings = []
    for place, what, value, (low, high) in asked:
        if value is not None and not low <= value <= high:
            iso = place[-1] == "iso"
            told, *span = ((units.format_iso if iso else units.format_aperture)(one) for one in (value, low, high))
            warnings.append(
                document.problem(
                    f"{what} {told}",
                    *place,
                    expected=f"{span[0]} to {span[1]}, as a rule",
                    remedy="look whether it has a digit too many or too few; leave it if it is meant",
                )
            )
    return warnings


def _no_exposure(document: Document[ShootPlan], index: int) -> Problem:
    setup = document.value.setups[index]
    key = "ambient" if setup.ambient is not None else "strobes"
    return document.problem(
        f"set-up {setup.id} has {key} and no exposure to tell it against",
        "setups", index, key,
        remedy="add exposure: {aperture: f/8, shutter: 1/125, iso: 100}, as it was planned",
    )  # fmt: skip


def _too_fast(document: Document[ShootPlan], index: int, ways: tuple[Way, ...]) -> Problem:
    setup, sync = document.value.setups[index], document.value.sync
    assert sync is not None
    # heads that are at their limit: each way asks as many stops more of them
    more = min(way.strobe_stops for way in ways)
    short = [
        s.name for s in setup.strobes if s.power is not None and stops_beyond_full_power(s.power, more) > 0.1
    ]  # fmt: skip
    remedy = "either " + ", or ".join(way_text(way) for way in ways)
    if short:
        remedy += f"; {' and '.join(short)} cannot give that much more power: move nearer or add a head"
    return document.problem(
        f"the shutter is faster than the sync time: part of the frame of set-up {setup.id} gets no strobe",
        "setups", index, "exposure", "shutter",
        expected=f"no faster than {units.format_shutter(sync)}",
        remedy=remedy,
    )  # fmt: skip
