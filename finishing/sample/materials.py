"""What surfaces are made of: colour, gloss and fine relief at a place.

Colours are reflectances in linear Rec. 709 primaries. The patterns are drawn from hashed noise in metres, so a
closer camera finds finer detail.
"""

from math import atan2, exp, sin, sqrt

from finishing.sample.noise import clamp, hash_of, kernel, layered, noise, ramp, ridged
from finishing.sample.scene import Table

# red, green, blue, roughness, mirror share at normal incidence, sheen, softness of the terminator, normal (3)
Surface = tuple[float, float, float, float, float, float, float, float, float, float]


@kernel
def tilt(
    nx: float, ny: float, nz: float, px: float, py: float, pz: float, fx: float, fy: float, fz: float, strength: float
) -> tuple[float, float, float]:
    """A normal tilted by the slope of noise with frequencies (fx, fy, fz) a metre."""
    x, y, z = px * fx, py * fy, pz * fz
    h = noise(x, y, z)
    gx, gy, gz = noise(x + 0.2, y, z) - h, noise(x, y + 0.2, z) - h, noise(x, y, z + 0.2) - h
    k = gx * nx + gy * ny + gz * nz
    nx, ny, nz = nx - strength * (gx - k * nx), ny - strength * (gy - k * ny), nz - strength * (gz - k * nz)
    n = 1.0 / max(sqrt(nx * nx + ny * ny + nz * nz), 1e-9)
    return nx * n, ny * n, nz * n


@kernel
def plane_of(px: float, py: float, pz: float, nx: float, ny: float, nz: float) -> tuple[float, float]:
    """Two coordinates along a surface, metres: the axes its normal leans on least."""
    if abs(ny) > abs(nx) and abs(ny) > abs(nz):
        return px, pz
    if abs(nx) > abs(nz):
        return pz, py
    return px, py


@kernel
def cloth(
    px: float, py: float, pz: float, nx: float, ny: float, nz: float, footprint: float, r: float, g: float, b: float
) -> Surface:
    """Heavy woven wool: a twill line of 2.6 mm, slubs, and wear that lightens it in broad patches."""
    u, v = plane_of(px, py, pz, nx, ny, nz)
    fine = ramp(0.0016, 0.0005, footprint)
    wobble = 0.0012 * noise(px * 60.0, py * 60.0, pz * 60.0)
    twill = sin((u + v + wobble) * 2400.0) * fine
    cross = sin((u - v) * 1900.0) * fine
    slub = layered(px * 210.0, py * 150.0, pz * 210.0, 2) - 0.5
    broad = layered(px * 9.0, py * 6.0, pz * 9.0, 3) - 0.5
    fibre = hash_of(int(u * 2600.0), int(v * 2600.0), 5) - 0.5
    k = 1.0 + 0.10 * twill + 0.05 * cross + 0.16 * slub + 0.07 * broad + 0.10 * fibre * fine
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 330.0, 330.0, 330.0, 0.26)
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 60.0, 50.0, 60.0, 0.16)
    return r * k, g * k, b * k * (1.0 - 0.06 * broad), 0.85, 0.03, 0.32, 0.12, nx, ny, nz


@kernel
def skin(
    px: float, py: float, pz: float, nx: float, ny: float, nz: float, footprint: float, r: float, g: float, b: float
) -> Surface:
    """Skin: blotches of blood under it, freckles, pores and fine lines, an oily sheen."""
    blood = layered(px * 26.0, py * 26.0, pz * 26.0, 3) - 0.5
    pale = layered(px * 70.0 + 5.0, py * 70.0, pz * 70.0, 2) - 0.5
    spot = ramp(0.80, 0.90, noise(px * 230.0, py * 230.0, pz * 230.0)) * ramp(
        0.4, 0.7, noise(px * 30.0, py * 30.0, pz * 30.0)
    )
    r *= 1.0 + 0.10 * pale - 0.02 * blood - 0.16 * spot
    g *= 1.0 + 0.14 * pale - 0.34 * blood - 0.26 * spot
    b *= 1.0 + 0.14 * pale - 0.38 * blood - 0.32 * spot
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 900.0, 900.0, 900.0, 0.34 * ramp(0.0012, 0.0003, footprint))
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 240.0, 300.0, 240.0, 0.30)
    return r, g, b, 0.47, 0.028, 0.0, 1.0, nx, ny, nz


@kernel
def wood(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    ax: float,
    ay: float,
    az: float,
    r: float,
    g: float,
    b: float,
) -> Surface:
    """Weathered wood with its grain along an axis; greyed, with darker checks."""
    along = px * ax + py * ay + pz * az
    qx, qy, qz = px - along * ax, py - along * ay, pz - along * az
    grain = layered(qx * 150.0, qy * 150.0 + along * 4.0, qz * 150.0, 3)
    check = ramp(0.86, 0.97, ridged(qx * 60.0, qy * 60.0 + along * 2.2, qz * 60.0))
    stain = layered(px * 5.0, py * 5.0, pz * 5.0, 3)
    k = (0.72 + 0.55 * (grain - 0.3)) * (1.0 - 0.55 * check) * (0.75 + 0.5 * stain)
    grey = 0.35 * ramp(0.35, 0.75, stain)
    l = 0.4 * (r + g + b) / 3.0 + 0.5 * g
    nx, ny, nz = tilt(
        nx, ny, nz, px, py, pz, 240.0 - 200.0 * abs(ax), 240.0 - 200.0 * abs(ay), 240.0 - 200.0 * abs(az), 0.35
    )
    return (
        (r + grey * (l - r)) * k,
        (g + grey * (l - g)) * k,
        (b + grey * (l - b)) * k,
        0.6,
        0.035,
        0.0,
        0.05,
        nx,
        ny,
        nz,
    )


@kernel
def straw(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    ox: float,
    oy: float,
    oz: float,
    r: float,
    g: float,
    b: float,
) -> Surface:
    """Plaited straw: rings round the crown's axis, each a row of small slanted stalks."""
    x, y, z = px - ox, py - oy, pz - oz
    ring = sqrt(x * x + y * y + z * z) * 1000.0 / 7.5
    row = int(ring)
    angle = atan2(z, x)
    slant = sin(angle * 150.0 + (2.2 if row % 2 == 0 else -2.2) * ring * 3.0)
    groove = abs(ring - row - 0.5) * 2.0
    k = (1.0 - 0.40 * groove**3) * (1.0 + 0.14 * slant) * (0.8 + 0.4 * layered(x * 60.0, y * 60.0, z * 60.0, 2))
    k *= 1.0 + 0.25 * (hash_of(row, int(angle * 24.0), 3) - 0.5)
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 160.0, 160.0, 160.0, 0.35)
    return r * k, g * k, b * k * (0.9 + 0.1 * slant), 0.5, 0.04, 0.05, 0.25, nx, ny, nz


@kernel
def fruit(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    ox: float,
    oy: float,
    oz: float,
    r: float,
    g: float,
    b: float,
) -> Surface:
    """Ripe quince: waxy, with green shadows, russet flecks, and a grey bloom of down in places."""
    seed = layered(px * 9.0, py * 9.0, pz * 9.0, 2)
    green = ramp(0.5, 0.75, layered(px * 24.0 + 9.0, py * 24.0, pz * 24.0, 2))
    russet = ramp(0.66, 0.85, layered(px * 60.0, py * 60.0 + 3.0, pz * 60.0, 3))
    fleck = ramp(0.82, 0.9, noise(px * 420.0, py * 420.0, pz * 420.0))
    down = 0.28 * ramp(0.55, 0.8, layered(px * 38.0, py * 38.0, pz * 38.0 + 4.0, 3))
    k = 0.88 + 0.3 * (seed - 0.35)
    r, g, b = r * k * (1.0 - 0.16 * green), g * k * (1.0 - 0.03 * green), b * k
    r, g, b = r * (1.0 - 0.45 * russet), g * (1.0 - 0.6 * russet), b * (1.0 - 0.55 * russet)
    r, g, b = r * (1.0 - 0.4 * fleck), g * (1.0 - 0.5 * fleck), b * (1.0 - 0.4 * fleck)
    r, g, b = r + down * (0.42 - r), g + down * (0.36 - g), b + down * (0.22 - b)
    nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 260.0, 260.0, 260.0, 0.10)
    return r, g, b, 0.36, 0.038, 0.04, 0.2, nx, ny, nz


@kernel
def surface_of(
    material: int, px: float, py: float, pz: float, nx: float, ny: float, nz: float, footprint: float, g: Table, j: int
) -> Surface:
    """The surface of a group at a place; footprint: metres a pixel covers there."""
    r, gr, b = g[j, 16], g[j, 17], g[j, 18]
    ox, oy, oz = g[j, 9], g[j, 10], g[j, 11]
    ax, ay, az = g[j, 12], g[j, 13], g[j, 14]
    if material == 4:
        return skin(px, py, pz, nx, ny, nz, footprint, r, gr, b)
    if material == 5:
        return cloth(px, py, pz, nx, ny, nz, footprint, r, gr, b)
    if material == 10 or material == 11 or material == 14:
        u, v = plane_of(px, py, pz, nx, ny, nz)
        fine = ramp(0.0012, 0.0004, footprint)
        weave = sin(u * 3300.0) * sin(v * 3300.0) * fine
        k = 1.0 + 0.07 * weave + 0.08 * (layered(px * 120.0, py * 120.0, pz * 120.0, 2) - 0.5)
        nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 120.0, 120.0, 120.0, 0.2)
        return r * k, gr * k, b * k, 0.85, 0.03, 0.14, 0.22, nx, ny, nz
    if material == 6:
        along = px * ax + py * ay + pz * az
        strand = 0.5 + 0.5 * noise(
            (px - along * ax) * 260.0 + along * 12.0, (py - along * ay) * 260.0, (pz - along * az) * 260.0
        )
        k = 0.55 + 0.7 * strand
        nx, ny, nz = tilt(
            nx,
            ny,
            nz,
            px,
            py,
            pz,
            300.0 * (1.0 - abs(ax)) + 10.0,
            300.0 * (1.0 - abs(ay)) + 10.0,
            300.0 * (1.0 - abs(az)) + 10.0,
            0.7,
        )
        return r * k, gr * k, b * k, 0.55, 0.04, 0.10, 0.1, nx, ny, nz
    if material == 7:
        return straw(px, py, pz, nx, ny, nz, ox, oy, oz, r, gr, b)
    if material == 8:
        return wood(px, py, pz, nx, ny, nz, ax, ay, az, r, gr, b)
    if material == 3:
        lichen = 0.8 * ramp(0.54, 0.66, layered(px * 17.0, py * 12.0, pz * 17.0, 4))
        deep = ridged(px * 16.0, py * 4.5, pz * 16.0)
        k = (0.55 + 0.75 * deep) * (0.75 + 0.5 * layered(px * 90.0, py * 30.0, pz * 90.0, 2))
        nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 120.0, 50.0, 120.0, 0.9)
        return (
            (r + lichen * (0.20 - r)) * k,
            (gr + lichen * (0.22 - gr)) * k,
            (b + lichen * (0.13 - b)) * k,
            0.9,
            0.03,
            0.05,
            0.0,
            nx,
            ny,
            nz,
        )
    if material == 9:
        each = layered(px * 4.0, py * 6.5, pz * 4.0, 2)
        rough = layered(px * 50.0, py * 50.0, pz * 50.0, 3)
        lichen = ramp(0.56, 0.70, layered(px * 11.0 + 3.0, py * 11.0, pz * 11.0, 4)) * (0.4 + 0.6 * ny)
        k = (0.55 + 0.6 * each) * (0.7 + 0.6 * rough)
        nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 70.0, 70.0, 70.0, 0.8)
        moss = 0.75 * lichen
        return (
            (r + moss * (0.24 - r)) * k,
            (gr + moss * (0.25 - gr)) * k,
            (b + moss * (0.12 - b)) * k,
            0.92,
            0.03,
            0.03,
            0.0,
            nx,
            ny,
            nz,
        )
    if material == 12:
        return fruit(px, py, pz, nx, ny, nz, ox, oy, oz, r, gr, b)
    if material == 15:
        chip = ramp(0.70, 0.76, layered(px * 30.0, py * 30.0, pz * 30.0, 4))
        dirt = 0.75 + 0.4 * layered(px * 10.0, py * 14.0, pz * 10.0, 3)
        r, gr, b = (r + chip * (0.10 - r)) * dirt, (gr + chip * (0.09 - gr)) * dirt, (b + chip * (0.08 - b)) * dirt
        nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 60.0, 60.0, 60.0, 0.12)
        return r, gr, b, 0.4, 0.045, 0.0, 0.0, nx, ny, nz
    if material == 20:
        dark = ramp(-0.0035, -0.002, py - oy)
        chip = ramp(0.80, 0.84, layered(px * 40.0, py * 40.0, pz * 40.0, 3)) * ramp(-0.02, -0.005, py - oy)
        k = max(dark, chip)
        return r + k * (0.02 - r), gr + k * (0.028 - gr), b + k * (0.06 - b), 0.22, 0.045, 0.0, 0.0, nx, ny, nz
    if material == 16 or material == 19:
        k = 0.75 + 0.5 * layered(px * 80.0, py * 80.0, pz * 80.0, 3)
        nx, ny, nz = tilt(nx, ny, nz, px, py, pz, 250.0, 250.0, 250.0, 0.2)
        return r * k, gr * k, b * k, 0.42, 0.045, 0.0, 0.0, nx, ny, nz
    return r, gr, b, 1.0, 0.0, 0.0, 0.0, nx, ny, nz


@kernel
def leaf_colour(tint: float, across: float, along: float, shade: float) -> tuple[float, float, float]:
    """Reflectance of an autumn leaf: greens, some yellowed or rust, a pale middle rib."""
    h = hash_of(int(tint * 1e6), 3, 9)
    r, g, b = 0.060 + 0.05 * h, 0.115 + 0.055 * h, 0.028 + 0.012 * h
    if h > 0.93:
        r, g, b = 0.26, 0.20, 0.035
    elif h > 0.89:
        r, g, b = 0.20, 0.105, 0.035
    rib = exp(-abs(across) * 14.0) * 0.35
    vein = 0.10 * sin(along * 24.0 + abs(across) * 9.0)
    k = (0.85 + 0.3 * hash_of(int(tint * 1e6), 8, 1)) * (1.0 + vein) * (0.8 + 0.2 * shade)
    return r * k + rib * 0.10, g * k + rib * 0.11, b * k + rib * 0.05


@kernel
def grass_colour(x: float, z: float, up: float, tint: float) -> tuple[float, float, float]:
    """Reflectance of a blade of grass: fresh to straw-coloured, darker toward the root."""
    patch = noise(x * 0.8, 2.0, z * 0.8)
    dry = ramp(0.62, 1.0, tint * 0.55 + 0.55 * patch)
    r, g, b = 0.070 + 0.05 * tint, 0.132 + 0.05 * tint, 0.026
    r, g, b = r + dry * (0.27 - r), g + dry * (0.225 - g), b + dry * (0.105 - b)
    k = clamp(0.30 + 0.9 * up, 0.3, 1.15)
    return r * k, g * k, b * k
