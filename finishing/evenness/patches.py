"""The 24-patch colour chart: what its patches are published to be.

CIE 1931 x, y and Y under illuminant D50 (CIE 1931 2° observer) of charts made after November 2014, from the maker's
published averages as colour-science 0.4 carries them (there under the year, in its collection of charts), rounded to
6 places. Rows of six from the dark skin patch on; the last row is the greys from white to black.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from finishing.colour.adaptation import adaptation_matrix, white_xyz
from finishing.colour.spaces import D65, SRGB

COLUMNS, ROWS = 6, 4
#: D50 as the published values have it.
D50 = (0.345703, 0.358539)

PATCHES: tuple[tuple[str, float, float, float], ...] = (
    ("dark skin", 0.437484, 0.378523, 0.098324),
    ("light skin", 0.422249, 0.372494, 0.336202),
    ("blue sky", 0.276147, 0.298382, 0.178552),
    ("foliage", 0.373316, 0.451169, 0.134679),
    ("blue flower", 0.302891, 0.286287, 0.228718),
    ("bluish green", 0.286405, 0.389718, 0.414355),
    ("orange", 0.528148, 0.405335, 0.312642),
    ("purplish blue", 0.232386, 0.211204, 0.109109),
    ("moderate red", 0.504448, 0.327065, 0.189000),
    ("purple", 0.333471, 0.250552, 0.062767),
    ("yellow green", 0.398893, 0.504149, 0.433176),
    ("orange yellow", 0.493576, 0.444283, 0.429338),
    ("blue", 0.205221, 0.168665, 0.055962),
    ("green", 0.323038, 0.510418, 0.223344),
    ("red", 0.562872, 0.335563, 0.127801),
    ("yellow", 0.467759, 0.476024, 0.599298),
    ("magenta", 0.421311, 0.266925, 0.189511),
    ("cyan", 0.209129, 0.302658, 0.180610),
    ("white", 0.348914, 0.364213, 0.880690),
    ("neutral 8", 0.345584, 0.359881, 0.589971),
    ("neutral 6.5", 0.344150, 0.359185, 0.364865),
    ("neutral 5", 0.345769, 0.359094, 0.190623),
    ("neutral 3.5", 0.342648, 0.357584, 0.088172),
    ("black", 0.343767, 0.356058, 0.031513),
)
NEUTRALS = slice(18, 24)


@lru_cache(maxsize=1)
def published() -> NDArray[np.float64]:
    """(24, 3): the patches in linear working light, carried from D50 to D65 by Bradford."""
    x, y, luminance = np.array([patch[1:] for patch in PATCHES]).T
    xyz = np.stack([x / y * luminance, luminance, (1 - x - y) / y * luminance], axis=-1)
    to_working = np.linalg.solve(SRGB.to_xyz, adaptation_matrix(white_xyz(D50), white_xyz(D65)))
    result = np.asarray(xyz @ to_working.T, np.float64)
    result.setflags(write=False)
    return result
