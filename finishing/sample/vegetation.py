"""Leaves, fruit, trunks and grass: many small things found by walking a ray through cells.

Each cell of a lattice holds one leaf (or blade), placed and turned by a hash of the cell's own numbers; the walk
visits cells in the order the ray crosses them and stops at the first thing hit.
"""

from math import cos, exp, floor, sin, sqrt

from finishing.sample.noise import clamp, hash_of, kernel, noise, ramp
from finishing.sample.scene import Crowns, Table

Vector = tuple[float, float, float]
# distance, normal (3), what (0 nothing, 1 leaf, 2 fruit), across and along the leaf (-1 to 1), hash, depth in crown
LeafHit = tuple[float, float, float, float, int, float, float, float, float]

GRASS_CELL = 0.024
# A crown's lattice is sheared upward along x and z by these shares.
SHEAR_X, SHEAR_Z = 0.31, 0.19


@kernel
def fill_crowns(out: Crowns) -> None:
    """Fill the lattices of leaf density that all trees share, (kinds, x, y, z): 0 no leaf, to 100 at the heart.

    A crown is a lumpy dome, broad below, with lobes and holes; its own box runs from -1 to 1 in x and z, and in the
    sheared y (see SHEAR_X) from -1.5 to 1.5.
    """
    kinds, nx, ny, nz = out.shape
    for k in range(kinds):
        for i in range(nx):
            x = (i + 0.5) * 2.0 / nx - 1.0
            for j in range(ny):
                for m in range(nz):
                    z = (m + 0.5) * 2.0 / nz - 1.0
                    y = 1.5 * ((j + 0.5) * 2.0 / ny - 1.0) - SHEAR_X * x - SHEAR_Z * z
                    low = y + 0.25 if y < -0.25 else 0.0
                    e = 0.90 - sqrt(x * x + z * z + (y * y if y > -0.25 else 0.0625 + 1.9 * low * low))
                    lobes = noise(x * 2.3 + 7.7 * k, y * 2.1, z * 2.3 + 3.0) - 0.52
                    sprays = noise(x * 6.1, y * 5.3 + 5.1 * k, z * 6.1) - 0.5
                    rim = sqrt(x * x + y * y + z * z) - 0.80
                    depth = e + 0.75 * lobes + 0.42 * sprays - 2.4 * max(rim, 0.0)
                    out[k, i, j, m] = 0 if depth <= 0.0 else int(min(100.0, 1.0 + 100.0 * depth))


@kernel
def crown_span(
    ox: float, oy: float, oz: float, dx: float, dy: float, dz: float, trees: Table, i: int, grow: float
) -> tuple[float, float]:
    """Where a ray enters and leaves the ellipsoid round a crown (second below the first: it misses)."""
    x, y, z = (ox - trees[i, 4]) / trees[i, 7], (oy - trees[i, 5]) / trees[i, 8], (oz - trees[i, 6]) / trees[i, 9]
    u, v, w = dx / trees[i, 7], dy / trees[i, 8], dz / trees[i, 9]
    a = u * u + v * v + w * w
    b = x * u + y * v + z * w
    c = x * x + y * y + z * z - grow
    h = b * b - a * c
    if h <= 0.0:
        return 1.0, 0.0
    h = sqrt(h)
    return (-b - h) / a, (-b + h) / a


@kernel
def through_crowns(px: float, py: float, pz: float, dx: float, dy: float, dz: float, trees: Table) -> float:
    """Share of light that comes through all crowns from a direction (crowns as even, lumpy media)."""
    thickness = 0.0
    for i in range(trees.shape[0]):
        t0, t1 = crown_span(px, py, pz, dx, dy, dz, trees, i, 0.72)
        t0 = max(t0, 0.0)
        if t1 > t0:
            thickness += (t1 - t0) * min(1.0, 2.4 * trees[i, 12])
    if thickness <= 0.0:
        return 1.0
    return exp(-0.34 * thickness)


@kernel
def leaf_on_ray(
    ox: float,
    oy: float,
    oz: float,
    dx: float,
    dy: float,
    dz: float,
    far: float,
    layer: int,
    trees: Table,
    crowns: Crowns,
) -> LeafHit:
    """The first leaf or fruit of the given layer's trees that a ray meets."""
    best, nx, ny, nz = far, 0.0, 0.0, 0.0
    what, across, along, tint, deep = 0, 0.0, 0.0, 0.0, 0.0
    _kinds, wide, high, long = crowns.shape
    for i in range(trees.shape[0]):
        if int(trees[i, 13]) != layer:
            continue
        b0, b1 = crown_span(ox, oy, oz, dx, dy, dz, trees, i, 2.4)
        if b1 <= b0 or b1 < 0.0 or b0 > best:
            continue
        # the ray in the tree's own turned box, in cells
        ca, sa = cos(trees[i, 15]), sin(trees[i, 15])
        qx, qy, qz = ox - trees[i, 4], oy - trees[i, 5], oz - trees[i, 6]
        qx, qz = ca * qx + sa * qz, -sa * qx + ca * qz
        ex, ey, ez = ca * dx + sa * dz, dy, -sa * dx + ca * dz
        mx, my, mz = 2.0 * trees[i, 7] / wide, 3.0 * trees[i, 8] / high, 2.0 * trees[i, 9] / long
        # the lattice is sheared, or its level rows would show
        kxy, kzy = SHEAR_X * trees[i, 8] / trees[i, 7], SHEAR_Z * trees[i, 8] / trees[i, 9]
        qs, es = qy + kxy * qx + kzy * qz, ey + kxy * ex + kzy * ez
        ix, iy, iz = (
            mx / (ex if abs(ex) > 1e-9 else 1e-9),
            my / (es if abs(es) > 1e-9 else 1e-9),
            mz / (ez if abs(ez) > 1e-9 else 1e-9),
        )
        gx, gy, gz = qx / mx + 0.5 * wide, qs / my + 0.5 * high, qz / mz + 0.5 * long
        ta, tb = -gx * ix, (wide - gx) * ix
        t0, t1 = min(ta, tb), max(ta, tb)
        ta, tb = -gy * iy, (high - gy) * iy
        t0, t1 = max(t0, min(ta, tb)), min(t1, max(ta, tb))
        ta, tb = -gz * iz, (long - gz) * iz
        t0, t1 = max(t0, min(ta, tb), 0.02) + 1e-6, min(t1, max(ta, tb), best)
        if t1 <= t0:
            continue
        x, y, z = gx + t0 / ix, gy + t0 / iy, gz + t0 / iz
        cx, cy, cz = int(floor(x)), int(floor(y)), int(floor(z))
        sx, sy, sz = (1 if ex > 0 else -1), (1 if es > 0 else -1), (1 if ez > 0 else -1)
        tx = t0 + (cx + (1 if sx > 0 else 0) - x) * ix
        ty = t0 + (cy + (1 if sy > 0 else 0) - y) * iy
        tz = t0 + (cz + (1 if sz > 0 else 0) - z) * iz
        ax, ay, az = abs(ix), abs(iy), abs(iz)
        seed = int(trees[i, 10])
        kind = seed % crowns.shape[0]
        cell = (mx + my + mz) / 3.0
        loose = 0.7 if layer == 1 else 1.1
        t = t0
        found = False
        while t < t1:
            inside = 0 <= cx < wide and 0 <= cy < high and 0 <= cz < long
            depth = crowns[kind, cx, cy, cz] if inside else 0
            if depth > 0:
                h = hash_of(cx, cy, cz + seed * 131)
                fruit = h > 1.0 - trees[i, 14]
                if h < trees[i, 12] or fruit:
                    h1, h2, h3 = (
                        hash_of(cx, cy + 71, cz + seed),
                        hash_of(cx + seed, cy, cz + 37),
                        hash_of(cx + 53, cy + seed, cz),
                    )
                    kx = (cx + 0.5 - 0.5 * wide + (h1 - 0.5) * loose) * mx
                    ky = (cy + 0.5 - 0.5 * high + (h2 - 0.5) * loose) * my
                    kz = (cz + 0.5 - 0.5 * long + (h3 - 0.5) * loose) * mz
                    ky -= kxy * kx + kzy * kz
                    if fruit:
                        r = min(0.036, 0.45 * cell)
                        rx, ry, rz = qx - kx, qy - ky, qz - kz
                        b = rx * ex + ry * ey + rz * ez
                        disc = b * b - (rx * rx + ry * ry + rz * rz - r * r)
                        if disc > 0.0:
                            s = -b - sqrt(disc)
                            if 0.0 < s < best:
                                best, what, tint, deep, found = s, 2, h1, 0.01 * depth, True
                                ux, uy, uz = (rx + s * ex) / r, (ry + s * ey) / r, (rz + s * ez) / r
                                nx, ny, nz = ca * ux - sa * uz, uy, sa * ux + ca * uz
                    else:
                        # the leaf's plane leans about a hanging direction
                        lx, ly, lz = h1 - 0.5, 0.25 + 0.5 * (h2 - 0.3), h3 - 0.5
                        n = 1.0 / sqrt(lx * lx + ly * ly + lz * lz)
                        lx, ly, lz = lx * n, ly * n, lz * n
                        down = lx * ex + ly * ey + lz * ez
                        if abs(down) > 1e-4:
                            s = (lx * (kx - qx) + ly * (ky - qy) + lz * (kz - qz)) / down
                            if 0.0 < s < best:
                                rx, ry, rz = qx + s * ex - kx, qy + s * ey - ky, qz + s * ez - kz
                                ux, uy, uz = h2 - 0.5, -0.35 - h1 * 0.4, 0.5 - h1
                                k = ux * lx + uy * ly + uz * lz
                                ux, uy, uz = ux - k * lx, uy - k * ly, uz - k * lz
                                n = 1.0 / max(sqrt(ux * ux + uy * uy + uz * uz), 1e-6)
                                ux, uy, uz = ux * n, uy * n, uz * n
                                vx, vy, vz = ly * uz - lz * uy, lz * ux - lx * uz, lx * uy - ly * ux
                                size = (0.44 + 0.24 * h3) * trees[i, 11]
                                a = (rx * ux + ry * uy + rz * uz) / (size * cell)
                                w = (rx * vx + ry * vy + rz * vz) / (0.56 * size * cell)
                                if abs(a) < 1.0 and abs(w) < (1.0 - a * a) * (1.0 + 0.35 * a):
                                    best, what, tint, deep, found = s, 1, h, 0.01 * depth, True
                                    across, along = w, a
                                    # the blade folds along its middle rib and curls at the tip
                                    fold = 0.35 if w > 0.0 else -0.35
                                    ux, uy, uz = (
                                        lx + fold * vx + 0.3 * a * ux,
                                        ly + fold * vy + 0.3 * a * uy,
                                        lz + fold * vz + 0.3 * a * uz,
                                    )
                                    if layer == 0:
                                        # far crowns are lit as whole bodies, their leaves as texture
                                        wx, wy, wz = (
                                            kx / trees[i, 7] ** 2,
                                            (ky + 0.2) / trees[i, 8] ** 2,
                                            kz / trees[i, 9] ** 2,
                                        )
                                        n = 1.35 / max(sqrt(wx * wx + wy * wy + wz * wz), 1e-6)
                                        ux, uy, uz = ux + n * wx, uy + n * wy, uz + n * wz
                                    n = 1.0 / max(sqrt(ux * ux + uy * uy + uz * uz), 1e-6)
                                    if layer == 1 and ux * ex + uy * ey + uz * ez > 0.0:
                                        n = -n
                                    nx, ny, nz = n * (ca * ux - sa * uz), n * uy, n * (sa * ux + ca * uz)
            if tx < ty and tx < tz:
                t = tx
                tx += ax
                cx += sx
            elif ty < tz:
                t = ty
                ty += ay
                cy += sy
            else:
                t = tz
                tz += az
                cz += sz
            if found and t > best:
                break
    return best, nx, ny, nz, what, across, along, tint, deep


@kernel
def trunk_on_ray(
    ox: float, oy: float, oz: float, dx: float, dy: float, dz: float, far: float, trees: Table
) -> tuple[float, float, float, float, int]:
    """The first trunk of the background trees on a ray: distance, normal (3), tree (-1: none).

    A trunk is a leaning upright cylinder up to the middle of the crown.
    """
    best, nx, nz, tree = far, 0.0, 0.0, -1
    for i in range(trees.shape[0]):
        if int(trees[i, 13]) != 0:
            continue
        r = trees[i, 2]
        qx, qz = ox - trees[i, 0], oz - trees[i, 1]
        # lean: the axis moves with height toward the crown's centre
        kx = (trees[i, 4] - trees[i, 0]) / trees[i, 5]
        kz = (trees[i, 6] - trees[i, 1]) / trees[i, 5]
        ex, ez = qx - kx * oy, qz - kz * oy
        fx, fz = dx - kx * dy, dz - kz * dy
        a = fx * fx + fz * fz
        b = ex * fx + ez * fz
        c = ex * ex + ez * ez - r * r
        h = b * b - a * c
        if h > 0.0 and a > 0.0:
            t = (-b - sqrt(h)) / a
            y = oy + t * dy
            if 0.0 < t < best and -0.1 < y < trees[i, 5] * 0.9:
                best, tree = t, i
                nx, nz = (ex + t * fx) / r, (ez + t * fz) / r
    return best, nx, 0.0, nz, tree


@kernel
def ground_height(x: float, z: float) -> float:
    """Height of the soil, metres: nearly flat."""
    return 0.05 * (noise(x * 0.45, 0.0, z * 0.45) - 0.5)


@kernel
def grass_height(x: float, z: float) -> float:
    """Height of the grass at a place, metres: mown lanes and taller tufts."""
    tufts = noise(x * 1.7, 4.0, z * 1.7)
    return 0.06 + 0.17 * tufts * tufts + 0.1 * ramp(0.55, 0.85, noise(x * 0.6 + 3.0, 8.0, z * 0.6))


@kernel
def grass_on_ray(
    ox: float, oy: float, oz: float, dx: float, dy: float, dz: float, far: float
) -> tuple[float, float, float, float, float, float, int]:
    """The first blade of grass, or the soil: distance, normal (3), height share up the blade, hash, what.

    what: 0 nothing within `far`, 1 blade, 2 soil or (far away) the closed sward. Blades stand in the rows of a
    lattice that coarsens with distance; in every row the blades near the ray's crossing are tried.
    """
    if dy > -1e-5:
        return far, 0.0, 1.0, 0.0, 0.0, 0.0, 0
    top = 0.36
    t = max((top - oy) / dy, 0.02)
    if t >= far:
        return far, 0.0, 1.0, 0.0, 0.0, 0.0, 0
    sx, sz = dx, dz
    flat = sqrt(sx * sx + sz * sz)
    sx, sz = sx / flat, sz / flat
    for _ in range(260):
        x, z = ox + t * dx, oz + t * dz
        away = t * flat
        level = max(
            0,
            int(
                floor(
                    1.45 * (0.0 if away < 3.0 else sqrt(away / 3.0) - 0.55)
                    + 0.6 * hash_of(int(x * 40.0), 7, int(z * 40.0))
                )
            ),
        )
        level = min(level, 4)
        cell = GRASS_CELL * (1 << level)
        if abs(dz) >= abs(dx):
            row = floor(z / cell)
            nextrow = (row + 1.0 if dz > 0.0 else row) * cell
            t_next = (nextrow - oz) / dz + 1e-6
            main = 1
        else:
            row = floor(x / cell)
            nextrow = (row + 1.0 if dx > 0.0 else row) * cell
            t_next = (nextrow - ox) / dx + 1e-6
            main = 0
        middle = 0.5 * (t + max(t_next, t))
        cross = (ox + middle * dx) if main == 1 else (oz + middle * dz)
        column = int(floor(cross / cell))
        height_here = oy + middle * dy
        best, bx, bz, bu, bh = far, 0.0, 0.0, 0.0, 0.0
        base = ground_height(x, z)
        full = grass_height(x, z)
        if height_here > base + 1.32 * full:
            t = max(t_next, t + 1e-4)
            if t >= far:
                return far, 0.0, 1.0, 0.0, 0.0, 0.0, 0
            continue
        for k in range(-2, 3):
            ca, cb = (column + k, int(row)) if main == 1 else (int(row), column + k)
            h1 = hash_of(ca, cb, 17 + level)
            h2 = hash_of(ca, cb, 41 + level)
            rx, rz = (ca + h1) * cell, (cb + h2) * cell
            h3 = hash_of(ca, cb, 73 + level)
            tall = full * (0.45 + 0.85 * h3)
            if height_here > base + tall + 0.02:
                continue
            h4 = hash_of(ca, cb, 97)
            lean_x = (h4 - 0.5) * 1.1 * tall + 0.12 * tall
            lean_z = (hash_of(ca, cb, 113) - 0.5) * 1.1 * tall
            # where the ray is level with the blade, twice refined for the bend
            s = ((rx - ox) * sx + (rz - oz) * sz) / flat
            u = clamp((oy + s * dy - base) / tall, 0.0, 1.0)
            s = ((rx + lean_x * u * u - ox) * sx + (rz + lean_z * u * u - oz) * sz) / flat
            if s <= 0.0 or s >= best:
                continue
            u = (oy + s * dy - base) / tall
            if u < 0.0 or u > 1.0:
                continue
            off = (ox + s * dx - rx - lean_x * u * u) * sz - (oz + s * dz - rz - lean_z * u * u) * sx
            wide = (0.0022 + 0.0024 * h1) * (1.0 + 1.1 * level)
            if abs(off) < wide * (1.0 - u * u * 0.9):
                best, bu, bh = s, u, h3
                turn = (h2 - 0.5) * 2.4
                bx, bz = -sx * (1.0 - 0.3 * abs(turn)) + turn * sz, -sz * (1.0 - 0.3 * abs(turn)) - turn * sx
        if best < far:
            n = 1.0 / sqrt(bx * bx + bz * bz + 0.3)
            return best, bx * n, 0.5477 * n, bz * n, bu, bh, 1
        if height_here < base:
            return t, 0.0, 1.0, 0.0, 0.0, hash_of(int(floor(x * 90.0)), 3, int(floor(z * 90.0))), 2
        t = max(t_next, t + 1e-4)
        if t >= far:
            return far, 0.0, 1.0, 0.0, 0.0, 0.0, 0
        if away > 34.0:
            break
    s = (0.12 - oy) / dy
    if s >= far or s <= 0.0:
        return far, 0.0, 1.0, 0.0, 0.0, 0.0, 0
    x, z = ox + s * dx, oz + s * dz
    ex, ez = noise(x * 2.0, 0.0, z * 2.0) - 0.5, noise(x * 2.0, 9.0, z * 2.0) - 0.5
    n = 1.0 / sqrt(ex * ex + ez * ez + 0.6)
    return s, ex * n, 0.7746 * n, ez * n, 0.42, hash_of(int(floor(x * 9.0)), 5, int(floor(z * 9.0))), 2
