"""Film developed in the other film's chemistry: each colour layer gets a curve that is not its own."""

import math
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, compiled, singles
from finishing.documents.fields import Fraction, choice, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


@dataclass(frozen=True)
class Layer:
    """One layer's curve, on encoded values. contrast: how steep the middle is against the ends (above 0); middle:
    the value of the steepest place; black, white: what 0 and 1 become."""

    contrast: float
    middle: float
    black: float
    white: float


#: Red, green and blue layer of each process. Chosen by eye after what the trade knows them by; no measured film.
PROCESSES: dict[str, tuple[Layer, Layer, Layer]] = {
    "slide_as_negative": (
        Layer(2.6, 0.52, -0.02, 1.0),
        Layer(2.2, 0.47, -0.01, 1.0),
        Layer(0.9, 0.5, 0.10, 0.86),
    ),
    "negative_as_slide": (
        Layer(1.2, 0.46, 0.06, 0.96),
        Layer(1.0, 0.5, 0.05, 0.94),
        Layer(1.6, 0.55, 0.02, 0.90),
    ),
}


class CrossProcess(Operation):
    """Sends each channel through a characteristic curve of its own, with toe and shoulder, on sRGB-encoded values.

    A curve is f(v) = black + (white − black) · [s(c·(v − m)) − s(−c·m)] / [s(c·(1 − m)) − s(−c·m)] with
    s(x) = x / √(1 + x²): a toe, a straight middle that is steepest at m, a shoulder; 0 becomes `black`, 1 becomes
    `white`, and beyond both it levels off. c is the layer's contrast times `contrast`. Encoded values stand in for log
    exposure, to which they are near in the middle tones.

    `slide_as_negative`: hard red and green, a soft blue that is lifted in the shadows and held down in the
    highlights, so shadows turn blue and highlights yellow-green. `negative_as_slide`: soft, low in contrast, warm.
    """

    name: ClassVar[str] = "cross_process"
    summary: ClassVar[str] = "Shifts tones and colours as film does in the wrong chemistry."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "cross_process: {process: slide_as_negative, strength: 0.6}"

    process: Annotated[str, choice(*PROCESSES)] = parameter("which film in which chemistry", "slide_as_negative")
    contrast: Annotated[float, number(0.2, 3, example="1.0")] = parameter(
        "makes all three curves harder (above 1) or softer", 1.0
    )
    strength: Fraction = parameter("0 leaves the frame as it is, 1 is the whole effect, between them a mix", 0.6)

    @property
    def domain(self) -> Domain:
        return Domain.ENCODED

    @property
    def per_channel(self) -> bool:
        return True

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def curve(self, channel: int, encoded: Any) -> NDArray[np.float64]:
        """What encoded values of a channel (0 red, 1 green, 2 blue) become at full strength, any shape."""
        scale, offset, contrast, middle = self._numbers(channel)
        x = contrast * (np.asarray(encoded, np.float64) - middle)
        return np.asarray(offset + scale * x / np.sqrt(1 + x * x))

    def _numbers(self, channel: int) -> tuple[float, float, float, float]:
        """scale, offset, contrast and middle: f(v) = offset + scale · s(contrast · (v − middle))."""
        layer = PROCESSES[self.process][channel]
        contrast = layer.contrast * self.contrast
        low, high = (x / math.hypot(1, x) for x in (-contrast * layer.middle, contrast * (1 - layer.middle)))
        scale = (layer.white - layer.black) / (high - low)
        return scale, layer.black - scale * low, contrast, layer.middle

    def prepare(self, geometry: Geometry) -> Kernel:
        numbers = np.array([self._numbers(channel) for channel in range(3)]).astype(np.float32)
        (strength,) = singles(self.strength)
        return PixelKernel(bend, numbers, strength)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        bent = np.stack([self.curve(channel, pixels[..., channel]) for channel in range(3)], axis=-1)
        result: Pixels = pixels * (1 - self.strength) + bent * self.strength
        return result


@compiled
def bend(planes: Any, numbers: Any, strength: Any) -> None:
    """numbers: scale, offset, contrast and middle of each channel, (3, 4)."""
    rest = ONE - strength
    for channel in range(3):
        scale, offset = numbers[channel, 0] * strength, numbers[channel, 1] * strength
        contrast, middle = numbers[channel, 2], numbers[channel, 3]
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for k in range(planes.shape[2]):
                value = line[k]
                x = contrast * (value - middle)
                line[k] = value * rest + (offset + scale * x / np.sqrt(ONE + x * x))
