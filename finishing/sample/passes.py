"""The passes over a frame's rows: find what rays meet, see the lights, shade, refine edges; and the far layer."""

from math import floor

import numpy as np
from numpy.typing import NDArray

from finishing.sample.lens import blur_radius
from finishing.sample.light import Seen, light_surface, seen_from
from finishing.sample.materials import surface_of
from finishing.sample.noise import hash_of, kernel
from finishing.sample.scene import Scene, Table
from finishing.sample.shapes import near_start, normal_of
from finishing.sample.tracing import FAR_AWAY, far_sample, near_hit, ray, shade_leaf

Floats = NDArray[np.float32]
Whole = NDArray[np.int32]
Masks = NDArray[np.int64]

#: Pixels along a tile's side, in the first search.
TILE = 8


@kernel
def find_starts(
    first: int, last: int, offset: int, width: int, height: int, scene: Scene, masks: Masks, starts: Floats
) -> None:
    """For each tile of 8 x 8 pixels: which groups its rays may meet, and from where to where along them.

    first, last: rows of tiles; masks (tile rows, tile columns); starts (tile rows, tile columns, 2).
    """
    e = scene.eye
    spread = 2.0 * e[12] / width * TILE * 0.72
    for j in range(first, last):
        for i in range(masks.shape[1]):
            u = (i + 0.5) * TILE * 2.0 / width - 1.0
            v = 1.0 - ((j + 0.5) * TILE + offset) * 2.0 / height
            dx, dy, dz = ray(u, v, e)
            masks[j, i], starts[j, i, 0], starts[j, i, 1] = near_start(
                e[0], e[1], e[2], dx, dy, dz, spread, 60.0, scene
            )
            starts[j, i, 1] += 0.3


@kernel
def find_rows(
    first: int,
    last: int,
    offset: int,
    width: int,
    height: int,
    scene: Scene,
    masks: Masks,
    starts: Floats,
    colour: Floats,
    distance: Floats,
    ident: Whole,
    normals: Floats,
) -> None:
    """Near layer, first pass: what every pixel's middle ray meets. Leaves are lit at once, bodies later.

    first, last: rows of these arrays; offset: frame row of array row 0; width, height: of the whole frame;
    colour: (rows, width, channels); distance (along the ray) and ident (material + 100 x group; -1 nothing):
    (rows, width); normals: (rows, width, 3).
    """
    channels = 3 + 3 * scene.heads.shape[0]
    out = np.zeros((1, 12))
    e = scene.eye
    footprint = 2.0 * e[12] / width
    for y in range(first, last):
        for x in range(width):
            dx, dy, dz = ray((x + 0.5) * 2.0 / width - 1.0, 1.0 - (y + offset + 0.5) * 2.0 / height, e)
            a, b = y // TILE, x // TILE
            far, j, leaf = near_hit(dx, dy, dz, masks[a, b], starts[a, b, 0], starts[a, b, 1], footprint, scene)
            distance[y, x] = far
            ident[y, x] = -1
            for c in range(channels):
                colour[y, x, c] = 0.0
            if far >= FAR_AWAY:
                continue
            if j < 0:
                for c in range(channels):
                    out[0, c] = 0.0
                ident[y, x] = shade_leaf(e[0], e[1], e[2], dx, dy, dz, leaf, 1, scene, out, 0)
                normals[y, x, 0] = 9.0
                for c in range(channels):
                    colour[y, x, c] = out[0, c]
            else:
                ident[y, x] = int(scene.groups[j, 6]) + 100 * j
                normals[y, x, 0], normals[y, x, 1], normals[y, x, 2] = normal_of(
                    e[0] + far * dx, e[1] + far * dy, e[2] + far * dz, max(0.0006, footprint * far * 0.6), j, scene
                )


@kernel
def sight_rows(
    first: int,
    last: int,
    step: int,
    offset: int,
    width: int,
    height: int,
    scene: Scene,
    distance: Floats,
    ident: Whole,
    normals: Floats,
    sights: Floats,
) -> None:
    """Near layer, second pass: what the places on a coarse grid see of the lights.

    first, last: rows of the grid; step: pixels between its points, which lie on frame rows and columns that are
    multiples of it; sights: (grid rows, grid columns, 6).
    """
    e = scene.eye
    skip = (-offset) % step
    for gy in range(first, last):
        y = gy * step + skip
        for gx in range(sights.shape[1]):
            x = gx * step
            sights[gy, gx, 0] = -1.0
            if y >= ident.shape[0] or x >= width or ident[y, x] < 0 or normals[y, x, 0] > 2.0:
                continue
            dx, dy, dz = ray((x + 0.5) * 2.0 / width - 1.0, 1.0 - (y + offset + 0.5) * 2.0 / height, e)
            t = distance[y, x]
            sees = seen_from(
                e[0] + t * dx,
                e[1] + t * dy,
                e[2] + t * dz,
                normals[y, x, 0],
                normals[y, x, 1],
                normals[y, x, 2],
                ident[y, x] % 100 == 4,
                scene,
            )
            sights[gy, gx, 0], sights[gy, gx, 1], sights[gy, gx, 2] = sees[0], sees[1], sees[2]
            sights[gy, gx, 3], sights[gy, gx, 4], sights[gy, gx, 5] = sees[3], sees[4], sees[5]


@kernel
def sight_at(
    fx: float,
    fy: float,
    t: float,
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    what: int,
    step: int,
    offset: int,
    distance: Floats,
    ident: Whole,
    normals: Floats,
    sights: Floats,
    scene: Scene,
) -> Seen:
    """What a place sees, from grid points on the same body at like depth and turn; traced where there is none."""
    skip = (-offset) % step
    a, b = (fy - skip) / step, fx / step
    j0, i0 = int(floor(a)), int(floor(b))
    s0, s1, s2, s3, s4, s5, total = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for j in range(j0, j0 + 2):
        for i in range(i0, i0 + 2):
            if j < 0 or i < 0 or j >= sights.shape[0] or i >= sights.shape[1] or sights[j, i, 0] < 0.0:
                continue
            y, x = j * step + skip, i * step
            if ident[y, x] != what or abs(distance[y, x] - t) > 0.025:
                continue
            alike = nx * normals[y, x, 0] + ny * normals[y, x, 1] + nz * normals[y, x, 2]
            if alike < 0.5:
                continue
            w = (1.0 - abs(a - j) + 0.02) * (1.0 - abs(b - i) + 0.02) * alike
            total += w
            s0 += w * sights[j, i, 0]
            s1 += w * sights[j, i, 1]
            s2 += w * sights[j, i, 2]
            s3 += w * sights[j, i, 3]
            s4 += w * sights[j, i, 4]
            s5 += w * sights[j, i, 5]
    if total < 0.04:
        return seen_from(px, py, pz, nx, ny, nz, what % 100 == 4, scene)
    w = 1.0 / total
    return s0 * w, s1 * w, s2 * w, s3 * w, s4 * w, s5 * w


@kernel
def shade_body(
    x: float,
    y: float,
    dx: float,
    dy: float,
    dz: float,
    t: float,
    gx: float,
    gy: float,
    gz: float,
    j: int,
    footprint: float,
    step: int,
    offset: int,
    distance: Floats,
    ident: Whole,
    normals: Floats,
    sights: Floats,
    scene: Scene,
    out: Table,
) -> None:
    """Light of a body a ray met into out[0]. x, y: the ray's place in array pixels (0.0: a pixel's middle)."""
    e = scene.eye
    for c in range(3 + 3 * scene.heads.shape[0]):
        out[0, c] = 0.0
    px, py, pz = e[0] + t * dx, e[1] + t * dy, e[2] + t * dz
    material = int(scene.groups[j, 6])
    sees = sight_at(
        x, y, t, px, py, pz, gx, gy, gz, material + 100 * j, step, offset, distance, ident, normals, sights, scene
    )
    s = surface_of(material, px, py, pz, gx, gy, gz, footprint * t, scene.groups, j)
    light_surface(
        px, py, pz, s[7], s[8], s[9], -dx, -dy, -dz, s[0], s[1], s[2], s[3], s[4], s[5], s[6], sees, scene, out, 0
    )


@kernel
def shade_rows(
    first: int,
    last: int,
    step: int,
    offset: int,
    width: int,
    height: int,
    scene: Scene,
    masks: Masks,
    starts: Floats,
    distance: Floats,
    ident: Whole,
    normals: Floats,
    sights: Floats,
    colour: Floats,
    coverage: Floats,
) -> None:
    """Near layer, third pass: light the bodies; take five samples where a pixel differs from its neighbours."""
    rows = ident.shape[0]
    channels = 3 + 3 * scene.heads.shape[0]
    out = np.zeros((1, 12))
    e = scene.eye
    footprint = 2.0 * e[12] / width
    for y in range(first, last):
        row = y + offset
        for x in range(width):
            what = ident[y, x]
            solid = what >= 0 and normals[y, x, 0] < 2.0
            if solid:
                dx, dy, dz = ray((x + 0.5) * 2.0 / width - 1.0, 1.0 - (row + 0.5) * 2.0 / height, e)
                shade_body(
                    float(x),
                    float(y),
                    dx,
                    dy,
                    dz,
                    distance[y, x],
                    normals[y, x, 0],
                    normals[y, x, 1],
                    normals[y, x, 2],
                    what // 100,
                    footprint,
                    step,
                    offset,
                    distance,
                    ident,
                    normals,
                    sights,
                    scene,
                    out,
                )
                for c in range(channels):
                    colour[y, x, c] = out[0, c]
            coverage[y, x] = 1.0 if what >= 0 else 0.0
            edge = False
            for k in range(4):
                yy = y + (1 if k == 0 else (-1 if k == 1 else 0))
                xx = x + (1 if k == 2 else (-1 if k == 3 else 0))
                if 0 <= yy < rows and 0 <= xx < width:
                    if ident[yy, xx] != what or abs(distance[yy, xx] - distance[y, x]) > 0.02:
                        edge = True
                    elif solid:
                        turn = normals[y, x, 0] * normals[yy, xx, 0] + normals[y, x, 1] * normals[yy, xx, 1]
                        if turn + normals[y, x, 2] * normals[yy, xx, 2] < 0.8:
                            edge = True
            if not edge:
                continue
            # four places of a turned square about the middle, and the middle already drawn
            for i in range(4):
                jx = (0.125, 0.625, 0.375, 0.875)[i]
                jy = (0.375, 0.125, 0.875, 0.625)[i]
                dx, dy, dz = ray((x + jx) * 2.0 / width - 1.0, 1.0 - (row + jy) * 2.0 / height, e)
                a, b = y // TILE, x // TILE
                t, j, leaf = near_hit(dx, dy, dz, masks[a, b], starts[a, b, 0], starts[a, b, 1], footprint, scene)
                if t >= FAR_AWAY:
                    continue
                coverage[y, x] += 1.0
                if j < 0:
                    for c in range(channels):
                        out[0, c] = 0.0
                    shade_leaf(e[0], e[1], e[2], dx, dy, dz, leaf, 1, scene, out, 0)
                else:
                    gx, gy, gz = normal_of(
                        e[0] + t * dx, e[1] + t * dy, e[2] + t * dz, max(0.0006, footprint * t * 0.6), j, scene
                    )
                    shade_body(
                        x + jx - 0.5,
                        y + jy - 0.5,
                        dx,
                        dy,
                        dz,
                        t,
                        gx,
                        gy,
                        gz,
                        j,
                        footprint,
                        step,
                        offset,
                        distance,
                        ident,
                        normals,
                        sights,
                        scene,
                        out,
                    )
                for c in range(channels):
                    colour[y, x, c] += out[0, c]
            coverage[y, x] /= 5.0
            for c in range(channels):
                colour[y, x, c] /= 5.0


@kernel
def far_rows(
    first: int,
    last: int,
    offset: int,
    width: int,
    height: int,
    scene: Scene,
    needed: NDArray[np.uint8],
    colour: Floats,
    coverage: Floats,
    depth: Floats,
    ident: Whole,
) -> None:
    """Far layer: one to four samples a pixel, fewer where the lens blurs them anyway.

    needed: 0 where the near layer hides this one. Other arrays as in `find_rows`; depth: along the camera's axis.
    """
    channels = 3 + 3 * scene.heads.shape[0]
    out = np.zeros((1, 12))
    footprint = 2.0 * scene.eye[12] / width
    for y in range(first, last):
        row = y + offset
        for x in range(width):
            depth[y, x], ident[y, x], coverage[y, x] = FAR_AWAY, -1, 0.0
            for c in range(channels):
                colour[y, x, c] = 0.0
            if needed[y, x] == 0:
                continue
            d, what = far_sample(
                (x + 0.5) * 2.0 / width - 1.0, 1.0 - (row + 0.5) * 2.0 / height, footprint, scene, out, 0
            )
            depth[y, x], ident[y, x], coverage[y, x] = d, what, 1.0
            more = 1
            if what != 0 and what != 18:
                more = 4 if blur_radius(d, scene.eye) < 2.2 else 2
            for i in range(more):
                if i > 0:
                    jx = hash_of(x, row, 11 + i) if more == 2 else 0.25 + 0.5 * (i & 1)
                    jy = hash_of(x, row, 31 + i) if more == 2 else 0.25 + 0.5 * (i >> 1)
                    far_sample((x + jx) * 2.0 / width - 1.0, 1.0 - (row + jy) * 2.0 / height, footprint, scene, out, 0)
                for c in range(channels):
                    colour[y, x, c] += out[0, c] / more
