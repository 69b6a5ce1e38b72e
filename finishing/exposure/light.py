"""Strobe against daylight, in stops.

The practice of the trade: strobes strengthen the light that is there; the aperture (and the ISO) sets the
strobes, since a flash is over before the shutter closes; the shutter sets the ambient light alone.

All levels are stops against the exposure: 0 renders as the exposure means it, +1 is twice the light, -2 a
quarter. Light adds as light: levels a and b together are log2(2^a + 2^b), and flash-meter readings add as
N^2, because the exposure H that calls for f-number N grows with N^2 (ISO 2720 for meters; Ray, "Scientific
Photography", on flash exposure). Distance follows the inverse square law: a reading is proportional to 1/d.

Functions take f-numbers, seconds and metres above 0 and raise ValueError (from the logarithm) otherwise.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from finishing.exposure.series import exact_aperture, exact_exposure, exact_shutter, shutter_by_stops
from finishing.exposure.values import Exposure, difference_in_stops

#: Words in a head's name (or position) that say it does not light what the camera sees of the face.
NOT_FRONTAL = frozenset(
    (
        "rim",
        "hair",
        "background",
        "backdrop",
        "kicker",
        "edge",
        "back",
        "behind",
        "backlight",
        "separation",
        "accent",
    )
)

#: Targets of the shutter ladder: from the scene two stops under the exposure to balance with it.
LADDER = (-2, -1, 0)


@dataclass(frozen=True)
class Head:
    """One strobe as it was metered. reads: f-number at the subject, at the set-up's ISO; position: free."""

    name: str
    reads: float
    position: str = ""


def strobe_stops(reads: float, f_number: float) -> float:
    """A strobe against the exposure: 2 log2(reads / f_number), both exact.

    Positive where the strobe gives more than the aperture asks for: reads f/11, set f/8 is +1.
    """
    return 2 * math.log2(exact_aperture(reads) / exact_aperture(f_number))


def together(levels: Iterable[float]) -> float | None:
    """Levels of light added up: log2 of the sum of 2^level; None when there are none.

    >>> round(together([0, -1]), 3)
    0.585
    """
    listed = list(levels)
    if not listed:
        return None
    top = max(listed)
    return top + math.log2(sum(2.0 ** (level - top) for level in listed))


def combined_reading(readings: Iterable[float]) -> float:
    """The f-number of several heads fired together: the root of the sum of N^2. ValueError for none."""
    listed = list(readings)
    if not listed:
        raise ValueError("there is no reading to combine")
    return math.sqrt(sum(reading**2 for reading in listed))


def ambient_at(ambient: float, planned: Exposure, taken: Exposure) -> float:
    """The ambient level at another exposure than the one it was metered for, in stops.

    Shutter, aperture and ISO all move it: letting in one stop more raises it by one.
    """
    return ambient - difference_in_stops(exact_exposure(planned), exact_exposure(taken))


def strobe_at(strobe: float, planned: Exposure, taken: Exposure) -> float:
    """The strobe level at another exposure, in stops: aperture and ISO move it, the shutter does not."""
    same_time = Exposure(taken.f_number, planned.seconds, taken.iso)
    return strobe - difference_in_stops(exact_exposure(planned), exact_exposure(same_time))


def shutter_for_ambient(target: float, ambient: float, seconds: float) -> float:
    """The printed time that puts the ambient at `target` stops, being at `ambient` at `seconds`.

    Strobe f/11 with the ambient at -2 at 1/200: 1/50 puts it at 0 and leaves the strobe alone.
    Raises ValueError where no such time can be set.
    """
    return shutter_by_stops(seconds, target - ambient)


def shutter_ladder(ambient: float, seconds: float, targets: Sequence[int] = LADDER) -> dict[int, float | None]:
    """The printed time for each ambient level; None where there is none in the series."""
    ladder: dict[int, float | None] = {}
    for target in targets:
        try:
            ladder[target] = shutter_for_ambient(target, ambient, seconds)
        except ValueError:
            ladder[target] = None
    return ladder


def within_sync(seconds: float, sync: float) -> bool:
    """Whether the shutter is open in full while the strobe fires: no faster than the sync time."""
    return exact_shutter(seconds) >= exact_shutter(sync) * (1 - 1e-6)


def _words(text: str) -> set[str]:
    return set("".join(c if c.isalnum() else " " for c in text.lower()).split())


def key_and_fill(heads: Sequence[Head]) -> tuple[list[Head], list[Head]] | None:
    """Which heads are key and which are fill; None where there are not both.

    Heads with the word "key" (or "main") in their name are the key, those with "fill" the fill. Without a
    named key it is the strongest frontal head; without a named fill it is the strongest of the other
    frontal ones. Frontal is every head that neither its name nor its position puts behind or beside the
    subject's front (`NOT_FRONTAL`: rim, hair, background, kicker and so on).
    """
    named_key = [h for h in heads if _words(h.name) & {"key", "main"}]
    named_fill = [h for h in heads if "fill" in _words(h.name) and h not in named_key]
    others = [h for h in heads if h not in named_key and h not in named_fill]
    rest = [h for h in others if not (_words(h.name) | _words(h.position)) & NOT_FRONTAL]
    rest.sort(key=lambda h: -h.reads)
    key = named_key or rest[:1]
    if not named_key:
        rest = rest[1:]
    fill = named_fill or rest[:1]
    return (key, fill) if key and fill else None


def lighting_ratio(heads: Sequence[Head]) -> float | None:
    """(key + fill) : fill, as a number over 1; None where there are not both (see `key_and_fill`).

    Equal heads give 2 (:1), a key one stop over the fill 3, two stops 5, three stops 9: the fill lights both
    sides of the face, the key only one (common practice, no source).
    """
    found = key_and_fill(heads)
    if found is None:
        return None
    key = combined_reading(exact_aperture(h.reads) for h in found[0])
    fill = combined_reading(exact_aperture(h.reads) for h in found[1])
    return (key**2 + fill**2) / fill**2


def reading_at_power(full_power_reads: float, power: float) -> float:
    """The f-number at a fraction of full power, the head staying where it is: N sqrt(power)."""
    return exact_aperture(full_power_reads) * math.sqrt(power)


def reading_from_guide_number(guide_number: float, metres: float, *, power: float = 1.0, iso: float = 100.0) -> float:
    """The f-number of a head: guide number / distance (ISO 1230), scaled by sqrt(power) and sqrt(ISO / 100).

    guide_number: in metres, for ISO 100 at full power. A guide number of 43 at 5 m reads f/8.6.
    """
    return guide_number / metres * math.sqrt(power * iso / 100)
