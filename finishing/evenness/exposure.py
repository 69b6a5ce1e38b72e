"""Evening out exposure: measured where it can be, foreseen from the camera's exposure where it cannot."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from finishing.evenness.reading import Reading, shift_to
from finishing.evenness.smoothing import smoothed
from finishing.units import format_stops

#: Smoothing by so many stops is told.
TOLD = 0.1

KEY, MEASURED, PREDICTED, LEFT = "key frame", "measured", "predicted", "left as it is"


@dataclass(frozen=True)
class EvenedExposure:
    """What is done to one frame's exposure, in stops; positive lightens.

    measured: what brings its region to the key frame's, None where that cannot be measured; predicted: what the
    camera's exposures foresee, None where they are not known; applied: what is done; how: key frame, measured,
    predicted or left as it is; why: what stood in the way, empty where nothing did; smoothed: what the neighbours in
    the sequence changed; limited: whether `at_most` cut it.
    """

    measured: float | None
    predicted: float | None
    applied: float
    how: str
    why: str = ""
    smoothed: float = 0.0
    limited: bool = False

    def as_json(self) -> dict[str, Any]:
        """Plain values; stops rounded to 4 places."""
        return {
            "measured": _rounded(self.measured),
            "predicted": _rounded(self.predicted),
            "applied": _rounded(self.applied),
            "how": self.how,
            "why": self.why or None,
            "smoothed": _rounded(self.smoothed),
            "limited": self.limited,
        }


def _rounded(stops: float | None) -> float | None:
    return None if stops is None else round(stops, 4) + 0.0


def even_exposure(
    readings: Sequence[Reading | str],
    predicted: Sequence[float | None],
    key: int,
    at_most: float | None = None,
) -> list[EvenedExposure]:
    """Corrections of a sequence of frames, in the order they were taken, toward frame number `key` of them.

    readings: the region's light in each frame, or why there is none, in words; predicted: what the camera's exposure
    foresees in stops (see `EvenedExposure`); at_most: no correction is larger, either way.

    What a measurement says beyond the prediction is smoothed over the sequence (`smoothing.smoothed`), so that a turn
    of the shutter stays the step it was. Where a region cannot be measured, the prediction stands, with what the
    neighbours measured beyond it where they agree. The key frame stays as it is.
    """
    reasons, shifts = _measured(readings, key)
    beyond = [
        None if shift is None or foreseen is None else shift.stops - foreseen
        for shift, foreseen in zip(shifts, predicted, strict=True)
    ]
    calm = smoothed(beyond, [1.0 if shift is None else shift.doubt for shift in shifts])
    result = []
    for at, (shift, foreseen) in enumerate(zip(shifts, predicted, strict=True)):
        if at == key:
            result.append(EvenedExposure(0.0, 0.0, 0.0, KEY, reasons[at]))
            continue
        rest = calm[at]
        if shift is not None:
            moved = 0.0 if foreseen is None or rest is None else foreseen + rest - shift.stops
            wanted, how, why = shift.stops + moved, MEASURED, ""
            if abs(moved) >= TOLD:
                why = f"parts of its region disagree; drawn {format_stops(moved, 2)} stops toward its neighbours"
        elif foreseen is not None:
            moved, how, why = 0.0, PREDICTED, reasons[at]
            wanted = foreseen + (rest or 0.0)
            if rest is not None and abs(rest) >= 0.005:
                why += f"; with {format_stops(rest, 2)} stops that its neighbours measured beyond the prediction"
        else:
            wanted, moved, how = 0.0, 0.0, LEFT
            why = f"{reasons[at]}, and its exposure or the key frame's is not known"
        applied = wanted if at_most is None else min(max(wanted, -at_most), at_most)
        limited = applied != wanted
        if limited:
            told = f"{format_stops(wanted, 2)} stops were wanted, at_most allows {format_stops(applied, 2)}"
            why = f"{why}; {told}" if why else told
        measured = None if shift is None else shift.stops
        result.append(EvenedExposure(measured, foreseen, applied, how, why, moved, limited))
    return result


def _measured(readings: Sequence[Reading | str], key: int) -> tuple[list[str], list[Any]]:
    """For each frame why it cannot be measured, and its shift to the key frame."""
    own = [reading if isinstance(reading, str) else reading.unsafe for reading in readings]
    reasons, shifts = [], []
    target = readings[key]
    for reading, unsafe in zip(readings, own, strict=True):
        shift = None
        if unsafe:
            reason = unsafe
        elif own[key] or isinstance(target, str):
            reason = f"the key frame cannot be measured: {own[key]}"
        else:
            assert not isinstance(reading, str)
            shift = shift_to(target, reading)
            reason = "" if shift else "what is clipped here and too dark in the key frame leaves too little to compare"
        reasons.append(reason)
        shifts.append(shift)
    return reasons, shifts
