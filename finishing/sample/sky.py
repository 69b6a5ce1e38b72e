"""The dusk sky, the far hills, the haze, and the light the whole dome throws on a surface."""

from math import atan2, cos, exp, pi, sin, sqrt

import numpy as np

from finishing.sample.noise import clamp, kernel, layered, noise, ramp
from finishing.sample.scene import Table

Colour = tuple[float, float, float]

# Places in the air table.
SUN, SUN_LIGHT, ZENITH, HORIZON, GLOW = 0, 3, 6, 9, 12
CLOUDS, SCALE, SEED, HAZE, HAZE_DENSITY, GROUND = 15, 16, 17, 18, 21, 22
AIR_LENGTH = 26


@kernel
def sky_radiance(dx: float, dy: float, dz: float, air: Table) -> Colour:
    """Radiance of the sky in a direction (unit vector), linear Rec. 709 primaries, before `SCALE`.

    A dusk dome: deep above, pale at the horizon, warm toward the sun, thin clouds lit from below.
    """
    up = max(dy, 0.0)
    toward = dx * air[0] + dy * air[1] + dz * air[2]
    flat = sqrt(dx * dx + dz * dz) * sqrt(air[0] * air[0] + air[2] * air[2])
    side = clamp(0.5 + 0.5 * (dx * air[0] + dz * air[2]) / max(flat, 1e-6), 0.0, 1.0)
    low = exp(-up * 5.5)
    band = exp(-((up - 0.13) ** 2) / 0.012)
    warm = side * side * exp(-up * 6.5)
    halo = max(toward, 0.0) ** 10 * 0.5 * exp(-up * 2.0) + max(toward, 0.0) ** 90 * 0.9
    r = air[6] + (air[9] - air[6]) * low
    g = air[7] + (air[10] - air[7]) * low
    b = air[8] + (air[11] - air[8]) * low
    # the rose band opposite the sun
    rose = band * (1.0 - side) * 0.16
    r, g, b = r * (1.0 - 0.45 * warm), g * (1.0 - 0.62 * warm), b * (1.0 - 0.72 * warm)
    r, b = r * (1.0 + rose), b * (1.0 + 0.3 * rose)
    w = 0.72 * warm + 0.6 * halo
    r, g, b = r + air[12] * w, g + air[13] * w, b + air[14] * w
    if dy > 0.0 and air[15] > 0.0:
        k = 1.0 / (dy + 0.09)
        x, z = dx * k, dz * k
        streak = layered(x * 0.55 + 0.3 * z + air[17], z * 1.7, 0.5, 5)
        veil = ramp(0.40, 0.85, streak) * ramp(0.0, 0.07, dy) * air[15]
        lit = 0.30 + 0.75 * side * side
        r += veil * (air[12] * 0.24 * lit + 0.12 * air[9])
        g += veil * (air[13] * 0.24 * lit + 0.10 * air[10])
        b += veil * (air[14] * 0.28 * lit + 0.08 * air[11])
    return r, g, b


@kernel
def backdrop(dx: float, dy: float, dz: float, air: Table) -> tuple[float, float, float, int]:
    """What lies behind everything: sky, or the hazy hills and the far edge of wood; and which (1: hills)."""
    r, g, b = sky_radiance(dx, dy, dz, air)
    a = atan2(dx, dz)
    far_hill = 0.010 + 0.020 * noise(a * 5.0 + 3.0, 1.0, 0.0) + 0.004 * noise(a * 19.0, 2.0, 0.0)
    wood = 0.008 + 0.009 * noise(a * 9.0, 5.0, 0.0) + 0.006 * layered(a * 70.0, 7.0, dy * 20.0, 3)
    hill = 0
    mr, mg, mb = 0.40 * r + 0.25 * air[18], 0.40 * g + 0.25 * air[19], 0.40 * b + 0.25 * air[20]
    if dy < far_hill:
        hill = 1
        r, g, b = 0.20 * r + 0.08 * air[6], 0.24 * g + 0.10 * air[7], 0.30 * b + 0.12 * air[8]
    if dy < wood:
        hill = 1
        shade = 0.6 + 0.6 * layered(a * 160.0, dy * 160.0, 3.0, 3)
        r, g, b = (
            (0.06 * air[9] + 0.10 * r) * shade,
            (0.08 * air[10] + 0.12 * g) * shade,
            (0.06 * air[11] + 0.11 * b) * shade,
        )
    if hill == 1:
        # mist lies in the hollow before the wood
        mist = 0.85 * exp(-max(dy, 0.0) / 0.009)
        r, g, b = r + mist * (mr - r), g + mist * (mg - g), b + mist * (mb - b)
    return r, g, b, hill


@kernel
def dome_light(nx: float, ny: float, nz: float, h: Table) -> Colour:
    """Irradiance from the whole dome on a surface of normal n, from nine harmonics a channel.

    Ramamoorthi and Hanrahan, "An efficient representation for irradiance environment maps" (2001), eq. 12 with
    the cosine lobe already folded into the coefficients.
    """
    b1, b2, b3 = 0.488603 * ny, 0.488603 * nz, 0.488603 * nx
    b4, b5, b7 = 1.092548 * nx * ny, 1.092548 * ny * nz, 1.092548 * nx * nz
    b6, b8 = 0.315392 * (3.0 * nz * nz - 1.0), 0.546274 * (nx * nx - ny * ny)
    r = (
        0.282095 * h[0, 0]
        + b1 * h[1, 0]
        + b2 * h[2, 0]
        + b3 * h[3, 0]
        + b4 * h[4, 0]
        + b5 * h[5, 0]
        + b6 * h[6, 0]
        + b7 * h[7, 0]
        + b8 * h[8, 0]
    )
    g = (
        0.282095 * h[0, 1]
        + b1 * h[1, 1]
        + b2 * h[2, 1]
        + b3 * h[3, 1]
        + b4 * h[4, 1]
        + b5 * h[5, 1]
        + b6 * h[6, 1]
        + b7 * h[7, 1]
        + b8 * h[8, 1]
    )
    b = (
        0.282095 * h[0, 2]
        + b1 * h[1, 2]
        + b2 * h[2, 2]
        + b3 * h[3, 2]
        + b4 * h[4, 2]
        + b5 * h[5, 2]
        + b6 * h[6, 2]
        + b7 * h[7, 2]
        + b8 * h[8, 2]
    )
    return max(r, 0.0), max(g, 0.0), max(b, 0.0)


@kernel
def _dome_samples(air: Table, rows: int, columns: int, out: Table) -> None:
    for i in range(rows):
        up = -1.0 + 2.0 * (i + 0.5) / rows
        flat = sqrt(1.0 - up * up)
        for j in range(columns):
            a = 2.0 * pi * (j + 0.5) / columns
            x, z = flat * cos(a), flat * sin(a)
            if up > 0.0:
                r, g, b = sky_radiance(x, up, z, air)
            else:
                r, g, b = air[22], air[23], air[24]
            k = i * columns + j
            out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4], out[k, 5] = x, up, z, r, g, b


def harmonics(air: Table) -> Table:
    """Nine coefficients a channel, (9, 3), of the dome's irradiance (sky above, lit ground below)."""
    rows, columns = 48, 96
    samples = np.empty((rows * columns, 6))
    _dome_samples(air, rows, columns, samples)
    x, y, z = samples[:, 0], samples[:, 1], samples[:, 2]
    basis = np.stack(
        [
            0.282095 + 0 * x,
            0.488603 * y,
            0.488603 * z,
            0.488603 * x,
            1.092548 * x * y,
            1.092548 * y * z,
            0.315392 * (3 * z * z - 1),
            1.092548 * x * z,
            0.546274 * (x * x - y * y),
        ]
    )
    lobes = np.array([pi] + [2 * pi / 3] * 3 + [pi / 4] * 5)
    solid = 4 * pi / (rows * columns)
    total = (basis[:, :, None] * samples[None, :, 3:]).sum(axis=1) * solid
    return np.ascontiguousarray(total * lobes[:, None])
