"""Bright areas spread a soft light around them, as through a diffusing filter before the lens."""

from typing import Annotated, Any, ClassVar

import numpy as np

from finishing.colour import transfer
from finishing.compiled import ONE, ZERO, compiled, inlined, singles
from finishing.documents.fields import Fraction, number
from finishing.gaussian import plain_blur
from finishing.kernel import Kernel, PixelKernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter
from finishing.overview import excess, level_of, on_the_way, plain_excess

#: The light that spreads goes in these shares into Gaussians of these multiples of the spread: a core that keeps to
#: the bright area, and a skirt far around it. Chosen by eye.
CORE, SKIRT = (0.6, 0.5), (0.4, 2.0)
#: Luminance of linear red, green and blue (IEC 61966-2-1).
LUMINANCE = (0.2126, 0.7152, 0.0722)
RED, GREEN, BLUE = singles(*LUMINANCE)
HALF = np.float32(0.5)


class Glow(Operation):
    """Takes a share of the light out of bright areas and spreads it around them, in linear light.

    A diffusing filter before the lens scatters a share of all the light that goes through it and lets the rest
    pass: it adds none. So here: out = I − s · S + s · G(S), where I is the picture, S the light that spreads, s the
    `strength`, and G a blur that keeps the sum; the frame's mean stays as it is, apart from what spreads over its
    edge, which comes back mirrored. A Gaussian alone falls off too soon for a scattering medium, whose spread has a
    narrow core and a wide skirt (Spencer, Shirley, Zimmerman and Greenberg, "Physically-based glare effects for
    digital images", SIGGRAPH 1995, build theirs from such parts); G is a sum of two, 0.6 of the light with a
    standard deviation of half the `spread` and 0.4 of it with twice the `spread`.

    With `above` 0 all light spreads, S = I, and shadows lift as with a real filter. Above that only light over the
    level spreads, so that shadows keep their depth: with Y the luminance and A the level in linear light,
    S = I · e(Y) / Y with e = 0 up to A/2, (Y − A/2)² / (2 A) from there to 3A/2, and Y − A beyond. The slope of e
    lies in 0…1, so no tone overtakes another.
    """

    name: ClassVar[str] = "glow"
    summary: ClassVar[str] = "Lets bright areas spread a soft light around them, like a diffusing filter."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "glow: {strength: 0.25, spread: 0.02, above: 0.6}"
    reach: ClassVar[Reach] = Reach.FRAME

    strength: Fraction = parameter("the share of the light that is spread, 0 to 1", 0.25)
    spread: Annotated[float, number(0.004, 0.3, "the short side", example="0.02")] = parameter(
        "how far it spreads, as a standard deviation in fractions of the short side", 0.02
    )
    above: Fraction = parameter(
        "the encoded value over which light spreads: 0 all of it (shadows lift), 0.6 the brighter half, 0.9 only the "
        "highest lights",
        0.6,
    )

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def _parts(self, geometry: Geometry) -> list[tuple[float, float]]:
        """Share and standard deviation in pixels of the core and the skirt."""
        sigma = self.spread * geometry.short_side
        return [(share, times * sigma) for share, times in (CORE, SKIRT)]

    def reduction(self, geometry: Geometry) -> int:
        return max(1, int(self._parts(geometry)[0][1] / 5))

    def gather(self, geometry: Geometry) -> Kernel | None:
        """What goes into the overview: the light that spreads."""
        if self.above == 0:
            return None
        level = level_of(self.above)
        return PixelKernel(keep_excess, *level)

    def prepare(self, geometry: Geometry) -> Kernel:
        assert geometry.overview is not None
        spread = geometry.overview.spread(self._parts(geometry))
        (strength,) = singles(self.strength)
        level = level_of(self.above)
        return PlaceKernel(exchange, strength, *level, by_rows=spread.between)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        light = self._excess(pixels)
        around = sum(share * plain_blur(light, sigma) for share, sigma in self._parts(geometry))
        return pixels + self.strength * (around - light)

    def _excess(self, pixels: Pixels) -> Pixels:
        level = float(transfer.srgb_decode(self.above))
        if level == 0:
            return pixels
        luminance = pixels @ np.array(LUMINANCE)
        return pixels * (plain_excess(luminance, level) / np.maximum(luminance, level / 2))[..., None]


@inlined
def share(red: Any, green: Any, blue: Any, level: Any, per: Any) -> Any:
    """The share of a pixel's light that lies over the level, 0…1; for a level of 0 all of it. per: 1 / (2 · level)."""
    luminance = RED * red + GREEN * green + BLUE * blue
    part = excess(luminance, level, per) / max(luminance, HALF * level)
    return part if level > ZERO else ONE


@compiled
def keep_excess(planes: Any, level: Any, per: Any) -> None:
    """Only the light over the level stays."""
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            part = share(red[x], green[x], blue[x], level, per)
            red[x] *= part
            green[x] *= part
            blue[x] *= part


@compiled
def exchange(
    planes: Any, top: Any, left: Any, around: Any, upper: Any, down: Any, strength: Any, level: Any, per: Any
) -> None:
    """The light over the level against what of it comes from around: see `Overview.between`."""
    last, right = around.shape[1] - 1, left + planes.shape[2]
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        above, weight = upper[top + row], down[top + row]
        below = min(above + 1, last)
        red1, green1, blue1 = around[0, above, left:right], around[1, above, left:right], around[2, above, left:right]
        red2, green2, blue2 = around[0, below, left:right], around[1, below, left:right], around[2, below, left:right]
        for x in range(planes.shape[2]):
            rest = ONE - strength * share(red[x], green[x], blue[x], level, per)
            red[x] = red[x] * rest + strength * on_the_way(red1[x], red2[x], weight)
            green[x] = green[x] * rest + strength * on_the_way(green1[x], green2[x], weight)
            blue[x] = blue[x] * rest + strength * on_the_way(blue1[x], blue2[x], weight)
