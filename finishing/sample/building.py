"""Collects shapes into groups and works out their bounding spheres."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from finishing.sample import scene as sc

Point = Sequence[float] | NDArray[np.float64]
Turn = NDArray[np.float64]

IDENTITY: Turn = np.eye(3)


def turn(axis: str, degrees: float) -> Turn:
    """Rotation matrix about x, y or z (columns are the turned axes)."""
    a = np.radians(degrees)
    c, s = np.cos(a), np.sin(a)
    if axis == "x":
        return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    if axis == "y":
        return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def unit(v: Point) -> NDArray[np.float64]:
    """A vector brought to length one."""
    a = np.asarray(v, np.float64)
    return a / np.linalg.norm(a)


class Builder:
    """A growing world. Shapes are added to the group opened last; `placed` moves what is built."""

    def __init__(self) -> None:
        self._shapes: list[list[float]] = []
        self._groups: list[list[float]] = []
        self._extent: list[tuple[NDArray[np.float64], float]] = []
        self.rotation: Turn = IDENTITY
        self.offset: NDArray[np.float64] = np.zeros(3)

    def placed(self, rotation: Turn, offset: Point) -> None:
        """Everything added from now on is turned, then moved."""
        self.rotation, self.offset = rotation, np.asarray(offset, np.float64)

    def _world(self, p: Point) -> NDArray[np.float64]:
        moved: NDArray[np.float64] = self.rotation @ np.asarray(p, np.float64) + self.offset
        return moved

    def group(
        self,
        material: int,
        colour: Point = (0.2, 0.2, 0.2),
        relief: int = 0,
        strength: float = 0.0,
        origin: Point = (0, 0, 0),
        axis: Point = (0, 1, 0),
        hem: float = -9.0,
    ) -> None:
        """Open a group: one material, one kind of relief (see `shapes.relief`) of a strength in metres."""
        self._close()
        o, a = self._world(origin), self.rotation @ unit(axis)
        self._groups.append(
            [len(self._shapes), 0, 0, 0, 0, 0, material, relief, strength, *o, *a, hem + self.offset[1], *colour, 0]
        )

    def _close(self) -> None:
        if self._groups and self._groups[-1][1] == 0:
            g = self._groups[-1]
            g[1] = len(self._shapes)
            low = np.min([c - r for c, r in self._extent], axis=0)
            high = np.max([c + r for c, r in self._extent], axis=0)
            middle = (low + high) / 2
            g[2:5] = list(middle)
            g[5] = max(float(np.linalg.norm(c - middle)) + r for c, r in self._extent) + 3 * g[8] + 0.004
            self._extent = []

    def _add(self, kind: int, a: Point, b: Point, r1: float, r2: float, blend: float, rotation: Turn) -> None:
        inverse = (self.rotation @ rotation).T
        self._shapes.append([kind, *self._world(a), *b, r1, r2, blend, *inverse.ravel(), 0])

    def cone(self, a: Point, b: Point, r1: float, r2: float, blend: float = 0.0) -> None:
        """A limb from a to b, radius r1 to r2."""
        wa, wb = self._world(a), self._world(b)
        self._shapes.append([sc.ROUND_CONE, *wa, *wb, r1, r2, blend, *IDENTITY.ravel(), 0])
        # two balls at the ends and one between bound the limb
        self._extent += [(wa, r1), (wb, r2), ((wa + wb) / 2, max(r1, r2))]

    def ellipsoid(self, centre: Point, radii: Point, rotation: Turn = IDENTITY, blend: float = 0.0) -> None:
        """An ellipsoid with half axes `radii`."""
        self._add(sc.ELLIPSOID, centre, radii, 0, 0, blend, rotation)
        self._extent.append((self._world(centre), float(max(radii))))

    def box(
        self,
        centre: Point,
        half: Point,
        rounding: float = 0.0,
        rotation: Turn = IDENTITY,
        blend: float = 0.0,
        kind: int = sc.BOX,
    ) -> None:
        """A box with half sizes `half` and rounded edges."""
        self._add(kind, centre, half, rounding, 0, blend, rotation)
        self._extent.append((self._world(centre), float(np.linalg.norm(np.asarray(half)))))

    def disc(
        self, centre: Point, radius: float, half: float, rounding: float, rotation: Turn = IDENTITY, blend: float = 0.0
    ) -> None:
        """A flat round body, its axis along local y."""
        self._add(sc.DISC, centre, (radius, half, radius), rounding, 0, blend, rotation)
        self._extent.append((self._world(centre), float(np.hypot(radius, half))))

    def hat(self, centre: Point, brim: float, crown: float, rotation: Turn) -> None:
        """A wide hat; centre: of the brim's plane."""
        self._add(sc.HAT, centre, (brim, 0, 0), crown, 0, 0, rotation)
        self._extent.append((self._world(centre), brim + 0.03))

    def ring(
        self,
        centre: Point,
        across: float,
        deep: float,
        half: float,
        section: float,
        rotation: Turn = IDENTITY,
        blend: float = 0.0,
    ) -> None:
        """A band round local y: oval in plan (across by deep), half height `half`, radial half thickness `section`."""
        self._add(sc.RING, centre, (across, half, deep), section, 0, blend, rotation)
        self._extent.append((self._world(centre), max(across, deep) + max(half, section)))

    def bowl(self, centre: Point, radius: float, level: float, wall: float) -> None:
        """A bowl: the part below `level` (from the centre, upward) of a thin ball."""
        self._add(sc.BOWL, centre, (radius, level, radius), wall, 0, 0, IDENTITY)
        self._extent.append((self._world(centre), radius + wall))

    def touch(self, start: Point, way: Point, group: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Where a line from a place (in the current axes) first meets a group, counted from the last (-1) back, and
        the surface's normal there; both in world axes."""
        from finishing.sample.shapes import group_distance

        self._close()
        shapes, groups = np.array(self._shapes, np.float64), np.array(self._groups, np.float64)
        j = group % len(groups)

        def distance(q: NDArray[np.float64]) -> float:
            return float(group_distance(float(q[0]), float(q[1]), float(q[2]), True, shapes, groups, j))

        p, d = self._world(start), self.rotation @ unit(way)
        for _ in range(200):
            p = p + d * max(distance(p), 2e-4) * 0.8
            if distance(p) < 3e-4:
                break
        steps = np.eye(3) * 0.004
        normal = unit([distance(p + s) - distance(p - s) for s in steps])
        return p, normal

    def tables(self) -> tuple[sc.Table, sc.Table]:
        """The shapes and groups built so far."""
        self._close()
        if len(self._groups) > 62:
            raise ValueError(f"{len(self._groups)} groups; a ray's mask holds 62")
        return np.array(self._shapes, np.float64), np.array(self._groups, np.float64)
