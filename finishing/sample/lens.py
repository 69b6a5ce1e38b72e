"""The depth blur of the lens."""

from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray

from finishing.sample.noise import clamp, kernel
from finishing.sample.scene import Table

Floats = NDArray[np.float32]


@kernel
def blur_radius(depth: float, eye: Table) -> float:
    """Radius in pixels of the blur disc of a point at a depth (thin lens); eye[14] folds focal length,
    aperture and pixel size."""
    return eye[14] * abs(depth - eye[15]) / max(depth, 1e-3)


@kernel
def blur_rows(
    first: int,
    last: int,
    colour: Floats,
    coverage: Floats,
    radius: Floats,
    whole: bool,
    new_colour: Floats,
    new_coverage: Floats,
) -> None:
    """Spread every pixel over its blur disc (a gather: neighbours whose own disc reaches here count).

    colour (rows, width, channels), coverage and radius (rows, width). whole: the layer covers the frame, so the
    result is divided by the coverage met.
    """
    rows, width, channels = colour.shape
    total = np.zeros(12)
    for y in range(first, last):
        for x in range(width):
            r = radius[y, x]
            if r < 0.6:
                for c in range(channels):
                    new_colour[y, x, c] = colour[y, x, c]
                new_coverage[y, x] = coverage[y, x]
                continue
            reach = int(ceil(r))
            step = 1 if reach <= 6 else (2 if reach <= 16 else (3 if reach <= 30 else 5))
            weight, covered = 0.0, 0.0
            for c in range(channels):
                total[c] = 0.0
            for j in range(-reach, reach + 1, step):
                yy = y + j
                if yy < 0 or yy >= rows:
                    continue
                for i in range(-reach, reach + 1, step):
                    xx = x + i
                    if xx < 0 or xx >= width:
                        continue
                    q = sqrt(float(i * i + j * j))
                    w = clamp(r + 0.5 - q, 0.0, 1.0)
                    if w <= 0.0:
                        continue
                    own = radius[yy, xx] / r
                    w *= min(1.0, own * own + 0.02)
                    weight += w
                    if whole and coverage[yy, xx] <= 0.0:
                        weight -= w
                        continue
                    covered += w * coverage[yy, xx]
                    for c in range(channels):
                        total[c] += w * colour[yy, xx, c]
            if weight > 0.0:
                for c in range(channels):
                    new_colour[y, x, c] = total[c] / weight
                new_coverage[y, x] = covered / weight
            else:
                for c in range(channels):
                    new_colour[y, x, c] = 0.0
                new_coverage[y, x] = 0.0
