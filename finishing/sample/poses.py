"""Who stands how before which camera: poses and views of the set-ups."""

from dataclasses import dataclass, replace

from finishing.sample.building import Point, turn
from finishing.sample.figure import Arm, Pose

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
        View((-0.85, 1.42, -9.9), (0.20, 1.21, 0.0), 135, (0.0, 1.3, -0.1)),
        View((-0.60, 1.30, -8.0), (0.06, 1.12, 0.0), 135, (0.0, 1.3, -0.1)),
    ),
    "B": (
        View((0.5, 1.32, -5.2), (-0.22, 1.05, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.4, 1.35, -4.9), (0.0, 0.98, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.35, 1.38, -4.7), (0.02, 0.99, 0.0), 85, (0.0, 1.1, -0.2)),
        View((0.6, 1.34, -5.2), (0.22, 1.04, 0.0), 85, (0.0, 1.1, -0.2)),
    ),
    "C": (
        View((0.16, 1.36, -2.05), (0.03, 1.26, -0.15), 85, (0.0, 1.23, -0.36)),
        View((-0.12, 1.40, -1.85), (0.0, 1.18, -0.15), 85, (0.0, 1.23, -0.36)),
        View((0.26, 1.34, -2.05), (-0.07, 1.26, -0.15), 85, (0.0, 1.23, -0.36)),
    ),
}


def pose_a(pose: int) -> Pose:
    """Standing, turned away, one hand to the hat, a bucket in the other."""
    left = Arm(
        (0.268, 1.135, 0.045),
        (0.285, 0.900, -0.055),
        (0.03, -0.98, -0.16),
        (-0.97, 0.0, 0.2),
        (64, 66, 68, 70),
        bare_from=0.62,
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


def pose_b(pose: int) -> Pose:
    """Sitting, hands in the lap, the brim over the face."""
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


def pose_c(pose: int) -> Pose:
    """Both hands round a bowl, seen from neck to waist."""
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
