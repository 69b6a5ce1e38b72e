"""Whether an exposure with strobes is possible at all, and which changes make it so.

Two things stand in the way: a shutter faster than the sync time (a part of the frame gets no strobe), and a
strobe asked for more than its full power. The ways out of the first are the trade's own: slow the shutter
to the sync time and take the light away again, by the aperture, by a neutral-density filter or by the ISO.
Each of these takes it from the strobes as well, which then need as many stops more: more power, or a
shorter distance.
"""

import math
from dataclasses import dataclass

from finishing.exposure.light import within_sync
from finishing.exposure.series import (
    aperture_by_stops,
    exact_aperture,
    exact_iso,
    exact_shutter,
    iso_by_stops,
    nearest_shutter,
)
from finishing.exposure.values import Exposure


@dataclass(frozen=True)
class Way:
    """One change that makes an exposure possible with the ambient light as it was.

    kind: "aperture", "filter" or "iso" (what takes the light away that the slower shutter lets in).
    exposure: what to set, in printed values. filter_stops: stops of neutral density in front of the lens.
    strobe_stops: how much more every strobe must give (of the same reading at the meter, at the plan's
    ISO). power_factor: the same as a factor of power, 2^strobe_stops. distance_factor: or of distance, if
    power stays. ambient_change: what rounding to printed values leaves, in stops (0 at best, under a
    third).
    """

    kind: str
    exposure: Exposure
    filter_stops: float
    strobe_stops: float
    ambient_change: float

    @property
    def power_factor(self) -> float:
        """2^strobe_stops: 2 is twice the power."""
        return float(2.0**self.strobe_stops)

    @property
    def distance_factor(self) -> float:
        """2^(-strobe_stops / 2): 0.5 is half the distance (inverse square law)."""
        return float(2.0 ** (-self.strobe_stops / 2))


def stops_over_sync(seconds: float, sync: float) -> float:
    """How many stops a shutter is faster than the sync time; 0 where it is not."""
    if within_sync(seconds, sync):
        return 0.0
    return math.log2(exact_shutter(sync) / exact_shutter(seconds))


def ways_within_sync(exposure: Exposure, sync: float) -> list[Way]:
    """The changes that bring an exposure to the sync time and keep the ambient; [] where it is possible as
    it is.

    A way that leaves the printed series (ISO below 25, an aperture beyond f/90) is left out.
    """
    over = stops_over_sync(exposure.seconds, sync)
    if over == 0:
        return []
    slowed = nearest_shutter(sync)
    if not within_sync(slowed, sync):  # the printed time next to an odd sync time may be a little too fast
        slowed = nearest_shutter(exact_shutter(slowed) * 2 ** (1 / 3))
    gained = math.log2(exact_shutter(slowed) / exact_shutter(exposure.seconds))
    ways = []
    try:
        closed = aperture_by_stops(exposure.f_number, -gained)
    except ValueError:
        pass
    else:
        taken = 2 * math.log2(exact_aperture(closed) / exact_aperture(exposure.f_number))
        ways.append(Way("aperture", Exposure(closed, slowed, exposure.iso), 0.0, taken, gained - taken))
    ways.append(Way("filter", Exposure(exposure.f_number, slowed, exposure.iso), gained, gained, 0.0))
    try:
        lowered = iso_by_stops(exposure.iso, -gained)
    except ValueError:
        pass
    else:
        taken = math.log2(exact_iso(exposure.iso) / exact_iso(lowered))
        ways.append(Way("iso", Exposure(exposure.f_number, slowed, lowered), 0.0, taken, gained - taken))
    return ways


def stops_beyond_full_power(power: float, more_stops: float) -> float:
    """How many stops a head at this power falls short when it must give `more_stops` more; 0 where it can."""
    return max(0.0, math.log2(power) + more_stops)
