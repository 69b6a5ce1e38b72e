"""The quick way of `finishing.colour.gamut` for strips: a test that vectorises, and work only where it is needed.

Along a line of constant OkLab lightness and hue each channel of linear light is a cubic in the share of the chroma
that is kept; the largest share that fits is found by halving.
"""

from typing import Any

import numpy as np

from finishing.colour import oklab
from finishing.colour.gamut import HALVINGS, TOLERANCE
from finishing.colour.spaces import ColourSpace
from finishing.compiled import ONE, THREE, ZERO, compiled, cube_root, inlined, singles
from finishing.domains import FROM_LAB, TO_LAB

LOW = np.float32(-TOLERANCE)
HIGH = np.float32(1 + TOLERANCE)
HALF = np.float32(0.5)
STEPS = HALVINGS
#: Pixels that are tested at a time: in most stretches of a photograph none is outside.
CHUNK = 128


def matrices_of(space: ColourSpace) -> tuple[tuple[np.float32, ...], ...]:
    """What `bring_in` needs for pixels in the linear light of a space: to cone responses, OkLab, and back."""
    to_lms = oklab.LINEAR_TO_LMS @ space.to_working
    from_lms = space.from_working @ oklab.LMS_TO_LINEAR
    return singles(*to_lms.ravel()), TO_LAB, FROM_LAB, singles(*from_lms.ravel())


@inlined
def inside(value: Any) -> Any:
    """Whether a value is within the gamut."""
    return LOW <= value <= HIGH


@compiled
def bring_in(planes: Any, to_lms: Any, to_lab: Any, from_lab: Any, from_lms: Any) -> Any:
    """In place on (3, rows, width) in the linear light of a space. Returns how many pixels were brought in.

    Pixels with all three channels at 1 or above are white, at 0 or below black: they are left to whoever cuts at 0
    and 1, since large skies are full of them.
    """
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = to_lms
    n00, n01, n02, n10, n11, n12, n20, n21, n22 = to_lab
    _, p01, p02, _, p11, p12, _, p21, p22 = from_lab
    q00, q01, q02, q10, q11, q12, q20, q21, q22 = from_lms
    width = planes.shape[2]
    total: Any = np.int32(0)
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for start in range(0, width, CHUNK):
            stop = min(start + CHUNK, width)
            count = count_outside(red[start:stop], green[start:stop], blue[start:stop])
            if count == 0:
                continue
            total += count
            for x in range(start, stop):
                r, g, b = red[x], green[x], blue[x]
                most = max(max(r, g), b)
                least = min(min(r, g), b)
                if not ((most > HIGH and least < ONE) or (least < LOW and most > ZERO)):
                    continue
                long = cube_root(m00 * r + m01 * g + m02 * b)
                medium = cube_root(m10 * r + m11 * g + m12 * b)
                short = cube_root(m20 * r + m21 * g + m22 * b)
                lightness = n00 * long + n01 * medium + n02 * short
                if lightness >= ONE or lightness <= ZERO:
                    flat = ONE if lightness >= ONE else ZERO
                    red[x], green[x], blue[x] = flat, flat, flat
                    continue
                a = n10 * long + n11 * medium + n12 * short
                b_axis = n20 * long + n21 * medium + n22 * short
                # each cube root is L + s·k; its cube is L³ + 3L²k·s + 3Lk²·s² + k³·s³
                k0 = p01 * a + p02 * b_axis
                k1 = p11 * a + p12 * b_axis
                k2 = p21 * a + p22 * b_axis
                c0 = lightness * lightness * lightness
                c1, c2 = THREE * lightness * lightness, THREE * lightness
                red1, red2, red3 = cubic(q00, q01, q02, k0, k1, k2, c1, c2)
                green1, green2, green3 = cubic(q10, q11, q12, k0, k1, k2, c1, c2)
                blue1, blue2, blue3 = cubic(q20, q21, q22, k0, k1, k2, c1, c2)
                low, high = ZERO, ONE
                for _ in range(STEPS):
                    s = (low + high) * HALF
                    fits = (
                        inside(c0 + s * (red1 + s * (red2 + s * red3)))
                        and inside(c0 + s * (green1 + s * (green2 + s * green3)))
                        and inside(c0 + s * (blue1 + s * (blue2 + s * blue3)))
                    )
                    low, high = (s, high) if fits else (low, s)
                red[x] = c0 + low * (red1 + low * (red2 + low * red3))
                green[x] = c0 + low * (green1 + low * (green2 + low * green3))
                blue[x] = c0 + low * (blue1 + low * (blue2 + low * blue3))
    return total


@compiled
def count_outside(red: Any, green: Any, blue: Any) -> Any:
    """How many pixels of a stretch of a row have to be brought in; this loop vectorises."""
    count: Any = np.int32(0)
    for x in range(red.shape[0]):
        most = max(max(red[x], green[x]), blue[x])
        least = min(min(red[x], green[x]), blue[x])
        count += (np.int32(most > HIGH) & np.int32(least < ONE)) | (np.int32(least < LOW) & np.int32(most > ZERO))
    return count


@inlined
def cubic(q0: Any, q1: Any, q2: Any, k0: Any, k1: Any, k2: Any, c1: Any, c2: Any) -> Any:
    """The coefficients of s, s², s³ of one channel."""
    first = q0 * k0 + q1 * k1 + q2 * k2
    second = q0 * k0 * k0 + q1 * k1 * k1 + q2 * k2 * k2
    third = q0 * k0 * k0 * k0 + q1 * k1 * k1 * k1 + q2 * k2 * k2 * k2
    return c1 * first, c2 * second, third
