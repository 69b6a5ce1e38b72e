"""The person in the coat: pose in, shapes out. The face is never modelled: the hat's brim or the turn hides it.

The person's own axes: facing -z, the person's left along +x, feet at y = 0, metres.
"""

from dataclasses import dataclass, field

import numpy as np

from finishing.sample import scene as sc
from finishing.sample.building import Builder, Point, Turn, turn, unit
from finishing.sample.hands import hand

COAT_COLOUR = (0.565, 0.245, 0.021)  # saffron: OkLCh about 0.68 0.145 70
WHITE_CLOTH_COLOUR = (0.60, 0.585, 0.55)
TROUSER_COLOUR = (0.045, 0.052, 0.075)
STRAW_COLOUR = (0.50, 0.375, 0.19)


@dataclass(frozen=True)
class Arm:
    """Joints of one arm and how its hand lies (see `hands.hand`)."""

    elbow: Point
    wrist: Point
    toward: Point
    palm: Point
    curls: tuple[float, float, float, float] = (38, 42, 45, 48)
    spread: float = 4.0
    thumb_out: float = 40.0
    thumb_curl: float = 15.0
    bare_from: float = 0.62  # share of the forearm that the sleeve covers


@dataclass(frozen=True)
class Pose:
    """A figure: joints in the person's own axes, and where it stands."""

    place: Point
    facing: float  # degrees the figure is turned about the upright, 0 facing the camera
    skin: Point
    hair: Point
    left: Arm
    right: Arm
    hips: Point = (0.0, 0.96, 0.0)
    chest: Point = (0.0, 1.30, 0.0)
    neck: Point = (0.0, 1.475, 0.012)
    head: Point = (0.0, 1.635, -0.02)
    shoulder_left: Point = (0.158, 1.400, 0.005)
    shoulder_right: Point = (-0.158, 1.400, 0.005)
    hem: float = 0.50
    hat_turn: Turn = field(default_factory=lambda: turn("x", 12))
    hat_lift: float = 0.075
    knees: tuple[Point, Point] = ((0.10, 0.50, -0.02), (-0.10, 0.50, 0.0))
    feet: tuple[Point, Point] = ((0.11, 0.08, 0.02), (-0.12, 0.08, 0.05))
    seated: bool = False


def _mix(a: Point, b: Point, t: float) -> Point:
    return tuple(np.asarray(a) * (1 - t) + np.asarray(b) * t)


def _shift(p: Point, x: float, y: float, z: float) -> Point:
    return (p[0] + x, p[1] + y, p[2] + z)


def figure(b: Builder, pose: Pose) -> None:
    """Add a whole figure to the world."""
    b.placed(turn("y", pose.facing), pose.place)
    _coat(b, pose)
    for side, arm, shoulder in ((1, pose.left, pose.shoulder_left), (-1, pose.right, pose.shoulder_right)):
        _arm(b, pose, arm, shoulder, side)
    _legs(b, pose)
    _neck_and_head(b, pose)
    b.placed(np.eye(3), (0, 0, 0))


def _coat(b: Builder, pose: Pose) -> None:
    hips, chest, neck = pose.hips, pose.chest, pose.neck
    waist = _mix(hips, chest, 0.36)
    strength = 0.010 if pose.seated else 0.012
    b.group(sc.COAT, COAT_COLOUR, relief=1, strength=strength, origin=waist, axis=(0, 0, -1), hem=pose.hem)
    for x in (-0.048, 0.048):
        b.cone(_shift(waist, x, 0, 0), _shift(chest, x * 1.45, -0.02, 0), 0.100, 0.112, 0.09)
    b.cone(_shift(chest, -0.075, 0.02, 0.03), _shift(chest, 0.075, 0.02, 0.03), 0.098, 0.098, 0.08)
    b.ellipsoid(_shift(chest, 0, -0.035, -0.055), (0.125, 0.075, 0.075), blend=0.07)
    for s in (pose.shoulder_left, pose.shoulder_right):
        b.cone(_shift(neck, 0.3 * (s[0] - neck[0]), -0.050, 0.008), s, 0.050, 0.056, 0.075)
        b.cone(s, _mix(s, chest, 0.55), 0.058, 0.082, 0.06)
    if pose.seated:
        # the coat falls open: a skirt over each thigh, its tails over the seat
        b.ellipsoid(_shift(hips, 0, 0.0, 0.035), (0.175, 0.13, 0.15), blend=0.10)
        for side, knee in zip((1, -1), pose.knees, strict=True):
            over = _shift(_mix(hips, knee, 0.62), side * 0.065, 0.005, 0)
            b.cone(_shift(hips, side * 0.08, 0.0, 0.0), over, 0.115, 0.098, 0.06)
            b.cone(over, _shift(over, side * 0.035, -0.30, 0.03), 0.080, 0.105, 0.05)
            b.cone(_shift(hips, side * 0.13, -0.02, 0.0), _shift(over, side * 0.05, -0.30, 0.10), 0.105, 0.110, 0.06)
            b.ellipsoid(_shift(_mix(hips, over, 0.55), side * 0.10, -0.14, 0.03), (0.085, 0.17, 0.15), blend=0.09)
    else:
        for x in (-0.06, 0.06):
            b.cone(_shift(waist, x * 0.8, 0, 0), _shift(hips, x * 1.7, -0.46, 0.0), 0.101, 0.172, 0.10)
        b.ellipsoid(_shift(hips, 0, -0.05, 0.03), (0.165, 0.15, 0.135), blend=0.1)
    places = [((0.004, y, -0.6), (0, 0, 1)) for y in (0.055, -0.075, -0.205)]
    if pose.seated:
        places = places[:2]
    places += [((x, 0.012, 0.6), (0, 0, -1)) for x in (-0.088, 0.088)]
    found = [b.touch(_shift(waist, *p), way, -1) for p, way in places]
    b.group(sc.COAT, COAT_COLOUR, relief=8, strength=0.003, origin=neck)
    b.ring(_shift(neck, 0, -0.022, 0.014), 0.080, 0.074, 0.040, 0.012, turn("x", -20))
    b.group(sc.BUTTON, (0.055, 0.028, 0.014), origin=waist)
    for at, normal in found:
        _button(b, at, normal)


def _button(b: Builder, at: Point, normal: Point) -> None:
    rotation, offset = b.rotation, b.offset
    b.placed(np.eye(3), (0, 0, 0))
    turned = _upright_to(normal)
    b.disc(tuple(np.asarray(at) + np.asarray(normal) * 0.002), 0.0125, 0.0032, 0.0018, turned)
    b.placed(rotation, offset)


def _arm(b: Builder, pose: Pose, arm: Arm, shoulder: Point, side: int) -> None:
    upper = unit(np.asarray(arm.elbow) - np.asarray(shoulder))
    lower = unit(np.asarray(arm.wrist) - np.asarray(arm.elbow))
    cuff = _mix(arm.elbow, arm.wrist, arm.bare_from)
    b.group(sc.COAT, COAT_COLOUR, relief=2, strength=0.0115, origin=arm.elbow, axis=unit(upper + lower + 1e-3))
    b.cone(shoulder, arm.elbow, 0.060, 0.049, 0.02)
    b.cone(arm.elbow, cuff, 0.050, 0.046, 0.03)
    # a turned-back cuff
    b.group(sc.COAT, COAT_COLOUR, relief=8, strength=0.003, origin=arm.elbow)
    b.ring(_mix(arm.elbow, arm.wrist, arm.bare_from - 0.03), 0.047, 0.047, 0.030, 0.010, _upright_to(lower))
    b.group(sc.SKIN, pose.skin, relief=7, strength=0.0012, origin=arm.wrist)
    b.cone(_mix(arm.elbow, arm.wrist, 0.1), _mix(arm.elbow, arm.wrist, 0.5), 0.039, 0.035, 0.0)
    b.cone(_mix(arm.elbow, arm.wrist, 0.4), _mix(arm.elbow, arm.wrist, 0.97), 0.035, 0.0255, 0.03)
    hand(
        b,
        pose.skin,
        arm.wrist,
        arm.toward,
        arm.palm,
        thumb_left=side < 0,
        curls=arm.curls,
        spread=arm.spread,
        thumb_out=arm.thumb_out,
        thumb_curl=arm.thumb_curl,
    )


def _upright_to(direction: Point) -> Turn:
    """A rotation that brings local y onto a direction."""
    y = unit(direction)
    x = unit(np.cross(y, (0.31, 0.2, 0.93)))
    return np.stack([x, y, np.cross(x, y)], axis=1)


def _legs(b: Builder, pose: Pose) -> None:
    b.group(sc.TROUSERS, TROUSER_COLOUR, relief=8, strength=0.010, origin=pose.hips)
    for knee, foot in zip(pose.knees, pose.feet, strict=True):
        b.cone(_shift(pose.hips, 0.6 * knee[0], 0, 0), knee, 0.086, 0.072, 0.02)
        b.cone(knee, _shift(foot, 0, 0.10, 0), 0.071, 0.056, 0.04)
    b.group(sc.LEATHER, (0.06, 0.036, 0.022), origin=pose.feet[0])
    for foot in pose.feet:
        b.cone(_shift(foot, 0, 0.12, 0.01), _shift(foot, 0, -0.02, 0.01), 0.050, 0.044, 0.02)
        b.cone(foot, _shift(foot, 0, -0.03, -0.15), 0.046, 0.038, 0.03)


def _neck_and_head(b: Builder, pose: Pose) -> None:
    neck, head = pose.neck, pose.head
    tilt = pose.hat_turn
    b.group(sc.SKIN, pose.skin, relief=7, strength=0.001, origin=neck)
    b.cone(_shift(neck, 0, -0.05, 0.005), _mix(neck, head, 0.75), 0.062, 0.052, 0.02)
    b.ellipsoid(head, (0.074, 0.105, 0.094), tilt, 0.03)
    jaw = np.asarray(head) + tilt @ np.array([0.0, -0.062, -0.042])
    b.ellipsoid(tuple(jaw), (0.054, 0.058, 0.055), tilt, 0.035)
    chin = np.asarray(head) + tilt @ np.array([0.0, -0.098, -0.074])
    b.ellipsoid(tuple(chin), (0.022, 0.018, 0.018), tilt, 0.03)
    for s in (-1, 1):
        ear = np.asarray(head) + tilt @ np.array([s * 0.076, -0.018, 0.012])
        b.ellipsoid(tuple(ear), (0.010, 0.031, 0.019), tilt @ turn("y", s * 24), 0.008)
    b.group(sc.HAIR, pose.hair, relief=6, strength=0.0022, origin=head, axis=(0.2, -0.5, 0.84))
    top = np.asarray(head) + tilt @ np.array([0.0, 0.018, 0.016])
    b.ellipsoid(tuple(top), (0.083, 0.100, 0.096), tilt)
    nape = np.asarray(head) + tilt @ np.array([0.0, -0.045, 0.062])
    b.ellipsoid(tuple(nape), (0.066, 0.060, 0.046), tilt, 0.03)
    bun = np.asarray(head) + tilt @ np.array([0.012, -0.062, 0.112])
    b.ellipsoid(tuple(bun), (0.046, 0.042, 0.036), tilt, 0.012)
    # the scarf, wound twice, its end tucked in front
    b.group(sc.WHITE_CLOTH, WHITE_CLOTH_COLOUR, relief=4, strength=0.0055, origin=neck)
    b.ring(_shift(neck, 0, 0.016, -0.006), 0.070, 0.070, 0.034, 0.022, turn("x", -14) @ turn("z", 6))
    b.ring(_shift(neck, 0.004, -0.018, -0.014), 0.082, 0.080, 0.030, 0.022, turn("x", -24) @ turn("z", -5), 0.012)
    b.ellipsoid(_shift(neck, 0.004, -0.085, -0.088), (0.052, 0.085, 0.026), turn("x", 22), 0.03)
    up = np.asarray(head) + tilt @ np.array([0.0, pose.hat_lift - 0.02, 0.012])
    b.group(sc.STRAW, STRAW_COLOUR, origin=tuple(up + tilt @ np.array([0, 0.05, 0])))
    b.hat(tuple(up), 0.215, 0.098, tilt)
    b.group(sc.RIBBON, (0.035, 0.040, 0.055), origin=tuple(up))
    b.ring(tuple(up + tilt @ np.array([0, 0.024, 0])), 0.093, 0.107, 0.019, 0.0035, tilt)
