"""OkLab and OkLCh, from and to the linear working space.

The matrices are those of CSS Color Module Level 4, section 18 (sample code), which recomputed
Ottosson's ("A perceptual color space for image processing", 2020) in double precision for the
exact D65 and sRGB primaries, so that a grey comes out with a chroma of 0 to about 1e-8.

L runs from 0 (black) to 1 (diffuse white) and on above; a and b are signed chroma coordinates
(sRGB reaches about 0.32 in chroma); hue is in degrees, 0…360, anticlockwise from +a.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Matrix = NDArray[np.float64]

XYZ_TO_LMS: Matrix = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LMS_TO_OKLAB: Matrix = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)
# CSS Color 4, lin_sRGB_to_XYZ, given there as exact fractions.
LINEAR_SRGB_TO_XYZ: Matrix = np.array(
    [
        [506752 / 1228815, 87881 / 245763, 12673 / 70218],
        [87098 / 409605, 175762 / 245763, 12673 / 175545],
        [7918 / 409605, 87881 / 737289, 1001167 / 1053270],
    ]
)

LINEAR_TO_LMS: Matrix = np.asarray(XYZ_TO_LMS @ LINEAR_SRGB_TO_XYZ, np.float64)
LMS_TO_LINEAR: Matrix = np.asarray(np.linalg.inv(LINEAR_TO_LMS), np.float64)
OKLAB_TO_LMS: Matrix = np.asarray(np.linalg.inv(LMS_TO_OKLAB), np.float64)


def linear_to_oklab(linear: ArrayLike) -> NDArray[np.float64]:
    """OkLab of working-space pixels, channels in the last axis. Negative cone responses keep their sign."""
    cones = np.cbrt(_product(LINEAR_TO_LMS, np.asarray(linear, dtype=np.float64)))
    return _product(LMS_TO_OKLAB, cones)


def oklab_to_linear(oklab: ArrayLike) -> NDArray[np.float64]:
    """Working-space pixels of OkLab, channels in the last axis; not clamped to any gamut."""
    cones = _product(OKLAB_TO_LMS, np.asarray(oklab, dtype=np.float64))
    return _product(LMS_TO_LINEAR, cones**3)


def oklab_to_oklch(oklab: ArrayLike) -> NDArray[np.float64]:
    """L, chroma and hue in degrees (0…360). Hue means nothing below a chroma of about 0.002."""
    lab = np.asarray(oklab, dtype=np.float64)
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360
    return np.stack([lab[..., 0], chroma, hue], axis=-1)


def _product(matrix: Matrix, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """A 3×3 applied to the last axis with the nine products written out: a pixel's result never depends on its
    neighbours or on the array's shape, as it may through a BLAS."""
    x, y, z = pixels[..., 0], pixels[..., 1], pixels[..., 2]
    return np.stack([row[0] * x + row[1] * y + row[2] * z for row in matrix], axis=-1)
