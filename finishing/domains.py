"""Compiled conversions between what the three numbers of a pixel can mean, in place on planar float32 rows.

planes is float32 (3, rows, width) throughout. Between the domains all are total and mirrored for negative values, so
that each cancels its inverse over the whole real line; a file's codes become light through a table.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.compiled import compiled, cube_root, singles, srgb_decode, srgb_encode

TO_LAB = singles(*oklab.LMS_TO_OKLAB.ravel())
FROM_LAB = singles(*oklab.OKLAB_TO_LMS.ravel())

Planes = NDArray[np.float32]
Matrix = NDArray[np.float64]
#: The 3×3 that changes nothing.
SAME: Matrix = np.eye(3)


def into_oklab(before: Matrix = SAME, after: Matrix = SAME) -> Callable[[Planes], None]:
    """From linear light of the working primaries to OkLab. before, after: 3×3 worked in, on linear light, on OkLab."""
    first = singles(*(oklab.LINEAR_TO_LMS @ before).ravel())
    second = singles(*(after @ oklab.LMS_TO_OKLAB).ravel())
    return lambda planes: linear_to_oklab(planes, first, second)


def out_of_oklab(before: Matrix = SAME, after: Matrix = SAME) -> Callable[[Planes], None]:
    """The way back. before, after: 3×3 worked in, on OkLab and on linear light."""
    first = singles(*(oklab.OKLAB_TO_LMS @ before).ravel())
    second = singles(*(after @ oklab.LMS_TO_LINEAR).ravel())
    return lambda planes: oklab_to_linear(planes, first, second)


to_oklab = into_oklab()


@compiled
def load(codes: Any, tables: Any, planes: Any) -> None:
    """Linear light from integer codes (rows, width, 3): tables is float32 (3, levels), one row a channel."""
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        line = codes[row]
        for x in range(planes.shape[2]):
            red[x] = tables[0, line[x, 0]]
            green[x] = tables[1, line[x, 1]]
            blue[x] = tables[2, line[x, 2]]


@compiled
def apply_matrix(planes: Any, matrix: Any) -> None:
    """3×3 on every pixel; matrix is nine float32, row by row. The products are written out: see colour.oklab."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = matrix
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            red[x] = m00 * r + m01 * g + m02 * b
            green[x] = m10 * r + m11 * g + m12 * b
            blue[x] = m20 * r + m21 * g + m22 * b


@compiled
def linear_to_oklab(planes: Any, first: Any, second: Any) -> None:
    """first: linear to cone responses, second: their cube roots to OkLab, nine float32 each."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = first
    n00, n01, n02, n10, n11, n12, n20, n21, n22 = second
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            r, g, b = red[x], green[x], blue[x]
            long = cube_root(m00 * r + m01 * g + m02 * b)
            medium = cube_root(m10 * r + m11 * g + m12 * b)
            short = cube_root(m20 * r + m21 * g + m22 * b)
            red[x] = n00 * long + n01 * medium + n02 * short
            green[x] = n10 * long + n11 * medium + n12 * short
            blue[x] = n20 * long + n21 * medium + n22 * short


@compiled
def oklab_to_linear(planes: Any, first: Any, second: Any) -> None:
    """first: OkLab to cube roots of cone responses, second: cone responses to linear, nine float32 each."""
    m00, m01, m02, m10, m11, m12, m20, m21, m22 = first
    n00, n01, n02, n10, n11, n12, n20, n21, n22 = second
    for row in range(planes.shape[1]):
        lightness, a, b = planes[0, row], planes[1, row], planes[2, row]
        for x in range(planes.shape[2]):
            u, v, w = lightness[x], a[x], b[x]
            long = m00 * u + m01 * v + m02 * w
            medium = m10 * u + m11 * v + m12 * w
            short = m20 * u + m21 * v + m22 * w
            long = long * long * long
            medium = medium * medium * medium
            short = short * short * short
            lightness[x] = n00 * long + n01 * medium + n02 * short
            a[x] = n10 * long + n11 * medium + n12 * short
            b[x] = n20 * long + n21 * medium + n22 * short


@compiled
def linear_to_encoded(planes: Any) -> None:
    """The sRGB curve on every value."""
    for channel in range(3):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                line[x] = srgb_encode(line[x])


@compiled
def encoded_to_linear(planes: Any) -> None:
    """The inverse sRGB curve on every value."""
    for channel in range(3):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                line[x] = srgb_decode(line[x])
