"""The invented session "Orchard at dusk": what was planned, and what the camera did frame by frame.

Everyone and everything in it is invented. Times are true local times; the camera's clock ran 90 seconds ahead.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

UTC_OFFSET = timezone(timedelta(hours=2))
CLOCK_AHEAD = timedelta(seconds=90)
CAMERA = "Example Camera"
LENSES = {50: "Example 50 mm f/2", 85: "Example 85 mm f/2", 135: "Example 135 mm f/2.5"}


@dataclass(frozen=True)
class Head:
    """A strobe head: its name, modifier and place as planned, and what a meter reads at the subject."""

    name: str
    modifier: str
    position: str
    power: str
    reads: float
    place: tuple[float, float, float]
    aim: tuple[float, float, float]
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Frame:
    """One exposure. pose: which variation of the set-up's pose; upright: portrait orientation."""

    name: str
    shutter: str
    time: str
    pose: int = 0
    view: int = 0
    upright: bool = False
    fires: bool = True
    aperture: float | None = None
    card: bool = False
    exif: bool = True
    stored_turned: bool = False  # saved as the sensor saw it, with an EXIF orientation

    @property
    def seconds(self) -> float:
        """Exposure time in seconds, as written."""
        top, _, bottom = self.shutter.partition("/")
        return float(top) / float(bottom or 1)


@dataclass(frozen=True)
class Setup:
    """A set-up: exposure and lights as planned, and its frames."""

    id: str
    title: str
    aperture: float
    shutter: str
    iso: int
    ambient: float  # stops, metered ambient against this exposure at `start`
    start: str
    fall: float  # stops the ambient falls a minute
    heads: tuple[Head, ...]
    frames: tuple[Frame, ...]
    meter: tuple[float, float, float] = (0.0, 1.3, -0.15)

    @property
    def seconds(self) -> float:
        """Planned exposure time in seconds."""
        top, _, bottom = self.shutter.partition("/")
        return float(top) / float(bottom or 1)


WARM = (1.04, 1.0, 0.93)

SETUPS: tuple[Setup, ...] = (
    Setup(
        "A",
        "Standing by the ladder, low sun behind from camera left",
        8.0,
        "1/125",
        100,
        -2.0,
        "18:58:00",
        0.055,
        (
            Head(
                "key",
                "medium softbox",
                "camera left",
                "1/1",
                8.0,
                (-1.75, 2.05, -1.25),
                (0.0, 1.32, 0.0),
                (1.0, 1.0, 0.97),
            ),
            Head(
                "rim",
                "reflector",
                "behind the subject, camera right",
                "1/4",
                5.6,
                (2.3, 2.3, 1.25),
                (0.0, 1.4, 0.0),
                WARM,
            ),
        ),
        (
            Frame("A-0001", "1/125", "18:59:10", card=True),
            Frame("A-0002", "1/125", "19:00:32", fires=False),
            Frame("A-0003", "1/125", "19:00:58"),
            Frame("A-0004", "1/60", "19:01:21"),
            Frame("A-0005", "1/30", "19:04:47", pose=1, view=1, upright=True),
        ),
    ),
    Setup(
        "B",
        "Sitting on the orchard wall, sun on the horizon",
        5.6,
        "1/125",
        200,
        -1.5,
        "19:14:00",
        0.075,
        (
            Head(
                "key",
                "medium softbox",
                "camera right",
                "1/4",
                5.6,
                (1.45, 1.9, -1.35),
                (0.0, 1.1, 0.0),
                (1.0, 1.0, 0.97),
            ),
            Head(
                "rim",
                "reflector",
                "behind the subject, camera left",
                "1/16",
                4.0,
                (-1.9, 2.1, 1.9),
                (0.0, 1.2, 0.0),
                WARM,
            ),
        ),
        (
            Frame("B-0006", "1/125", "19:15:20", upright=True, view=1),
            Frame("B-0007", "1/100", "19:16:42", pose=1, stored_turned=True, upright=True, view=2),
            Frame("B-0008", "1/80", "19:18:30", pose=0, exif=False),
            Frame("B-0009", "1/60", "19:20:12", pose=2, view=3),
        ),
        (0.0, 1.05, -0.15),
    ),
    Setup(
        "C",
        "Hands and quinces, close, after sunset",
        5.6,
        "1/125",
        200,
        -2.0,
        "19:33:00",
        0.11,
        (
            Head(
                "key",
                "medium softbox",
                "camera left",
                "1/8",
                5.6,
                (-1.15, 1.85, -1.05),
                (0.0, 1.2, -0.15),
                (1.0, 1.0, 0.97),
            ),
            Head(
                "rim",
                "reflector",
                "behind the subject, camera right",
                "1/32",
                4.0,
                (1.35, 1.75, 1.2),
                (0.0, 1.25, 0.0),
                WARM,
            ),
            Head("fill", "medium softbox", "beside the camera", "1/32", 2.8, (0.9, 1.5, -2.0), (0.0, 1.2, 0.0)),
        ),
        (
            Frame("C-0010", "1/125", "19:34:05"),
            Frame("C-0011", "1/80", "19:36:40", pose=1, upright=True, view=1, exif=False),
            Frame("C-0012", "1/60", "19:38:55", pose=2, view=2),
        ),
        (0.0, 1.25, -0.2),
    ),
)

DATE = (2026, 9, 19)


def true_time(text: str) -> datetime:
    """A clock time of the session's day."""
    hour, minute, second = (int(part) for part in text.split(":"))
    return datetime(*DATE, hour, minute, second, tzinfo=UTC_OFFSET)


def setup_of(setup_id: str) -> Setup:
    """The set-up with this id; KeyError where there is none."""
    for setup in SETUPS:
        if setup.id == setup_id:
            return setup
    raise KeyError(setup_id)


def frame_of(name: str) -> tuple[Setup, Frame]:
    """The set-up and the frame of a name; KeyError where there is none."""
    for setup in SETUPS:
        for frame in setup.frames:
            if frame.name == name:
                return setup, frame
    raise KeyError(name)


def all_frames() -> tuple[str, ...]:
    """Names of all frames in the order taken."""
    return tuple(frame.name for setup in SETUPS for frame in setup.frames)


def fallen(setup: Setup, frame: Frame) -> float:
    """Stops by which the ambient has fallen since the plan's reading."""
    minutes = (true_time(frame.time) - true_time(setup.start)).total_seconds() / 60
    return setup.fall * minutes
