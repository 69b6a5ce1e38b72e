"""The silver of a print changed into another substance, or dyed."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.compiled import ONE, compiled, logarithm, singles
from finishing.documents.fields import Hue, choice, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

#: OkLCh hue and chroma that each toner tends to in dense silver, then in thin silver. Chosen by eye after the words
#: that darkroom manuals have for them; no measured prints stand behind them.
TONERS: dict[str, tuple[float, float, float, float]] = {
    "sepia": (55.0, 0.042, 78.0, 0.075),
    "selenium": (345.0, 0.034, 20.0, 0.002),
    "gold": (265.0, 0.012, 255.0, 0.040),
    "copper": (32.0, 0.048, 48.0, 0.055),
    "cyanotype": (258.0, 0.100, 240.0, 0.075),
    "platinum": (70.0, 0.016, 85.0, 0.014),
}
LEAST_LIGHTNESS = np.float32(1e-6)
#: −e · ln 2, so that −e · L · ln L comes from a logarithm to base 2.
PEAK = np.float32(-math.e * math.log(2))


class Toning(Operation):
    """Gives each tone the colour that a toner gives the silver there, in OkLab; lightness L never changes.

    A thin absorber in a density D tints the light by a share that goes with D (Beer and Lambert), so that in OkLab
    the chroma goes with L · D. With D = −3 log₁₀ L, the density of the grey of that lightness, its form is
    g(L) = −e · L · ln L: 0 at paper white and at black, 1 at the density 1.30. Colour (a, b) is
    g(L) · [(1 − L) · dense + L · thin], where dense and thin are the tints that the chemistry takes in heavy and
    in light deposits: selenium acts on the dense silver first, gold and sulphide (sepia) on the thin. Dye tones
    all silver alike, in the hue you name. Above paper white there is no silver, hence no colour.

    `strength` 1 replaces the frame's own colours, as on a black and white print; below that they shine through,
    above it the tint is stronger. `platinum` and `cyanotype` are processes of their own with an image of platinum
    and of Prussian blue.
    """

    name: ClassVar[str] = "toning"
    summary: ClassVar[str] = (
        "Tones the frame like a print: sepia, selenium, gold, copper, cyanotype, platinum or a dye."
    )
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "toning: {toner: selenium, strength: 1.0}"

    toner: Annotated[str, choice(*TONERS, "dye")] = parameter("what the silver is toned with", "sepia")
    hue: Hue = parameter("the dye's own colour (used by dye only): an angle in degrees or a colour", 75.0)
    chroma: Annotated[float, number(0, 0.2, example="0.05")] = parameter(
        "how much colour the dye has (used by dye only), in OkLCh chroma", 0.05
    )
    strength: Annotated[float, number(0, 2, example="1.0")] = parameter(
        "0 leaves the frame as it is, 1 tones it, above 1 the tint is stronger", 1.0
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def tints(self) -> tuple[float, float, float, float]:
        """a and b of dense silver, a and b of thin silver, with the strength in them."""
        dense_hue, dense, thin_hue, thin = TONERS.get(self.toner, (self.hue, self.chroma, self.hue, self.chroma))
        dense, thin = dense * self.strength, thin * self.strength
        first, second = math.radians(dense_hue), math.radians(thin_hue)
        return dense * math.cos(first), dense * math.sin(first), thin * math.cos(second), thin * math.sin(second)

    def prepare(self, geometry: Geometry) -> Kernel:
        arguments = singles(max(1 - self.strength, 0.0), *self.tints())
        return PixelKernel(tone, *arguments)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        lightness = pixels[..., 0]
        held = np.clip(lightness, 1e-6, 1)
        body = -math.e * held * np.log(held)
        dense_a, dense_b, thin_a, thin_b = self.tints()
        rest = max(1 - self.strength, 0.0)
        a = rest * pixels[..., 1] + body * ((1 - held) * dense_a + held * thin_a)
        b = rest * pixels[..., 2] + body * ((1 - held) * dense_b + held * thin_b)
        return np.stack([lightness, a, b], axis=-1)


@compiled
def tone(planes: Any, rest: Any, dense_a: Any, dense_b: Any, thin_a: Any, thin_b: Any) -> None:
    """rest: what is left of the frame's own a and b."""
    for row in range(planes.shape[1]):
        lightness, a, b = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            held = min(max(lightness[x], LEAST_LIGHTNESS), ONE)
            body = PEAK * held * logarithm(held)
            thin = body * held
            dense = body - thin
            a[x] = rest * a[x] + dense * dense_a + thin * thin_a
            b[x] = rest * b[x] + dense * dense_b + thin * thin_b
