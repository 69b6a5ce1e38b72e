"""What is kept of a frame: straightened, then cropped, before its looks. Pure geometry: no pixel is touched here.

A frame is turned about its middle, and the largest rectangle of its own shape that lies wholly inside is kept; then
the crop takes a part of that. Places are continuous: the first pixel reaches from 0 to 1, its middle is at 0.5.
"""

import math
from dataclasses import dataclass

from finishing.sessions.session import PerFrame

#: Less than this (in degrees) turns no frame by as much as a hundredth of a pixel.
_LEVEL = 1e-4


@dataclass(frozen=True)
class Framing:
    """What is kept. full_width, full_height: of the upright frame in pixels; degrees: turned clockwise;
    turned_width, turned_height: what is left of it straightened; left, top, width, height: the part of that which is
    kept."""

    full_width: int
    full_height: int
    degrees: float
    turned_width: int
    turned_height: int
    left: int
    top: int
    width: int
    height: int

    @property
    def whole(self) -> bool:
        """Whether all of the frame is kept, as it is."""
        return self.level and (self.width, self.height) == (self.full_width, self.full_height)

    @property
    def level(self) -> bool:
        """Whether it is not turned."""
        return self.degrees == 0

    def to_frame(self) -> tuple[float, float, float, float, float, float]:
        """(a, b, c, d, e, f): the place (x, y) in what is kept is (a x + b y + c, d x + e y + f) in the frame."""
        cosine, sine = math.cos(math.radians(self.degrees)), math.sin(math.radians(self.degrees))
        across, down = self.left - self.turned_width / 2, self.top - self.turned_height / 2
        return (
            cosine, sine, cosine * across + sine * down + self.full_width / 2,
            -sine, cosine, -sine * across + cosine * down + self.full_height / 2,
        )  # fmt: skip

    def point(self, x: float, y: float) -> tuple[float, float]:
        """A point in fractions of the frame, in fractions of what is kept; outside of 0 to 1 where it was cut off."""
        cosine, sine = math.cos(math.radians(self.degrees)), math.sin(math.radians(self.degrees))
        across, down = (x - 0.5) * self.full_width, (y - 0.5) * self.full_height
        return (
            (cosine * across - sine * down + self.turned_width / 2 - self.left) / self.width,
            (sine * across + cosine * down + self.turned_height / 2 - self.top) / self.height,
        )

    def describe(self) -> dict[str, object]:
        """Plain values, for fingerprints."""
        return {"degrees": self.degrees, "kept": [self.left, self.top, self.width, self.height]}


def framing_of(says: PerFrame, width: int, height: int) -> Framing:
    """What a session keeps of an upright frame of this size in pixels.

    A crop by `aspect` is the largest of that shape, about the subject point where one is given, else about the
    middle, and moved so that it never leaves the frame. A `box` is in fractions of the straightened frame.
    """
    degrees = float(says.straighten or 0.0)
    degrees = 0.0 if abs(degrees) < _LEVEL else degrees
    turned_width, turned_height = _inside(width, height, degrees)
    part = (0, 0, turned_width, turned_height)
    if says.crop is not None and says.crop.box is not None:
        part = _box(says.crop.box, turned_width, turned_height)
    elif says.crop is not None and says.crop.aspect is not None:
        whole = Framing(width, height, degrees, turned_width, turned_height, 0, 0, turned_width, turned_height)
        centre = whole.point(*says.subject) if says.subject is not None else (0.5, 0.5)
        part = _of_shape(float(says.crop.aspect), turned_width, turned_height, centre)
    return Framing(width, height, degrees, turned_width, turned_height, *part)


def _inside(width: int, height: int, degrees: float) -> tuple[int, int]:
    """The largest rectangle of the frame's shape that lies inside of the frame when it is turned, in whole pixels.

    Its corners, turned back, must lie in the frame: s (w cos + h sin) <= w and s (w sin + h cos) <= h.
    """
    if degrees == 0:
        return width, height
    cosine, sine = math.cos(math.radians(degrees)), abs(math.sin(math.radians(degrees)))
    scale = min(width / (width * cosine + height * sine), height / (width * sine + height * cosine))
    return max(1, math.floor(width * scale)), max(1, math.floor(height * scale))


def _box(box: tuple[float, ...], width: int, height: int) -> tuple[int, int, int, int]:
    left, top = min(round(box[0] * width), width - 1), min(round(box[1] * height), height - 1)
    right, bottom = max(round(box[2] * width), left + 1), max(round(box[3] * height), top + 1)
    return left, top, right - left, bottom - top


def _of_shape(aspect: float, width: int, height: int, centre: tuple[float, float]) -> tuple[int, int, int, int]:
    kept_width, kept_height = width, height
    if width > height * aspect:
        kept_width = max(1, min(width, round(height * aspect)))
    else:
        kept_height = max(1, min(height, round(width / aspect)))
    left = min(max(round(centre[0] * width - kept_width / 2), 0), width - kept_width)
    top = min(max(round(centre[1] * height - kept_height / 2), 0), height - kept_height)
    return left, top, kept_width, kept_height
