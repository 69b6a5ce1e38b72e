"""How light reaches a surface and leaves it toward the camera.

Three sources are kept apart: the ambient (sky dome and sun, a radiance), and every strobe head (an exposure, in
the same unit times seconds). `out` holds them side by side: ambient red, green, blue, then three numbers a head.
"""

from math import exp, pi, sqrt

from finishing.sample.noise import clamp, kernel, noise, ramp
from finishing.sample.scene import Scene, Table
from finishing.sample.shapes import openness, unblocked
from finishing.sample.sky import dome_light, sky_radiance
from finishing.sample.vegetation import through_crowns

# open sky, light through the leaves above, sun, three heads; each 0 to 1
Seen = tuple[float, float, float, float, float, float]

INVERSE_PI = 1.0 / pi
# How far red, green and blue light creep round the shadow's edge in skin (chosen by eye after the usual
# ordering: red light scatters widest under skin).
_CREEP = (0.30, 0.12, 0.07)


@kernel
def soft_cosine(c: float, creep: float) -> float:
    """Cosine law with light creeping past the terminator by `creep`; keeps the total (energy) the same."""
    w = clamp((c + creep) / (1.0 + creep), 0.0, 1.0)
    return w * (1.0 if creep == 0.0 else (0.35 * w + 0.65) / (1.0 + 0.4 * creep))


@kernel
def gloss(
    nx: float,
    ny: float,
    nz: float,
    lx: float,
    ly: float,
    lz: float,
    vx: float,
    vy: float,
    vz: float,
    rough: float,
    f0: float,
) -> float:
    """Reflected share a steradian times cosine: GGX microfacets with Schlick's Fresnel term."""
    hx, hy, hz = lx + vx, ly + vy, lz + vz
    n = 1.0 / max(sqrt(hx * hx + hy * hy + hz * hz), 1e-6)
    nh = max((nx * hx + ny * hy + nz * hz) * n, 0.0)
    lh = max((lx * hx + ly * hy + lz * hz) * n, 0.0)
    nl = max(nx * lx + ny * ly + nz * lz, 0.0)
    nv = max(nx * vx + ny * vy + nz * vz, 0.06)
    a = rough * rough
    q = nh * nh * (a * a - 1.0) + 1.0
    d = a * a / (pi * q * q)
    k = 0.5 * a
    shadowing = 1.0 / ((nl * (1.0 - k) + k) * (nv * (1.0 - k) + k))
    fresnel = f0 + (1.0 - f0) * (1.0 - lh) ** 5
    return 0.25 * d * shadowing * fresnel * nl


@kernel
def head_sample(
    heads: Table, h: int, a: int, b: int, px: float, py: float, pz: float
) -> tuple[float, float, float, float, float]:
    """Direction to one part of a head's face, its distance, and its light there per unit of intensity.

    The face is cut in parts; each is a small source with intensity falling as a power of the cosine from the
    aim, and inverse square with distance.
    """
    n = int(heads[h, 13])
    u = (a + 0.5) * 2.0 / n - 1.0
    v = (b + 0.5) * 2.0 / n - 1.0
    x = heads[h, 0] + u * heads[h, 6] + v * heads[h, 9] - px
    y = heads[h, 1] + u * heads[h, 7] + v * heads[h, 10] - py
    z = heads[h, 2] + u * heads[h, 8] + v * heads[h, 11] - pz
    d2 = x * x + y * y + z * z
    d = sqrt(d2)
    x, y, z = x / d, y / d, z / d
    aim = -(x * heads[h, 3] + y * heads[h, 4] + z * heads[h, 5])
    if aim <= 0.0:
        return x, y, z, d, 0.0
    return x, y, z, d, aim ** heads[h, 17] / (d2 * n * n)


@kernel
def seen_from(px: float, py: float, pz: float, gx: float, gy: float, gz: float, creep: bool, scene: Scene) -> Seen:
    """What a place sees: share of the sky left open, share of light through the leaves above, share of the sun,
    share of each of up to three heads. g: the shape's normal; creep: light creeps round the terminator here.
    """
    air, heads = scene.air, scene.heads
    behind = -0.35 if creep else -0.1
    open_ = openness(px, py, pz, gx, gy, gz, scene)
    roof = through_crowns(px, py, pz, 0.0, 0.96, -0.28, scene.trees)
    sun = 0.0
    if air[3] > 0.0 and gx * air[0] + gy * air[1] + gz * air[2] > behind - 0.25:
        sun = through_crowns(px, py, pz, air[0], air[1], air[2], scene.trees)
        sun *= ramp(0.2, 0.62, noise(px * 5.0 + py * 2.0, py * 5.0, pz * 5.0) * 0.8 + 0.35 * sun)
        if sun > 0.003:
            sun *= unblocked(
                px + 0.004 * gx, py + 0.004 * gy, pz + 0.004 * gz, air[0], air[1], air[2], 60.0, 0.012, scene
            )
    a, b, c = 0.0, 0.0, 0.0
    for h in range(heads.shape[0]):
        size = sqrt(heads[h, 6] ** 2 + heads[h, 7] ** 2 + heads[h, 8] ** 2)
        x, y, z = heads[h, 0] - px, heads[h, 1] - py, heads[h, 2] - pz
        d = sqrt(x * x + y * y + z * z)
        x, y, z = x / d, y / d, z / d
        share = 0.0
        if gx * x + gy * y + gz * z > behind - 0.25 - size / d:
            # the whole face taken as one round light of like size
            share = unblocked(
                px + 0.003 * gx, py + 0.003 * gy, pz + 0.003 * gz, x, y, z, d - 0.05, 1.15 * size / d + 0.004, scene
            )
        if h == 0:
            a = share
        elif h == 1:
            b = share
        else:
            c = share
    return open_, roof, sun, a, b, c


@kernel
def light_surface(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    vx: float,
    vy: float,
    vz: float,
    r: float,
    g: float,
    b: float,
    rough: float,
    f0: float,
    sheen: float,
    creep: float,
    sees: Seen,
    scene: Scene,
    out: Table,
    k: int,
) -> None:
    """Add the light a solid surface sends toward the camera to out[k].

    p: place; n: the normal with fine relief; v: toward the camera; creep: 0 hard cloth to 1 skin (scales the
    creep of light round the terminator); sees: from `seen_from`.
    """
    air = scene.air
    open_ = sees[0]
    # leaves overhead take their share of the dome
    around = 0.45 + 0.55 * sees[1]
    er, eg, eb = dome_light(nx, ny, nz, scene.sky)
    # light bounced between near surfaces takes their colour
    ar, ag, ab = open_ / (1.0 - (1.0 - open_) * r), open_ / (1.0 - (1.0 - open_) * g), open_ / (1.0 - (1.0 - open_) * b)
    scale = air[16] * around
    nv = max(nx * vx + ny * vy + nz * vz, 0.0)
    rim = (1.0 - nv) ** 4
    out[k, 0] += scale * er * ar * INVERSE_PI * (r + sheen * rim * (0.4 + 0.6 * r))
    out[k, 1] += scale * eg * ag * INVERSE_PI * (g + sheen * rim * (0.4 + 0.6 * g))
    out[k, 2] += scale * eb * ab * INVERSE_PI * (b + sheen * rim * (0.4 + 0.6 * b))
    if f0 > 0.0:
        mx, my, mz = 2.0 * nv * nx - vx, 2.0 * nv * ny - vy, 2.0 * nv * nz - vz
        sr, sg, sb = dome_light(mx, my, mz, scene.sky)
        f = (f0 + (max(1.0 - rough, f0) - f0) * (1.0 - nv) ** 5) * open_ * open_ * scale * INVERSE_PI
        out[k, 0] += f * sr
        out[k, 1] += f * sg
        out[k, 2] += f * sb
    # the sun
    facing = nx * air[0] + ny * air[1] + nz * air[2]
    if facing > -0.3 * creep - 0.02 and air[3] > 0.0:
        seen = sees[2]
        if seen > 0.003:
            s = gloss(nx, ny, nz, air[0], air[1], air[2], vx, vy, vz, rough, f0) if f0 > 0.0 else 0.0
            soft = sheen * rim * max(facing, 0.0) * INVERSE_PI
            seen *= air[16]
            out[k, 0] += seen * air[3] * (r * soft_cosine(facing, _CREEP[0] * creep) * INVERSE_PI + s + soft)
            out[k, 1] += seen * air[4] * (g * soft_cosine(facing, _CREEP[1] * creep) * INVERSE_PI + s + soft)
            out[k, 2] += seen * air[5] * (b * soft_cosine(facing, _CREEP[2] * creep) * INVERSE_PI + s + soft)
    heads = scene.heads
    for h in range(heads.shape[0]):
        n = int(heads[h, 13])
        c = 3 + 3 * h
        size = sqrt(heads[h, 6] ** 2 + heads[h, 7] ** 2 + heads[h, 8] ** 2)
        fill = 0.06 * open_  # what grass and neighbours throw back
        seen = sees[3] if h == 0 else (sees[4] if h == 1 else sees[5])
        for i in range(n):
            for j in range(n):
                lx, ly, lz, d, e = head_sample(heads, h, i, j, px, py, pz)
                if e <= 0.0:
                    continue
                facing = nx * lx + ny * ly + nz * lz
                er, eg, eb = e * heads[h, 14], e * heads[h, 15], e * heads[h, 16]
                s, soft = 0.0, 0.0
                if seen > 0.0:
                    if f0 > 0.0:
                        s = gloss(nx, ny, nz, lx, ly, lz, vx, vy, vz, min(1.0, rough + 0.35 * size / (n * d)), f0)
                    soft = sheen * rim * max(facing, 0.0) * INVERSE_PI
                out[k, c] += er * r * INVERSE_PI * (
                    seen * soft_cosine(facing, _CREEP[0] * creep) + fill * r
                ) + er * seen * (s + soft)
                out[k, c + 1] += eg * g * INVERSE_PI * (
                    seen * soft_cosine(facing, _CREEP[1] * creep) + fill * g
                ) + eg * seen * (s + soft)
                out[k, c + 2] += eb * b * INVERSE_PI * (
                    seen * soft_cosine(facing, _CREEP[2] * creep) + fill * b
                ) + eb * seen * (s + soft)


@kernel
def light_leaf(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    vx: float,
    vy: float,
    vz: float,
    r: float,
    g: float,
    b: float,
    cover: float,
    shadows: bool,
    scene: Scene,
    out: Table,
    k: int,
) -> None:
    """Add the light a thin leaf or blade sends toward the camera to out[k]: reflected, and shining through it.

    cover: 0 in the open to 1 deep among others; shadows: whether solid bodies throw shadows here.
    """
    air = scene.air
    roof = through_crowns(px, py, pz, 0.0, 1.0, 0.0, scene.trees)
    dark = (1.0 - 0.82 * cover) * (0.25 + 0.75 * roof)
    ur, ug, ub = dome_light(nx, 0.35 * abs(ny) + 0.65 * ny, nz, scene.sky)
    wr, wg, wb = dome_light(-nx, -ny, -nz, scene.sky)
    scale = air[16] * dark * INVERSE_PI
    out[k, 0] += scale * r * (0.8 * ur + 0.45 * wr)
    out[k, 1] += scale * g * (0.8 * ug + 0.5 * wg)
    out[k, 2] += scale * b * (0.8 * ub + 0.3 * wb)
    nv = abs(nx * vx + ny * vy + nz * vz)
    glint = 0.035 * (1.0 - nv) ** 3 + 0.012
    out[k, 0] += scale * glint * ur
    out[k, 1] += scale * glint * ug
    out[k, 2] += scale * glint * ub
    if air[3] > 0.0:
        seen = through_crowns(px, py, pz, air[0], air[1], air[2], scene.trees) * (1.0 - 0.75 * cover)
        seen *= ramp(0.15, 0.6, noise(px * 4.0 + py * 2.0, py * 4.0, pz * 4.0) * 0.8 + 0.35 * seen)
        if seen > 0.004 and shadows:
            seen *= unblocked(px, py + 0.01, pz, air[0], air[1], air[2], 40.0, 0.012, scene)
        if seen > 0.004:
            c = nx * air[0] + ny * air[1] + nz * air[2]
            front, back = max(c, 0.0), max(-c, 0.0)
            s = gloss(nx, ny, nz, air[0], air[1], air[2], vx, vy, vz, 0.45, 0.04)
            seen *= air[16]
            out[k, 0] += seen * air[3] * (INVERSE_PI * (r * front + 1.3 * r * back) + s)
            out[k, 1] += seen * air[4] * (INVERSE_PI * (g * front + 1.35 * g * back) + s)
            out[k, 2] += seen * air[5] * (INVERSE_PI * (b * front + 0.5 * b * back) + s)
    heads = scene.heads
    for h in range(heads.shape[0]):
        c3 = 3 + 3 * h
        int(heads[h, 13])
        size = sqrt(heads[h, 6] ** 2 + heads[h, 7] ** 2 + heads[h, 8] ** 2)
        x, y, z = heads[h, 0] - px, heads[h, 1] - py, heads[h, 2] - pz
        d2 = x * x + y * y + z * z
        d = sqrt(d2)
        x, y, z = x / d, y / d, z / d
        aim = -(x * heads[h, 3] + y * heads[h, 4] + z * heads[h, 5])
        if aim <= 0.0:
            continue
        e = aim ** heads[h, 17] / d2 * (1.0 - 0.7 * cover)
        if shadows and e * heads[h, 15] > 0.02:
            e *= unblocked(px, py + 0.01, pz, x, y, z, d - 0.05, size / d + 0.004, scene)
        c = nx * x + ny * y + nz * z
        front, back = max(c, 0.0), max(-c, 0.0)
        s = gloss(nx, ny, nz, x, y, z, vx, vy, vz, 0.45, 0.04)
        out[k, c3] += e * heads[h, 14] * (INVERSE_PI * (r * front + 1.2 * r * back) + s)
        out[k, c3 + 1] += e * heads[h, 15] * (INVERSE_PI * (g * front + 1.25 * g * back) + s)
        out[k, c3 + 2] += e * heads[h, 16] * (INVERSE_PI * (b * front + 0.5 * b * back) + s)


@kernel
def add_haze(distance: float, dx: float, dz: float, scene: Scene, out: Table, k: int) -> None:
    """Fade out[k] by the evening haze over a distance and add the haze's own glow (ambient alone)."""
    air = scene.air
    through = exp(-air[21] * distance)
    for c in range(3 + 3 * scene.heads.shape[0]):
        out[k, c] *= through
    r, g, b = sky_radiance(dx, 0.03, dz, air)
    part = (1.0 - through) * air[16]
    out[k, 0] += part * (0.40 * r + 0.25 * air[18])
    out[k, 1] += part * (0.40 * g + 0.25 * air[19])
    out[k, 2] += part * (0.40 * b + 0.25 * air[20])
