"""Turns a set-up and a frame into a scene: pose, furniture, trees, sky, heads, camera."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from finishing.sample import sky, vegetation
from finishing.sample.building import Builder, Point, turn, unit
from finishing.sample.figure import Arm, Pose, figure
from finishing.sample.places import (
    QUINCE_COLOUR,
    bucket,
    crate,
    crown,
    grey_card,
    ladder,
    near_tree,
    orchard,
    quince,
    wall,
)
from finishing.sample.scenario import Frame, Setup, fallen
from finishing.sample.scene import ENAMEL, QUINCE, Crowns, Scene, Table

# Signal of a sensor: 0.18 where a reflected-light meter with K = 12.5 (ISO 2720) is satisfied, so
# signal = 0.18 x 100 / 12.5 x L t (ISO / 100) / N^2.
SIGNAL = 0.18 * 100 / 12.5
SENSOR_LONG, SENSOR_SHORT = 0.036, 0.024

LIGHT_SKIN = (0.50, 0.285, 0.185)
DARK_SKIN = (0.150, 0.072, 0.042)


@dataclass(frozen=True)
class View:
    """A camera: where it stands, what it looks at, its focal length in millimetres, its focus point."""

    place: Point
    at: Point
    focal: float
    focus: Point


VIEWS: dict[str, tuple[View, ...]] = {
    "A": (
        View((-0.85, 1.42, -9.9), (0.20, 1.28, 0.0), 135, (0.0, 1.3, -0.1)),
        View((-0.60, 1.30, -8.0), (0.06, 1.12, 0.0), 135, (0.0, 1.3, -0.1)),
    ),
    "B": (
        View((0.5, 1.32, -5.2), (-0.22, 1.05, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.4, 1.35, -4.9), (0.0, 0.98, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.35, 1.38, -4.7), (0.02, 0.99, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.6, 1.34, -5.2), (0.22, 1.04, 0.0), 85, (0.0, 1.1, -0.2)),
    ),
    "C": (
        View((0.16, 1.43, -2.05), (0.03, 1.25, -0.15), 85, (0.0, 1.23, -0.36)),
        View((-0.12, 1.44, -1.85), (0.0, 1.17, -0.15), 85, (0.0, 1.23, -0.36)),
        View((0.26, 1.40, -2.05), (-0.07, 1.25, -0.15), 85, (0.0, 1.23, -0.36)),
    ),
}


def _pose_a(pose: int) -> Pose:
    left = Arm(
        (0.30, 1.20, 0.06),
        (0.235, 1.06, -0.17),
        (-0.5, -0.35, -0.8),
        (-0.2, -0.9, 0.3),
        (60, 62, 62, 60),
        bare_from=0.72,
    )
    right = Arm(
        (-0.40, 1.50, -0.16),
        (-0.33, 1.73, -0.32),
        (0.2, 0.86, -0.45),
        (0.35, -0.2, -0.9),
        (52, 54, 55, 55),
        bare_from=0.58,
    )
    base = Pose((0, 0, 0), 152, LIGHT_SKIN, (0.028, 0.016, 0.010), left, right, hat_turn=turn("x", 6) @ turn("z", 4))
    if pose == 1:
        right = replace(right, elbow=(-0.40, 1.44, -0.18), wrist=(-0.34, 1.66, -0.35))
        return replace(base, facing=142, right=right, hat_turn=turn("y", 14) @ turn("x", 2) @ turn("z", 3))
    return base


def _pose_b(pose: int) -> Pose:
    left = Arm(
        (0.255, 1.00, -0.07),
        (0.10, 0.885, -0.29),
        (-0.80, -0.28, -0.45),
        (-0.1, -0.95, -0.1),
        (26, 28, 30, 34),
        5,
        35,
        10,
        0.6,
    )
    right = Arm(
        (-0.255, 1.00, -0.09),
        (-0.07, 0.860, -0.31),
        (0.80, -0.25, -0.45),
        (0.1, -0.95, 0.0),
        (22, 25, 28, 30),
        5,
        35,
        10,
        0.6,
    )
    base = Pose(
        (0, 0, 0),
        28,
        DARK_SKIN,
        (0.012, 0.010, 0.009),
        left,
        right,
        hips=(0, 0.76, 0.05),
        chest=(0, 1.09, 0.0),
        neck=(0, 1.255, -0.01),
        head=(0.0, 1.395, -0.075),
        shoulder_left=(0.158, 1.185, -0.005),
        shoulder_right=(-0.158, 1.185, -0.005),
        hem=0.50,
        knees=((0.115, 0.735, -0.42), (-0.105, 0.735, -0.44)),
        feet=((0.13, 0.12, -0.46), (-0.09, 0.12, -0.36)),
        hat_turn=turn("y", -22) @ turn("x", -34),
        seated=True,
    )
    if pose == 1:
        return replace(base, facing=34, hat_turn=turn("y", -26) @ turn("x", -30) @ turn("z", 4))
    if pose == 2:
        return replace(base, facing=20, hat_turn=turn("y", -14) @ turn("x", -38))
    return base


BOWL = (0.0, 1.285, -0.335)


def _pose_c(pose: int) -> Pose:
    left = Arm(
        (0.235, 1.115, -0.02),
        (0.150, 1.215, -0.265),
        (-0.25, -0.22, -0.94),
        (-0.86, 0.5, 0.0),
        (20, 23, 26, 30),
        7,
        38,
        14,
        0.42,
    )
    right = Arm(
        (-0.235, 1.115, -0.02),
        (-0.150, 1.205, -0.265),
        (0.25, -0.26, -0.94),
        (0.86, 0.5, 0.0),
        (22, 25, 28, 30),
        6,
        34,
        18,
        0.42,
    )
    base = Pose((0, 0, 0), -8, LIGHT_SKIN, (0.028, 0.016, 0.010), left, right, hem=0.5, hat_turn=turn("x", -20))
    if pose == 1:
        return replace(base, facing=6)
    if pose == 2:
        return replace(base, facing=-16)
    return base


def _stage_a(b: Builder, frame: Frame) -> list[list[float]]:
    figure(b, _pose_a(frame.pose))
    near_tree(b, (1.25, 0.0, 1.15), 3, 1.75, (-0.03, 0.02), 1.6)
    ladder(b, (0.36, 0.0, -0.25), (0.95, 2.95, 0.85), 0.46, 0.62, 10)
    crate(b, (-0.80, 0.0, 0.40), (0.50, 0.30, 0.36), 24, 0.92, 5)
    crate(b, (-0.80, 0.315, 0.42), (0.50, 0.30, 0.36), 18, 0.90, 9)
    pose = _pose_a(frame.pose)
    b.placed(turn("y", pose.facing), pose.place)
    bucket(b, (0.255, 0.805, -0.085))
    b.placed(np.eye(3), (0, 0, 0))
    if frame.card:
        grey_card(b, (0.50, 1.06, -0.20), 27, 18)
    return [
        *orchard(21, (6.0, 10.5, 15.0, 20.0, 26.0, 33.0), 2.9, (-1.3, 0.035), skip=(-3.2, 2.6)),
        crown((1.2, 2.95, 1.2), (1.9, 1.15, 1.6), 91, 0.62),
        crown((-1.0, 2.75, 1.2), (1.0, 0.6, 0.9), 92),
    ]


def _stage_b(b: Builder, frame: Frame) -> list[list[float]]:
    figure(b, _pose_b(frame.pose))
    wall(b, (0.3, 0.28, 0.17), (3.2, 0.34, 0.24), -3)
    crate(b, (-0.85, 0.62, 0.15), (0.46, 0.24, 0.32), -14, 0.92, 6)
    near_tree(b, (-2.1, 0.0, 1.3), 8, 1.7, (0.08, 0.0), 1.5)
    return [
        *orchard(47, (7.0, 11.5, 16.0, 22.0, 29.0), 2.6, (1.6, -0.06), skip=(-1.6, 3.2)),
        crown((-1.9, 2.55, 1.3), (1.5, 0.9, 1.2), 93),
    ]


def _stage_c(b: Builder, frame: Frame) -> list[list[float]]:
    pose = _pose_c(frame.pose)
    figure(b, pose)
    b.placed(turn("y", pose.facing), pose.place)
    b.group(ENAMEL, (0.72, 0.72, 0.69), origin=(0, BOWL[1] - 0.030, 0))
    b.bowl(BOWL, 0.140, -0.030, 0.003)
    b.group(QUINCE, QUINCE_COLOUR, relief=5, strength=0.003, origin=BOWL)
    x, y, z = BOWL
    for i, (dx, dy, dz, r) in enumerate(
        ((-0.062, -0.040, -0.050, 0.043), (0.030, -0.038, -0.074, 0.041), (0.082, -0.036, 0.004, 0.041),
         (0.030, -0.040, 0.066, 0.042), (-0.052, -0.038, 0.045, 0.041), (0.006, 0.014, -0.010, 0.044))
    ):  # fmt: skip
        quince(b, (x + dx, y + dy, z + dz), r, 67 * i, 25 + 40 * i)
    b.placed(np.eye(3), (0, 0, 0))
    return orchard(77, (7.0, 11.0, 15.0, 21.0, 28.0), 2.7, (-1.2, -0.18))


def _air(setup: Setup) -> Table:
    """Sky by set-up: the sun sinks, the warm light thins out, the blue deepens. Relative units."""
    air = np.zeros(sky.AIR_LENGTH)
    table = {
        "A": (
            (-0.72, 0.085, 0.80),
            (4.6, 2.9, 1.35),
            (0.22, 0.36, 0.66),
            (0.74, 0.76, 0.82),
            (1.45, 0.88, 0.40),
            0.8,
            (0.9, 0.75, 0.55),
        ),
        "B": (
            (0.62, 0.012, 0.78),
            (1.5, 0.72, 0.25),
            (0.20, 0.31, 0.60),
            (0.66, 0.62, 0.70),
            (1.45, 0.72, 0.34),
            1.0,
            (0.8, 0.6, 0.55),
        ),
        "C": (
            (-0.50, -0.05, 0.86),
            (0.0, 0.0, 0.0),
            (0.17, 0.26, 0.52),
            (0.52, 0.52, 0.66),
            (1.0, 0.46, 0.28),
            0.9,
            (0.55, 0.5, 0.6),
        ),
    }[setup.id]
    sun, light, zenith, horizon, glow, clouds, haze = table
    air[sky.SUN : sky.SUN + 3] = unit(sun)
    air[sky.SUN_LIGHT : sky.SUN_LIGHT + 3] = light
    air[sky.ZENITH : sky.ZENITH + 3] = zenith
    air[sky.HORIZON : sky.HORIZON + 3] = horizon
    air[sky.GLOW : sky.GLOW + 3] = glow
    air[sky.CLOUDS], air[sky.SEED], air[sky.SCALE] = clouds, {"A": 0.0, "B": 13.0, "C": 29.0}[setup.id], 1.0
    air[sky.HAZE : sky.HAZE + 3] = haze
    air[sky.HAZE_DENSITY] = 0.0038
    air[sky.GROUND : sky.GROUND + 3] = (
        np.array([0.10, 0.125, 0.055]) * (np.array(zenith) + np.array(horizon) + 0.4 * np.array(light)) * 0.5
    )
    return air


def ambient_luminance(setup: Setup, frame: Frame) -> float:
    """Luminance in candela a square metre of an 18 % card at the subject in ambient light alone."""
    planned = 0.18 * setup.aperture**2 / (SIGNAL * setup.seconds * setup.iso / 100)
    return float(planned * 2 ** (setup.ambient - fallen(setup, frame)))


def _scaled_sky(setup: Setup, frame: Frame) -> tuple[Table, Table]:
    """Air and harmonics, scaled so that a meter's card facing the camera in the open reads as planned."""
    air = _air(setup)
    dome = sky.harmonics(air)
    meter = np.array([0.0, 0.26, -0.966])
    card = np.array(sky.dome_light(*(float(v) for v in meter), dome)) * 0.18 / np.pi
    luminance = float(card @ np.array([0.2126, 0.7152, 0.0722]))
    air[sky.SCALE] = ambient_luminance(setup, frame) / luminance
    return air, dome


def _heads(setup: Setup) -> Table:
    """Heads with their intensity set so that a meter at the subject, held toward the head, reads as planned.

    A flat receptor asks for an exposure of pi N^2 / (SIGNAL ISO / 100) lux seconds: an 18 % card then gives 0.18.
    """
    rows = []
    for head in setup.heads:
        place, aim = np.array(head.place), np.array(head.aim)
        forward = unit(aim - place)
        side = unit(np.cross(forward, (0, 1, 0)))
        up = np.cross(side, forward)
        soft = "softbox" in head.modifier
        half = (0.30, 0.45) if soft else (0.085, 0.085)
        parts, beam = (2, 1.6) if soft else (1, 9.0)
        n = 12
        exposure = 0.0
        for i in range(n):
            for j in range(n):
                u, v = (i + 0.5) * 2 / n - 1, (j + 0.5) * 2 / n - 1
                to = place + u * half[0] * side + v * half[1] * up - np.array(setup.meter)
                d = float(np.linalg.norm(to))
                receptor = float(unit(place - np.array(setup.meter)) @ to) / d
                exposure += max(0.0, float(-forward @ to) / d) ** beam / d**2 * receptor / n**2
        wanted = np.pi * head.reads**2 / (SIGNAL * setup.iso / 100)
        colour = np.array(head.colour) / float(np.array(head.colour) @ np.array([0.2126, 0.7152, 0.0722]))
        rows.append(
            [
                *place,
                *forward,
                *(half[0] * side),
                *(half[1] * up),
                0 if soft else 1,
                parts,
                *(colour * wanted / exposure),
                beam,
            ]
        )
    return np.array(rows, np.float64)


def _eye(setup: Setup, frame: Frame, width: int, height: int) -> Table:
    view = VIEWS[setup.id][frame.view]
    place, at = np.array(view.place, float), np.array(view.at, float)
    forward = unit(at - place)
    right = unit(np.cross((0, 1, 0), forward))
    up = np.cross(forward, right)
    f = view.focal / 1000
    across, down = (SENSOR_SHORT, SENSOR_LONG) if frame.upright else (SENSOR_LONG, SENSOR_SHORT)
    focus = float((np.array(view.focus) - place) @ forward)
    aperture = frame.aperture or setup.aperture
    # thin lens: disc diameter f^2 / (N (s - f)) x |d - s| / d; half of it, in pixels
    coc = 0.5 * f * f / (aperture * (focus - f)) / across * width
    return np.array([*place, *right, *up, *forward, across / 2 / f, down / 2 / f, coc, focus], np.float64)


@lru_cache(maxsize=1)
def _crowns() -> Crowns:
    out = np.zeros((5, 48, 38, 48), np.uint8)
    vegetation.fill_crowns(out)
    return out


def stage(setup: Setup, frame: Frame, width: int, height: int) -> Scene:
    """The whole scene of a frame for a picture of width x height pixels."""
    b = Builder()
    trees = {"A": _stage_a, "B": _stage_b, "C": _stage_c}[setup.id](b, frame)
    shapes, groups = b.tables()
    air, dome = _scaled_sky(setup, frame)
    return Scene(
        shapes,
        groups,
        np.array(trees, np.float64),
        _heads(setup),
        _crowns(),
        dome,
        air,
        _eye(setup, frame, width, height),
    )
