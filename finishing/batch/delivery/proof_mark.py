"""A text over a picture, for proofs that are not to be used: light letters with a dark edge, in the sheets' typeface.

It is laid over encoded values, on which equal steps look about equally large: in linear light a mark that is soft on
light parts is glaring on dark ones. On light parts the edge draws the letters, on dark ones the letters themselves.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.sessions.deliverables import Mark
from finishing.sheets.typeface import FONTS, printable

#: Of the letters' height: the dark edge round them, how far it fades out beyond, and the distance to the frame's edge.
EDGE, FADE, MARGIN = 0.022, 0.03, 0.6
LEAST_EDGE = 0.8  # pixels; thinner than one it would not show
#: sRGB-encoded values; neither ends in a clipped code.
LIGHT, DARK = 0.95, 0.10


def draw_mark(planes: NDArray[np.float32], mark: Mark) -> None:
    """Lays the mark over a whole picture, in place: planes (3, height, width) in linear light.

    A text that is wider than the picture is set smaller, so that it is always whole. Where no sign and no edge of it
    lies, every bit stays.
    """
    height, width = planes.shape[1:]
    text = printable(mark.text, True)
    size = max(6.0, mark.size * max(height, width))
    face = _face(size)
    reach = face.getlength(text) + 2 * (EDGE + MARGIN) * size
    if reach > width:
        size = max(1.0, size * width / reach)
        face = _face(size)
    letters, edge, (top, left) = _coverage(text, face, size, (width, height), mark.place)
    part = planes[:, top : top + letters.shape[0], left : left + letters.shape[1]]
    marked = part.copy()
    domains.linear_to_encoded(marked)
    for coverage, value in ((edge, DARK), (letters, LIGHT)):
        weight = coverage * np.float32(mark.opacity)
        marked *= 1 - weight
        marked += weight * np.float32(value)
    domains.encoded_to_linear(marked)
    np.copyto(part, marked, where=letters + edge > 0)


def _face(size: float) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(str(FONTS / "DejaVuSans-Bold.ttf"), size, layout_engine=ImageFont.Layout.BASIC)


def _coverage(
    text: str, face: Any, size: float, picture: tuple[int, int], place: str
) -> tuple[NDArray[np.float32], NDArray[np.float32], tuple[int, int]]:
    """How much of each pixel the letters cover, and how much the edge around them does, 0…1, in the part of the picture
    that they lie in; and where that part begins: row, column."""
    import cv2
    from PIL import Image, ImageDraw

    width, height = picture
    margin, thick, fade = MARGIN * size, max(LEAST_EDGE, EDGE * size), FADE * size
    across = "l" if "left" in place else "r" if "right" in place else "m"
    down = "a" if place.startswith("top") else "d" if place.startswith("bottom") else "m"
    at = (
        {"l": margin, "m": width / 2, "r": width - margin}[across],
        {"a": margin, "m": height / 2, "d": height - margin}[down],
    )
    how: dict[str, Any] = {"font": face, "anchor": across + down}
    room = ImageDraw.Draw(Image.new("L", (1, 1))).textbbox(at, text, stroke_width=thick, **how)
    far = 3 * fade + 2
    left, top = max(0, int(room[0] - far)), max(0, int(room[1] - far))
    right, bottom = min(width, int(room[2] + far) + 1), min(height, int(room[3] + far) + 1)
    found = []
    for stroke in (0.0, thick):
        image = Image.new("L", (max(right - left, 1), max(bottom - top, 1)), 0)
        ImageDraw.Draw(image).text((at[0] - left, at[1] - top), text, fill=255, stroke_width=stroke, **how)
        found.append(np.asarray(image, np.float32) / np.float32(255))
    letters, outlined = found
    soft = np.asarray(cv2.GaussianBlur(outlined, (0, 0), max(fade, 0.3)), np.float32)
    soft[soft < 1 / 512] = 0  # less than a code
    return letters, np.maximum(np.maximum(outlined, soft) - letters, 0), (top, left)
