"""Chromatic adaptation: what a colour seen under one white becomes under another.

The Bradford matrix is that of ICC.1:2022, annex E (also Lam, "Metamerism and colour constancy", 1985);
colour profiles are built on it, so profiles are read and written with it.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]

#: From XYZ to the sharpened cone responses in which Bradford scales (ICC.1:2022, annex E).
BRADFORD: Matrix = np.array(
    [
        [0.8951, 0.2664, -0.1614],
        [-0.7502, 1.7135, 0.0367],
        [0.0389, -0.0685, 1.0296],
    ]
)


def adaptation_matrix(source_white: Sequence[float], target_white: Sequence[float]) -> Matrix:
    """3×3 that carries XYZ seen under `source_white` to XYZ under `target_white`, by Bradford.

    source_white, target_white: XYZ of the two whites, on the same scale (Y = 1). The source white is
    mapped onto the target white; equal whites give the identity.
    """
    source = BRADFORD @ np.asarray(source_white, dtype=np.float64)
    target = BRADFORD @ np.asarray(target_white, dtype=np.float64)
    return np.asarray(np.linalg.solve(BRADFORD, (target / source)[:, None] * BRADFORD), dtype=np.float64)


def white_xyz(xy: tuple[float, float]) -> tuple[float, float, float]:
    """XYZ, at Y = 1, of a white given by its chromaticity."""
    x, y = xy
    return (x / y, 1.0, (1 - x - y) / y)
