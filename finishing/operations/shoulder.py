"""Highlights roll off under a ceiling instead of being cut."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, singles
from finishing.documents.fields import Fraction, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

LEAST_SPAN = 1e-4
LEAST = np.float32(1e-6)


class Shoulder(Operation):
    """Bends what lies above `start` so that it nears `ceiling` and never goes beyond, in linear light.

    The measure of a pixel is its largest channel m. With t = (m − start) / (ceiling − start), m becomes
    f = start + (ceiling − start) · t / √(1 + t²) for t > 0: slope 1 and no curvature at the start, so that no edge
    shows where it sets in. Up to the start pixels stay bit for bit.

    The pixel follows as f − (m − c) · q · (1 − paling · (1 − q)), q = f/m: at `paling` 0 all channels are scaled by
    the same q, which keeps hue and saturation; at 1 the distances to the largest channel shrink by q² and a
    bright highlight pales toward white, as on film. The largest channel is the measure since on skin it is red that
    is cut first, which turns bright skin yellow; held by its red, skin keeps its hue and rolls off whole.
    """

    name: ClassVar[str] = "shoulder"
    summary: ClassVar[str] = "Rolls highlights off softly under a ceiling instead of clipping them."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "shoulder: {start: 0.6, ceiling: 1.0}"

    start: Annotated[float, number(0, 4, example="0.6")] = parameter(
        "linear brightness up to which nothing changes; 1 is white", 0.6
    )
    ceiling: Annotated[float, number(0, 8, example="1.0")] = parameter(
        "linear brightness that is neared and not passed; at or below the start it cuts there", 1.0
    )
    paling: Fraction = parameter("how far bright colours pale toward white as they near the ceiling", 0.3)
    strength: Fraction = parameter("0 leaves the frame as it is, 1 bends it, between them a mix", 1.0)

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def _span(self) -> float:
        return float(max(self.ceiling - self.start, LEAST_SPAN))

    def prepare(self, geometry: Geometry) -> Kernel:
        span = self._span()
        arguments = singles(self.start, span, 1 / span, self.paling, self.strength)
        return PixelKernel(bend, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        largest = pixels.max(axis=-1, keepdims=True)
        above = np.maximum(largest, self.start + 1e-12)
        t = (above - self.start) / self._span()
        bent = self.start + self._span() * t / np.sqrt(1 + t * t)
        q = bent / above
        result = bent - (largest - pixels) * q * (1 - self.paling * (1 - q))
        return np.where(largest > self.start, pixels * (1 - self.strength) + result * self.strength, pixels)


@compiled
def bend(planes: Any, start: Any, span: Any, per_span: Any, paling: Any, strength: Any) -> None:
    """The law, with both branches worked out and one of them taken."""
    rest = ONE - strength
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            largest = max(max(r, g), b)
            t = max(largest - start, ZERO) * per_span
            bent = start + span * t / np.sqrt(ONE + t * t)
            q = bent / max(largest, LEAST)
            share = q * (ONE - paling * (ONE - q)) * strength
            above = bent * strength
            over = largest > start
            red[x] = r * rest + (above - (largest - r) * share) if over else r
            green[x] = g * rest + (above - (largest - g) * share) if over else g
            blue[x] = b * rest + (above - (largest - b) * share) if over else b
