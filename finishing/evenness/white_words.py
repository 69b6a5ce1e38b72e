"""What a white balance does to a frame, in a photographer's words: warmer or cooler, greener or more magenta, gains."""

import math
import re

import numpy as np
from numpy.typing import NDArray

from finishing.colour.adaptation import white_xyz
from finishing.colour.oklab import linear_to_oklab
from finishing.colour.spaces import luminance
from finishing.colour.white import (
    KELVIN_OF_D65,
    LEAST_KELVIN,
    NEAREST_TO,
    chromaticity,
    nearest_light,
    neutralising_matrix,
)
from finishing.evenness.consistency import MIDDLE_GREY
from finishing.evenness.words import A_PER_PERCENT
from finishing.units import format_number, format_stops

Matrix = NDArray[np.float64]

#: Warmth is told in steps of so many kelvin, tint in whole percents of green; less than half of that is not told.
KELVIN_STEP = 50.0
#: A matrix with larger parts is no white balance.
MOST_PART = 1000.0
_NUMBER = r"-?\d+(?:\.\d+)?"
_ROW = rf"{_NUMBER} {_NUMBER} {_NUMBER}"
#: How `Correction.white_text` writes: words, and the matrix in three rows.
_WRITTEN = re.compile(rf"(?:(?P<how>.*): )?(?P<rows>{_ROW}; {_ROW}; {_ROW})", re.DOTALL)


def white_words(written: str) -> tuple[str, str] | None:
    """What stands in a record, told as what it does: how it was found (may be empty), and how the frame changes.

    written: as `Correction.white_text`. None for what is not written so.
    """
    match = _WRITTEN.fullmatch(written)
    if match is None:
        return None
    matrix = np.array([[float(part) for part in row.split()] for row in match["rows"].split("; ")])
    return match["how"] or "", matrix_words(matrix)


def matrix_words(matrix: Matrix) -> str:
    """about 700 K warmer, 3 % more magenta (a grey: red +0.1, blue −0.14 stops against green)

    What a 3×3 on linear working light does to white. The kelvin are between the light that it makes neutral and
    neutral daylight (6504); the tint is how much green that light has beside its kelvin.
    """
    grey = matrix @ np.ones(3) if np.abs(matrix).max() <= MOST_PART else np.zeros(3)
    if not (grey > 0).all():
        return "colours moved beyond what there is a word for"
    red, blue = (format_stops(math.log2(grey[channel] / grey[1]), 2) for channel in (0, 2))
    gains = f"a grey: red {red}, blue {blue} stops against green"
    words = _warmth_and_tint(matrix)
    return f"{words} ({gains})" if words else gains


def _warmth_and_tint(matrix: Matrix) -> str:
    """Empty where the light that becomes neutral is none that has kelvin."""
    if abs(np.linalg.det(matrix)) < 1e-9:
        return ""
    light = np.linalg.solve(matrix, np.ones(3))
    if luminance(light) <= 0:
        return ""
    kelvin, _ = nearest_light(light)
    if not LEAST_KELVIN <= kelvin < NEAREST_TO:
        return ""
    rest = neutralising_matrix(white_xyz(chromaticity(kelvin))) @ light
    if luminance(rest) <= 0:
        return ""
    _, green, _ = linear_to_oklab(rest * (MIDDLE_GREY / float(luminance(rest))))
    steps, percent = round((kelvin - KELVIN_OF_D65) / KELVIN_STEP), round(abs(green) / A_PER_PERCENT)
    told = []
    if steps:
        warmer = "warmer" if steps > 0 else "cooler"
        told.append(f"about {format_number(abs(steps) * KELVIN_STEP, 0)} K {warmer}")
    if percent:
        told.append(f"{percent} % {'more magenta' if green < 0 else 'greener'}")
    return ", ".join(told) if told else "hardly a change"
