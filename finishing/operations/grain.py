"""Film grain: a density that is not even, the same for the same frame every time."""

import math
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import ONE, ZERO, compiled, inlined, logarithm, singles
from finishing.documents.fields import choice, number, whole_number
from finishing.gaussian import blur_across, blur_down, in_threes
from finishing.hashing import SECOND_FACTOR, hashed, lower_half, plain_hashed, upper_half
from finishing.kernel import Kernel, PlaceKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, Reach, parameter

#: ITU-R BT.709-6: weights of linear red, green and blue in relative luminance.
LUMINANCE = (0.2126, 0.7152, 0.0722)
#: Density is held at this much: no photographic material is denser.
DENSEST = 4.0
LEAST_LIGHT = np.float32(10**-DENSEST)
DENSITY_OF_A_STOP = np.float32(-math.log10(2))
HALF = np.float32(0.5)

#: The sum of the two 16-bit halves of a hash has this mean, and this standard deviation.
MEAN = np.float32(65535)
PER_DEVIATION = np.float32(1 / math.sqrt((65536**2 - 1) / 6))


class Grain(Operation):
    """Multiplies linear light by 10^−δ, where δ is a random density of mean 0 that follows the tone's own density.

    A layer of random grains in the density D has the rms density σ = strength · √D (the random-dot model of Nutting,
    Phil. Mag. 26, 1913, and of Selwyn, Photographic Journal 75, 1935); granularity is given at D = 1, as in ISO 10505.
    D is −log₁₀ of the luminance, held in 0…4: paper white has none and stays clean, the eye finds most of it in
    the middle tones. Through an aperture wider than the grains σ falls with its side (Selwyn): the aperture here is one
    pixel, so a reduced picture of a frame has what is left of the frame's grain.

    The factor is (1 − y/2)² / (1 + σ²/4 · ln²10), y = δ · ln 10: 10^−δ to the first two orders, never negative, and of
    mean 1 exactly, so that no tone becomes lighter or darker. The unevenness comes from a hash of `seed` and
    the full frame's coordinates, smoothed to `size` (full width of a grain at half its height) by a Gaussian.
    `silver` is one layer that follows the luminance; `colour` is three, each following its own channel.
    """

    name: ClassVar[str] = "grain"
    summary: ClassVar[str] = "Gives the frame film grain that follows density and keeps the tones."
    neutral: ClassVar[dict[str, Any]] = {"strength": 0.0}
    example: ClassVar[str] = "grain: {strength: 0.06, size: 0.8, seed: 1}"
    reach: ClassVar[Reach] = Reach.PLACE

    strength: Annotated[float, number(0, 0.4, "density", example="0.06")] = parameter(
        "rms density of the grains at the density 1", 0.06
    )
    size: Annotated[float, number(0.1, 3, "thousandths of the short side", example="0.8")] = parameter(
        "width of a grain", 0.8
    )
    layers: Annotated[str, choice("silver", "colour")] = parameter("one layer of silver, or three of dye", "silver")
    seed: Annotated[int, whole_number(0, 1_000_000)] = parameter("another number gives another pattern", 1)

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return bool(self.strength == 0)

    def deviation(self, geometry: Geometry) -> float:
        """rms of δ at the density 1, seen through one pixel of the picture at hand.

        A Gaussian of standard deviation s has the correlation exp(−t²/4s²) at the distance t; its mean over the square
        of one pixel, by which the variance falls, is v², v = 2s√π · erf(1/2s) − 4s² · (1 − exp(−1/4s²)).
        """
        s = self._spread(geometry)
        seen = 2 * s * math.sqrt(math.pi) * math.erf(0.5 / s) + 4 * s * s * math.expm1(-0.25 / (s * s))
        return float(self.strength * seen)

    def _spread(self, geometry: Geometry) -> float:
        """Standard deviation of a grain in pixels of the picture at hand."""
        return float(self.size / 1000 * geometry.short_side / (2 * math.sqrt(2 * math.log(2))))

    def taps(self, geometry: Geometry) -> NDArray[np.float64]:
        """Weights of the middle and of the pixels to either side, in a row or a column; their squares sum to 1.

        The pixel's own aperture adds 1/12, the variance of a square of side 1.
        """
        variance = self._spread(geometry) ** 2 + 1 / 12
        reach = max(1, math.ceil(3 * math.sqrt(variance)))
        weights = np.exp(-(np.arange(reach + 1) ** 2) / (2 * variance))
        return np.asarray(weights / math.sqrt(2 * float((weights**2).sum()) - 1))

    def _places(self, geometry: Geometry, reach: int) -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
        """Full-frame columns of the picture's columns, and the two keys (layers, rows, 2) of its rows, both with
        `reach` more at either end."""

        def places(count: int) -> NDArray[np.uint32]:
            middles = (np.arange(-reach, count + reach) + 0.5) / geometry.scale
            return np.asarray(np.floor(middles).astype(np.int64).astype(np.uint32))

        layers = np.arange(1 if self.layers == "silver" else 3, dtype=np.uint32)
        start = plain_hashed(np.uint32(4 * self.seed) + layers)[:, None]
        first = plain_hashed(places(geometry.height) + start)
        return places(geometry.width), np.stack([first, plain_hashed(first + SECOND_FACTOR)], axis=-1)

    def prepare(self, geometry: Geometry) -> Kernel:
        taps = in_threes(self.taps(geometry))
        reach = len(taps) - 1
        columns, keys = self._places(geometry, reach)
        (amount,) = singles(self.deviation(geometry) * math.log(10))
        weights = singles(*LUMINANCE)
        return PlaceKernel(roughen, weights, columns, keys, taps, amount)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        taps = self.taps(geometry)
        reach = len(taps) - 1
        columns, keys = self._places(geometry, reach)
        numbers = plain_hashed(columns ^ keys[..., :1], keys[..., 1:])
        field = (numbers & 0xFFFF).astype(np.float64) + (numbers >> 16) - 65535
        field *= math.sqrt(6 / (65536**2 - 1))
        both = np.concatenate([taps[:0:-1], taps])
        field = sum(both[i] * field[:, i : i + geometry.height] for i in range(2 * reach + 1))
        field = sum(both[i] * field[:, :, i : i + geometry.width] for i in range(2 * reach + 1))
        light = (pixels @ np.array(LUMINANCE))[..., None] if self.layers == "silver" else pixels
        density = np.clip(-np.log10(np.maximum(light, 10**-DENSEST)), 0, DENSEST)
        deviation = self.deviation(geometry) * math.log(10) * np.sqrt(density)
        y = deviation * np.moveaxis(field, 0, -1)
        result: Pixels = pixels * (1 - y / 2) ** 2 / (1 + deviation**2 / 4)
        return result


@compiled
def hash_row(out: Any, columns: Any, first: Any, second: Any) -> None:
    """Random numbers of mean 0 and variance 1 for the columns of one row."""
    for x in range(out.shape[0]):
        h = hashed(np.uint32(columns[x] ^ first), second)
        total = lower_half(h) + upper_half(h)
        out[x] = (np.float32(np.int32(total)) - MEAN) * PER_DEVIATION


@compiled
def roughen(planes: Any, top: Any, left: Any, weights: Any, columns: Any, keys: Any, taps: Any, amount: Any) -> None:
    """Fields of grain: one for all channels by their luminance, or one each.

    columns, keys (fields, rows, 2): with as many more at either end as there are taps to a side. Hashed rows are kept
    in a ring, so that each is made once for the planes at hand.
    """
    reach = taps.shape[0] - 1
    span = 2 * reach + 1
    width = planes.shape[2]
    here = columns[left : left + width + 2 * reach]
    ring = np.empty((span, here.shape[0]), np.float32)
    smooth = np.empty(here.shape[0], np.float32)
    noise = np.empty(width, np.float32)
    around = np.empty(span, np.int64)
    for field in range(keys.shape[0]):
        for row in range(span - 1):
            hash_row(ring[row], here, keys[field, top + row, 0], keys[field, top + row, 1])
        for row in range(planes.shape[1]):
            last = row + span - 1
            hash_row(ring[last % span], here, keys[field, top + last, 0], keys[field, top + last, 1])
            for place in range(span):
                around[place] = (row + place) % span
            blur_down(ring, 0, around, reach, taps, smooth)
            blur_across(smooth, taps, noise)
            if keys.shape[0] == 1:
                red, green, blue = planes[0, row], planes[1, row], planes[2, row]
                for x in range(width):
                    light = weights[0] * red[x] + weights[1] * green[x] + weights[2] * blue[x]
                    factor = unevenness(light, noise[x], amount)
                    red[x] *= factor
                    green[x] *= factor
                    blue[x] *= factor
            else:
                line = planes[field, row]
                for x in range(width):
                    line[x] *= unevenness(line[x], noise[x], amount)


@inlined
def unevenness(light: Any, noise: Any, amount: Any) -> Any:
    """(1 − y/2)² over its mean."""
    density = DENSITY_OF_A_STOP * logarithm(max(light, LEAST_LIGHT))
    half = HALF * amount * np.sqrt(max(density, ZERO))
    root = ONE - half * noise
    return root * root / (ONE + half * half)
