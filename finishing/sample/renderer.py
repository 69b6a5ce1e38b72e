"""Draws a frame's light, strip by strip, on at most two threads."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from math import ceil
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing.sample.lens import blur_rows
from finishing.sample.passes import TILE, far_rows, find_rows, find_starts, shade_rows, sight_rows
from finishing.sample.scene import Scene
from finishing.sample.tracing import COC, FAR_AWAY, FOCUS, TAN_X, TAN_Y

Floats = NDArray[np.float32]
Whole = NDArray[np.int32]

THREADS = 2
# Pixels drawn at once; with twelve channels in four buffers this stays near 400 MB.
STRIP_PIXELS = 2_000_000


class Strip(NamedTuple):
    """Rows `first` to `first + rows` of a frame: light (rows, width, 3 + 3 heads) and materials (rows, width)."""

    first: int
    light: Floats
    materials: Whole


def _over_rows(work: Callable[[int, int], None], rows: int, piece: int = 8) -> None:
    """Share rows among the threads in small pieces."""
    pieces = [(i, min(i + piece, rows)) for i in range(0, rows, piece)]
    with ThreadPoolExecutor(THREADS) as pool:
        for done in [pool.submit(work, a, b) for a, b in pieces]:
            done.result()


def widest_blur(scene: Scene) -> int:
    """Rows of margin that the lens's blur needs (its disc at infinity, or at half the focus distance)."""
    return int(ceil(1.3 * float(scene.eye[COC]))) + 3


def sight_step(width: int, height: int) -> int:
    """Pixels between the places whose view of the lights is traced; the rest is filled in between them."""
    return max(2, max(width, height) // 750)


def draw_strips(scene: Scene, width: int, height: int) -> Iterator[Strip]:
    """Draw a frame from the top, strip by strip; the result does not depend on the strips' height.

    scene.eye holds the camera; width and height in pixels. Light is linear, Rec. 709 primaries: candela a square
    metre for the ambient, candela seconds a square metre for each head.
    """
    margin = widest_blur(scene) + 2 * sight_step(width, height)
    margin += -margin % TILE
    step = max(64, STRIP_PIXELS // width // TILE * TILE)
    for first in range(0, height, step):
        last = min(first + step, height)
        top, bottom = max(0, first - margin), min(height, last + margin)
        light, materials = _draw(scene, width, height, top, bottom, margin)
        yield Strip(first, light[first - top : last - top], materials[first - top : last - top])


def _draw(scene: Scene, width: int, height: int, top: int, bottom: int, margin: int) -> tuple[Floats, Whole]:
    near, cover, depth, ident = _near_layer(scene, width, height, top, bottom)
    radius = _radius(depth, scene)
    radius[cover <= 0] = 0
    if float(radius.max()) >= 0.6:
        # empty pixels beside a blurred body take part in its blur
        size = 2 * min(margin, int(ceil(float(radius.max())))) + 1
        spread = cv2.dilate(radius, np.ones((size, size), np.uint8))
        radius = np.where(cover > 0, radius, spread).astype(np.float32)
        soft, soft_cover = np.empty_like(near), np.empty_like(cover)
        _over_rows(lambda a, b: blur_rows(a, b, near, cover, radius, False, soft, soft_cover), bottom - top)
        near, cover = soft, soft_cover
    reach = np.ones((2 * margin + 1, 2 * margin + 1), np.uint8)
    hidden = cv2.erode((cover >= 0.999).astype(np.uint8), reach, borderValue=1)
    far, far_ident = _far_layer(scene, width, height, top, (1 - hidden).astype(np.uint8))
    far *= (1.0 - cover)[:, :, None]
    far += near
    far *= _falloff(scene, width, height, top, bottom - top)[:, :, None]
    materials = np.where(cover > 0.5, ident % 100, far_ident % 100).astype(np.int32)
    materials[(cover > 0.5) & (ident < 0)] = -1
    return far, materials


def _near_layer(scene: Scene, width: int, height: int, top: int, bottom: int) -> tuple[Floats, Floats, Floats, Whole]:
    """Light, coverage, depth along the camera's axis and identity of the near layer, sharp."""
    rows, channels = bottom - top, 3 + 3 * scene.heads.shape[0]
    tiles = (-(-rows // TILE), -(-width // TILE))
    masks, starts = np.zeros(tiles, np.int64), np.zeros((*tiles, 2), np.float32)
    _over_rows(lambda a, b: find_starts(a, b, top, width, height, scene, masks, starts), tiles[0], 2)
    colour = np.zeros((rows, width, channels), np.float32)
    distance, ident = np.full((rows, width), FAR_AWAY, np.float32), np.full((rows, width), -1, np.int32)
    normals = np.zeros((rows, width, 3), np.float32)
    _over_rows(
        lambda a, b: find_rows(a, b, top, width, height, scene, masks, starts, colour, distance, ident, normals),
        rows,
    )
    step = sight_step(width, height)
    sights = np.zeros((-(-rows // step) + 1, -(-width // step) + 1, 6), np.float32)
    _over_rows(
        lambda a, b: sight_rows(a, b, step, top, width, height, scene, distance, ident, normals, sights),
        sights.shape[0],
        4,
    )
    cover = np.zeros((rows, width), np.float32)
    _over_rows(
        lambda a, b: shade_rows(
            a, b, step, top, width, height, scene, masks, starts, distance, ident, normals, sights, colour, cover
        ),
        rows,
    )
    u = ((np.arange(width) + 0.5) * 2 / width - 1) * float(scene.eye[TAN_X])
    v = (1 - (np.arange(top, bottom) + 0.5) * 2 / height) * float(scene.eye[TAN_Y])
    depth = (distance / np.sqrt(1 + u[None, :] ** 2 + v[:, None] ** 2)).astype(np.float32)
    return colour, cover, depth, ident


def _far_layer(scene: Scene, width: int, height: int, top: int, needed: NDArray[np.uint8]) -> tuple[Floats, Whole]:
    """Light and identity of the far layer, blurred by the lens."""
    rows, channels = needed.shape[0], 3 + 3 * scene.heads.shape[0]
    colour = np.zeros((rows, width, channels), np.float32)
    cover, depth = np.zeros((rows, width), np.float32), np.zeros((rows, width), np.float32)
    ident = np.full((rows, width), -1, np.int32)
    _over_rows(lambda a, b: far_rows(a, b, top, width, height, scene, needed, colour, cover, depth, ident), rows)
    soft, soft_cover = np.empty_like(colour), np.empty_like(cover)
    radius = _radius(depth, scene)
    _over_rows(lambda a, b: blur_rows(a, b, colour, cover, radius, True, soft, soft_cover), rows)
    if float(radius.max()) > 6.0:
        # wide discs are gathered in steps; a second, small disc closes the gaps between the steps
        small = np.where(radius > 6.0, np.minimum(0.3 * radius, 5.0), 0.0).astype(np.float32)
        _over_rows(lambda a, b: blur_rows(a, b, soft, soft_cover, small, True, colour, cover), rows)
        soft = colour
    return soft, ident


def _radius(depth: Floats, scene: Scene) -> Floats:
    focus, coc = float(scene.eye[FOCUS]), float(scene.eye[COC])
    return (coc * np.abs(depth - focus) / np.maximum(depth, 1e-3)).astype(np.float32)


def _falloff(scene: Scene, width: int, height: int, top: int, rows: int) -> Floats:
    """The lens's natural fall-off toward the corners: fourth power of the cosine of the field angle."""
    u = ((np.arange(width) + 0.5) * 2 / width - 1) * float(scene.eye[TAN_X])
    v = (1 - (np.arange(top, top + rows) + 0.5) * 2 / height) * float(scene.eye[TAN_Y])
    square = 1 + u[None, :] ** 2 + v[:, None] ** 2
    return (1 / square**2).astype(np.float32)
