"""The consistency of a session as a small picture: for each set-up exposure, white and skin, before and after."""

import io
import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.evenness.consistency import SetupConsistency
from finishing.units import format_number

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw

#: Title of a panel, its quantity, the least span it shows, and places of its numbers.
PANELS = (
    ("exposure, stops from the key frame", "exposure_stops", 1.0, 2),
    ("white, blue to yellow (OkLab b)", "white_b", 0.04, 3),
    ("skin hue, degrees", "skin_hue_degrees", 8.0, 1),
)
WIDTH, MARGIN, GAP, LABEL = 1140, 36, 30, 46
PANEL_HEIGHT, HEADING, CAPTION = 120, 34, 22
PAPER, INK, QUIET, RULE = (255, 255, 255), (38, 38, 38), (112, 112, 112), (222, 222, 222)
BEFORE, AFTER = (150, 150, 150), (31, 96, 104)
#: Drawn this many times larger and brought down, for smooth dots.
FINER = 2
#: What a file of ours says of itself, so that a later run knows that it may write over it.
MARK = ("Software", "finishing: evenness")


def draw_consistency(setups: Sequence[SetupConsistency], font: Path, bold: Path) -> bytes:
    """A PNG, the same bytes for the same numbers: open dots as the frames came, filled dots as they leave, from left
    to right in the order they were taken, lighter, yellower and higher in hue upward. font, bold: TrueType files."""
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    block = HEADING + CAPTION + PANEL_HEIGHT + GAP
    height = 2 * MARGIN + 24 + block * len(setups)
    image = Image.new("RGB", (WIDTH * FINER, height * FINER), PAPER)
    pen = _Pen(ImageDraw.Draw(image), font, bold)
    pen.text(MARGIN, MARGIN, "Evened out", 17, INK, bold=True)
    pen.dot(WIDTH - MARGIN - 196, MARGIN + 9, filled=False)
    pen.text(WIDTH - MARGIN - 184, MARGIN + 2, "as it came", 12, QUIET)
    pen.dot(WIDTH - MARGIN - 92, MARGIN + 9, filled=True)
    pen.text(WIDTH - MARGIN - 80, MARGIN + 2, "as it leaves", 12, QUIET)
    top = MARGIN + 24
    for setup in setups:
        count = len(setup.frames)
        named = "All frames" if setup.setup is None else f"Set-up {setup.setup}"
        pen.text(MARGIN, top + 12, f"{named}, {count} frame{'' if count == 1 else 's'}", 14, INK, bold=True)
        width = (WIDTH - 2 * MARGIN - 2 * GAP) / 3
        for index, panel in enumerate(PANELS):
            _panel(pen, setup, panel, MARGIN + index * (width + GAP), top + HEADING, width)
        top += block
    small = image.resize((WIDTH, height), Image.Resampling.LANCZOS)
    chunks, file = PngInfo(), io.BytesIO()
    chunks.add(b"sRGB", b"\x00")
    chunks.add_text(*MARK)
    small.save(file, format="PNG", pnginfo=chunks)
    return file.getvalue()


def _panel(
    pen: "_Pen", setup: SetupConsistency, panel: tuple[str, str, float, int], left: float, top: float, width: float
) -> None:
    title, quantity, least, places = panel
    pen.text(left + LABEL, top, title, 11, QUIET)
    top += CAPTION
    before, after = setup.values(quantity, False), setup.values(quantity, True)
    known = [value for value in (*before, *after) if value is not None]
    plot, right = left + LABEL, left + width
    if not known:
        pen.text(plot + 8, top + PANEL_HEIGHT / 2 - 7, "could not be measured", 11, QUIET)
        return
    low, high, step = _scale(min(known), max(known), least)

    def height(value: float) -> float:
        return top + PANEL_HEIGHT * (high - value) / (high - low)

    mark = low
    while mark <= high + step / 2:
        pen.line(plot, height(mark), right, height(mark), RULE)
        text = format_number(mark, places)
        pen.text(plot - 8, height(mark) - 7, text.replace("-", "−"), 10, QUIET, to_left=True)
        mark += step
    across = (right - plot - 20) / max(len(before) - 1, 1)
    start = plot + 10 if len(before) > 1 else (plot + right) / 2
    for values, filled in ((before, False), (after, True)):
        points = [(start + at * across, height(value)) for at, value in enumerate(values) if value is not None]
        for (x0, y0), (x1, y1) in pairwise(points):
            pen.line(x0, y0, x1, y1, AFTER if filled else RULE)
        if len(points) <= 120:
            for x, y in points:
                pen.dot(x, y, filled=filled)


def _scale(smallest: float, largest: float, least: float) -> tuple[float, float, float]:
    """Lower end, upper end and step of an axis that takes in the values, at least `least` long, on round numbers."""
    middle, span = (smallest + largest) / 2, max((largest - smallest) * 1.1, least)
    power = 10.0 ** math.floor(math.log10(span / 3))
    step = next(power * part for part in (1, 2, 5, 10) if power * part * 3 >= span)
    low = math.floor((middle - span / 2) / step) * step
    return low, math.ceil((middle + span / 2) / step - 1e-9) * step, step


class _Pen:
    """Draws in units of the final picture."""

    def __init__(self, draw: "ImageDraw", font: Path, bold: Path) -> None:
        self._draw, self._files = draw, {False: font, True: bold}
        self._fonts: dict[tuple[bool, int], Any] = {}

    def text(
        self, x: float, y: float, words: str, size: int, colour: Any, *, bold: bool = False, to_left: bool = False
    ) -> None:
        from PIL import ImageFont

        if (bold, size) not in self._fonts:
            layout = ImageFont.Layout.BASIC
            self._fonts[bold, size] = ImageFont.truetype(str(self._files[bold]), size * FINER, layout_engine=layout)
        font = self._fonts[bold, size]
        at = (x * FINER, y * FINER)
        self._draw.text(at, words, fill=colour, font=font, anchor="ra" if to_left else "la")

    def line(self, x0: float, y0: float, x1: float, y1: float, colour: Any) -> None:
        self._draw.line((x0 * FINER, y0 * FINER, x1 * FINER, y1 * FINER), fill=colour, width=FINER)

    def dot(self, x: float, y: float, *, filled: bool) -> None:
        radius = 3.5
        box = tuple(part * FINER for part in (x - radius, y - radius, x + radius, y + radius))
        self._draw.ellipse(box, fill=AFTER if filled else PAPER, outline=AFTER if filled else BEFORE, width=FINER + 1)
