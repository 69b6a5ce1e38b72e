"""The colour of the light is made neutral."""

from typing import Annotated, Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, WithJsonSchema, model_validator

from finishing.colour import transfer
from finishing.colour.adaptation import white_xyz
from finishing.colour.spaces import SRGB
from finishing.colour.white import KELVIN_OF_D65, chromaticity, light_xyz, neutralising_matrix
from finishing.compiled import singles
from finishing.documents.fields import Fraction, Words, number, parse_colour, parse_number
from finishing.domains import apply_matrix
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

Matrix = NDArray[np.float64]

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

    kelvin: Annotated[float, number(2000, 25000, "kelvin", example="5200")] = parameter(
        "colour temperature of the light as it shows in the frame: 6504 is neutral, lower is warmer light", 6504.0
    )
    duv: Annotated[float, number(-0.02, 0.02, example="0.004")] = parameter(
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
        return light_xyz(self.grey)

    @property
    def matrix(self) -> Matrix:
        return neutralising_matrix(self.light(), self.strength)

    def prepare(self, geometry: Geometry) -> Kernel:
        entries = singles(*self.matrix.ravel())
        return PixelKernel(apply_matrix, entries)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
        return np.stack([row[0] * red + row[1] * green + row[2] * blue for row in self.matrix], axis=-1)
