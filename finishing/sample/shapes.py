"""Solid shapes as signed distances, their relief (folds, bark, stones) and the march along a ray.

The distances to round cones, boxes and smooth unions are the well-known closed forms; an ellipsoid's is the
usual first-order bound k0 (k0 - 1) / k1. A group is a handful of shapes blended into one body of one material,
inside a bounding sphere, so that most of the world is skipped for most rays.
"""

from math import atan2, cos, exp, floor, sin, sqrt

from finishing.sample.noise import clamp, hash_of, kernel, layered, noise, ramp, ridged
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
def stone_relief(u: float, v: float, seed: int) -> float:
    """Height of rough stones over a plane in metres: 0 in the joints, to about 1 on the faces.

    The stones are the cells nearest to scattered points, drawn out along the courses.
    """
    x, y = u / 0.25, v / 0.135
    x += 0.22 * noise(u * 7.0, v * 7.0, 1.0)
    y += 0.22 * noise(u * 7.0, v * 7.0, 5.0)
    fx, fy = floor(x), floor(y)
    near, next_, which = 9.0, 9.0, 0.0
    for j in range(-1, 2):
        for i in range(-1, 2):
            cx, cy = fx + i, fy + j
            px = cx + 0.5 * (int(cy) & 1) + 0.15 + 0.7 * hash_of(int(cx), int(cy), seed)
            py = cy + 0.36 + 0.28 * hash_of(int(cx), int(cy), seed + 7)
            d = sqrt(0.62 * (x - px) ** 2 + (y - py) ** 2) + 0.30 * max(0.8 * abs(x - px), abs(y - py))
            if d < near:
                next_, near, which = near, d, hash_of(int(cx), int(cy), seed + 13)
            elif d < next_:
                next_ = d
    return ramp(-0.12, 0.50, next_ - near) * (0.60 + 0.40 * which) - 0.20 * near


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
def coat_relief(x: float, y: float, z: float, fx: float, fz: float, strength: float) -> float:
    """Folds, seams and parts of a coat's body. (x, y, z): from the waist; (fx, fz): the way the wearer faces.

    Gathers at the waist, long folds that deepen toward the hem, pulls across the shoulders; in front the overlap,
    lapels and pockets; behind a half belt, the middle seam and the yoke's seam.
    """
    across = z * fx - x * fz  # toward the wearer's left
    front = x * fx + z * fz
    angle = atan2(front, across)
    ca, sa = cos(angle), sin(angle)
    below, above = clamp(-y / 0.50, 0.0, 1.0), clamp(y / 0.42, 0.0, 1.0)
    drift = noise(ca * 1.6 + 4.0, y * 1.5, sa * 1.6)
    p1, p2 = angle * 6.0 + 5.0 * drift, angle * 11.0 - 6.5 * drift + 1.0
    swing = sin(p1) + 0.4 * sin(2.0 * p1 + 0.8) + 0.55 * sin(p2)
    skirt = swing * (0.22 + 1.0 * below) * (1.0 if y < 0.0 else exp(-y * 15.0))
    gather = sin(angle * 25.0 + 8.0 * drift) * exp(-abs(y) * 22.0) * 0.3
    r = 1.0 - abs(2.0 * noise(ca * 1.4 + 1.2 * y, y * 5.2 - 2.0 * ca, sa * 1.4 + 2.0) - 1.0)
    q = 1.0 - abs(2.0 * noise(ca * 2.6 - 2.0 * y, y * 8.0 + 3.0 * ca, sa * 2.6) - 1.0)
    pull = (r * r * 0.55 + q * 0.30) * (0.15 + above * (1.2 - above))
    h = strength * (skirt * 0.8 + gather + pull)
    wide = abs(across)
    if front > 0.0:
        # left over right, its edge a little off the middle
        h += 0.0050 * ramp(0.0, 0.004, 0.030 - across) * ramp(-0.16, -0.05, across)
        h -= 0.0016 * exp(-(((across - 0.018) / 0.0016) ** 2))
        if 0.06 < y < 0.42:
            outer = min(0.042 + 0.34 * (y - 0.06), 0.118 - 0.5 * max(y - 0.315, 0.0))
            h += 0.0075 * ramp(0.0, 0.005, outer - wide) * ramp(0.06, 0.075, y)
            h -= (
                0.004
                * exp(-(((y - 0.300 - 0.25 * (wide - 0.09)) / 0.0025) ** 2))
                * ramp(0.05, 0.07, wide)
                * ramp(outer, outer - 0.004, wide)
            )
        u = abs(wide - 0.112)
        if u < 0.08 and -0.24 < y < -0.04:
            h += 0.0045 * ramp(0.0, 0.004, 0.064 - u) * ramp(0.0, 0.004, y + 0.225) * ramp(0.0, 0.004, -0.06 - y)
            h += 0.0040 * ramp(0.0, 0.004, 0.068 - u) * ramp(0.0, 0.004, y + 0.105) * ramp(0.0, 0.004, -0.055 - y)
    else:
        h -= 0.0030 * exp(-((across / 0.0028) ** 2)) * (1.0 if y > -0.12 else 0.0)
        h += 0.0045 * ramp(0.0, 0.005, across + 0.002) * ramp(0.10, 0.03, across) * ramp(-0.10, -0.14, y)
        seam = y - 0.285 + 1.4 * across * across
        h -= 0.0028 * exp(-((seam / 0.0026) ** 2)) * ramp(0.18, 0.15, wide)
        h += 0.0070 * ramp(0.0, 0.004, 0.105 - wide) * ramp(0.0, 0.004, 0.024 - abs(y - 0.012))
    return h


@kernel
def sleeve_relief(x: float, y: float, z: float, ax: float, ay: float, az: float, strength: float) -> float:
    """Creases of a sleeve: half rings that wander, closest and deepest at the elbow (the origin)."""
    along = x * ax + y * ay + z * az
    qx, qy, qz = x - along * ax, y - along * ay, z - along * az
    bend = exp(-along * along / 0.010)
    wander = noise(qx * 13.0 + 3.0, qy * 13.0, qz * 13.0 + 1.0)
    w2 = noise(x * 9.0, y * 9.0 + 2.0, z * 9.0)
    phase = along * 88.0 + 6.5 * wander + 2.5 * w2
    fold = 0.5 + 0.5 * sin(phase)
    second = 0.5 + 0.5 * sin(along * 51.0 - 7.0 * wander + 1.0)
    where = ramp(0.30, 0.65, noise(x * 11.0 + 5.0, y * 11.0, z * 11.0))
    deep = (0.25 + 0.95 * bend) * (0.35 + 0.65 * where)
    return strength * (fold * sqrt(fold) * deep + 0.45 * second * deep + 1.0 * (w2 - 0.5))


@kernel
def relief(px: float, py: float, pz: float, g: Table, j: int) -> float:
    """How far a group's surface is pushed out at a place: folds of cloth, creases, bark, lumps of fruit."""
    kind, strength = int(g[j, 7]), g[j, 8]
    x, y, z = px - g[j, 9], py - g[j, 10], pz - g[j, 11]
    if kind == 1:
        return coat_relief(x, y, z, g[j, 12], g[j, 14], strength)
    if kind == 2:
        return sleeve_relief(x, y, z, g[j, 12], g[j, 13], g[j, 14], strength)
    if kind == 3:
        # bark: deep upright plates
        a = ridged(px * 16.0, py * 4.5, pz * 16.0)
        b = layered(px * 40.0, py * 16.0, pz * 40.0, 2)
        return strength * (0.8 * a + 0.5 * b + 0.5 * noise(px * 5.0, py * 3.0, pz * 5.0))
    if kind == 4:
        # a cloth wound round the neck: soft ropes that run round
        angle = atan2(z, x)
        ca, sa = cos(angle), sin(angle)
        d = noise(ca * 1.3, y * 6.0, sa * 1.3)
        rope = sin(y * 135.0 + 13.0 * d + 2.2 * sin(angle + 0.5) + 3.0 * noise(x * 16.0, y * 16.0, z * 16.0))
        return strength * (
            0.6 * rope * ramp(0.25, 0.6, noise(x * 12.0 + 5.0, y * 17.0, z * 12.0))
            + 1.6 * (d - 0.5)
            + 0.7 * noise(x * 24.0, y * 36.0, z * 24.0)
        )
    if kind == 5:
        # fruit: a few broad lumps
        return strength * (noise(px * 21.0, py * 21.0, pz * 21.0) + 0.25 * noise(px * 70.0, py * 70.0, pz * 70.0))
    if kind == 6:
        # hair: strands drawn along the group's axis
        ax, ay, az = g[j, 12], g[j, 13], g[j, 14]
        along = x * ax + y * ay + z * az
        qx, qy, qz = x - along * ax, y - along * ay, z - along * az
        return strength * (
            noise(qx * 90.0 + along * 8.0, qy * 90.0, qz * 90.0) + noise(qx * 34.0, qy * 34.0, qz * 34.0 + along * 9.0)
        )
    if kind == 7:
        # skin over bone and tendon: faint
        return strength * (
            noise(px * 38.0, py * 38.0, pz * 38.0) + 0.5 * noise(px * 110.0, py * 110.0, pz * 110.0) - 0.75
        )
    if kind == 8:
        # trousers and plain cloth: soft wandering folds
        w = noise(px * 9.0, py * 5.0, pz * 9.0)
        fold = 0.5 + 0.5 * sin(py * 62.0 + 8.0 * w + 30.0 * px)
        return strength * (0.7 * fold * ramp(0.35, 0.7, noise(px * 8.0 + 3.0, py * 6.0, pz * 8.0)) + 1.2 * (w - 0.5))
    return 0.0


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
def nearest_group(px: float, py: float, pz: float, mask: int, fine: bool, shapes: Table, g: Table) -> tuple[float, int]:
    """Distance to the nearest of the masked groups, and which."""
    best, which = 1e9, -1
    for j in range(g.shape[0]):
        if (mask >> j) & 1:
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
    for _ in range(60):
        d, _which = nearest_group(ox + t * dx, oy + t * dy, oz + t * dz, mask, True, scene.shapes, scene.groups)
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
    t = start
    for _ in range(110):
        d, which = nearest_group(ox + t * dx, oy + t * dy, oz + t * dz, mask, True, scene.shapes, scene.groups)
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
    for _ in range(40):
        d, _which = nearest_group(px + t * dx, py + t * dy, pz + t * dz, mask, t < 0.07, scene.shapes, scene.groups)
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
        d = min(nearest_group(x, y, z, mask, False, scene.shapes, g)[0], y + 0.02)
        closed += max(h - d, 0.0) * weight / h
        weight *= 0.72
    return clamp(1.0 - 0.42 * closed, 0.05, 1.0)
