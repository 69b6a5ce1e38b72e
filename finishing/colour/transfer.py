"""Transfer functions between linear light and the encoded values that files hold.

Every function takes and returns an array (or a number) of any shape in float64 unless the input
is float32, is mirrored for negative values and goes on above 1, so that encode and decode cancel
over the whole real line. NaN stays NaN.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating]

# IEC 61966-2-1:1999 with the rounded constants of its amendment 1; the two branches meet to 2e-8.
SRGB_SLOPE = 12.92
SRGB_OFFSET = 0.055
SRGB_EXPONENT = 2.4
SRGB_LINEAR_END = 0.0031308
SRGB_ENCODED_END = 0.04045

# IEC 61966-2-5 (opRGB): 2 + 51/256, exactly the s15Fixed16 number 2.19921875.
OPRGB_EXPONENT = 563 / 256


def _floats(values: ArrayLike) -> Floats:
    array = np.asarray(values)
    return array if array.dtype == np.float32 else array.astype(np.float64)


def srgb_decode(encoded: ArrayLike) -> Floats:
    """Linear light from sRGB-encoded values (0…1 is black to white). IEC 61966-2-1."""
    value = _floats(encoded)
    size = np.abs(value)
    curve = ((size + SRGB_OFFSET) / (1 + SRGB_OFFSET)) ** SRGB_EXPONENT
    return np.copysign(np.where(size <= SRGB_ENCODED_END, size / SRGB_SLOPE, curve), value).astype(value.dtype)


def srgb_encode(linear: ArrayLike) -> Floats:
    """sRGB-encoded values from linear light (0…1 is black to white). IEC 61966-2-1."""
    value = _floats(linear)
    size = np.abs(value)
    curve = (1 + SRGB_OFFSET) * size ** (1 / SRGB_EXPONENT) - SRGB_OFFSET
    return np.copysign(np.where(size <= SRGB_LINEAR_END, size * SRGB_SLOPE, curve), value).astype(value.dtype)


def power_decode(encoded: ArrayLike, exponent: float) -> Floats:
    """Linear light from values encoded with a plain power law, mirrored."""
    value = _floats(encoded)
    return np.copysign(np.abs(value) ** exponent, value).astype(value.dtype)


def power_encode(linear: ArrayLike, exponent: float) -> Floats:
    """Values encoded with a plain power law from linear light, mirrored."""
    return power_decode(linear, 1 / exponent)
