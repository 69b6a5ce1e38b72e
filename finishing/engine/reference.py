"""The plain way: whole frames, float64, one step after the other, with nothing clever about it.

It exists to be right. The engine is tested equal to it on random recipes and pixels.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from finishing.colour import oklab, transfer
from finishing.engine.ends import LARGEST
from finishing.operation import Domain, Geometry, Pixels
from finishing.recipes.recipe import Step


def carry_out(steps: Sequence[Step], linear: ArrayLike, geometry: Geometry) -> Pixels:
    """The finished frame in linear light, float64 (height, width, 3), from linear light of the same shape."""
    pixels = np.nan_to_num(np.asarray(linear, np.float64), nan=0.0, posinf=np.inf, neginf=-np.inf)
    pixels = np.clip(pixels, -float(LARGEST), float(LARGEST))
    for step in steps:
        operation = step.operation
        if operation.changes_nothing():
            continue
        before = from_linear(pixels, operation.domain)
        after = operation.reference(before, geometry)
        if step.where is not None:
            weight = step.where.reference(from_linear(pixels, Domain.OKLAB), geometry)[..., None]
            after = before * (1 - weight) + after * weight
        pixels = to_linear(after, operation.domain)
    return pixels


def from_linear(pixels: Pixels, domain: Domain) -> Pixels:
    """Linear light in another domain."""
    if domain is Domain.ENCODED:
        return np.asarray(transfer.srgb_encode(pixels), np.float64)
    return oklab.linear_to_oklab(pixels) if domain is Domain.OKLAB else pixels


def to_linear(pixels: Pixels, domain: Domain) -> Pixels:
    """Another domain's pixels in linear light."""
    if domain is Domain.ENCODED:
        return np.asarray(transfer.srgb_decode(pixels), np.float64)
    return oklab.oklab_to_linear(pixels) if domain is Domain.OKLAB else pixels
