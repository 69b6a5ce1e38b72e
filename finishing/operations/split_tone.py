"""One tint in the shadows, another in the highlights."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, singles, smooth_step
from finishing.documents.fields import Hue, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


class SplitTone(Operation):
    """Adds a colour to the dark tones and another to the light ones, in OkLab; lightness never changes.

    With L the lightness (0 black, 1 white): the shadow tint has the weight s(t), t = (balance − L) / balance,
    the highlight tint s(t), t = (L − balance) / (1 − balance), t held in 0…1 and s(t) = t²(3 − 2t). A tone of
    lightness `balance` takes neither, black and white take one in full, as faded paper and dye do.
    """

    name: ClassVar[str] = "split_tone"
    summary: ClassVar[str] = "Tints shadows and highlights, each with its own hue."
    neutral: ClassVar[dict[str, Any]] = {"shadow_chroma": 0.0, "highlight_chroma": 0.0}
    example: ClassVar[str] = (
        "split_tone: {shadow_hue: 250, shadow_chroma: 0.02, highlight_hue: 85, highlight_chroma: 0.02}"
    )

    shadow_hue: Hue = parameter("the tint of the dark tones: an angle in degrees or a colour", 250.0)
    shadow_chroma: Annotated[float, number(0, 0.2, example="0.02")] = parameter("how much of it, in OkLCh chroma", 0.0)
    highlight_hue: Hue = parameter("the tint of the light tones", 85.0)
    highlight_chroma: Annotated[float, number(0, 0.2, example="0.02")] = parameter(
        "how much of it, in OkLCh chroma", 0.0
    )
    balance: Annotated[float, number(0.05, 0.95, example="0.5")] = parameter(
        "the OkLab lightness that takes neither tint", 0.5
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.shadow_chroma == 0 and self.highlight_chroma == 0)

    def _tints(self) -> tuple[float, float, float, float]:
        """a and b of the shadow tint, a and b of the highlight tint."""
        dark, light = math.radians(self.shadow_hue), math.radians(self.highlight_hue)
        return (
            self.shadow_chroma * math.cos(dark),
            self.shadow_chroma * math.sin(dark),
            self.highlight_chroma * math.cos(light),
            self.highlight_chroma * math.sin(light),
        )

    def prepare(self, geometry: Geometry) -> Kernel:
        arguments = singles(self.balance, 1 / self.balance, 1 / (1 - self.balance), *self._tints())
        return PixelKernel(tint, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        lightness = pixels[..., 0]
        shadow = np.clip((self.balance - lightness) / self.balance, 0, 1)
        highlight = np.clip((lightness - self.balance) / (1 - self.balance), 0, 1)
        shadow = shadow**2 * (3 - 2 * shadow)
        highlight = highlight**2 * (3 - 2 * highlight)
        shadow_a, shadow_b, highlight_a, highlight_b = self._tints()
        a = pixels[..., 1] + shadow * shadow_a + highlight * highlight_a
        b = pixels[..., 2] + shadow * shadow_b + highlight * highlight_b
        return np.stack([lightness, a, b], axis=-1)


@compiled
def tint(
    planes: Any,
    balance: Any,
    per_dark: Any,
    per_light: Any,
    shadow_a: Any,
    shadow_b: Any,
    highlight_a: Any,
    highlight_b: Any,
) -> None:
    """Weights out of L, then both tints added to a and b."""
    for row in range(planes.shape[1]):
        lightness, a, b = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            dark = min(max((balance - lightness[x]) * per_dark, ZERO), ONE)
            light = min(max((lightness[x] - balance) * per_light, ZERO), ONE)
            dark = smooth_step(dark)
            light = smooth_step(light)
            a[x] = a[x] + dark * shadow_a + light * highlight_a
            b[x] = b[x] + dark * shadow_b + light * highlight_b
