"""A text over a picture, for proofs that are not to be used: white letters with a dark rim, in the sheets' typeface."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.sessions.deliverables import Mark
from finishing.sheets.typeface import FONTS, printable

#: Of the letters' height: the rim that keeps white letters readable on white, and the distance to the frame's edge.
RIM, MARGIN = 0.04, 0.6
WHITE, DARK = 0.9, 0.02  # linear light: neither ends in a clipped code


def draw_mark(planes: NDArray[np.float32], mark: Mark) -> None:
    """Lays the mark over a whole picture, in place: planes (3, height, width) in linear light.

    A text that is wider than the picture is set smaller, so that it is always whole.
    """
    height, width = planes.shape[1:]
    text = printable(mark.text, True)
    size = max(6.0, mark.size * max(height, width))
    face = _face(size)
    reach = face.getlength(text) + 2 * (RIM + MARGIN) * size
    if reach > width:
        size = max(1.0, size * width / reach)
        face = _face(size)
    letters, rim = _coverage(text, face, size, (width, height), mark.place)
    for coverage, light in ((rim, DARK), (letters, WHITE)):
        weight = coverage * np.float32(mark.opacity)
        planes *= 1 - weight
        planes += weight * np.float32(light)


def _face(size: float) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(str(FONTS / "DejaVuSans-Bold.ttf"), size, layout_engine=ImageFont.Layout.BASIC)


def _coverage(
    text: str, face: Any, size: float, picture: tuple[int, int], place: str
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """How much of each pixel the letters cover, and how much the rim around them does, 0…1."""
    from PIL import Image, ImageDraw

    width, height = picture
    margin = MARGIN * size
    across = "l" if "left" in place else "r" if "right" in place else "m"
    down = "a" if place.startswith("top") else "d" if place.startswith("bottom") else "m"
    at = (
        {"l": margin, "m": width / 2, "r": width - margin}[across],
        {"a": margin, "m": height / 2, "d": height - margin}[down],
    )
    found = []
    for stroke in (0, max(1, round(RIM * size))):
        image = Image.new("L", picture, 0)
        ImageDraw.Draw(image).text(at, text, fill=255, font=face, anchor=across + down, stroke_width=stroke)
        found.append(np.asarray(image, np.float32) / np.float32(255))
    letters, thick = found
    return letters, np.maximum(thick - letters, 0)
