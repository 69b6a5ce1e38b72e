"""How alike the frames of a set-up are, before and after evening out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.oklab import linear_to_oklab
from finishing.colour.spaces import luminance
from finishing.evenness.correction import Correction
from finishing.evenness.reading import Reading, shift_to
from finishing.evenness.white import cast_to, in_light_of

#: Colours are compared at the luminance of a middle grey, so that a difference in exposure is none in colour.
MIDDLE_GREY = 0.18
#: Below this OkLCh chroma a mean colour has no hue to speak of.
LEAST_CHROMA = 0.002
#: Less of the frame than this is no skin: a few pixels of the right colour mean nothing.
LEAST_SKIN = 0.0005


@dataclass(frozen=True)
class State:
    """One frame, each value None where it cannot be told. exposure: stops of its region over the reference frame's;
    white: OkLab a and b, at middle grey, that the reference frame's region has in this frame's light; skin_hue: OkLCh
    degrees of the mean skin."""

    exposure: float | None = None
    white: tuple[float, float] | None = None
    skin_hue: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values, rounded."""
        return {
            "exposure_stops": None if self.exposure is None else round(self.exposure, 4) + 0.0,
            "white_a": None if self.white is None else round(self.white[0], 5) + 0.0,
            "white_b": None if self.white is None else round(self.white[1], 5) + 0.0,
            "skin_hue_degrees": None if self.skin_hue is None else round(self.skin_hue, 3),
        }


@dataclass(frozen=True)
class Spread:
    """count: frames that have a value; deviation: their standard deviation; span: largest less smallest."""

    count: int
    deviation: float | None
    span: float | None

    def as_json(self) -> dict[str, Any]:
        """Plain values, rounded."""
        deviation = None if self.deviation is None else round(self.deviation, 5)
        span = None if self.span is None else round(self.span, 5)
        return {"frames": self.count, "standard_deviation": deviation, "range": span}


@dataclass(frozen=True)
class SetupConsistency:
    """The frames of a set-up in the order they were taken, before and after. setup: None without a plan."""

    setup: str | None
    frames: tuple[str, ...]
    before: tuple[State, ...]
    after: tuple[State, ...]

    def spreads(self) -> dict[str, tuple[Spread, Spread]]:
        """Before and after of exposure_stops, white_a, white_b and skin_hue_degrees."""
        return {name: (spread(self.values(name, False)), spread(self.values(name, True))) for name in QUANTITIES}

    def values(self, quantity: str, after: bool) -> list[float | None]:
        """One quantity of every frame."""
        return [state.as_json()[quantity] for state in (self.after if after else self.before)]

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "setup": self.setup,
            "spread": {
                name: {"before": before.as_json(), "after": after.as_json()}
                for name, (before, after) in self.spreads().items()
            },
            "frames": [
                {"frame": name, "before": before.as_json(), "after": after.as_json()}
                for name, before, after in zip(self.frames, self.before, self.after, strict=True)
            ],
        }


#: The quantities of a state and how many places they are told with.
QUANTITIES = {"exposure_stops": 2, "white_a": 4, "white_b": 4, "skin_hue_degrees": 1}


def spread(values: Sequence[float | None]) -> Spread:
    """How far values lie apart; the deviation is that of the frames at hand (divided by their number)."""
    known = [value for value in values if value is not None]
    if not known:
        return Spread(0, None, None)
    return Spread(len(known), float(np.std(known)), max(known) - min(known))


Readings = tuple[Reading | None, Reading | None]


def corrected(reading: Reading | None, correction: Correction) -> Reading | None:
    """A reading after a correction; None where it cannot be relied on."""
    if reading is None or reading.unsafe:
        return None
    return reading.corrected(None if correction.rows is None else correction.matrix, correction.stops)


def state_of(reference: Readings, own: Readings, skin: NDArray[np.float64] | None, correction: Correction) -> State:
    """A frame after a correction. reference: what its light and its colour are compared with, as these are then; own:
    light and colour of the frame as it came; skin: its mean skin in linear working light as it came."""
    exposure, white, hue = None, None, None
    light, colour = (corrected(reading, correction) for reading in own)
    if light is not None and reference[0] is not None:
        shift = shift_to(reference[0], light)
        exposure = None if shift is None else -shift.stops
    if colour is not None and reference[1] is not None:
        cast = cast_to(reference[1], colour)
        white = None if cast is None else _at_middle_grey(in_light_of(reference[1], cast))
    if skin is not None:
        mean = _at_middle_grey(correction.apply(skin))
        if mean is not None and math.hypot(*mean) >= LEAST_CHROMA:
            hue = math.degrees(math.atan2(mean[1], mean[0])) % 360
            hue = hue if hue <= 270 else hue - 360  # skin lies around 50 degrees: no jump from 0 to 360 there
    return State(exposure, white, hue)


def _at_middle_grey(mean: NDArray[np.float64]) -> tuple[float, float] | None:
    light = float(luminance(mean))
    if light <= 0:
        return None
    _, a, b = linear_to_oklab(mean * (MIDDLE_GREY / light))
    return float(a), float(b)
