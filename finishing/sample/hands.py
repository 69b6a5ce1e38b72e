"""A hand as bones with flesh: palm, four fingers of three joints, a thumb, and nails.

Lengths are those of an average adult hand (about 18 cm), from common anatomy tables, rounded.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from finishing.sample import scene as sc
from finishing.sample.building import Builder, Point, unit

_BONES = ((0.043, 0.025, 0.021), (0.047, 0.029, 0.022), (0.044, 0.027, 0.022), (0.034, 0.021, 0.019))
_RADII = ((0.0092, 0.0080, 0.0068), (0.0095, 0.0083, 0.0070), (0.0090, 0.0078, 0.0066), (0.0080, 0.0068, 0.0058))


def _about(v: NDArray[np.float64], axis: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    """v turned about a unit axis (Rodrigues)."""
    turned: NDArray[np.float64] = (
        v * np.cos(angle) + np.cross(axis, v) * np.sin(angle) + axis * float(axis @ v) * (1 - np.cos(angle))
    )
    return turned


def hand(
    b: Builder,
    tone: Point,
    wrist: Point,
    toward: Point,
    palm: Point,
    thumb_left: bool,
    curls: Sequence[float] = (35, 40, 42, 45),
    spread: float = 4.0,
    thumb_out: float = 40.0,
    thumb_curl: float = 15.0,
    size: float = 1.0,
) -> None:
    """Add a hand. toward: where the straight fingers would point; palm: where the palm looks.

    thumb_left: the thumb is on the left when one looks along `toward` with the palm facing away (that is, it
    lies toward palm x toward). curls: degrees each finger bends at its first joint (the next two bend in
    proportion); thumb_out: how far the thumb stands off the palm, degrees; size: 1 for an 18 cm hand.
    """
    w = np.asarray(wrist, np.float64)
    d = unit(toward)
    n = unit(np.asarray(palm, np.float64) - d * float(np.asarray(palm) @ d))
    s = np.cross(n, d) * (1.0 if thumb_left else -1.0)
    b.group(sc.SKIN, tone, relief=7, strength=0.0011, origin=w)
    knuckles = []
    for i in range(4):
        side = (0.030 - 0.0195 * i) * size
        reach = (0.092, 0.096, 0.090, 0.081)[i] * size
        knuckle = w + d * reach + s * side - n * (0.002, 0.004, 0.003, 0.0)[i] * size
        root = w + d * 0.012 * size + s * side * 0.62
        b.cone(
            root, knuckle, 0.0155 * size, (0.0122, 0.0125, 0.0118, 0.0108)[i] * size, 0.0 if i == 0 else 0.012 * size
        )
        knuckles.append(knuckle)
        bump = knuckle - n * 0.0035 * size
        b.cone(bump, bump + d * 0.002 * size, 0.0098 * size, 0.0092 * size, 0.006 * size)
    # the heel of the hand, the ball of the thumb, and the wrist
    b.cone(
        w - d * 0.03 * size + s * 0.008 * size,
        w + d * 0.015 * size + s * 0.006 * size,
        0.0215 * size,
        0.023 * size,
        0.02 * size,
    )
    b.cone(
        w - d * 0.03 * size - s * 0.008 * size,
        w + d * 0.015 * size - s * 0.01 * size,
        0.0215 * size,
        0.021 * size,
        0.02 * size,
    )
    base = w + d * 0.026 * size + s * 0.024 * size + n * 0.010 * size
    angle = np.radians(thumb_out)
    out = unit(d * np.cos(angle) + s * np.sin(angle) + n * 0.30)
    first = base + out * 0.036 * size
    b.cone(w + d * 0.012 * size + s * 0.012 * size + n * 0.004, base, 0.019 * size, 0.0185 * size, 0.02 * size)
    b.cone(base, first, 0.0165 * size, 0.0112 * size, 0.014 * size)
    hinge = unit(np.cross(out, s))
    bend = np.tan(np.radians(thumb_curl))
    step = unit(out + d * bend + n * 0.25 * bend)
    second = first + step * 0.031 * size
    step2 = unit(step + d * bend * 0.8 + n * 0.3 * bend)
    tip = second + step2 * 0.021 * size
    b.cone(first, second, 0.0107 * size, 0.0098 * size, 0.006 * size)
    b.cone(second, tip, 0.0102 * size, 0.0078 * size, 0.004 * size)
    nails = [(tip, step2, unit(np.cross(step2, hinge) + 1.2 * s), 0.0078 * size)]
    for i in range(4):
        fan = np.radians(spread * (1.4 - i))
        f = unit(d * np.cos(fan) + s * np.sin(fan))
        bend_axis = unit(np.cross(f, n))
        at, angle = knuckles[i], 0.0
        lengths, radii = _BONES[i], _RADII[i]
        for j in range(3):
            angle += np.radians(curls[i]) * (1.0, 1.05, 0.62)[j]
            way = _about(f, bend_axis, angle)
            end = at + way * lengths[j] * size
            b.cone(
                at,
                end,
                radii[j] * 1.06 * size,
                radii[min(j + 1, 2)] * (1.0 if j < 2 else 0.86) * size,
                (0.010 if j == 0 else 0.0035) * size,
            )
            if j < 2:
                b.cone(
                    end, end + way * 0.001 * size, radii[j + 1] * 1.13 * size, radii[j + 1] * 1.12 * size, 0.004 * size
                )
            else:
                back = unit(-_about(n, bend_axis, angle))
                nails.append((end, way, back, radii[2] * 0.86 * size))
            at = end
    b.group(sc.SKIN, tuple(min(1.0, 1.12 * c + 0.05) for c in tone), relief=0, origin=w)
    for end, way, back, r in nails:
        across = unit(np.cross(way, back))
        back = unit(np.cross(across, way))
        rotation = np.stack([across, back, way], axis=1)
        b.ellipsoid(end - way * 0.002 * size + back * r * 0.62, (r * 0.74, r * 0.52, 0.0068 * size), rotation)
