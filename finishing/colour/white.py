"""The colour of light: chromaticity from kelvin, and the matrices that carry one white to another in linear light."""

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour.adaptation import white_xyz
from finishing.colour.spaces import D65, SRGB

Matrix = NDArray[np.float64]

#: From XYZ to the cone responses in which CAT16 scales (Li et al., "Comprehensive color solutions: CAM16, CAT16,
#: and CAM16-UCS", Color Res. Appl. 42, 2017).
CAT16: Matrix = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)
#: From linear working light to these cone responses.
TO_CONES: Matrix = np.asarray(CAT16 @ SRGB.to_xyz, np.float64)
#: The correlated colour temperature of D65 (CIE 15): light of this kelvin is neutral in the working space.
KELVIN_OF_D65 = 6504.0
#: The least cone response that a light of luminance 1 is taken to have.
LEAST_RESPONSE = 0.05
#: Up to the first the light is a glowing body's, from the second on it is daylight (CIE 224:2017).
BLACKBODY_TO, DAYLIGHT_FROM = 4000.0, 5000.0
#: The kelvin from which `chromaticity` holds, and between which the nearest light to a colour is looked for.
LEAST_KELVIN, NEAREST_FROM, NEAREST_TO = 2000.0, 1200.0, 25000.0


def blackbody_uv(kelvin: float) -> tuple[float, float]:
    """CIE 1960 u, v of a glowing body of 1000 to 15 000 K (Krystek, Color Res. Appl. 10, 1985)."""
    t = kelvin
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t)
    return u, v


def daylight_xy(kelvin: float) -> tuple[float, float]:
    """Chromaticity of daylight of 4000 to 25 000 K (CIE 15)."""
    t = 1000 / kelvin
    if kelvin <= 7000:
        x = 0.244063 + t * (0.09911 + t * (2.9678 - 4.6070 * t))
    else:
        x = 0.237040 + t * (0.24748 + t * (1.9018 - 2.0064 * t))
    return x, -3 * x * x + 2.87 * x - 0.275


def chromaticity(kelvin: float, duv: float = 0.0) -> tuple[float, float]:
    """CIE 1931 x, y of light of a colour temperature (2000 to 25 000 K) and a distance from its locus.

    As for the reference illuminants of CIE 224:2017: up to 4000 K on the Planckian locus, from 5000 K on the daylight
    locus, between them in proportion of u, v. duv: at right angles to the Planckian locus (ANSI C78.377), + greener.
    """
    u, v = blackbody_uv(kelvin)
    if kelvin > BLACKBODY_TO:
        x, y = daylight_xy(kelvin)
        share = min((kelvin - BLACKBODY_TO) / (DAYLIGHT_FROM - BLACKBODY_TO), 1.0)
        day_u, day_v = _uv(x, y)
        u, v = u + share * (day_u - u), v + share * (day_v - v)
    # the normal of the locus, toward green; beyond the reach of the rational form its direction hardly turns
    at = min(kelvin, 14000.0)
    (u0, v0), (u1, v1) = blackbody_uv(at * 0.999), blackbody_uv(at * 1.001)
    length = math.hypot(u1 - u0, v1 - v0)
    u += duv * (v1 - v0) / length
    v += duv * (u0 - u1) / length
    return 3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)


@cache
def _lights() -> tuple[Matrix, Matrix]:
    """Kelvin, and CIE 1960 u, v, of lights that lie a quarter of a percent of kelvin apart."""
    kelvin = np.geomspace(NEAREST_FROM, NEAREST_TO, 1250)
    places = [blackbody_uv(one) if one < LEAST_KELVIN else _uv(*chromaticity(one)) for one in kelvin.tolist()]
    return kelvin, np.array(places)


def _uv(x: float, y: float) -> tuple[float, float]:
    return 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)


def nearest_light(linear: ArrayLike) -> tuple[float, float]:
    """The daylight or glowing body that a grey of this linear working light stands in: its kelvin (1200…25 000), and
    how far the colour lies from it in CIE 1960 u, v. Luminance above 0."""
    x, y, z = SRGB.to_xyz @ np.asarray(linear, np.float64)
    kelvin, places = _lights()
    away = np.hypot(*(places - np.array([4 * x, 6 * y]) / (x + 15 * y + 3 * z)).T)
    nearest = int(away.argmin())
    return float(kelvin[nearest]), float(away[nearest])


def light_xyz(linear: ArrayLike) -> tuple[float, float, float]:
    """XYZ at Y = 1 of the light that a grey of these linear working values stands in; luminance above 0."""
    x, y, z = SRGB.to_xyz @ np.asarray(linear, np.float64)
    return float(x / y), 1.0, float(z / y)


def neutralising_matrix(light: Sequence[float], strength: float = 1.0) -> Matrix:
    """3×3 on linear working light that makes a light (XYZ at Y = 1) neutral, by CAT16.

    Each cone response is scaled by D · D65/light + 1 − D, with strength as the degree of adaptation D, 0…1. Both
    whites have the same luminance, so a grey keeps its own. A light that hardly reaches a cone counts as 1/20 of its
    luminance there, which bounds the gain.
    """
    gains = (CAT16 @ white_xyz(D65)) / np.maximum(CAT16 @ np.asarray(light, np.float64), LEAST_RESPONSE)
    return cone_scaling(strength * gains + 1 - strength)


def cone_scaling(gains: ArrayLike) -> Matrix:
    """3×3 on linear working light that scales the three cone responses of CAT16."""
    scaled = np.asarray(gains, np.float64)[:, None] * TO_CONES
    return np.asarray(np.linalg.solve(TO_CONES, scaled), np.float64)
