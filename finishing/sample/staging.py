"""Turns a set-up and a frame into a scene: pose, furniture, trees, sky, heads, camera."""

from functools import lru_cache

import numpy as np

from finishing.sample import sky, vegetation
from finishing.sample.building import Builder, turn, unit
from finishing.sample.evenings import EVENINGS
from finishing.sample.figure import figure
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
from finishing.sample.poses import BOWL, VIEWS, pose_a, pose_b, pose_c
from finishing.sample.scenario import Frame, Setup, fallen
from finishing.sample.scene import ENAMEL, QUINCE, Crowns, Scene, Table

# Signal of a sensor: 0.18 where a reflected-light meter with K = 12.5 (ISO 2720) is satisfied, so
# signal = 0.18 x 100 / 12.5 x L t (ISO / 100) / N^2.
SIGNAL = 0.18 * 100 / 12.5
SENSOR_LONG, SENSOR_SHORT = 0.036, 0.024  # metres


def _stage_a(b: Builder, frame: Frame) -> list[list[float]]:
    figure(b, pose_a(frame.pose))
    near_tree(b, (1.25, 0.0, 1.15), 3, 1.75, (-0.03, 0.02), 1.6)
    ladder(b, (0.36, 0.0, -0.25), (0.95, 2.95, 0.85), 0.46, 0.62, 10)
    crate(b, (-0.80, 0.0, 0.40), (0.50, 0.30, 0.36), 24, 0.92, 5)
    crate(b, (-0.80, 0.315, 0.42), (0.50, 0.30, 0.36), 18, 0.90, 9)
    pose = pose_a(frame.pose)
    b.placed(turn("y", pose.facing), pose.place)
    bucket(b, (0.262, 0.812, -0.075))
    b.placed(np.eye(3), (0, 0, 0))
    if frame.card:
        grey_card(b, (0.27, 1.12, -0.42), 46, 16)
    return [
        *orchard(21, (6.0, 10.5, 15.0, 20.0, 26.0, 33.0), 2.9, (-1.3, 0.035), skip=(-3.2, 2.6)),
        crown((0.95, 2.90, 1.2), (2.5, 1.45, 2.1), 91, 0.62),
        crown((-1.15, 2.72, 1.2), (1.35, 0.85, 1.2), 92),
    ]


def _stage_b(b: Builder, frame: Frame) -> list[list[float]]:
    figure(b, pose_b(frame.pose))
    wall(b, (0.3, 0.28, 0.17), (3.2, 0.34, 0.24), -3)
    crate(b, (-0.85, 0.62, 0.15), (0.46, 0.24, 0.32), -14, 0.92, 6)
    near_tree(b, (-2.1, 0.0, 1.3), 8, 1.7, (0.08, 0.0), 1.5)
    return [
        *orchard(47, (7.0, 11.5, 16.0, 22.0, 29.0), 2.6, (1.6, -0.06), skip=(-1.6, 3.2)),
        crown((-1.9, 2.55, 1.3), (1.5, 0.9, 1.2), 93),
    ]


def _stage_c(b: Builder, frame: Frame) -> list[list[float]]:
    pose = pose_c(frame.pose)
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


def ambient_luminance(setup: Setup, frame: Frame) -> float:
    """Luminance in candela a square metre of an 18 % card at the subject in ambient light alone."""
    planned = 0.18 * setup.aperture**2 / (SIGNAL * setup.seconds * setup.iso / 100)
    return float(planned * 2 ** (setup.ambient - fallen(setup, frame)))


def _scaled_sky(setup: Setup, frame: Frame) -> tuple[Table, Table]:
    """Air and harmonics, scaled so that a meter's card facing the camera in the open reads as planned."""
    air = EVENINGS[setup.id].table()
    dome = sky.harmonics(air)
    meter = np.array([0.0, 0.26, -0.966])
    light = np.array(sky.dome_light(float(meter[0]), float(meter[1]), float(meter[2]), dome), np.float64)
    card = light * 0.18 / np.pi
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
    out = np.zeros((5, 48, 57, 48), np.uint8)
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
