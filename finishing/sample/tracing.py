"""What the ray of a pixel meets, in each of a frame's two layers.

The far layer holds sky, hills, orchard and grass; the near layer holds the subject, the furniture and the tree
they stand by, with a share of coverage. Each layer is blurred by the lens on its own, so the background does not
bleed round the subject.
"""

from math import sqrt

from finishing.sample.light import add_haze, light_leaf
from finishing.sample.materials import grass_colour, leaf_colour, surface_of
from finishing.sample.noise import clamp, kernel
from finishing.sample.scene import Scene, Table
from finishing.sample.shapes import march
from finishing.sample.sky import backdrop
from finishing.sample.vegetation import LeafHit, grass_on_ray, leaf_on_ray, trunk_on_ray

FAR_AWAY = 4000.0
# Places in the eye table.
EYE, RIGHT, UP, FORWARD, TAN_X, TAN_Y, COC, FOCUS = 0, 3, 6, 9, 12, 13, 14, 15


@kernel
def ray(u: float, v: float, e: Table) -> tuple[float, float, float]:
    """Unit direction of the ray through a place of the frame, -1 to 1 right and up."""
    dx = e[9] + u * e[12] * e[3] + v * e[13] * e[6]
    dy = e[10] + u * e[12] * e[4] + v * e[13] * e[7]
    dz = e[11] + u * e[12] * e[5] + v * e[13] * e[8]
    n = 1.0 / sqrt(dx * dx + dy * dy + dz * dz)
    return dx * n, dy * n, dz * n


@kernel
def shade_leaf(
    ox: float,
    oy: float,
    oz: float,
    dx: float,
    dy: float,
    dz: float,
    leaf: LeafHit,
    layer: int,
    scene: Scene,
    out: Table,
    k: int,
) -> int:
    """Light of a leaf or fruit that a ray met, into out[k]; returns its identity."""
    far = leaf[0]
    px, py, pz = ox + far * dx, oy + far * dy, oz + far * dz
    cover = clamp(leaf[8] * 1.1, 0.0, 1.0)
    if leaf[4] == 2:
        r, g, b = 0.45, 0.26, 0.04
    else:
        r, g, b = leaf_colour(leaf[7], leaf[5], leaf[6], 1.0 - cover)
    light_leaf(px, py, pz, leaf[1], leaf[2], leaf[3], -dx, -dy, -dz, r, g, b, cover, False, scene, out, k)
    return 2 + 100 * int(leaf[7] * 1000.0)


@kernel
def near_hit(
    dx: float, dy: float, dz: float, mask: int, start: float, last: float, footprint: float, scene: Scene
) -> tuple[float, int, LeafHit]:
    """What of the near layer a ray meets: distance (far away: nothing), group (-1: a leaf or nothing), the leaf."""
    e = scene.eye
    ox, oy, oz = e[0], e[1], e[2]
    far, j = FAR_AWAY, -1
    if mask != 0:
        t, j = march(ox, oy, oz, dx, dy, dz, start, last, mask, footprint * 0.5, scene)
        if t > 0.0:
            far = t
    leaf = leaf_on_ray(ox, oy, oz, dx, dy, dz, far, 1, scene.trees, scene.crowns)
    if leaf[4] == 0 and j < 0:
        return FAR_AWAY, -1, leaf
    if leaf[4] != 0:
        j = -1
    far = leaf[0]
    if oy + far * dy < 0.45:
        g = grass_on_ray(ox, oy, oz, dx, dy, dz, far)
        if g[6] != 0 and g[0] < far:
            return FAR_AWAY, -1, leaf
    return far, j, leaf


@kernel
def far_sample(u: float, v: float, footprint: float, scene: Scene, out: Table, k: int) -> tuple[float, int]:
    """Light of the far layer along one ray into out[k] (set to zero first); returns depth and material."""
    e = scene.eye
    for c in range(3 + 3 * scene.heads.shape[0]):
        out[k, c] = 0.0
    dx, dy, dz = ray(u, v, e)
    ox, oy, oz = e[0], e[1], e[2]
    vx, vy, vz = -dx, -dy, -dz
    far = FAR_AWAY
    g = grass_on_ray(ox, oy, oz, dx, dy, dz, far)
    if g[6] != 0:
        far = g[0]
    leaf = leaf_on_ray(ox, oy, oz, dx, dy, dz, far, 0, scene.trees, scene.crowns)
    far = leaf[0]
    trunk = trunk_on_ray(ox, oy, oz, dx, dy, dz, far, scene.trees)
    if trunk[4] >= 0:
        far = trunk[0]
        px, py, pz = ox + far * dx, oy + far * dy, oz + far * dz
        s = surface_of(3, px, py, pz, trunk[1], trunk[2], trunk[3], 0.001, scene.groups, 0)
        light_leaf(px, py, pz, s[7], s[8], s[9], vx, vy, vz, 0.07, 0.058, 0.045, 0.25, False, scene, out, k)
        ident = 3
    elif leaf[4] != 0:
        shade_leaf(ox, oy, oz, dx, dy, dz, leaf, 0, scene, out, k)
        ident = 2
    elif g[6] != 0:
        px, py, pz = ox + far * dx, oy + far * dy, oz + far * dz
        r, gr, b = grass_colour(px, pz, g[4], g[5])
        cover = 0.55 * (1.0 - g[4]) if g[6] == 1 else 0.45
        if g[6] == 2 and g[4] == 0.0:
            r, gr, b, cover = r * 0.5 + 0.02, gr * 0.42 + 0.012, b * 0.6 + 0.006, 0.75
        light_leaf(px, py, pz, g[1], g[2], g[3], vx, vy, vz, r, gr, b, cover, far < 16.0, scene, out, k)
        ident = 1
    else:
        r, gr, b, hill = backdrop(dx, dy, dz, scene.air)
        out[k, 0], out[k, 1], out[k, 2] = r * scene.air[16], gr * scene.air[16], b * scene.air[16]
        return FAR_AWAY, 18 if hill == 1 else 0
    add_haze(far, dx, dz, scene, out, k)
    return far * (dx * e[9] + dy * e[10] + dz * e[11]), ident
