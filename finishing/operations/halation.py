"""The red halo that film lays around bright lights."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.colour import transfer
from finishing.compiled import ZERO, compiled, singles
from finishing.documents.fields import Colour, number, parse_colour
from finishing.gaussian import plain_blur
from finishing.kernel import Kernel, PixelKernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter
from finishing.overview import excess, level_of, on_the_way, plain_excess

HALF = np.float32(0.5)


class Halation(Operation):
    """Adds, in linear light, what bright lights throw back into the film from the rear of its base.

    Light that the emulsion scatters reaches the rear of the base, and what strikes it beyond the critical angle comes
    back whole: around a point of light it exposes the emulsion again from a distance of 2 t tan(arcsin(1/n)) outward,
    for a base of thickness t and refractive index n (Cornu, "Sur les halos photographiques", Comptes rendus 110,
    1890; Mees and James, The Theory of the Photographic Process, on halation). For a base of 0.13 mm and n = 1.48 that
    is 0.24 mm, 1 % of the short side of a 24 × 36 mm frame. The layer for red lies next to the base and gets most of
    it; on the way up little is left for the one for green and next to nothing for the one for blue. Hence the `tint`.

    Each layer for itself: with e(I) = 0 up to A/2, (I − A/2)² / (2 A) from there to 3A/2 and I − A beyond, for the
    level A = `above` in linear light, and B = G(e(I)), a Gaussian of the standard deviation `spread`,
    out = I + strength · tint · max(B − e(I), 0). Only where more comes from around than a place has by itself does
    it show: film is balanced for even areas, its own halation included. Black and mid-tones far from lights stay as
    they are, nothing gets darker. The ring is taken as a Gaussian; it shows as such only around points.
    """

    name: ClassVar[str] = "halation"
    summary: ClassVar[str] = "Lays the reddish halo of film around bright lights and bright edges."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "halation: {strength: 0.25, spread: 0.01, above: 0.85}"
    reach: ClassVar[Reach] = Reach.FRAME

    strength: Annotated[float, number(0, 4, example="0.25")] = parameter(
        "how much comes back: 0 none, 1 as much as the lights give", 0.25
    )
    spread: Annotated[float, number(0.002, 0.1, "the short side", example="0.01")] = parameter(
        "how far the halo reaches, as a standard deviation in fractions of the short side", 0.01
    )
    above: Annotated[float, number(0.1, 1, example="0.85")] = parameter(
        "the encoded value over which a light makes a halo: 0.85 spares skin and clothes in full light", 0.85
    )
    tint: Colour = parameter("the colour of the halo around a white light", parse_colour("#ff6e2e"))

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0) or max(self.tint) == 0

    def _sigma(self, geometry: Geometry) -> float:
        """The standard deviation in pixels."""
        return float(self.spread * geometry.short_side)

    def _gains(self) -> tuple[float, float, float]:
        """What each channel gets."""
        red, green, blue = (self.strength * float(part) for part in transfer.srgb_decode(self.tint))
        return red, green, blue

    def reduction(self, geometry: Geometry) -> int:
        return max(1, int(self._sigma(geometry) / 5))

    def gather(self, geometry: Geometry) -> Kernel | None:
        """What goes into the overview: the light that makes halos."""
        level = level_of(self.above)
        return PixelKernel(keep_excess, *level)

    def prepare(self, geometry: Geometry) -> Kernel:
        assert geometry.overview is not None
        back = geometry.overview.blurred(self._sigma(geometry))
        gains = singles(*self._gains())
        level = level_of(self.above)
        return PlaceKernel(add_halo, gains, *level, by_rows=back.between)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        light = plain_excess(pixels, float(transfer.srgb_decode(self.above)))
        back = plain_blur(light, self._sigma(geometry))
        return pixels + np.array(self._gains()) * np.maximum(back - light, 0)


@compiled
def keep_excess(planes: Any, level: Any, per: Any) -> None:
    """Only the light over the level stays."""
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                line[x] = excess(line[x], level, per)


@compiled
def add_halo(
    planes: Any, top: Any, left: Any, back: Any, upper: Any, down: Any, gains: Any, level: Any, per: Any
) -> None:
    """back, upper, down: see `Overview.between`; gains: one a channel."""
    last, right = back.shape[1] - 1, left + planes.shape[2]
    for channel in range(planes.shape[0]):
        gain = gains[channel]
        for row in range(planes.shape[1]):
            line, weight, block = planes[channel, row], down[top + row], upper[top + row]
            above, below = back[channel, block, left:right], back[channel, min(block + 1, last), left:right]
            for x in range(planes.shape[2]):
                halo = on_the_way(above[x], below[x], weight)
                line[x] += gain * max(halo - excess(line[x], level, per), ZERO)
