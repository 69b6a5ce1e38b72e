"""The sky and the sun of each set-up: the sun sinks, the warm light thins out, the blue deepens."""

from dataclasses import dataclass

import numpy as np

from finishing.sample import sky
from finishing.sample.building import Point, unit
from finishing.sample.scene import Table


@dataclass(frozen=True)
class Evening:
    """Colours in linear Rec. 709 primaries, all in one relative unit (a meter's reading scales them later).

    sun: where it stands (toward it); sunlight: irradiance on a surface facing it; zenith, horizon: radiance of the
    clear sky; glow: added round the sun; clouds: 0 clear to 1; haze: radiance of the mist; grass: reflectance
    of the ground as the sky's lower half.
    """

    sun: Point
    sunlight: Point
    zenith: Point
    horizon: Point
    glow: Point
    clouds: float
    haze: Point
    seed: float
    haze_density: float = 0.0038  # a metre
    grass: Point = (0.10, 0.125, 0.055)

    def table(self) -> Table:
        """As the kernels want it; see `sky` for the places."""
        air = np.zeros(sky.AIR_LENGTH)
        zenith, horizon, light = (np.array(c) for c in (self.zenith, self.horizon, self.sunlight))
        air[sky.SUN : sky.SUN + 3] = unit(self.sun)
        air[sky.SUN_LIGHT : sky.SUN_LIGHT + 3] = light
        air[sky.ZENITH : sky.ZENITH + 3] = zenith
        air[sky.HORIZON : sky.HORIZON + 3] = horizon
        air[sky.GLOW : sky.GLOW + 3] = self.glow
        air[sky.CLOUDS], air[sky.SEED], air[sky.SCALE] = self.clouds, self.seed, 1.0
        air[sky.HAZE : sky.HAZE + 3] = self.haze
        air[sky.HAZE_DENSITY] = self.haze_density
        air[sky.GROUND : sky.GROUND + 3] = np.array(self.grass) * (zenith + horizon + 0.4 * light) * 0.5
        return air


EVENINGS: dict[str, Evening] = {
    "A": Evening(
        sun=(-0.44, 0.080, 0.88),
        sunlight=(4.6, 2.75, 1.20),
        zenith=(0.24, 0.42, 0.78),
        horizon=(0.62, 0.68, 0.72),
        glow=(1.05, 0.60, 0.22),
        clouds=0.7,
        haze=(0.75, 0.70, 0.60),
        seed=0.0,
    ),
    "B": Evening(
        sun=(0.42, 0.020, 0.90),
        sunlight=(1.8, 0.80, 0.26),
        zenith=(0.21, 0.36, 0.70),
        horizon=(0.52, 0.57, 0.66),
        glow=(1.15, 0.52, 0.17),
        clouds=0.8,
        haze=(0.62, 0.54, 0.52),
        seed=13.0,
    ),
    "C": Evening(
        sun=(-0.50, -0.05, 0.86),
        sunlight=(0.0, 0.0, 0.0),
        zenith=(0.16, 0.28, 0.60),
        horizon=(0.42, 0.49, 0.62),
        glow=(0.95, 0.44, 0.12),
        clouds=0.8,
        haze=(0.40, 0.44, 0.56),
        seed=29.0,
    ),
}
