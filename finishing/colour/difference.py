"""How different two colours look: CIE L*a*b* and the colour difference CIEDE2000.

CIELAB is that of CIE 15:2004 (ISO/CIE 11664-4) against the white of the working space, D65. CIEDE2000 is that of
CIE 142-2001 (ISO/CIE 11664-6) as written out by Sharma, Wu and Dalal, "The CIEDE2000 Color-Difference Formula:
Implementation Notes, Supplementary Test Data, and Mathematical Observations", Color Research and Application 30(1),
2005. A difference of 1 is about what is just seen between large patches that touch; 2 to 3 is easily seen.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour.oklab import LINEAR_SRGB_TO_XYZ

Floats = NDArray[np.float64]

# CIE 15:2004 gives both as fractions; the two branches meet there with one slope.
_BEND = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3
# So scaled, white is exactly (1, 1, 1): greys come out with a* = b* = 0 but for rounding.
_LINEAR_TO_WHITE: Floats = LINEAR_SRGB_TO_XYZ / LINEAR_SRGB_TO_XYZ.sum(axis=1, keepdims=True)


def linear_to_lab(linear: ArrayLike) -> Floats:
    """CIELAB (D65) of working-space pixels, channels in the last axis; L* 0 (black) to 100 (diffuse white)."""
    pixels = np.asarray(linear, dtype=np.float64)
    red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
    x, y, z = (_compressed(row[0] * red + row[1] * green + row[2] * blue) for row in _LINEAR_TO_WHITE)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def _compressed(part: Floats) -> Floats:
    return np.where(part > _BEND, np.cbrt(part), _SLOPE * part + 4 / 29)


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> Floats:
    """CIEDE2000 between two arrays of CIELAB colours, channels in the last axis, with k_L = k_C = k_H = 1.

    Returns the differences, 0 and above, in the shape of the other axes. The order of the two does not count.
    """
    first, second = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    lightness1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    lightness2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]

    # Near grey, a* counts more (equations 2 to 7 of the paper).
    seventh = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    chroma1, chroma2 = np.hypot(a1, b1), np.hypot(a2, b2)
    hue1, hue2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = chroma1 * chroma2 == 0

    # The shorter way round, and the hue in the middle of it; a grey takes part with the other's hue (10 and 14).
    turn = hue2 - hue1
    far = np.abs(turn) > 180
    turn = np.where(far, turn - np.copysign(360.0, turn), turn)
    turn = np.where(grey, 0.0, turn)
    around = hue1 + hue2
    hue = np.where(far, np.where(around < 360, around + 360, around - 360), around) / 2
    hue = np.where(grey, around, hue)

    lightness, chroma = (lightness1 + lightness2) / 2, (chroma1 + chroma2) / 2
    by_lightness = lightness2 - lightness1
    by_chroma = chroma2 - chroma1
    by_hue = 2 * np.sqrt(chroma1 * chroma2) * np.sin(np.radians(turn) / 2)

    weight = (
        1
        - 0.17 * _cos(hue - 30)
        + 0.24 * _cos(2 * hue)
        + 0.32 * _cos(3 * hue + 6)
        - 0.20 * _cos(4 * hue - 63)
    )  # fmt: skip
    from_middle = (lightness - 50) ** 2
    by_lightness = by_lightness / (1 + 0.015 * from_middle / np.sqrt(20 + from_middle))
    by_chroma = by_chroma / (1 + 0.045 * chroma)
    by_hue = by_hue / (1 + 0.015 * chroma * weight)
    # In the blues, chroma and hue are judged together (17 to 19 and 22).
    seventh = chroma**7
    rotation = -2 * np.sqrt(seventh / (seventh + 25.0**7))
    rotation = rotation * np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    total = by_lightness**2 + by_chroma**2 + by_hue**2 + rotation * by_chroma * by_hue
    return np.asarray(np.sqrt(np.maximum(total, 0.0)))


def _cos(degrees: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(degrees)))
