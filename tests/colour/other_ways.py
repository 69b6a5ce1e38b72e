"""Ways into OkLab that only tests go: from XYZ, and from lightness, chroma and hue."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour.oklab import linear_to_oklab
from finishing.colour.spaces import SRGB


def oklab_of_xyz(xyz: ArrayLike) -> NDArray[np.float64]:
    """OkLab of CIE XYZ (D65, white at Y = 1), channels in the last axis, by way of linear sRGB."""
    return linear_to_oklab(np.asarray(xyz, np.float64) @ np.linalg.inv(SRGB.to_xyz).T)


def oklab_of_lch(lch: ArrayLike) -> NDArray[np.float64]:
    """OkLab of L, chroma and hue in degrees, channels in the last axis."""
    lightness, chroma, hue = np.moveaxis(np.asarray(lch, np.float64), -1, 0)
    return np.stack([lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))], axis=-1)
