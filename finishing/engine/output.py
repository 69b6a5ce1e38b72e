"""What is done for the output alone, at its final size: sharpening for screen or print, and dithering.

None of it is part of a look: it depends on how large a picture is delivered and on what.
"""

from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import LUMINANCE, ColourSpace
from finishing.compiled import ONE, ZERO, compiled, singles, srgb_decode, srgb_encode
from finishing.engine.conversions import HALF
from finishing.engine.ends import CodedSink
from finishing.gaussian import gaussian_weights
from finishing.hashing import NO_KEY, hashed, lower_half, upper_half
from finishing.operation import Domain, Planes

Purpose = Literal["screen", "print"]


@dataclass(frozen=True)
class OutputSharpening:
    """How much an unsharp mask adds. sigma: pixels; amount: of the difference to the blurred picture; most: the
    largest change of an encoded value (0…1) that it may make, so that no bright or dark seams stand out."""

    sigma: float
    amount: float
    most: float


#: What reducing to screen size takes off: a fine radius and a moderate amount. Common practice, no source.
SCREEN = OutputSharpening(sigma=0.7, amount=0.8, most=0.08)

#: Ink spreads on paper: the radius is a length there, 0.08 mm, whatever the resolution; stronger than for a screen,
#: since it is seen through that spread. Common practice, no source.
PRINT_RADIUS_MM = 0.08
PRINT_AMOUNT = 1.0
PRINT_MOST = 0.12
MM_PER_INCH = 25.4


def sharpening_for(purpose: Purpose, pixels_per_inch: float) -> OutputSharpening:
    """The amounts for a purpose; pixels_per_inch counts for print only."""
    if purpose == "screen":
        return SCREEN
    sigma = PRINT_RADIUS_MM / MM_PER_INCH * pixels_per_inch
    return OutputSharpening(max(sigma, 0.4), PRINT_AMOUNT, PRINT_MOST)


def sharpen(planes: Planes, how: OutputSharpening) -> None:
    """An unsharp mask on luminance, in place, over a whole picture: planes (3, height, width) in linear light.

    Luminance is taken as sRGB-encoded, where steps look even, and each pixel's three values are scaled alike, so that
    neither hue nor saturation changes. Where nothing differs from its surroundings, nothing changes.
    """
    lightness = np.empty(planes.shape[1:], np.float32)
    luminance(planes, singles(*LUMINANCE), lightness)
    weights = gaussian_weights(how.sigma)
    blurred = cv2.sepFilter2D(lightness, -1, weights, weights, borderType=cv2.BORDER_REFLECT)
    apply_mask(planes, singles(*LUMINANCE), lightness, blurred, *singles(how.amount, how.most))


@compiled
def luminance(planes: Any, weights: Any, out: Any) -> None:
    """Encoded luminance of every pixel; what is below 0 or above 1 is kept."""
    w0, w1, w2 = weights
    for row in range(out.shape[0]):
        red, green, blue, line = planes[0, row], planes[1, row], planes[2, row], out[row]
        for x in range(out.shape[1]):
            line[x] = srgb_encode(w0 * red[x] + w1 * green[x] + w2 * blue[x])


LEAST = np.float32(1e-4)
NOTHING = np.float32(1e-6)


@compiled
def apply_mask(planes: Any, weights: Any, lightness: Any, blurred: Any, amount: Any, most: Any) -> None:
    """Scale each pixel to its sharpened luminance; near black, where a factor means nothing, light is added."""
    w0, w1, w2 = weights
    for row in range(lightness.shape[0]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        sharp, soft = lightness[row], blurred[row]
        for x in range(lightness.shape[1]):
            change = min(max(amount * (sharp[x] - soft[x]), -most), most)
            before = w0 * red[x] + w1 * green[x] + w2 * blue[x]
            after = srgb_decode(max(sharp[x] + change, ZERO)) if abs(change) > NOTHING else before
            factor = after / before if before > LEAST else ONE
            added = ZERO if before > LEAST else after - before
            added = added if abs(change) > NOTHING else ZERO
            factor = factor if abs(change) > NOTHING else ONE
            red[x], green[x], blue[x] = red[x] * factor + added, green[x] * factor + added, blue[x] * factor + added


class DitheredSink(CodedSink):
    """8-bit codes with triangular noise of ±1 code, so that a smooth tone shows no steps.

    The noise is the difference of two hashes of the pixel's place and channel: its mean is 0 and its size does not
    depend on the tone (Lipshitz, Wannamaker, Vanderkooy, "Quantization and Dither", JAES 40-5, 1992), and the same
    picture is always the same bytes. Black and white stay clean. What is exactly a code may come out as its neighbour:
    a picture that nothing was done to no longer comes back bit for bit.
    """

    def __init__(self, codes: NDArray[np.uint8], space: ColourSpace) -> None:
        super().__init__(codes, space)

    def write(self, planes: Planes, top: int, domain: Domain) -> None:
        self.encode(planes, domain)
        store_dithered(planes, np.float32(self.highest), top, self.codes[top : top + planes.shape[1]])


ROW_FACTOR = np.uint32(0x9E3779B1)  # odd: rows never share their places
CHANNEL_FACTOR = np.uint32(0x85EBCA77)
PER_65536 = np.float32(1 / 65536)
CLEAN = np.float32(0.002)  # of a code: what is as near as this to black or white is meant to be it


@compiled
def store_dithered(planes: Any, most: Any, top: Any, codes: Any) -> None:
    """As `conversions.store_values`, with noise that depends on nothing but the pixel's place in the picture."""
    for channel in range(3):
        for row in range(planes.shape[1]):
            line, out = planes[channel, row], codes[row]
            start = hashed(np.uint32(np.uint32(top + row) * ROW_FACTOR + np.uint32(channel) * CHANNEL_FACTOR), NO_KEY)
            for x in range(planes.shape[2]):
                noise = hashed(np.uint32(start + np.uint32(x)), NO_KEY)
                triangle = (np.float32(lower_half(noise)) - np.float32(upper_half(noise))) * PER_65536
                place = min(max(line[x], ZERO), ONE) * most
                inside = CLEAN < place < most - CLEAN
                place += triangle if inside else ZERO
                out[x, channel] = np.int32(min(max(place, ZERO), most) + HALF)
