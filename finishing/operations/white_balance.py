"""The colour of the light is made neutral."""

import math
from typing import Annotated, Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, WithJsonSchema, model_validator

from finishing.colour import transfer
from finishing.colour.adaptation import white_xyz
from finishing.colour.spaces import D65, SRGB
from finishing.compiled import compiled, singles
from finishing.documents.fields import Fraction, Words, number, parse_colour, parse_number
from finishing.operation import Domain, Geometry, Kernel, Operation, Pixels, parameter

Matrix = NDArray[np.float64]

#: From XYZ to the cone responses in which CAT16 scales (Li et al. 2017).
CAT16: Matrix = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)
#: The correlated colour temperature of D65 (CIE 15): light of this kelvin is neutral in the working space.
KELVIN_OF_D65 = 6504.0
#: The least cone response that a light of luminance 1 is taken to have.
LEAST_RESPONSE = 0.05
#: Up to the first the light is a glowing body's, from the second on it is daylight (CIE 224:2017).
BLACKBODY_TO, DAYLIGHT_FROM = 4000.0, 5000.0

EXPECTED_GREY = 'a colour such as "#b8aa96", or linear light [red, green, blue], of a surface that is grey in truth'


def _parse_grey(value: object) -> Any:
    """Linear red, green, blue of a measured grey. Raises ValueError for what cannot be a light's colour."""
    if value is None:
        return None
    try:
        if isinstance(value, str):
            grey = tuple(float(part) for part in transfer.srgb_decode(parse_colour(value)))
        elif isinstance(value, list | tuple) and len(value) == 3:
            grey = tuple(parse_number(part) for part in value)
        else:
            raise ValueError
    except ValueError:
        raise ValueError(f"expected {EXPECTED_GREY}") from None
    if SRGB.luminance @ grey <= 1e-6:
        raise ValueError(f"expected {EXPECTED_GREY}, lighter than black")
    return grey


Grey = Annotated[
    tuple[float, float, float] | None,
    BeforeValidator(_parse_grey),
    WithJsonSchema({"type": ["string", "array", "null"], "description": EXPECTED_GREY}),
    Words(EXPECTED_GREY, '"#b8aa96"'),
]


class WhiteBalance(Operation):
    """Carries colours seen under the frame's light to D65, where that light is white.

    The light is named as it shows in the frame: `kelvin` 6504 is neutral there, a lower one is a warm cast to be
    taken out, a higher one a cool cast. Each cone response of CAT16 is scaled by its ratio under the two whites,
    with `strength` as the degree of adaptation D: D · target/source + 1 − D (Li, Li, Wang, Xu, Luo, Cui,
    Melgosa, Brill and Pointer, "Comprehensive color solutions: CAM16, CAT16, and CAM16-UCS", Color Res. Appl.
    42, 2017). Both whites have the same luminance, so a grey keeps its own.

    kelvin becomes chromaticity as for the reference illuminants of CIE 224:2017: up to 4000 K on the Planckian
    locus (the rational form of Krystek, Color Res. Appl. 10, 1985, right to 1e-4 in CIE 1960 u, v), from 5000 K
    on the daylight locus (CIE 15), between them in proportion (of u, v), since the two loci do not meet. `duv` is the
    distance in CIE 1960 u, v from there, at right angles to the Planckian locus (ANSI C78.377).

    With a measured `grey`, its colour is the light's. Light that hardly reaches a cone (deep red, say) cannot be made
    white: its response counts as 1/20 of its luminance at least, which bounds the gain.
    """

    name: ClassVar[str] = "white_balance"
    summary: ClassVar[str] = "Takes out the colour of the light, named in kelvin or measured on a grey."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "white_balance: {kelvin: 5200, duv: 0.004}"

    kelvin: number(2000, 25000, "kelvin", example="5200") = parameter(  # type: ignore[valid-type]
        "colour temperature of the light as it shows in the frame: 6504 is neutral, lower is warmer light", 6504.0
    )
    duv: number(-0.02, 0.02, example="0.004") = parameter(  # type: ignore[valid-type]
        "how far the light is off the line of daylight and glowing light: + greener, − more magenta", 0.0
    )
    grey: Grey = parameter("colour of a grey as measured in the frame; stands in place of kelvin and duv", None)
    strength: Fraction = parameter("how much of the cast is taken out: 0 none, 1 all of it", 1.0)

    @model_validator(mode="after")
    def _one_light(self) -> Self:
        if self.grey is not None and (self.kelvin != KELVIN_OF_D65 or self.duv != 0):
            raise ValueError("expected either a measured grey or kelvin and duv; take one of them out")
        return self

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        if self.grey is not None:
            return bool(self.strength == 0 or self.grey[0] == self.grey[1] == self.grey[2])
        return bool(self.strength == 0 or (self.kelvin == KELVIN_OF_D65 and self.duv == 0))

    def light(self) -> tuple[float, float, float]:
        """XYZ of the light at Y = 1."""
        if self.grey is None:
            return white_xyz(chromaticity(self.kelvin, self.duv))
        x, y, z = SRGB.to_xyz @ self.grey
        return float(x / y), 1.0, float(z / y)

    def matrix(self) -> Matrix:
        """3×3 on linear working light."""
        to_cones = CAT16 @ SRGB.to_xyz
        gains = (CAT16 @ white_xyz(D65)) / np.maximum(CAT16 @ self.light(), LEAST_RESPONSE)
        gains = self.strength * gains + 1 - self.strength
        return np.asarray(np.linalg.solve(to_cones, gains[:, None] * to_cones), np.float64)

    def prepare(self, geometry: Geometry) -> Kernel:
        entries = singles(*self.matrix().ravel())
        return lambda planes, top: multiply(planes, entries)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
        return np.stack([row[0] * red + row[1] * green + row[2] * blue for row in self.matrix()], axis=-1)


def blackbody_uv(kelvin: float) -> tuple[float, float]:
    """CIE 1960 u, v of a glowing body of 1000 to 15 000 K (Krystek 1985)."""
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


def chromaticity(kelvin: float, duv: float) -> tuple[float, float]:
    """CIE 1931 x, y of light of a colour temperature (2000 to 25 000 K) and a distance from its locus."""
    u, v = blackbody_uv(kelvin)
    if kelvin > BLACKBODY_TO:
        x, y = daylight_xy(kelvin)
        share = min((kelvin - BLACKBODY_TO) / (DAYLIGHT_FROM - BLACKBODY_TO), 1.0)
        day_u, day_v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)
        u, v = u + share * (day_u - u), v + share * (day_v - v)
    # the normal of the locus, toward green; beyond the reach of the rational form its direction hardly turns
    at = min(kelvin, 14000.0)
    (u0, v0), (u1, v1) = blackbody_uv(at * 0.999), blackbody_uv(at * 1.001)
    length = math.hypot(u1 - u0, v1 - v0)
    u += duv * (v1 - v0) / length
    v += duv * (u0 - u1) / length
    return 3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)


@compiled
def multiply(planes: Any, entries: Any) -> None:
    """3×3 on every pixel, row by row of the matrix; the products are written out so that no sum depends on shapes."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = entries
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            red[x] = m00 * r + m01 * g + m02 * b
            green[x] = m10 * r + m11 * g + m12 * b
            blue[x] = m20 * r + m21 * g + m22 * b
