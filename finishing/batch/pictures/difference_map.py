"""The map of a difference between two pictures: neutral greys on one scale for all maps, with a key below."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from finishing.colour.transfer import srgb_encode
from finishing.sheets.typeface import face

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

Codes = NDArray[np.uint8]

# No difference is a light grey, `DARKEST_AT` and more nearly black; in between, lightness falls with
# log2(1 + difference), so that small differences show and large ones still part, on one scale for every map.
DARKEST_AT = 20.0
LIGHTEST, DARKEST = 94.0, 12.0  # L*
TICKS = (0, 1, 2, 5, 10, 20)
PAPER, INK, QUIET = 255, 26, 92
LEAST_WIDTH = 440


def grey_of(difference: NDArray[np.floating]) -> Codes:
    """The map's grey codes for differences: lighter for smaller ones."""
    share = np.minimum(np.log2(1 + difference) / np.log2(1 + DARKEST_AT), 1)
    lightness = LIGHTEST + (DARKEST - LIGHTEST) * share
    linear = ((lightness + 16) / 116) ** 3  # CIE 15:2004; every L* here is above 8
    return np.asarray(np.round(srgb_encode(linear) * 255), np.uint8)


def with_key(greys: Codes, lines: Sequence[str]) -> Codes:
    """The map, uint8 (height, width, 3), with a key and lines of text printed below it."""
    from PIL import Image, ImageDraw, ImageFont

    height, width = greys.shape
    scale = max(1.0, width / 1000)
    unit = round(12 * scale)  # the size of the letters, and the measure of all else
    canvas_width = max(width, LEAST_WIDTH)
    canvas = Image.new("L", (canvas_width, height + round(unit * (5.5 + 1.6 * len(lines)))), PAPER)
    canvas.paste(Image.fromarray(greys), ((canvas_width - width) // 2, 0))
    draw = ImageDraw.Draw(canvas)
    font = ImageFont.truetype(str(face(False).path), unit, layout_engine=ImageFont.Layout.BASIC)
    left, top, length = 2 * unit, height + round(1.5 * unit), min(canvas_width - 4 * unit, 40 * unit)
    ramp = grey_of((1 + DARKEST_AT) ** (np.arange(length) / max(1, length - 1)) - 1)
    canvas.paste(Image.fromarray(np.repeat(ramp[None], unit, 0)), (left, top))
    for tick in TICKS:
        x = left + round((length - 1) * float(np.log2(1 + tick) / np.log2(1 + DARKEST_AT)))
        draw.line((x, top + unit, x, top + unit + unit // 3), fill=QUIET)
        told = f"{tick}" if tick < DARKEST_AT else f"{tick} and more"
        anchor = "ms" if tick < DARKEST_AT else "rs"
        draw.text((x, top + round(2.4 * unit)), told, fill=QUIET, font=font, anchor=anchor)
    for index, line in enumerate(lines):
        place = (left, top + round(unit * (3.3 + 1.6 * index)))
        draw.text(place, _shortened(line, font, canvas_width - 4 * unit), fill=INK, font=font, anchor="lt")
    return np.repeat(np.asarray(canvas)[..., None], 3, axis=2)


def _shortened(line: str, font: "FreeTypeFont", width: int) -> str:
    """The line, cut with … where it is too long for a narrow map."""
    if font.getlength(line) <= width:
        return line
    while line and font.getlength(line + "…") > width:
        line = line[:-1]
    return line.rstrip() + "…"
