"""Evening out colour: every frame's white to the key frame's, held or let go with the dusk."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import luminance
from finishing.colour.white import LEAST_RESPONSE, TO_CONES, cone_scaling, light_xyz, neutralising_matrix
from finishing.evenness.exposure import KEY, LEFT, MEASURED, PREDICTED
from finishing.evenness.reading import Reading, common_ranks
from finishing.evenness.smoothing import course

Matrix = NDArray[np.float64]

#: The ranking is compared in so many slices, each of at least so many pixels.
SLICES, LEAST_IN_SLICE = 20, 8


@dataclass(frozen=True, eq=False)
class EvenedWhite:
    """What is done to one frame's colour. matrix: 3×3 on linear working light, None where it stays.

    cast: log2 of the three cone gains that bring its region to the key frame's white, None where not measured;
    how: key frame, measured, predicted (from the course of the neighbours) or left as it is; why: as for exposure.
    """

    matrix: Matrix | None
    cast: tuple[float, float, float] | None
    how: str
    why: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain values; the cast as log2 of cone gains (long, medium, short), rounded to 4 places."""
        cast = None if self.cast is None else [round(part, 4) + 0.0 for part in self.cast]
        return {"cast": cast, "how": self.how, "why": self.why or None}


def even_white(readings: Sequence[Reading | str], key: int, follow: float = 0.0) -> list[EvenedWhite]:
    """Colour corrections of a sequence of frames, in the order they were taken, toward frame number `key`.

    The chromaticity of the region (`cast_to`) is brought to the key frame's by scaling the cone responses of CAT16;
    what comes out grey keeps its luminance.
    follow: 0 holds every frame at the key's white; 1 takes out only what departs from the smooth course of the
    sequence (`smoothing.course`), so that the frames cool as the dusk did; between them in proportion. A frame that
    cannot be measured takes the course of its neighbours.
    """
    own = [reading if isinstance(reading, str) else reading.unsafe for reading in readings]
    target = readings[key]
    casts = np.full((len(readings), 3), np.nan)
    reasons = list(own)
    for at, reading in enumerate(readings):
        if own[at] or isinstance(reading, str):
            continue
        if own[key] or isinstance(target, str):
            reasons[at] = f"the key frame cannot be measured: {own[key]}"
            continue
        cast = cast_to(target, reading)
        if cast is None:
            reasons[at] = "what is clipped here and too dark in the key frame leaves too little to compare"
        else:
            casts[at] = cast
    smooth = course(casts)
    result = []
    for at in range(len(readings)):
        if at == key:
            result.append(EvenedWhite(None, (0.0, 0.0, 0.0), KEY, reasons[at]))
            continue
        found = bool(np.isfinite(casts[at]).all())
        if not np.isfinite(smooth[at]).all():
            result.append(EvenedWhite(None, None, LEFT, reasons[at]))
            continue
        start = casts[at] if found else smooth[at]
        gone = np.zeros(3) if own[key] else smooth[key]
        matrix = balanced(2.0 ** (start - follow * (smooth[at] - gone)))
        told = tuple(float(part) for part in casts[at]) if found else None
        why = "" if found else f"{reasons[at]}; the course of its neighbours was followed"
        result.append(EvenedWhite(matrix, told, MEASURED if found else PREDICTED, why))  # type: ignore[arg-type]
    return result


def cast_to(key: Reading, frame: Reading) -> NDArray[np.float64] | None:
    """log2 of the cone gains, at one luminance, that bring a frame's region to the key's white; None if not comparable.

    For one law of the cast every slice of the ranking shifts alike. Each gain is the median over the slices' mean
    chromaticities, so that what one frame had to leave out (a strip of sky that is clipped in blue) does not count as
    a change of colour.
    """
    common = common_ranks(key, frame)
    if common is None:
        return None
    count = max(1, min(SLICES, len(key.pixels) // LEAST_IN_SLICE, len(frame.pixels) // LEAST_IN_SLICE))
    edges = np.linspace(*common, count + 1)
    slices = [(key.slice_mean(*part), frame.slice_mean(*part)) for part in pairwise(edges)]
    shifts = [
        np.log2(_cones(wanted) / _cones(found)) for wanted, found in slices if wanted is not None and found is not None
    ]
    return np.asarray(np.median(shifts, axis=0)) if shifts else None


def in_light_of(reference: Reading, cast: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean colour that the reference frame's region has in a frame with this cast, at luminance 1 or about it."""
    return np.asarray(np.linalg.solve(TO_CONES, _cones(reference.mean()) * 2.0**-cast))


def _cones(mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cone responses of a mean colour at luminance 1, none below the least that counts."""
    return np.maximum(TO_CONES @ (mean / float(luminance(mean))), LEAST_RESPONSE)


def balanced(gains: NDArray[np.float64]) -> Matrix:
    """The matrix of three cone gains, scaled so that what comes out grey has the luminance that it came in with."""
    matrix = cone_scaling(gains)
    return np.asarray(matrix * float(luminance(np.linalg.solve(matrix, np.ones(3)))))


def neutral_of_grey(grey: NDArray[np.float64]) -> Matrix:
    """The matrix that makes a measured grey (linear working light) neutral and keeps its luminance."""
    return neutralising_matrix(light_xyz(grey))
