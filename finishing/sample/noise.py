"""Hashed noise for textures: the same value for the same place on every run.

Nothing here keeps a state. A value is a hash of whole-number coordinates, so a picture drawn in strips, in
another order or by more threads is the same picture.
"""

from collections.abc import Callable
from math import floor
from typing import TypeVar, cast

from numba import njit

Function = TypeVar("Function", bound=Callable[..., object])

# Only the safe parts of fast arithmetic: tests for NaN and infinity keep their meaning.
_FAST = {"contract", "arcp", "nsz", "reassoc", "afn"}


def kernel(function: Function) -> Function:
    """Compile a function once, keep it on disk and let threads run it side by side."""
    return cast(Function, njit(cache=True, nogil=True, fastmath=_FAST, error_model="numpy")(function))


@kernel
def hash_of(x: int, y: int, z: int) -> float:
    """A number in [0, 1) from three whole numbers (two rounds of multiply and shift on 32 bits)."""
    h = (x * 73856093 ^ y * 19349663 ^ z * 83492791) & 0xFFFFFFFF
    h = ((h ^ (h >> 16)) * 0x45D9F3B) & 0xFFFFFFFF
    h = ((h ^ (h >> 15)) * 0x2C1B3C6D) & 0xFFFFFFFF
    return (h ^ (h >> 16)) * (1.0 / 4294967296.0)


@kernel
def clamp(x: float, low: float, high: float) -> float:
    """x held between two bounds."""
    return low if x < low else (high if x > high else x)


@kernel
def ramp(low: float, high: float, x: float) -> float:
    """Smooth step: 0 at `low`, 1 at `high`, flat at both (3u² − 2u³)."""
    u = clamp((x - low) / (high - low), 0.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


@kernel
def _corner(h: int) -> float:
    h &= 0xFFFFFFFF
    h = ((h ^ (h >> 15)) * 0x2C1B3C6D) & 0xFFFFFFFF
    return (h ^ (h >> 14)) * (1.0 / 4294967296.0)


@kernel
def noise(x: float, y: float, z: float) -> float:
    """Smooth value noise in [0, 1], one wave a unit."""
    fx, fy, fz = floor(x), floor(y), floor(z)
    u, v, w = x - fx, y - fy, z - fz
    u = u * u * u * (u * (u * 6.0 - 15.0) + 10.0)
    v = v * v * v * (v * (v * 6.0 - 15.0) + 10.0)
    w = w * w * w * (w * (w * 6.0 - 15.0) + 10.0)
    x0, y0, z0 = int(fx) * 73856093, int(fy) * 19349663, int(fz) * 83492791
    x1, y1, z1 = x0 + 73856093, y0 + 19349663, z0 + 83492791
    a, b = _corner(x0 ^ y0 ^ z0), _corner(x0 ^ y1 ^ z0)
    c, d = _corner(x0 ^ y0 ^ z1), _corner(x0 ^ y1 ^ z1)
    a += u * (_corner(x1 ^ y0 ^ z0) - a)
    b += u * (_corner(x1 ^ y1 ^ z0) - b)
    c += u * (_corner(x1 ^ y0 ^ z1) - c)
    d += u * (_corner(x1 ^ y1 ^ z1) - d)
    e = a + v * (b - a)
    return e + w * (c + v * (d - c) - e)


@kernel
def layered(x: float, y: float, z: float, octaves: int) -> float:
    """Noise summed over octaves (each twice as fine and half as strong), about [0, 1]."""
    total, strength, norm = 0.0, 0.5, 0.0
    for i in range(octaves):
        total += strength * noise(x + 17.3 * i, y + 9.1 * i, z - 5.7 * i)
        norm += strength
        x, y, z = x * 2.03, y * 2.03, z * 2.03
        strength *= 0.5
    return total / norm


@kernel
def ridged(x: float, y: float, z: float) -> float:
    """Sharp-crested noise in [0, 1]: crests where smooth noise crosses its middle. Cloth creases like this."""
    a = 1.0 - abs(2.0 * noise(x, y, z) - 1.0)
    b = 1.0 - abs(2.0 * noise(2.1 * x + 7.0, 2.1 * y, 2.1 * z + 3.0) - 1.0)
    return 0.7 * a * a + 0.3 * b
