"""Bringing colours into an output gamut without turning their hue.

After CSS Color Module Level 4, section 13.2 (gamut mapping in OkLCh by reducing chroma): lightness and hue stay,
chroma becomes the largest that the gamut holds; a lightness of 1 or more is white, of 0 or less black. That text
also lets a clipped colour stand where it is nearer than its just noticeable difference; here it does not (the
difference is taken as 0), since clipped skin and coats turn in hue.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour import oklab
from finishing.colour.spaces import ColourSpace

#: Linear light this far outside 0…1 counts as inside: less than a 16-bit code.
TOLERANCE = 1e-5
#: Halvings of the chroma: the last step is finer than 1e-4 of it.
HALVINGS = 14


def bring_in(linear: ArrayLike, space: ColourSpace) -> NDArray[np.float64]:
    """Linear light of a space, inside its gamut, from working-space pixels; channels in the last axis."""
    pixels = np.asarray(linear, np.float64)
    lab = oklab.linear_to_oklab(pixels)
    result = _to_space(lab, space)
    outside = np.any((result < -TOLERANCE) | (result > 1 + TOLERANCE), axis=-1, keepdims=True)
    least, most = np.zeros(pixels.shape[:-1]), np.ones(pixels.shape[:-1])
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        tried = _to_space(lab * np.stack([np.ones_like(middle), middle, middle], axis=-1), space)
        fits = ((tried >= -TOLERANCE) & (tried <= 1 + TOLERANCE)).all(axis=-1)
        least, most = np.where(fits, middle, least), np.where(fits, most, middle)
    found = _to_space(lab * np.stack([np.ones_like(least), least, least], axis=-1), space)
    lightness = lab[..., :1]
    found = np.where(lightness >= 1, 1.0, np.where(lightness <= 0, 0.0, found))
    return np.asarray(np.where(outside, found, result))


def _to_space(lab: NDArray[np.float64], space: ColourSpace) -> NDArray[np.float64]:
    working = oklab.oklab_to_linear(lab)
    red, green, blue = (working[..., i] for i in range(3))
    return np.stack([row[0] * red + row[1] * green + row[2] * blue for row in space.from_working], axis=-1)
