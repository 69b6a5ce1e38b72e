"""From light to picture: the sum law, the sensor, the transfer curve."""

import numpy as np
from numpy.typing import NDArray

from finishing.sample.noise import hash_of, kernel
from finishing.sample.staging import SIGNAL

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]

# A full-frame sensor of the common kind at ISO 100: electrons at white, read noise in electrons.
FULL_WELL, READ_NOISE = 60_000.0, 4.5


def signal(light: Floats, seconds: float, aperture: float, iso: float, fires: bool = True) -> Floats:
    """Sensor signal (1 = white) of an exposure: ambient x seconds + the heads, x ISO / 100 / N^2 x constant.

    light: (rows, width, 3 + 3 heads) as drawn.
    """
    total = light[..., :3] * np.float32(seconds)
    if fires:
        for c in range(3, light.shape[-1], 3):
            total = total + light[..., c : c + 3]
    result: Floats = total * np.float32(SIGNAL * iso / 100 / aperture**2)
    return result


@kernel
def develop_rows(values: Floats, first: int, iso: float, full_well: float, read: float, seed: int, out: Bytes) -> None:
    """Add photon and read noise, clip at white, encode with the sRGB curve (IEC 61966-2-1), round to 8 bits.

    values: (rows, width, 3) signal; first: frame row of the first; the noise is a hash of place and seed, close to
    a normal distribution (sum of four even numbers).
    """
    rows, width, _ = values.shape
    white = full_well * 100.0 / iso
    for y in range(rows):
        for x in range(width):
            for c in range(3):
                v = values[y, x, c]
                h = 0.0
                for k in range(4):
                    h += hash_of(x * 4 + k, (y + first) * 3 + c, seed)
                spread = np.sqrt(max(v, 0.0) / white + (read / white) ** 2)
                v = v + (h - 2.0) * 1.7320508 * spread
                v = min(max(v, 0.0), 1.0)
                e = 12.92 * v if v <= 0.0031308 else 1.055 * v ** (1.0 / 2.4) - 0.055
                out[y, x, c] = int(e * 255.0 + 0.5)


def develop(values: Floats, first: int, iso: float, seed: int | None, scale: float = 1.0) -> Bytes:
    """8-bit sRGB rows from a signal; seed: None for no noise.

    scale: output pixels along the long edge over the sensor's 6000; a reduced picture averages sensor pixels, so
    its pixels gather more electrons.
    """
    out = np.empty(values.shape, np.uint8)
    gain = 1.0 / scale**2
    if seed is None:
        develop_rows(values, first, iso, 1e12, 0.0, 0, out)
    else:
        develop_rows(values, first, iso, FULL_WELL * gain, READ_NOISE * np.sqrt(gain), seed, out)
    return out
