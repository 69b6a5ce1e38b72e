"""Relief of surfaces: folds of cloth, seams, creases of sleeves, bark, rough stones, lumps of fruit.

A relief is a height in metres by which a shape's surface is pushed out.
"""

from math import atan2, cos, exp, floor, sin, sqrt

from finishing.sample.noise import clamp, hash_of, kernel, layered, noise, ramp, ridged
from finishing.sample.scene import Table


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
    skirt = 0.0 if y > 0.3 else swing * (0.22 + 1.0 * below) * (1.0 if y < 0.0 else exp(-y * 15.0))
    gather = 0.0 if abs(y) > 0.2 else sin(angle * 25.0 + 8.0 * drift) * exp(-abs(y) * 22.0) * 0.3
    r = 1.0 - abs(2.0 * noise(ca * 1.4 + 1.2 * y, y * 5.2 - 2.0 * ca, sa * 1.4 + 2.0) - 1.0)
    q = 1.0 - abs(2.0 * noise(ca * 2.6 - 2.0 * y, y * 8.0 + 3.0 * ca, sa * 2.6) - 1.0)
    pull = (r * r * 0.55 + q * 0.30) * (0.15 + above * (1.2 - above))
    h = strength * (skirt * 0.8 + gather + pull)
    wide = abs(across)
    if front > 0.0:
        # left over right, its edge a little off the middle
        h += 0.0050 * ramp(0.0, 0.004, 0.030 - across) * ramp(-0.16, -0.05, across)
        if abs(across - 0.018) < 0.006:
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
        if wide < 0.01 and y > -0.12:
            h -= 0.0030 * exp(-((across / 0.0028) ** 2))
        h += 0.0045 * ramp(0.0, 0.005, across + 0.002) * ramp(0.10, 0.03, across) * ramp(-0.10, -0.14, y)
        seam = y - 0.285 + 1.4 * across * across
        if abs(seam) < 0.01:
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
