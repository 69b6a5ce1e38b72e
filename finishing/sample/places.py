"""Things of the orchard: trees, the ladder, crates of fruit, the bucket, the wall, the grey card."""

import numpy as np

from finishing.sample import scene as sc
from finishing.sample.building import Builder, Point, turn, unit
from finishing.sample.noise import hash_of

QUINCE_COLOUR = (0.66, 0.36, 0.035)
BUCKET_COLOUR = (0.60, 0.30, 0.025)
WOOD_COLOUR = (0.27, 0.185, 0.105)
BARK_COLOUR = (0.105, 0.085, 0.065)
STONE_COLOUR = (0.25, 0.235, 0.21)
# A grey card: 18 % at all wavelengths, the trade's mid-grey.
CARD_REFLECTANCE = 0.18


def _random(*numbers: int) -> float:
    a, b, c = (*numbers, 0, 0)[:3]
    return float(hash_of(a, b, c))


def orchard(
    seed: int,
    rows: tuple[float, ...],
    alley: float,
    sight: tuple[float, float],
    spacing: float = 3.6,
    skip: Point = (),
) -> list[list[float]]:
    """Background trees in rows across the view; none stands within `alley` metres of a line.

    rows: distances behind the subject; sight: the line, x at the subject and metres of x a metre of z. skip: (x
    from, x to) in which no tree of the first two rows stands.
    """
    trees: list[list[float]] = []
    for i, z in enumerate(rows):
        reach = 5.0 + 0.36 * (z + 8.0)
        count = int(2 * reach / spacing) + 1
        for j in range(count):
            x = -reach + j * spacing + 1.6 * (_random(seed, i, j) - 0.5) + (0.5 * spacing if i % 2 else 0)
            zz = z + 1.2 * (_random(seed + 1, i, j) - 0.5)
            if abs(x - sight[0] - sight[1] * zz) < alley or (i < 2 and len(skip) == 2 and skip[0] < x < skip[1]):
                continue
            size = 0.85 + 0.4 * _random(seed + 2, i, j)
            lean = 0.5 * (_random(seed + 3, i, j) - 0.5)
            crown_height = 2.35 * size
            trees.append(
                [
                    x,
                    zz,
                    0.085 * size,
                    1.6,
                    x + lean,
                    crown_height,
                    zz,
                    2.0 * size,
                    1.45 * size,
                    1.95 * size,
                    float(i * 17 + j),
                    0.85,
                    0.92,
                    0,
                    0.003,
                    6.28 * _random(seed + 4, i, j),
                ]
            )
    return trees


def crown(centre: Point, radii: Point, seed: int, share: float = 0.5, fruit: float = 0.004) -> list[float]:
    """Part of the crown of a tree that stands with the subject."""
    return [0, 0, 0, 0, *centre, *radii, float(seed), 1.0, share, 1, fruit, 0.7 * seed]


def near_tree(
    b: Builder, foot: Point, seed: int, height: float = 1.75, lean: Point = (0.1, 0.05), reach: float = 1.5
) -> None:
    """Trunk and boughs of an old fruit tree."""
    x, y, z = foot
    fork = (x + lean[0] * height, height, z + lean[1] * height)
    b.group(sc.BARK, BARK_COLOUR, relief=3, strength=0.016, origin=foot)
    knee = (x + 0.35 * lean[0] * height + 0.03, 0.45 * height, z + 0.3 * lean[1] * height)
    b.cone((x, y - 0.1, z), knee, 0.19, 0.135, 0.05)
    b.cone(knee, fork, 0.135, 0.125, 0.06)
    for i in range(3):
        a = 2.1 * i + seed
        b.cone((x + 0.20 * np.cos(a), -0.05, z + 0.20 * np.sin(a)), (x, 0.28, z), 0.05, 0.12, 0.08)
    for i in range(5):
        a = 2 * np.pi * i / 5 + 1.7 * _random(seed, i, 1)
        rise = 0.45 + 0.8 * _random(seed, i, 2)
        way = unit((np.cos(a), rise, np.sin(a)))
        first = np.asarray(fork) + way * reach * 0.5
        second = first + unit(way + np.array([0.3 * np.cos(a + 1), 0.25, 0.3 * np.sin(a + 1)])) * reach * 0.6
        b.group(sc.BARK, BARK_COLOUR, relief=3, strength=0.008, origin=foot)
        b.cone(fork, tuple(first), 0.085, 0.055, 0.03)
        b.cone(tuple(first), tuple(second), 0.052, 0.022, 0.02)
        for k in range(2):
            t = unit(
                way
                + 1.4 * (np.array([_random(seed, i, 5 + k), _random(seed, i, 8 + k), _random(seed, i, 11 + k)]) - 0.4)
            )
            b.cone(tuple(first), tuple(first + t * reach * 0.55), 0.030, 0.011, 0.012)


def ladder(b: Builder, foot: Point, top: Point, width: float = 0.44, taper: float = 0.5, rungs: int = 9) -> None:
    """A picker's ladder: two rails that draw together, round rungs, weathered."""
    low, high = np.asarray(foot, float), np.asarray(top, float)
    along = unit(high - low)
    across = unit(np.cross(along, (0.0, 0.0, 1.0) if abs(along[2]) < 0.9 else (1.0, 0.0, 0.0)))
    for s in (-1, 1):
        a, c = low + across * s * width / 2, high + across * s * width * taper / 2
        way = unit(c - a)
        x = unit(across - way * float(across @ way))
        rotation = np.stack([x, way, np.cross(x, way)], axis=1)
        length = float(np.linalg.norm(c - a))
        parts = 2
        for k in range(parts):
            b.group(sc.WOOD, WOOD_COLOUR, relief=0, origin=tuple(a), axis=way)
            b.box(
                tuple(a + way * length * (k + 0.5) / parts), (0.019, length / parts / 2 + 0.009, 0.034), 0.007, rotation
            )
    b.group(sc.WOOD, (0.31, 0.225, 0.135), origin=tuple(low), axis=across)
    for i in range(rungs):
        t = (i + 0.7) / rungs
        p = low + (high - low) * t
        half = width * (1 + (taper - 1) * t) / 2
        b.cone(tuple(p - across * half), tuple(p + across * half), 0.0155, 0.0155)


def crate(b: Builder, centre: Point, size: Point, yaw: float, fill: float, seed: int, fruit: bool = True) -> None:
    """An open slatted crate, its foot at `centre`, heaped with quinces up to `fill` of its height."""
    w, h, d = size
    b.placed(turn("y", yaw), centre)
    slats = 3
    for turned, span, away in ((False, w, d), (True, d, w)):
        b.group(sc.WOOD, WOOD_COLOUR, origin=(0.3 * seed, 0, 0), axis=(0, 0, 1) if turned else (1, 0, 0))
        for s in (-1, 1):
            for k in range(slats):
                y = h * (k + 0.5) / slats
                wobble = 0.006 * (_random(seed, k, int(turned) * 2 + s) - 0.5)
                half = (0.007, h / slats / 2 - 0.009, span / 2) if turned else (span / 2, h / slats / 2 - 0.009, 0.007)
                at = (s * (away / 2 - 0.006) + wobble, y, 0) if turned else (0, y, s * (away / 2 + 0.006) + wobble)
                b.box(at, half, 0.003, turn("z", 0.5 * wobble / 0.006) if not turned else np.eye(3))
    b.group(sc.WOOD, WOOD_COLOUR, origin=(0.1, 0, 0.4), axis=(0, 1, 0))
    for sx in (-1, 1):
        for sz in (-1, 1):
            b.box((sx * (w / 2 - 0.02), h / 2, sz * (d / 2 - 0.02)), (0.018, h / 2 + 0.008, 0.018), 0.003)
    if fruit:
        heap(b, (0, h * fill, 0), w / 2 - 0.055, d / 2 - 0.055, seed)
    b.placed(np.eye(3), (0, 0, 0))


def heap(b: Builder, centre: Point, half_x: float, half_z: float, seed: int, layers: int = 2) -> None:
    """Quinces heaped over a rectangle."""
    for layer in range(layers):
        b.group(sc.QUINCE, QUINCE_COLOUR, relief=5, strength=0.004, origin=centre)
        step = 0.074
        hx, hz = half_x - 0.045 * layer, half_z - 0.045 * layer
        for i in range(max(1, int(2 * hx / step) + 1)):
            for j in range(max(1, int(2 * hz / step) + 1)):
                r1, r2, r3 = (
                    _random(seed + layer, i, j),
                    _random(seed + layer, i + 50, j),
                    _random(seed + layer, i, j + 50),
                )
                x = -hx + i * step + 0.022 * (r1 - 0.5)
                z = -hz + j * step + 0.022 * (r2 - 0.5)
                y = centre[1] + 0.052 * layer + 0.022 * (r3 - 0.5)
                quince(b, (centre[0] + x, y, centre[2] + z), 0.039 + 0.006 * (r2 - 0.5), 360 * r1, 60 * r3)


def quince(b: Builder, centre: Point, r: float, yaw: float, roll: float) -> None:
    """One fruit: a round body drawn out a little toward the stalk."""
    rotation = turn("y", yaw) @ turn("z", roll)
    b.ellipsoid(centre, (r, r * 0.96, r), rotation)
    up = np.asarray(centre) + (b.rotation.T @ b.rotation @ rotation) @ np.array([0, 0.62 * r, 0])
    b.ellipsoid(tuple(up), (r * 0.60, r * 0.56, r * 0.60), rotation, 0.02)


def bucket(b: Builder, grip: Point, drop: float = 0.50, r: float = 0.115, h: float = 0.23) -> None:
    """A tin bucket in old ochre paint that hangs by its bail from a hand at `grip`; its foot is `drop` below."""
    x, y, z = grip
    foot = y - drop
    b.group(sc.PAINT, BUCKET_COLOUR, origin=grip)
    b.bowl((x, foot + h, z), r, 0.0, 0.003)
    b.cone((x, foot + 0.075, z), (x, foot + h - 0.055, z), r * 0.82, r * 0.93, 0.0)
    b.disc((x, foot + 0.03, z), r * 0.80, 0.03, 0.008, blend=0.03)
    b.ring((x, foot + h, z), r, r, 0.007, 0.0055)
    b.group(sc.LEATHER, (0.10, 0.10, 0.10), origin=grip)
    for side in (-1, 1):
        low = (x, foot + h - 0.01, z + side * r)
        middle = (x, foot + h + 0.14, z + side * r * 0.86)
        b.cone(low, middle, 0.003, 0.003)
        b.cone(middle, (x, y - 0.002, z + side * 0.045), 0.003, 0.003)
    b.cone((x, y - 0.002, z - 0.048), (x, y - 0.002, z + 0.048), 0.010, 0.010)
    b.group(sc.QUINCE, QUINCE_COLOUR, relief=5, strength=0.003, origin=grip)
    for i, (dx, dz) in enumerate(((0.03, 0.02), (-0.035, 0.03), (0.0, -0.045))):
        quince(b, (x + dx, foot + h + 0.002, z + dz), 0.040, 80 * i, 30 * i)


def wall(b: Builder, centre: Point, half: Point, yaw: float) -> None:
    """A dry-stone wall."""
    b.group(sc.STONE, STONE_COLOUR, origin=centre)
    b.box(centre, half, 0.02, turn("y", yaw), kind=sc.WALL)


def grey_card(b: Builder, centre: Point, yaw: float, pitch: float, half: float = 0.075) -> None:
    """A flat 18 % grey card on a thin stand, facing -z before it is turned."""
    x, y, z = centre
    turned = turn("y", yaw) @ turn("x", pitch)
    back = turned @ np.array([0.0, -half, 0.012])
    b.group(sc.GREY_CARD, (CARD_REFLECTANCE,) * 3, origin=centre)
    b.box(centre, (half, half * 1.25, 0.002), 0.0008, turned)
    b.group(sc.LEATHER, (0.03, 0.03, 0.03), origin=centre)
    b.cone((x + back[0], -0.02, z + back[2]), (x + back[0], y + back[1], z + back[2]), 0.007, 0.006)
