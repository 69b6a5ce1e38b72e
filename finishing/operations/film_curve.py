"""Exposure goes through a film's characteristic curve and comes back as the brightness of a print."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.compiled import ONE, compiled, singles
from finishing.documents.fields import Fraction, number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter

#: The reflectance of the grey card that exposures are worked out for.
MIDDLE_GREY = 0.18
#: log₁₀ 2, one stop on the axis of log exposure and on that of density.
STOP = float(np.log10(2))

# The kernel reads brightness from a table with 256 steps an octave: the bits of a float, shifted, are its place
# there, and what is shifted out is its share of the way to the next.
LOWEST_OCTAVE, HIGHEST_OCTAVE = -60, 17
STEP_LENGTH = np.int32(15)
STEP_MASK = np.int32((1 << 15) - 1)
PER_STEP = np.float32(2.0**-15)
LOWEST = np.float32(2.0**LOWEST_OCTAVE)
HIGHEST = np.float32(2.0**HIGHEST_OCTAVE)
FIRST_STEP = np.int32(LOWEST.view(np.int32) >> STEP_LENGTH)
STEPS = (HIGHEST_OCTAVE - LOWEST_OCTAVE) << 8
#: Pixels looked up at a time, so that their places and values stay in the first-level cache.
BLOCK = 512


class FilmCurve(Operation):
    """Density over log exposure with toe, straight line and shoulder (Hurter, Driffield, J. Soc. Chem. Ind. 9, 1890).

    Above its clear base the negative has the density D = γ · log₁₀2 · r', in stops of exposure r and r':
    toe r = t · log₂(1 + (X/H₀)^(1/t)), shoulder r' = r − s · log₂[(1 + 2^((r − R)/s)) / (1 + 2^(−R/s))], X = H + Hf.
    Far from both this is the straight line of slope γ in log exposure that sets out at H₀, `shadows` stops below
    middle grey, and ends R stops further on, `highlights` stops above middle grey; t and s say how softly it does.
    Hf is the fogging exposure that alone makes the density `fog`: film that saw no light has it, so it veils the
    shadows. Contrast is measured as in ISO 6: normal is a rise of 0.80 in density over 1.30 in log₁₀ exposure
    from the speed point, a mean gradient of 0.615.

    The print is B = `grey_prints_as` · 10^(paper · (D(H) − D(0.18))): paper 1.625, which is 1.30/0.80, gives a film of
    gradient 0.615 its natural contrast, and middle grey lands where you say. Channels are three layers with the same
    curve. There is no negative light: what is below 0 counts as 0.
    """

    name: ClassVar[str] = "film_curve"
    summary: ClassVar[str] = "Renders tones as film with toe and shoulder does, printed with middle grey held."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "film_curve: {gamma: 0.70, toe: 1.5, shoulder: 1.0, fog: 0.2}"

    gamma: Annotated[float, number(0.3, 1.5, example="0.65")] = parameter(
        "slope of the film's straight line: density over log10 exposure; normal is near 0.65", 0.70
    )
    toe: Annotated[float, number(0.1, 4, "stops", example="1.5")] = parameter(
        "how softly shadows set out from black", 1.5
    )
    shoulder: Annotated[float, number(0.1, 4, "stops", example="1.0")] = parameter(
        "how softly highlights level off", 0.8
    )
    shadows: Annotated[float, number(2, 12, "stops", example="7")] = parameter(
        "where the straight line begins, below middle grey", 7.0
    )
    highlights: Annotated[float, number(1, 12, "stops", example="3.5")] = parameter(
        "where it ends, above middle grey (white is 2.5 above it)", 3.8
    )
    fog: Annotated[float, number(0, 1, "density", example="0.2")] = parameter(
        "density of the film without exposure, above its base: veils the shadows", 0.0
    )
    paper: Annotated[float, number(0.8, 3, example="1.625")] = parameter(
        "gradient of the paper that takes the print", 1.625
    )
    grey_prints_as: Annotated[float, number(0.02, 0.6, example="0.18")] = parameter(
        "brightness that 18 % grey has in the print", MIDDLE_GREY
    )
    strength: Fraction = parameter(
        "0 leaves the frame as it is, 1 is the print, between them a mix in linear light", 1.0
    )

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    @property
    def per_channel(self) -> bool:
        return True

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def density(self, exposure: ArrayLike) -> NDArray[np.float64]:
        """Density above the base of the film at exposures on the scale of linear light, any shape, 0 and more."""
        return self._image_density(np.asarray(exposure, np.float64) + self._fogging_exposure())

    def _image_density(self, exposure: ArrayLike) -> NDArray[np.float64]:
        x = np.asarray(exposure, np.float64)
        length = self.shadows + self.highlights
        above = np.log2(np.maximum(x, 1e-300) / MIDDLE_GREY) + self.shadows
        toe = self.toe * np.logaddexp2(0, above / self.toe)
        over = np.logaddexp2(0, (toe - length) / self.shoulder) - np.logaddexp2(0, -length / self.shoulder)
        return np.asarray(self.gamma * STOP * (toe - self.shoulder * over))

    def _fogging_exposure(self) -> float:
        """The exposure that alone makes the fog, found by halving; never more than middle grey."""
        if self.fog == 0:
            return 0.0
        low, high = 0.0, MIDDLE_GREY
        for _ in range(200):
            middle = (low + high) / 2
            if self._image_density(middle) < self.fog:
                low = middle
            else:
                high = middle
        return low

    def printed(self, exposure: ArrayLike) -> NDArray[np.float64]:
        """Brightness of the print at exposures of any shape."""
        held = np.maximum(np.asarray(exposure, np.float64), 0)
        above_grey = self.density(held) - self.density(MIDDLE_GREY)
        return np.asarray(self.grey_prints_as * 10 ** (self.paper * above_grey))

    def prepare(self, geometry: Geometry) -> Kernel:
        places = (np.arange(STEPS + 2, dtype=np.int32) + FIRST_STEP) << STEP_LENGTH
        table = self.printed(places.view(np.float32)).astype(np.float32)
        (strength,) = singles(self.strength)
        return PixelKernel(look_up, table, strength)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        result: Pixels = pixels * (1 - self.strength) + self.printed(pixels) * self.strength
        return result


@compiled
def look_up(planes: Any, table: Any, strength: Any) -> None:
    """Brightness between the two nearest entries of the table. Arithmetic and reading take turns, since reading
    at places all over a table does not vectorise and would hold the rest back."""
    rest = ONE - strength
    places = np.empty(BLOCK, np.int32)
    lower, upper = np.empty(BLOCK, np.float32), np.empty(BLOCK, np.float32)
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for start in range(0, planes.shape[2], BLOCK):
                part = line[start : min(start + BLOCK, planes.shape[2])]
                for x in range(part.shape[0]):
                    bits = np.float32(min(max(part[x], LOWEST), HIGHEST)).view(np.int32)
                    places[x] = np.int32(bits >> STEP_LENGTH) - FIRST_STEP
                for x in range(part.shape[0]):
                    place = np.uint32(places[x])
                    lower[x], upper[x] = table[place], table[place + np.uint32(1)]
                for x in range(part.shape[0]):
                    value = part[x]
                    bits = np.float32(min(max(value, LOWEST), HIGHEST)).view(np.int32)
                    share = np.float32(np.int32(bits & STEP_MASK)) * PER_STEP
                    brightness = lower[x] + (upper[x] - lower[x]) * share
                    part[x] = value * rest + brightness * strength
