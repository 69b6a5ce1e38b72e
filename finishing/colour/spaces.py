"""The colour spaces a file can be written in: primaries, white point, transfer function.

All of them are relative to D65, so going from one to another is a 3×3 matrix in linear light and
needs no chromatic adaptation.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour import transfer

Matrix = NDArray[np.float64]

D65 = (0.3127, 0.3290)  # CIE 15, the four-digit chromaticity that sRGB and its relatives use


@dataclass(frozen=True, eq=False)
class ColourSpace:
    """name: as deliverables write it; primaries: xy of red, green, blue; decode and encode: transfer functions."""

    name: str
    title: str
    primaries: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    decode: Callable[[ArrayLike], NDArray[np.floating]]
    encode: Callable[[ArrayLike], NDArray[np.floating]]

    @cached_property
    def to_xyz(self) -> Matrix:
        """3×3 from linear RGB to CIE XYZ with white at Y = 1 (SMPTE RP 177-1993, normalised primary matrix)."""
        return rgb_to_xyz(self.primaries, D65)

    @cached_property
    def luminance(self) -> NDArray[np.float64]:
        """The three weights of linear red, green and blue in relative luminance Y; they sum to 1."""
        row: NDArray[np.float64] = self.to_xyz[1]
        return row

    @cached_property
    def to_working(self) -> Matrix:
        """3×3 from this space's linear RGB to the working space."""
        return conversion(self, SRGB)

    @cached_property
    def from_working(self) -> Matrix:
        """3×3 from the working space to this space's linear RGB."""
        return conversion(SRGB, self)


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...], white: tuple[float, float]) -> Matrix:
    """The normalised primary matrix of three chromaticities and a white point (SMPTE RP 177-1993)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries], dtype=np.float64).T
    x, y = white
    scale = np.linalg.solve(columns, np.array([x / y, 1.0, (1 - x - y) / y]))
    return np.asarray(columns * scale, dtype=np.float64)


def conversion(source: ColourSpace, target: ColourSpace) -> Matrix:
    """3×3 from one space's linear RGB to another's; exactly the identity where the primaries agree."""
    if source.primaries == target.primaries:
        return np.eye(3)
    return np.asarray(np.linalg.solve(target.to_xyz, source.to_xyz), dtype=np.float64)


def _identity(values: ArrayLike) -> NDArray[np.floating]:
    return np.asarray(values, dtype=np.float64)


_REC_709 = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # ITU-R BT.709-6, also IEC 61966-2-1

SRGB = ColourSpace("srgb", "sRGB", _REC_709, transfer.srgb_decode, transfer.srgb_encode)
DISPLAY_P3 = ColourSpace(  # SMPTE EG 432-1 primaries with D65 and the sRGB curve
    "display_p3", "Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    transfer.srgb_decode, transfer.srgb_encode,
)  # fmt: skip
OPRGB = ColourSpace(  # IEC 61966-2-5
    "oprgb", "opRGB", ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
    partial(transfer.power_decode, exponent=transfer.OPRGB_EXPONENT),
    partial(transfer.power_encode, exponent=transfer.OPRGB_EXPONENT),
)  # fmt: skip
LINEAR = ColourSpace("linear", "Linear light, Rec. 709 primaries", _REC_709, _identity, _identity)

COLOUR_SPACES = {space.name: space for space in (SRGB, DISPLAY_P3, OPRGB, LINEAR)}

#: Weights of the working space's red, green and blue in relative luminance (ITU-R BT.709).
LUMINANCE = SRGB.luminance


def luminance(linear: ArrayLike) -> NDArray[np.floating]:
    """Relative luminance Y of working-space pixels, channels in the last axis."""
    pixels = np.asarray(linear)
    red, green, blue = LUMINANCE.astype(pixels.dtype if pixels.dtype == np.float32 else np.float64)
    return np.asarray(red * pixels[..., 0] + green * pixels[..., 1] + blue * pixels[..., 2])
