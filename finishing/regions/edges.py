"""The soft edge that all regions share, and the bounds it has in whole pixels."""

import math
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.compiled import ONE, ZERO, inlined
from finishing.documents.fields import number

TWO = np.float32(2)
THREE = np.float32(3)

#: Length of a soft edge, in fractions of the frame's short side.
Soft = Annotated[float, number(0, 2, "the short side", example="0.05")]
ABOUT_SOFT = "how far the soft edge reaches beyond the outline, in fractions of the short side; 0 is a hard edge"


@inlined
def falling(beyond: Any) -> Any:
    """1 up to beyond = 0, 0 from beyond = 1 on, t²(3 − 2t) with t = 1 − beyond in between; never above 1."""
    t = min(max(ONE - beyond, ZERO), ONE)
    return t * t * (THREE - TWO * t)


def plain_falling(beyond: ArrayLike) -> NDArray[np.float64]:
    """The same in float64."""
    t = np.clip(1 - np.asarray(beyond, np.float64), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float64)


def whole_pixels(first: float, last: float, count: int) -> tuple[int, int]:
    """The pixels of 0…count−1 that touch first…last (in pixel indices), as start and stop; (0, 0) where none do."""
    start, stop = max(math.floor(first), 0), min(math.ceil(last) + 1, count)
    return (start, stop) if start < stop else (0, 0)
