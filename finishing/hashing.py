"""Whole numbers that look random and are the same every time: noise that depends on nothing but a pixel's place.

Two multiplications and three shifts spread every bit of a whole number over all 32 (Wellons, "Prospecting for hash
functions", 2018, the least biased pair found there).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import inlined

FIRST_FACTOR, SECOND_FACTOR = np.uint32(0x7FEB352D), np.uint32(0x846CA68B)
SHIFT_15, SHIFT_16 = np.uint32(15), np.uint32(16)
LOW_HALF = np.uint32(0xFFFF)
NO_KEY = np.uint32(0)


@inlined
def hashed(x: Any, key: Any) -> Any:
    """The hash of 32 bits. key: worked in half-way, so that what is hashed with different ones never is the same row of
    numbers shifted."""
    x = np.uint32(np.uint32(np.uint32(x ^ np.uint32(x >> SHIFT_16)) * FIRST_FACTOR) + key)
    x = np.uint32(np.uint32(x ^ np.uint32(x >> SHIFT_15)) * SECOND_FACTOR)
    return np.uint32(x ^ np.uint32(x >> SHIFT_16))


@inlined
def lower_half(h: Any) -> Any:
    """16 of the 32 bits as a whole number 0…65535."""
    return np.int32(np.uint32(h & LOW_HALF))


@inlined
def upper_half(h: Any) -> Any:
    """The other 16."""
    return np.int32(np.uint32(h >> SHIFT_16))


def plain_hashed(values: Any, key: Any = NO_KEY) -> NDArray[np.uint32]:
    """The same on arrays of uint32, which broadcast."""
    h = np.asarray(values, np.uint32)
    h = (h ^ (h >> SHIFT_16)) * FIRST_FACTOR + key
    h = (h ^ (h >> SHIFT_15)) * SECOND_FACTOR
    return np.asarray(h ^ (h >> SHIFT_16), np.uint32)
