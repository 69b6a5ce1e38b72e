"""What is done to a frame before anything else: a gain in stops and a matrix on linear light."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.units import format_number

Matrix = NDArray[np.float64]
Rows = tuple[tuple[float, float, float], ...]

#: Stops are kept to 1e-4 and matrices to 1e-6: far below what shows, and the same on every machine.
STOPS_PLACES, MATRIX_PLACES = 4, 6


@dataclass(frozen=True)
class Correction:
    """stops: of gain; rows: 3×3 on linear working light, None where colours stay; white: how that was found, in words.

    Build it with `correction_of`, which rounds. The whole correction is 2^stops times the matrix.
    """

    stops: float = 0.0
    rows: Rows | None = None
    white: str = ""

    @property
    def changes_nothing(self) -> bool:
        """Whether every pixel stays as it is, bit for bit."""
        return self.stops == 0 and self.rows is None

    @property
    def gain(self) -> float:
        """2^stops."""
        return float(2.0**self.stops)

    @cached_property
    def matrix(self) -> Matrix:
        """The colour part, 3×3 float64."""
        return np.eye(3) if self.rows is None else np.array(self.rows, np.float64)

    def apply(self, linear: ArrayLike) -> NDArray[np.float64]:
        """Corrected working-space pixels, channels in the last axis; not cut anywhere."""
        pixels = np.asarray(linear, np.float64) * self.gain
        if self.rows is None:
            return pixels
        red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
        return np.stack([row[0] * red + row[1] * green + row[2] * blue for row in self.rows], axis=-1)

    @property
    def white_text(self) -> str | None:
        """The colour part in one line, for a record; None where there is none."""
        if self.rows is None:
            return None
        numbers = "; ".join(" ".join(format_number(value, MATRIX_PLACES) for value in row) for row in self.rows)
        return f"{self.white}: {numbers}" if self.white else numbers

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        rows = None if self.rows is None else [list(row) for row in self.rows]
        return {"stops": self.stops, "matrix": rows, "white": self.white or None}


#: Leaves a frame as it is.
NONE = Correction()


def correction_of(stops: float = 0.0, matrix: Matrix | None = None, white: str = "") -> Correction:
    """A correction, rounded; a matrix that is the identity in what is kept counts as none."""
    rows: Rows | None = None
    if matrix is not None:
        rounded = np.round(np.asarray(matrix, np.float64), MATRIX_PLACES) + 0.0
        if not np.array_equal(rounded, np.eye(3)):
            rows = tuple(tuple(float(value) for value in row) for row in rounded)  # type: ignore[misc]
    return Correction(round(float(stops), STOPS_PLACES) + 0.0, rows, white if rows else "")
