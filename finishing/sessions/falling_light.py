"""The light of the day against the plan: the sun through each set-up's time, and how fast daylight falls.

A set-up's time is the one the plan gives (`from`, `to`), else the span of its frames' capture times. All of it is
for a clear sky and level ground (`finishing.exposure.daylight`), and for a place whose position, date and UTC
offset the plan says; the date may also come from the frames.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import Any

from finishing import units
from finishing.exposure.daylight import daylight, daylight_stops, fall_per_minute, when_fallen
from finishing.exposure.series import shutter_by_stops
from finishing.exposure.sun import SunPosition, civil_twilight_end, sun_position, sunset
from finishing.sessions.matching import Matching, rounded
from finishing.sessions.plan import Setup, ShootPlan

#: Slower falls than this are none: a stop in two hours.
STEADY = 1 / 120
#: After a set-up's time the ladder goes on this far, since shoots run late.
_RUNS_LATE = timedelta(minutes=20)

_Where = tuple[float, float]  # latitude and longitude in degrees


@dataclass(frozen=True)
class SunAt:
    """The sun and the daylight at one instant. lux: on level ground; 0 at night."""

    when: datetime
    position: SunPosition
    lux: float

    def as_json(self) -> dict[str, Any]:
        """Plain values: ISO time, degrees to 3 places, lux."""
        return {
            "time": self.when.isoformat(timespec="seconds"),
            "elevation": round(self.position.elevation, 3),
            "apparent_elevation": round(self.position.apparent_elevation, 3),
            "azimuth": round(self.position.azimuth, 3),
            "lux": float(f"{self.lux:.3g}"),
        }


@dataclass(frozen=True)
class Rung:
    """A step of the shutter that holds the ambient. seconds: the printed time; after: past the planned time."""

    when: datetime
    seconds: float
    after: bool = False


@dataclass(frozen=True)
class SetupLight:
    """The daylight through one set-up's time.

    fall_stops_per_minute: the mean from start to end, negative where it rises, None at night; from_frames: whether
    the time is that of the frames; hold: when to open the shutter by one stop more, so that the ambient stays
    where the plan has it, starting from the planned time; empty where the light does not fall.
    """

    start: SunAt
    end: SunAt
    fall_stops_per_minute: float | None
    from_frames: bool
    hold: tuple[Rung, ...]

    @property
    def middle(self) -> datetime:
        """The middle of the set-up's time."""
        return self.start.when + (self.end.when - self.start.when) / 2

    @property
    def minutes_per_stop(self) -> float | None:
        """How long the light takes to fall by one stop; None where it hardly falls, or rises."""
        fall = self.fall_stops_per_minute
        return None if fall is None or fall < STEADY else 1 / fall

    def as_json(self) -> dict[str, Any]:
        """Plain values, for `setups[i].sun`."""
        return {
            "from": self.start.as_json(),
            "to": self.end.as_json(),
            "times_from": "frames" if self.from_frames else "plan",
            "fall_stops_per_minute": rounded(self.fall_stops_per_minute),
            "minutes_per_stop": rounded(self.minutes_per_stop),
            "hold": [
                {"time": rung.when.isoformat(timespec="seconds"), "shutter": units.format_shutter(rung.seconds)}
                for rung in self.hold
            ],
        }


@dataclass(frozen=True)
class DayLight:
    """The day of the shoot. lacking: the keys under `place` without which the sun is not known ([] where it is);
    sunset, civil_twilight_end: None where there is none that day; setups: by id, those whose time is known."""

    lacking: tuple[str, ...]
    sunset: datetime | None
    civil_twilight_end: datetime | None
    setups: dict[str, SetupLight]

    def as_json(self) -> dict[str, Any]:
        """Plain values, for the plan's top level."""
        return {
            "sunset": None if self.sunset is None else self.sunset.isoformat(timespec="seconds"),
            "civil_twilight_end": None
            if self.civil_twilight_end is None
            else self.civil_twilight_end.isoformat(timespec="seconds"),
        }


def day_light(plan: ShootPlan, matching: Matching | None = None) -> DayLight:
    """The sun and the daylight of a plan. matching: for set-ups without times, and for a plan without a date."""
    place = plan.place
    day = place.date or _day_of(matching)
    given = {
        "latitude": place.latitude, "longitude": place.longitude, "date": day, "utc_offset": place.utc_offset,
    }  # fmt: skip
    lacking = tuple(key for key, value in given.items() if value is None)
    if lacking or day is None or place.utc_offset is None:
        return DayLight(lacking, None, None, {})
    zone = timezone(timedelta(seconds=place.utc_offset))
    at: _Where = (float(place.latitude or 0), float(place.longitude or 0))  # 0 where it is 0: nothing is lacking here
    setups = {}
    for setup in plan.setups:
        found = _times(setup, day, matching)
        if found is not None:
            start, end = (when.replace(tzinfo=zone) for when in found)
            setups[setup.id] = _setup_light(setup, at, start, end, from_frames=setup.starts is None)
    return DayLight(
        (),
        sunset(day, zone, *at),
        civil_twilight_end(day, zone, *at),
        setups,
    )


def _day_of(matching: Matching | None) -> date | None:
    """The one day on which all frames were taken that belong to a set-up; None where there are several."""
    times = [match.time for match in matching.frames.values() if match.setup] if matching else []
    days = {time.date() for time in times if time is not None}
    return days.pop() if len(days) == 1 else None


def _times(setup: Setup, day: date, matching: Matching | None) -> tuple[datetime, datetime] | None:
    """From when to when, local at the place, without a zone."""
    if setup.starts is not None and setup.ends is not None:
        midnight = datetime(day.year, day.month, day.day)
        return midnight + timedelta(seconds=setup.starts), midnight + timedelta(seconds=setup.ends)
    matched = matching.frames.values() if matching else ()
    times = [match.time for match in matched if match.setup == setup.id and match.time is not None]
    return (min(times), max(times)) if times else None


def _setup_light(setup: Setup, at: _Where, start: datetime, end: datetime, *, from_frames: bool) -> SetupLight:
    def sun_at(when: datetime) -> SunAt:
        position = sun_position(when, *at)
        return SunAt(when, position, daylight(position.elevation))

    fall = fall_per_minute(start, end, *at)
    hold = () if fall is None or fall < STEADY else tuple(_hold(setup, at, start, end))
    return SetupLight(sun_at(start), sun_at(end), fall, from_frames, hold)


def _hold(setup: Setup, at: _Where, start: datetime, end: datetime) -> list[Rung]:
    """One stop after another, as long as the set-up lasts and a while longer, at least one stop beyond its time."""
    if setup.ambient is None or setup.exposure is None:
        return []
    latest = end + _RUNS_LATE
    while latest > end and daylight_stops(sun_position(latest, *at).elevation) is None:
        latest -= timedelta(minutes=1)
    rungs = [Rung(start, setup.exposure.shutter)]
    while len(rungs) < 20:
        stops = len(rungs)
        when = when_fallen(stops, start, latest, *at)
        try:
            seconds = shutter_by_stops(setup.exposure.shutter, stops)
        except ValueError:
            break
        if when is None or rungs[-1].after:
            break
        rungs.append(Rung(when, seconds, when > end))
    return rungs
