"""Solid shapes as signed distances, and the march along a ray.

The distances to round cones, boxes and smooth unions are the well-known closed forms; an ellipsoid's is the
usual first-order bound k0 (k0 - 1) / k1. A group is a handful of shapes blended into one body of one material,
inside a bounding sphere, so that most of the world is skipped for most rays.
"""

from math import atan2, exp, sin, sqrt

from finishing.sample.noise import clamp, kernel, layered, ramp
from finishing.sample.relief import relief, stone_relief
from finishing.sample.scene import Scene, Table

Vector = tuple[float, float, float]


@kernel
def smooth_least(a: float, b: float, k: float) -> float:
    """The lesser of two distances, rounded over a width k (polynomial smooth minimum)."""
    if k <= 0.0:
        return min(a, b)
    h = max(k - abs(a - b), 0.0) / k
    return min(a, b) - h * h * k * 0.25


@kernel
def round_cone(px: float, py: float, pz: float, s: Table, i: int) -> float:
    """Distance to a cone with ball ends (two radii)."""
    bx, by, bz = s[i, 4] - s[i, 1], s[i, 5] - s[i, 2], s[i, 6] - s[i, 3]
    qx, qy, qz = px - s[i, 1], py - s[i, 2], pz - s[i, 3]
    r1, r2 = s[i, 7], s[i, 8]
    l2 = bx * bx + by * by + bz * bz
    rr = r1 - r2
    a2 = l2 - rr * rr
    il2 = 1.0 / l2
    y = qx * bx + qy * by + qz * bz
    z = y - l2
    vx, vy, vz = qx * l2 - bx * y, qy * l2 - by * y, qz * l2 - bz * y
    x2 = vx * vx + vy * vy + vz * vz
    y2 = y * y * l2
    z2 = z * z * l2
    k = (1.0 if rr > 0.0 else -1.0) * rr * rr * x2
    if rr == 0.0:
        k = 0.0
    if (1.0 if z > 0.0 else -1.0) * a2 * z2 > k:
        return sqrt(x2 + z2) * il2 - r2
    if (1.0 if y > 0.0 else -1.0) * a2 * y2 < k:
        return sqrt(x2 + y2) * il2 - r1
    return (sqrt(x2 * a2 * il2) + y * rr) * il2 - r1


@kernel
def into_shape(px: float, py: float, pz: float, s: Table, i: int) -> Vector:
    """A point in the shape's own axes."""
    qx, qy, qz = px - s[i, 1], py - s[i, 2], pz - s[i, 3]
    return (
        s[i, 10] * qx + s[i, 11] * qy + s[i, 12] * qz,
        s[i, 13] * qx + s[i, 14] * qy + s[i, 15] * qz,
        s[i, 16] * qx + s[i, 17] * qy + s[i, 18] * qz,
    )


@kernel
def hat(x: float, y: float, z: float, brim: float, crown: float) -> float:
    """A wide straw hat: a thin brim that droops and waves, a crown with a crease along its top."""
    r = sqrt(x * x + z * z)
    angle = atan2(z, x)
    lift = -0.34 * r * r + 0.016 * sin(2.0 * angle + 0.7) * (r / brim) ** 2 + 0.008 * sin(5.0 * angle) * (r / brim) ** 3
    dy = abs(y - lift) - 0.003
    dr = r - brim - 0.004 * sin(3.0 * angle + 1.0)
    flat = sqrt(max(dr, 0.0) ** 2 + max(dy, 0.0) ** 2) + min(max(dr, dy), 0.0) - 0.003
    # the crown: an upright ellipse in plan, closing toward the top, its crease along z
    cx, cz = x / 0.93, z / 1.08
    rc = sqrt(cx * cx + cz * cz)
    top = 0.105 - 0.03 * exp(-(x * x) / 0.0009) * ramp(-0.09, 0.06, -z) - 0.01 * (z / crown) * 0.5
    side = crown - 0.16 * max(y, 0.0)
    ex, ey = rc - side, abs(y - top * 0.5) - top * 0.5
    body = sqrt(max(ex + 0.025, 0.0) ** 2 + max(ey + 0.025, 0.0) ** 2) + min(max(ex, ey) + 0.025, 0.0) - 0.025
    return smooth_least(flat, body * 0.9, 0.025) * 0.8


@kernel
def one_shape(px: float, py: float, pz: float, s: Table, i: int) -> float:
    """Distance to one shape of the table."""
    kind = int(s[i, 0])
    if kind == 0:
        return round_cone(px, py, pz, s, i)
    x, y, z = into_shape(px, py, pz, s, i)
    if kind == 1:
        ax, ay, az = x / s[i, 4], y / s[i, 5], z / s[i, 6]
        k0 = sqrt(ax * ax + ay * ay + az * az)
        bx, by, bz = ax / s[i, 4], ay / s[i, 5], az / s[i, 6]
        k1 = sqrt(bx * bx + by * by + bz * bz)
        return k0 * (k0 - 1.0) / max(k1, 1e-6)
    if kind == 4:
        return hat(x, y, z, s[i, 4], s[i, 7])
    if kind == 3:
        dr = sqrt(x * x + z * z) - s[i, 4] + s[i, 7]
        dy = abs(y) - s[i, 5] + s[i, 7]
        return sqrt(max(dr, 0.0) ** 2 + max(dy, 0.0) ** 2) + min(max(dr, dy), 0.0) - s[i, 7]
    if kind == 7:
        # a bowl: the part of a thin ball below a plane (s5 above the ball's middle), wall s7
        level = s[i, 5]
        ring = sqrt(max(s[i, 4] ** 2 - level * level, 0.0))
        q = sqrt(x * x + z * z)
        if level * q < ring * y:
            return sqrt((q - ring) ** 2 + (y - level) ** 2) - s[i, 7]
        return abs(sqrt(q * q + y * y) - s[i, 4]) - s[i, 7]
    if kind == 6:
        # a ring, oval in plan (s4 by s6) with a flattened section (radius by half height s5)
        stretch = s[i, 4] / s[i, 6]
        dr = sqrt(x * x + z * z * stretch * stretch) - s[i, 4]
        q = y * s[i, 7] / s[i, 5]
        return (sqrt(dr * dr + q * q) - s[i, 7]) * min(1.0, s[i, 5] / s[i, 7]) * 0.8
    r = s[i, 7]
    dx, dy, dz = abs(x) - s[i, 4] + r, abs(y) - s[i, 5] + r, abs(z) - s[i, 6] + r
    outside = sqrt(max(dx, 0.0) ** 2 + max(dy, 0.0) ** 2 + max(dz, 0.0) ** 2)
    d = outside + min(max(dx, dy, dz), 0.0) - r
    if kind == 5 and d < 0.08:
        top = ramp(s[i, 5] - 0.05, s[i, 5] - 0.005, y)
        front = stone_relief(x, y, 11)
        above = stone_relief(x * 0.7, z + 7.0, 12)
        d = (d + 0.026 * (1.0 - front) * (1.0 - top) + 0.02 * (1.0 - above) * top) * 0.8
        d -= 0.011 * layered(x * 13.0, y * 15.0, z * 13.0, 3)
    return d


@kernel
def group_distance(px: float, py: float, pz: float, fine: bool, shapes: Table, g: Table, j: int) -> float:
    """Signed distance to one group; fine: with its relief, else with the relief's middle height."""
    d = 1e9
    for i in range(int(g[j, 0]), int(g[j, 1])):
        d = smooth_least(d, one_shape(px, py, pz, shapes, i), shapes[i, 9])
    if g[j, 7] > 0.0:
        reach = 4.0 * g[j, 8]
        if not fine:
            d -= 0.4 * g[j, 8]
            if g[j, 7] == 1.0:
                d = max(d, g[j, 15] - py)
        elif d < reach:
            d = d - relief(px, py, pz, g, j)
            if g[j, 7] == 1.0:
                d = max(d, g[j, 15] - py)  # the hem
                d *= 0.66
            else:
                d *= 0.8
        else:
            d = d - 2.2 * g[j, 8]
            if g[j, 7] == 1.0:
                d = max(d, g[j, 15] - py)
    return d


@kernel
def groups_on_ray(
    ox: float, oy: float, oz: float, dx: float, dy: float, dz: float, far: float, widen: float, g: Table
) -> tuple[int, float, float]:
    """Which groups a ray (a cone of slope `widen`) may meet: a bit mask, and the nearest and farthest place."""
    mask, first, last = 0, 1e9, -1.0
    for j in range(g.shape[0]):
        cx, cy, cz = g[j, 2] - ox, g[j, 3] - oy, g[j, 4] - oz
        b = cx * dx + cy * dy + cz * dz
        away = cx * cx + cy * cy + cz * cz - b * b
        r = g[j, 5] + widen * max(b, 0.0)
        if away < r * r:
            h = sqrt(r * r - away)
            if b + h > 0.0 and b - h < far:
                mask |= 1 << j
                first = min(first, max(b - h, 0.0))
                last = max(last, min(b + h, far))
    return mask, first, last


@kernel
def nearest_group(
    px: float, py: float, pz: float, mask: int, guess: int, fine: bool, shapes: Table, g: Table
) -> tuple[float, int]:
    """Distance to the nearest of the masked groups, and which.

    guess: a masked group that is likely the nearest (-1: none); tried first, it saves trying most others.
    """
    best, which = 1e9, -1
    if guess >= 0:
        best, which = group_distance(px, py, pz, fine, shapes, g, guess), guess
    for j in range(g.shape[0]):
        if (mask >> j) & 1 and j != guess:
            cx, cy, cz = px - g[j, 2], py - g[j, 3], pz - g[j, 4]
            bound = sqrt(cx * cx + cy * cy + cz * cz) - g[j, 5]
            if bound >= best:
                continue
            d = bound if bound > 0.12 else group_distance(px, py, pz, fine, shapes, g, j)
            if d < best:
                best, which = d, j
    return best, which


@kernel
def near_start(
    ox: float, oy: float, oz: float, dx: float, dy: float, dz: float, spread: float, far: float, scene: Scene
) -> tuple[int, float, float]:
    """Where a cone of rays may first meet a body: mask of groups (0: none), first and last place along the axis."""
    mask, t, last = groups_on_ray(ox, oy, oz, dx, dy, dz, far, spread, scene.groups)
    if mask == 0:
        return 0, 0.0, 0.0
    which = -1
    for _ in range(60):
        d, which = nearest_group(ox + t * dx, oy + t * dy, oz + t * dz, mask, which, True, scene.shapes, scene.groups)
        d -= spread * t
        if d < 0.004:
            break
        t += d * 0.98
        if t > last:
            return 0, 0.0, 0.0
    return mask, max(t - 0.004, 0.0), last


@kernel
def march(
    ox: float,
    oy: float,
    oz: float,
    dx: float,
    dy: float,
    dz: float,
    start: float,
    last: float,
    mask: int,
    fine: float,
    scene: Scene,
) -> tuple[float, int]:
    """The first of the masked groups a ray meets: distance along the ray (-1 for none) and the group's number."""
    t, which = start, -1
    for _ in range(110):
        d, which = nearest_group(ox + t * dx, oy + t * dy, oz + t * dz, mask, which, True, scene.shapes, scene.groups)
        if d < fine * t:
            return t, which
        t += d
        if t > last:
            break
    return -1.0, -1


@kernel
def normal_of(px: float, py: float, pz: float, e: float, j: int, scene: Scene) -> Vector:
    """Unit normal of a group's surface, from four distances at the corners of a tetrahedron of size e."""
    s, g = scene.shapes, scene.groups
    a = group_distance(px + e, py - e, pz - e, True, s, g, j)
    b = group_distance(px - e, py - e, pz + e, True, s, g, j)
    c = group_distance(px - e, py + e, pz - e, True, s, g, j)
    d = group_distance(px + e, py + e, pz + e, True, s, g, j)
    nx, ny, nz = a - b - c + d, -a - b + c + d, -a + b - c + d
    n = 1.0 / max(sqrt(nx * nx + ny * ny + nz * nz), 1e-12)
    return nx * n, ny * n, nz * n


@kernel
def unblocked(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float, far: float, spread: float, scene: Scene
) -> float:
    """Share of a round light that is seen from a point, 0 to 1.

    The light fills a cone of slope `spread` about the ray. Where a surface comes within the cone, the covered
    share is taken from its depth in the cone; the least share along the ray counts.
    """
    mask, t, last = groups_on_ray(px, py, pz, dx, dy, dz, far, spread, scene.groups)
    if mask == 0:
        return 1.0
    share = 1.0
    t = max(t, 0.006)
    last = min(last, far)
    which = -1
    for _ in range(40):
        d, which = nearest_group(
            px + t * dx, py + t * dy, pz + t * dz, mask, which, t < 0.07, scene.shapes, scene.groups
        )
        share = min(share, d / (spread * t))
        if share < -1.0:
            return 0.0
        t += clamp(d, 0.012 + 0.1 * spread * t, 0.5)
        if t > last:
            break
    u = 0.5 + 0.5 * clamp(share, -1.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


@kernel
def openness(px: float, py: float, pz: float, nx: float, ny: float, nz: float, scene: Scene) -> float:
    """Share of the sky that nearby surfaces leave open over a point, from distances along its normal."""
    closed, weight = 0.0, 1.0
    mask = 0
    g = scene.groups
    for j in range(g.shape[0]):
        cx, cy, cz = px - g[j, 2], py - g[j, 3], pz - g[j, 4]
        r = g[j, 5] + 0.5
        if cx * cx + cy * cy + cz * cz < r * r:
            mask |= 1 << j
    for i in range(5):
        h = 0.012 + 0.085 * i * (1.0 + 0.3 * i) * 0.7
        x, y, z = px + h * nx, py + h * ny, pz + h * nz
        d = min(nearest_group(x, y, z, mask, -1, False, scene.shapes, g)[0], y + 0.02)
        closed += max(h - d, 0.0) * weight / h
        weight *= 0.72
    return clamp(1.0 - 0.42 * closed, 0.05, 1.0)
