"""The page that shows what the strobes did: a map with contour lines, and the two lights as pictures beside it."""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import LUMINANCE
from finishing.colour.transfer import srgb_encode
from finishing.light.stops_map import LEVELS, Level, StopsMap
from finishing.units import format_stops

Bytes = NDArray[np.uint8]

#: The six bands from the ambient alone to the strobe alone, as sRGB: cool where daylight leads, warm where the strobe
#: does, both paler toward balance. They differ in lightness as well as in hue.
BANDS = ((44, 84, 132), (98, 142, 184), (178, 202, 222), (246, 220, 184), (232, 166, 96), (202, 106, 34))
PAPER, INK, QUIET, RULE = (255, 255, 255), (30, 30, 30), (104, 104, 104), (214, 214, 214)
LINE, BALANCE, MOVED, CLIPPED = (255, 255, 255), (20, 20, 20), (150, 30, 90), (255, 255, 255)
MARGIN, GAP, TITLE = 40, 28, 92
MAP_BOX, SIDE_BOX = (1000, 860), (400, 300)
#: Drawn this many times larger and brought down, for smooth lines.
FINER = 2
#: Contours shorter than this share of the map's circumference are left out; and where the map changes by more than
#: this within a hundredth of its long edge a body ends, which needs no lines: they stay where light fades.
SHORTEST, STEEP = 0.03, 0.9
#: Marks on less than this share of the map are not explained below it.
WORTH_TELLING = 0.0005
#: What a file of ours says of itself, so that a later run knows that it may write over it.
MARK = ("Software", "finishing: light")


@dataclass(frozen=True, eq=False)
class Page:
    """What is shown. ambient, strobe: float32 (3, height, width), linear working light as it lit the first frame, at
    the map's size; found: the map; clipped: (height, width), 2 where the lights could not be told apart; moved: where
    the light of one frame was kept. place: the subject, in fractions; level: what was measured there; said_place:
    whether the place was given, else it is the middle. caption: of the first frame; notes: lines at the foot."""

    ambient: NDArray[np.float32]
    strobe: NDArray[np.float32]
    found: StopsMap
    clipped: NDArray[np.uint8]
    moved: NDArray[np.bool_]
    place: tuple[float, float]
    level: Level
    said_place: bool
    caption: str
    notes: Sequence[str] = ()


def draw_page(page: Page, font: Path, bold: Path) -> bytes:
    """A PNG, the same bytes for the same light. font, bold: TrueType files."""
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    height, width = page.found.stops.shape
    map_size, side_size = _fitted(width, height, MAP_BOX), _fitted(width, height, SIDE_BOX)
    pictures = ((page.ambient + page.strobe, page.caption), (page.ambient, "Ambient alone"),
                (page.strobe, "Strobe alone"))  # fmt: skip
    side_height = 3 * (side_size[1] + 24) + 2 * 14
    body = max(map_size[1] + 108 + 20 * len(page.notes), side_height)
    total_width = 2 * MARGIN + map_size[0] + GAP + side_size[0]
    total_height = MARGIN + TITLE + body + MARGIN - 16
    image = Image.new("RGB", (total_width * FINER, total_height * FINER), PAPER)
    pen = _Pen(ImageDraw.Draw(image), font, bold)
    pen.text(MARGIN, MARGIN - 6, "Strobe over ambient, in stops, place by place", 24, INK, strong=True)
    pen.text(MARGIN, MARGIN + 32, sentence(page.level, page.said_place), 15, QUIET)
    top = MARGIN + TITLE - 16
    image.paste(Image.fromarray(_map(page, map_size)), (MARGIN * FINER, top * FINER))
    _contours(pen, page, map_size, MARGIN, top)
    _subject(pen, page, map_size, MARGIN, top)
    _legend(pen, page, MARGIN, top + map_size[1] + 18, map_size[0])
    left, at = MARGIN + map_size[0] + GAP, top
    for light, caption in pictures:
        image.paste(Image.fromarray(_picture(light, side_size)), (left * FINER, at * FINER))
        pen.text(left, at + side_size[1] + 6, caption, 13, INK)
        at += side_size[1] + 24 + 14
    for index, note in enumerate(page.notes):
        pen.text(MARGIN, top + map_size[1] + 112 + 20 * index, note, 12, QUIET)
    small = image.resize((total_width, total_height), Image.Resampling.LANCZOS)
    chunks, file = PngInfo(), io.BytesIO()
    chunks.add(b"sRGB", b"\x00")
    chunks.add_text(*MARK)
    small.save(file, format="PNG", pnginfo=chunks)
    return file.getvalue()


#: Above and below the map of a figure: for the sentence; for the bands, what they and the marks mean, and the notes.
FIGURE_HEAD, FIGURE_FOOT = 40, 136


def figure_size(width: int, height: int) -> tuple[int, int]:
    """The shape of the figure of a frame of this size."""
    across, down = _fitted(width, height, MAP_BOX)
    return across, FIGURE_HEAD + down + FIGURE_FOOT


def draw_figure(page: Page, width: int, height: int, font: Path, bold: Path) -> Bytes:
    """The map alone, with its sentence and its legend, for a page that has the pictures beside it: sRGB codes (rows,
    columns, 3) of the shape `figure_size`. width, height: of the frame."""
    from PIL import Image, ImageDraw

    size = figure_size(width, height)
    image = Image.new("RGB", (size[0] * FINER, size[1] * FINER), PAPER)
    pen = _Pen(ImageDraw.Draw(image), font, bold)
    of_map = size[0], size[1] - FIGURE_HEAD - FIGURE_FOOT
    pen.text(0, 4, sentence(page.level, page.said_place), min(20, round(size[0] / 36)), INK)
    image.paste(Image.fromarray(_map(page, of_map)), (0, FIGURE_HEAD * FINER))
    _contours(pen, page, of_map, 0, FIGURE_HEAD)
    _subject(pen, page, of_map, 0, FIGURE_HEAD)
    foot = FIGURE_HEAD + of_map[1]
    _legend(pen, page, 0, foot + 14, of_map[0])
    if len(page.notes) > 1:  # the first names the frames, which the page does
        pen.text(0, foot + 110, " · ".join(page.notes[1:]), 12, QUIET)
    return np.asarray(image)


def draw_refusal(message: str, width: int, height: int, font: Path, bold: Path) -> Bytes:
    """A figure of that shape that says why there is none."""
    import textwrap

    from PIL import Image, ImageDraw

    size = figure_size(width, height)
    image = Image.new("RGB", (size[0] * FINER, size[1] * FINER), RULE)
    pen = _Pen(ImageDraw.Draw(image), font, bold)
    for index, line in enumerate(textwrap.wrap(message, max(20, size[0] // 11))):
        pen.text(24, 24 + 26 * index, line, 18, INK)
    return np.asarray(image)


def light_codes(light: NDArray[np.float32], width: int, height: int) -> Bytes:
    """Linear working light (3, rows, columns) as sRGB codes of at most this size; what lies above white is cut."""
    import cv2

    rows, columns = light.shape[1:]
    scale = min(width / columns, height / rows, 1)
    size = max(1, round(columns * scale)), max(1, round(rows * scale))
    small = np.stack([cv2.resize(plane, size, interpolation=cv2.INTER_AREA) for plane in light], axis=-1)
    return np.round(srgb_encode(np.clip(small, 0, 1)) * 255).astype(np.uint8)


def sentence(level: Level, said_place: bool) -> str:
    """What the strobe does at the subject, in words."""
    where = "At the subject" if said_place else "In the middle of the frame"
    if level.strobe is None and level.ambient is None:
        return f"{where} there is no light to measure."
    if level.over_ambient is None:
        return f"{where} there is {'the strobe' if level.ambient is None else 'the ambient'} alone."
    size = abs(level.over_ambient)
    if size < 0.05:
        return f"{where} strobe and ambient are in balance."
    amount = f"{size:.1f} stop" + ("" if size < 1.05 else "s")
    return f"{where} the strobe is {amount} {'over' if level.over_ambient > 0 else 'under'} the ambient."


def _fitted(width: int, height: int, box: tuple[int, int]) -> tuple[int, int]:
    scale = min(box[0] / width, box[1] / height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def _resized(plane: NDArray[Any], size: tuple[int, int], *, nearest: bool = False) -> NDArray[Any]:
    """At FINER times a size in units of the page."""
    import cv2

    wanted = (size[0] * FINER, size[1] * FINER)
    smaller = wanted[0] < plane.shape[1]
    way = cv2.INTER_NEAREST if nearest else cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(plane, wanted, interpolation=way))


def _picture(light: NDArray[np.float32], size: tuple[int, int]) -> Bytes:
    small = np.stack([_resized(plane, size) for plane in light], axis=-1)
    return np.round(srgb_encode(np.clip(small, 0, 1)) * 255).astype(np.uint8)


def _map(page: Page, size: tuple[int, int]) -> Bytes:
    """The frame in tints: the band gives the colour, the picture itself only enough of its light to be recognised."""
    stops = _resized(page.found.stops, size)
    tint = np.array(BANDS, np.float32)[np.digitize(stops, LEVELS)]
    light = np.tensordot(LUMINANCE.astype(np.float32), page.ambient + page.strobe, 1)
    grey = srgb_encode(np.clip(_resized(light, size), 0, 1))
    grey = np.clip(grey / max(float(np.quantile(grey, 0.98)), 0.05), 0, 1)
    shaded = tint * (0.42 + 0.58 * grey[..., None])
    told = _resized(page.found.told.astype(np.uint8), size, nearest=True) > 0
    shaded[~told] = 70 + 40 * grey[~told][:, None]
    y, x = np.ogrid[: stops.shape[0], : stops.shape[1]]
    lost = _resized((page.clipped == 2).astype(np.uint8), size, nearest=True) > 0
    stripes = (x + y) // FINER % 7 < 1
    shaded[lost & stripes] = CLIPPED
    moved = _resized(page.moved.astype(np.uint8), size, nearest=True) > 0
    shaded[moved & ((x - y) // FINER % 9 < 2)] = MOVED
    return np.round(np.clip(shaded, 0, 255)).astype(np.uint8)


def _contours(pen: "_Pen", page: Page, size: tuple[int, int], left: int, top: int) -> None:
    """Lines of equal stops, the line of balance dark, each with its number on its longest piece."""
    import cv2

    stops = cv2.GaussianBlur(_resized(page.found.stops, size), (0, 0), 1.5 * FINER)
    reach = max(stops.shape) / 100
    slope = np.hypot(cv2.Scharr(stops, -1, 1, 0, scale=1 / 32), cv2.Scharr(stops, -1, 0, 1, scale=1 / 32)) * reach
    gentle = cv2.morphologyEx((slope < STEEP).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)) > 0
    gentle &= _resized((page.found.told & (page.clipped < 2)).astype(np.uint8), size, nearest=True) > 0
    around = 2 * (size[0] + size[1])
    # the subject's mark and its plate keep their place
    x, y = page.place[0] * size[0], page.place[1] * size[1]
    up = 0.03 * max(size) + 18
    taken = [(x, y), (x, y - up), (x - 48, y - up), (x + 48, y - up)]
    labels = []
    for level in sorted(LEVELS, key=abs, reverse=True):
        over = np.pad((stops >= level).astype(np.uint8), 1)
        lines, _ = cv2.findContours(over, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        pieces = [piece for line in lines for piece in _inside(line[:, 0] - 1, gentle)]
        pieces = [piece for piece in pieces if len(piece) / FINER >= SHORTEST * around]
        for piece in pieces:
            smooth = _smoothed(piece) / FINER
            points = [(left + x, top + y) for x, y in smooth]
            pen.path(points, BALANCE if level == 0 else LINE, 2.0 if level == 0 else 1.3)
        for piece in sorted(pieces, key=len, reverse=True)[:2]:
            spot = _free_spot(piece / FINER, taken, size)
            if spot is not None:
                taken.append(spot)
                labels.append((left + spot[0], top + spot[1], level))
    for x, y, level in labels:
        pen.label(x, y, format_stops(level), dark=level == 0)


def _inside(line: NDArray[Any], kept: NDArray[np.bool_]) -> list[NDArray[Any]]:
    """The parts of a closed contour that lie where lines are kept, and not along the border of the map."""
    x, y = line[:, 0], line[:, 1]
    rows, columns = kept.shape
    within = (x > 0) & (y > 0) & (x < columns - 1) & (y < rows - 1)
    within &= kept[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)]
    if within.all():
        return [np.vstack([line, line[:1]])]
    start = int(np.argmin(within))
    line, within = np.roll(line, -start, axis=0), np.roll(within, -start)
    cuts = np.flatnonzero(np.diff(within.astype(np.int8))) + 1
    return [part for part, on in zip(np.split(line, cuts), np.split(within, cuts), strict=True) if on.all()]


def _smoothed(piece: NDArray[Any], reach: int = 5) -> NDArray[np.float64]:
    """The stairs of a contour of pixels taken out; the ends stay."""
    points = piece.astype(np.float64)
    if len(points) < 4 * reach:
        return points
    closed = bool((piece[0] == piece[-1]).all())
    padded = np.pad(points[:-1] if closed else points, ((reach, reach), (0, 0)), "wrap" if closed else "edge")
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    smooth = np.stack([np.convolve(padded[:, axis], kernel, "valid") for axis in (0, 1)], axis=1)
    return np.vstack([smooth, smooth[:1]]) if closed else smooth


def _free_spot(
    points: NDArray[Any], taken: Sequence[tuple[float, float]], size: tuple[int, int]
) -> tuple[float, float] | None:
    """A place on a contour for its number: away from the border and from other numbers, near the contour's middle."""
    for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9):
        x, y = (float(part) for part in points[int(share * (len(points) - 1))])
        free = all(math.hypot(x - a, y - b) > 52 for a, b in taken)
        if 26 < x < size[0] - 26 and 18 < y < size[1] - 18 and free:
            return x, y
    return None


def _subject(pen: "_Pen", page: Page, size: tuple[int, int], left: int, top: int) -> None:
    x, y = left + page.place[0] * size[0], top + page.place[1] * size[1]
    radius = 0.03 * max(size)
    pen.ring(x, y, radius, (255, 255, 255), 4.0)
    pen.ring(x, y, radius, INK, 2.0)
    over = page.level.over_ambient
    told = "no measure" if over is None else f"{over:+.1f}".replace("-", "−")
    pen.label(x, y - radius - 18, f"{'subject' if page.said_place else 'middle'} {told}", dark=True, size=18)


def _legend(pen: "_Pen", page: Page, left: float, top: float, width: float) -> None:
    """The bands in a row with the levels on their borders, and in words what they mean."""
    long = min(width, 760)
    step = long / len(BANDS)
    for index, band in enumerate(BANDS):
        pen.box(left + index * step, top, left + (index + 1) * step, top + 20, band)
    for index, level in enumerate(LEVELS, 1):
        x = left + index * step
        pen.line(x, top - 3, x, top + 23, BALANCE if level == 0 else LINE, 2.2 if level == 0 else 1.3)
        pen.text(x, top + 26, format_stops(level), 14, INK, strong=level == 0, anchor="ma")
    pen.text(left, top + 48, "ambient leads", 13, QUIET)
    pen.text(left + long / 2, top + 48, "balance", 13, QUIET, anchor="ma")
    pen.text(left + long, top + 48, "strobe leads", 13, QUIET, anchor="ra")
    marks = []
    if (page.clipped == 2).mean() > WORTH_TELLING:
        marks.append("white stripes: too bright to be sure")
    if page.moved.mean() > WORTH_TELLING:
        marks.append("red stripes: moved, split as around it")
    if (~page.found.told).mean() > WORTH_TELLING:
        marks.append("grey: too dark to tell")
    if marks:
        pen.text(left, top + 74, " · ".join(marks), 12, QUIET)


class _Pen:
    """Draws in units of the final picture."""

    def __init__(self, draw: Any, font: Path, bold: Path) -> None:
        self._draw, self._files = draw, {False: font, True: bold}
        self._fonts: dict[tuple[bool, int], Any] = {}

    def _font(self, size: int, strong: bool) -> Any:
        from PIL import ImageFont

        if (strong, size) not in self._fonts:
            self._fonts[strong, size] = ImageFont.truetype(
                str(self._files[strong]), size * FINER, layout_engine=ImageFont.Layout.BASIC
            )
        return self._fonts[strong, size]

    def text(
        self, x: float, y: float, words: str, size: int, colour: Any, *, strong: bool = False, anchor: str = "la"
    ) -> None:
        self._draw.text((x * FINER, y * FINER), words, fill=colour, font=self._font(size, strong), anchor=anchor)

    def label(self, x: float, y: float, words: str, *, dark: bool, size: int = 14) -> None:
        """A number on a small plate, its middle here."""
        font = self._font(size, True)
        half = self._draw.textlength(words, font=font) / FINER / 2 + 6
        box = (x - half, y - size * 0.72, x + half, y + size * 0.72)
        self._draw.rounded_rectangle(
            tuple(part * FINER for part in box), radius=size * 0.4 * FINER, fill=BALANCE if dark else LINE
        )
        self._draw.text((x * FINER, y * FINER), words, fill=LINE if dark else INK, font=font, anchor="mm")

    def line(self, x0: float, y0: float, x1: float, y1: float, colour: Any, width: float) -> None:
        self.path([(x0, y0), (x1, y1)], colour, width)

    def path(self, points: Sequence[tuple[float, float]], colour: Any, width: float) -> None:
        self._draw.line(
            [(x * FINER, y * FINER) for x, y in points], fill=colour, width=round(width * FINER), joint="curve"
        )

    def ring(self, x: float, y: float, radius: float, colour: Any, width: float) -> None:
        box = tuple(part * FINER for part in (x - radius, y - radius, x + radius, y + radius))
        self._draw.ellipse(box, outline=colour, width=round(width * FINER))

    def box(self, x0: float, y0: float, x1: float, y1: float, colour: Any) -> None:
        self._draw.rectangle((x0 * FINER, y0 * FINER, x1 * FINER - 1, y1 * FINER - 1), fill=colour)
