"""Pixels of the colour of human skin."""

from functools import cached_property
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.documents.fields import number
from finishing.operation import Geometry, Pixels, parameter
from finishing.regions.combined import AllOf
from finishing.regions.hue import HueRange
from finishing.regions.ranges import ChromaRange, LightnessRange
from finishing.regions.region import Region, WeightKernel

# Measured skin of published references under D65, in OkLCh: both skin patches of the 24-patch chart (six data sets:
# L 0.46…0.72, C 0.050…0.070, h 38…45°), the fourteen skin patches of the 140-patch chart, D7 to J8 (L 0.45…0.81,
# C 0.059…0.118, h 37…61°), the complexion samples TCS13 of CIE 13.3-1995 and TCS15 of JIS Z 8726 (L 0.69 and 0.83,
# C 0.060 and 0.065, h 44 and 56°). The fully-in range spans them all with a few degrees to spare and is widened
# in lightness for the modelling of light on a face, from the lit cheek to the shadow side.
HUE, HUE_WIDTH, HUE_SOFT = 48.0, 32.0, 14.0
CHROMA = (0.045, 0.125)
CHROMA_SOFT = 0.03
LIGHTNESS = (0.36, 0.90)
LIGHTNESS_SOFT = 0.14


class Skin(Region):
    """Hue, chroma and lightness of human skin of every tone, in light of the white that the frame is balanced to.

    A range of colours knows nothing of people: sand, brick, wood and blond hair have the same colours. Join it
    with a place (`near: subject`) where such things are in the frame, and balance the frame first: tungsten light
    left in it moves skin out of the range.
    """

    name: ClassVar[str] = "skin"
    summary: ClassVar[str] = "Pixels of the colour of human skin, of every tone."
    example: ClassVar[str] = "skin: {soft: 1}"

    soft: Annotated[float, number(0, 3, example="1")] = parameter(
        "how far the soft edges reach: 1 for 14 degrees of hue, 0.03 of chroma and 0.14 of lightness", 1.0
    )

    @property
    def looks_at_colour(self) -> bool:
        return True

    @cached_property
    def ranges(self) -> AllOf:
        """The three ranges it is made of."""
        return AllOf(
            regions=(
                HueRange(keep=HUE, width=HUE_WIDTH, soft=HUE_SOFT * self.soft, least_chroma=0.0),
                ChromaRange(at_least=CHROMA[0], at_most=CHROMA[1], soft=CHROMA_SOFT * self.soft),
                LightnessRange(at_least=LIGHTNESS[0], at_most=LIGHTNESS[1], soft=LIGHTNESS_SOFT * self.soft),
            )
        )

    def prepare(self, geometry: Geometry) -> WeightKernel:
        return self.ranges.prepare(geometry)

    def reference(self, oklab: Pixels, geometry: Geometry) -> NDArray[np.float64]:
        return self.ranges.reference(oklab, geometry)
