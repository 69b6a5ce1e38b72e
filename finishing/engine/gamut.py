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
CHUNK = 500


def matrices_of(space: ColourSpace) -> tuple[tuple[np.float32, ...], ...]:
    """What `bring_in` needs for pixels in the linear light of a space: to cone responses, OkLab, and back."""
    to_lms = oklab.LINEAR_TO_LMS @ space.to_working
    from_lms = space.from_working @ oklab.LMS_TO_LINEAR
    return singles(*to_lms.ravel()), TO_LAB, FROM_LAB, singles(*from_lms.ravel())


@compiled
def bring_in(planes: Any, to_lms: Any, to_lab: Any, from_lab: Any, from_lms: Any) -> Any:
    """In place on (3, rows, width) in the linear light of a space. Returns how many pixels were brought in.

    Pixels with all three channels at 1 or above are white, at 0 or below black: they are left to whoever cuts at 0
    and 1, since large skies are full of them. The others of a row are collected and solved side by side, which
    vectorises.
    """
    width = planes.shape[2]
    total: Any = np.int32(0)
    places = np.empty(width, np.int32)
    pixels = np.empty((3, width), np.float32)
    cubics = np.empty((10, width), np.float32)
    low, high = np.empty(width, np.float32), np.empty(width, np.float32)
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        found = 0
        for start in range(0, width, CHUNK):
            stop = min(start + CHUNK, width)
            if count_outside(red[start:stop], green[start:stop], blue[start:stop]) == 0:
                continue
            for x in range(start, stop):
                most = max(max(red[x], green[x]), blue[x])
                least = min(min(red[x], green[x]), blue[x])
                if (most > HIGH and least < ONE) or (least < LOW and most > ZERO):
                    places[found] = x
                    pixels[0, found], pixels[1, found], pixels[2, found] = red[x], green[x], blue[x]
                    found += 1
        if found == 0:
            continue
        total += found
        set_up(found, pixels, cubics, to_lms, to_lab, from_lab, from_lms)
        solve(found, cubics, low, high)
        for i in range(found):
            s, c0 = low[i], cubics[0, i]
            x = places[i]
            red[x] = c0 + s * (cubics[1, i] + s * (cubics[2, i] + s * cubics[3, i]))
            green[x] = c0 + s * (cubics[4, i] + s * (cubics[5, i] + s * cubics[6, i]))
            blue[x] = c0 + s * (cubics[7, i] + s * (cubics[8, i] + s * cubics[9, i]))
    return total


@compiled
def set_up(count: Any, pixels: Any, cubics: Any, to_lms: Any, to_lab: Any, from_lab: Any, from_lms: Any) -> None:
    """The cubics of the first `count` pixels (3, n) into (10, n): the grey of each, then the coefficients of s, s²,
    s³ of red, green, blue. A lightness of 1 or more becomes white, of 0 or less black: then all coefficients are 0."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = to_lms
    n00, n01, n02, n10, n11, n12, n20, n21, n22 = to_lab
    _, p01, p02, _, p11, p12, _, p21, p22 = from_lab
    q00, q01, q02, q10, q11, q12, q20, q21, q22 = from_lms
    reds, greens, blues = pixels[0], pixels[1], pixels[2]
    grey = cubics[0]
    red1, red2, red3 = cubics[1], cubics[2], cubics[3]
    green1, green2, green3 = cubics[4], cubics[5], cubics[6]
    blue1, blue2, blue3 = cubics[7], cubics[8], cubics[9]
    for i in range(count):
        r, g, b = reds[i], greens[i], blues[i]
        long = cube_root(m00 * r + m01 * g + m02 * b)
        medium = cube_root(m10 * r + m11 * g + m12 * b)
        short = cube_root(m20 * r + m21 * g + m22 * b)
        lightness = n00 * long + n01 * medium + n02 * short
        colour = ONE if ZERO < lightness < ONE else ZERO
        lightness = min(max(lightness, ZERO), ONE)
        a = (n10 * long + n11 * medium + n12 * short) * colour
        b_axis = (n20 * long + n21 * medium + n22 * short) * colour
        # each cube root is L + s·k; its cube is L³ + 3L²k·s + 3Lk²·s² + k³·s³
        k0 = p01 * a + p02 * b_axis
        k1 = p11 * a + p12 * b_axis
        k2 = p21 * a + p22 * b_axis
        grey[i] = lightness * lightness * lightness
        c1, c2 = THREE * lightness * lightness, THREE * lightness
        red1[i], red2[i], red3[i] = cubic(q00, q01, q02, k0, k1, k2, c1, c2)
        green1[i], green2[i], green3[i] = cubic(q10, q11, q12, k0, k1, k2, c1, c2)
        blue1[i], blue2[i], blue3[i] = cubic(q20, q21, q22, k0, k1, k2, c1, c2)


@compiled
def solve(count: Any, cubics: Any, low: Any, high: Any) -> None:
    """The largest share of the chroma that fits, by halving, into low; a step at a time over all pixels."""
    grey = cubics[0]
    red1, red2, red3 = cubics[1], cubics[2], cubics[3]
    green1, green2, green3 = cubics[4], cubics[5], cubics[6]
    blue1, blue2, blue3 = cubics[7], cubics[8], cubics[9]
    for i in range(count):
        low[i], high[i] = ZERO, ONE
    for _ in range(STEPS):
        for i in range(count):
            s = (low[i] + high[i]) * HALF
            red = grey[i] + s * (red1[i] + s * (red2[i] + s * red3[i]))
            green = grey[i] + s * (green1[i] + s * (green2[i] + s * green3[i]))
            blue = grey[i] + s * (blue1[i] + s * (blue2[i] + s * blue3[i]))
            most, least = max(max(red, green), blue), min(min(red, green), blue)
            fits = np.int32(most <= HIGH) & np.int32(least >= LOW)
            low[i] = s if fits == 1 else low[i]
            high[i] = high[i] if fits == 1 else s


@compiled
def count_outside(red: Any, green: Any, blue: Any) -> Any:
    """How many pixels of a stretch of a row have to be brought in; this loop vectorises."""
    count: Any = np.int32(0)
    for x in range(red.shape[0]):
        most = max(max(red[x], green[x]), blue[x])
        least = min(min(red[x], green[x]), blue[x])
        count += (np.int32(most > HIGH) & np.int32(least < ONE)) | (np.int32(least < LOW) & np.int32(most > ZERO))
    return count


@compiled
def rows_outside(planes: Any, outside: Any) -> None:
    """Whether a row has pixels that have to be brought in, for every row of planes, which may be encoded."""
    for row in range(planes.shape[1]):
        outside[row] = count_outside(planes[0, row], planes[1, row], planes[2, row]) > 0


@inlined
def cubic(q0: Any, q1: Any, q2: Any, k0: Any, k1: Any, k2: Any, c1: Any, c2: Any) -> Any:
    """The coefficients of s, s², s³ of one channel."""
    first = q0 * k0 + q1 * k1 + q2 * k2
    second = q0 * k0 * k0 + q1 * k1 * k1 + q2 * k2 * k2
    third = q0 * k0 * k0 * k0 + q1 * k1 * k1 * k1 + q2 * k2 * k2 * k2
    return c1 * first, c2 * second, third
