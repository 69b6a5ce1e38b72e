"""The shoot plan's page drawn as PDF: the same content as the HTML, in two columns, shrunk until it fits one page.

Texts are texts, lines and dots are vectors. Same plan, same bytes: nothing of the clock or the machine goes in.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishing.sheets.model import Paper
from finishing.sheets.pdf import NO_DATE, new_document
from finishing.sheets.plan_page import (
    SCALE,
    Evening,
    Level,
    PlanPage,
    Rung,
    Section,
    clock_text,
    hours_between,
    lanes,
    place_on_scale,
)
from finishing.sheets.replacing import Replacing
from finishing.sheets.typeface import FAMILY, MM_PER_POINT, measure, printable

INK, QUIET, LINE, WASH = (37, 35, 31), (111, 106, 96), (221, 216, 204), (244, 241, 233)
AMBIENT, STROBE, ALERT = (176, 98, 31), (44, 95, 128), (154, 47, 36)
WHITE = (255, 255, 255)
_COLOURS = {"head": STROBE, "strobes": STROBE, "ambient": AMBIENT, "together": INK}

_MARGIN_MM = 12.0
_GAP_MM = 9.0
#: Type is never set smaller than this part of its size; longer plans take more pages.
_LEAST_SIZE = 0.72

Colour = tuple[int, int, int]


def draw_plan(page: PlanPage, path: Path, paper: Paper) -> Path:
    """Draw the page and return the path. Raises Problem where the PDF library is missing or the folder is closed."""
    document = new_document("plan as .html")
    document.set_creation_date(NO_DATE)
    document.set_title(page.title)
    sizes = (percent / 100 for percent in range(100, round(_LEAST_SIZE * 100), -4))
    size = next((one for one in sizes if len(_laid_out(page, paper, one)) == 1), _LEAST_SIZE)
    for blocks in _laid_out(page, paper, size):
        document.add_page(format=(paper.width_mm, paper.height_mm))
        for block, x, y in blocks:
            block.draw(_Pen(document, x, y, block.width, size))
    logging.getLogger("fontTools.subset").setLevel(logging.WARNING)
    data = bytes(document.output())
    with Replacing(path.parent) as files:
        files.open_for(path).write(data)
    return path


@dataclass
class _Pen:
    """Draws from the top of a block downward. document: None only measures. x, width: in mm; y: where it is, in mm."""

    document: Any
    x: float
    y: float
    width: float
    size: float

    def words(
        self, text: str, at: float, points: float, colour: Colour = INK, *, bold: bool = False, right: bool = False
    ) -> float:
        """One line of text, its baseline at y; at: mm from the left edge (of its right end). Gives its width."""
        text = printable(text, bold)
        wide = measure(text, points * self.size, bold)
        if self.document is not None:
            self.document.set_font(FAMILY, "B" if bold else "", points * self.size)
            self.document.set_text_color(*colour)
            self.document.text(self.x + at - (wide if right else 0), self.y, text)
        return wide

    def paragraph(
        self, text: str, points: float, colour: Colour = INK, *, bold: bool = False, at: float = 0.0, width: float = 0.0
    ) -> None:
        """Lines as wide as there is room, each moving y down."""
        for line in folded(text, (width or self.width) - at, points * self.size, bold):
            self.down(points * 1.3)
            self.words(line, at, points, colour, bold=bold)

    def down(self, points: float) -> None:
        """Move down by points of the set size."""
        self.y += points * self.size * MM_PER_POINT

    def line(self, x1: float, y1: float, x2: float, y2: float, colour: Colour, thick: float = 0.2) -> None:
        """From (x1, y1) to (x2, y2): mm from the left edge and down from y."""
        if self.document is not None:
            self.document.set_draw_color(*colour)
            self.document.set_line_width(thick)
            self.document.line(self.x + x1, self.y + y1, self.x + x2, self.y + y2)

    def dot(self, x: float, y: float, radius: float, colour: Colour, *, hollow: bool = False) -> None:
        if self.document is not None:
            self.document.set_draw_color(*colour)
            self.document.set_line_width(0.5)
            self.document.set_fill_color(*(WHITE if hollow else colour))
            self.document.circle(self.x + x, self.y + y, radius, style="DF")

    def box(self, x: float, y: float, width: float, height: float, fill: Colour, edge: Colour | None = None) -> None:
        if self.document is not None:
            self.document.set_fill_color(*fill)
            self.document.set_draw_color(*(edge or fill))
            self.document.set_line_width(0.3)
            self.document.rect(self.x + x, self.y + y, width, height, style="DF" if edge else "F")

    def path(self, points: Sequence[tuple[float, float]], colour: Colour) -> None:
        if self.document is not None:
            self.document.set_draw_color(*colour)
            self.document.set_line_width(0.7)
            self.document.polyline([(self.x + x, self.y + y) for x, y in points])


def folded(text: str, width: float, points: float, bold: bool) -> list[str]:
    """A text as lines no wider than `width` mm; a word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and measure(longer, points, bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True)
class _Block:
    """Something drawn as one piece. width: mm."""

    width: float
    draw: Callable[[_Pen], None]

    def height(self, size: float) -> float:
        pen = _Pen(None, 0, 0, self.width, size)
        self.draw(pen)
        return pen.y


Placed = list[tuple[_Block, float, float]]


def _laid_out(page: PlanPage, paper: Paper, size: float) -> list[Placed]:
    """Pages of blocks with their places: the head over the whole width, set-ups in columns, the rest at the foot."""
    wide = paper.width_mm - 2 * _MARGIN_MM
    count = 2 if paper.width_mm >= 170 and len(page.sections) > 1 else 1
    column = (wide - _GAP_MM * (count - 1)) / count
    bottom = paper.height_mm - _MARGIN_MM
    head = _Block(wide, lambda pen: _head(pen, page))
    pages: list[Placed] = [[(head, _MARGIN_MM, _MARGIN_MM)]]
    top = _MARGIN_MM + head.height(size)
    levels = [top] * count
    at = 0
    for section in page.sections:
        block = _Block(column, lambda pen, section=section: _section(pen, section))  # type: ignore[misc]
        height = block.height(size)
        while at < count and levels[at] + height > bottom and levels[at] > top:
            at += 1
        if at == count:
            pages.append([])
            at, top = 0, _MARGIN_MM
            levels = [top] * count
        pages[-1].append((block, _MARGIN_MM + at * (column + _GAP_MM), levels[at]))
        levels[at] += height
    foot = _Block(wide, lambda pen: _foot(pen, page))
    lowest = max(levels)
    if lowest + foot.height(size) > bottom:
        pages.append([])
        lowest = _MARGIN_MM
    pages[-1].append((foot, _MARGIN_MM, lowest))
    return pages


def _head(pen: _Pen, page: PlanPage) -> None:
    pen.down(18)
    pen.words(page.title, 0, 18, bold=True)
    pen.down(2)
    pen.paragraph(" · ".join(page.facts), 8.5, QUIET)
    if page.evening is not None:
        pen.down(8)
        _evening(pen, page.evening)
    pen.down(7)


def _section(pen: _Pen, section: Section) -> None:
    pen.line(0, 0, pen.width, 0, LINE)
    pen.down(5)
    time = 0.0
    if section.time:
        pen.down(10.5 * 1.3)
        time = pen.words(section.time, pen.width, 8.5, QUIET, right=True) + 3
        pen.down(-10.5 * 1.3)
    pen.paragraph(f"{section.id}  {section.title}", 10.5, bold=True, width=pen.width - time)
    pen.down(22)
    at = 0.0
    for one in section.settings:
        at += pen.words(one, at, 15, bold=True) + 4 * pen.size
    pen.words(section.settings_note, at, 8, QUIET)
    pen.down(6)
    _levels(pen, section.levels)
    if section.ladder:
        _rungs(pen, "Shutter for the ambient at", section.ladder)
    if section.clock:
        _rungs(pen, section.clock_title, section.clock)
    pen.down(3)
    for fact in section.facts:
        pen.paragraph(fact, 8)
    for what, remedy in section.warnings:
        pen.down(4)
        start = pen.y
        pen.paragraph(what, 8, ALERT, bold=True, at=3)
        pen.paragraph(remedy, 8, at=3)
        pen.down(2)
        pen.line(0.5, start - pen.y + 0.6, 0.5, 0, ALERT, 0.8)
    pen.down(10)


def _levels(pen: _Pen, levels: Sequence[Level]) -> None:
    """A row a light: name, reading, its dot on the scale, the figure."""
    if not levels:
        return
    left, right = pen.width * 0.42, pen.width - 13 * pen.size

    def x(stops: float) -> float:
        return left + (right - left) * place_on_scale(stops)

    for level in levels:
        pen.down(13)
        pen.words(level.name, 0, 9, _COLOURS[level.kind])
        pen.words(level.reads, left - 4 * pen.size, 9, right=True)
        pen.words(level.told, pen.width, 9, right=True)
        middle = -1.1 * pen.size
        pen.line(left, middle, right, middle, LINE)
        pen.line(x(0), middle - 1.4, x(0), middle + 1.4, QUIET)
        if level.stops is not None:
            pen.dot(x(level.stops), middle, 1.15 * pen.size, _COLOURS[level.kind], hollow=level.kind == "head")
        if level.detail:
            pen.paragraph(level.detail, 7, QUIET)
    pen.down(9)
    for stops in range(int(SCALE[0]), int(SCALE[1]) + 1):
        text = f"{'+' if stops > 0 else '−' if stops < 0 else ''}{abs(stops)}"
        pen.words(text, x(stops) + measure(text, 6 * pen.size) / 2, 6, QUIET, right=True)


def _rungs(pen: _Pen, title: str, rungs: Sequence[Rung]) -> None:
    """A heading, and the shutters as small boxes side by side, on more lines where they need them."""
    pen.down(3)
    pen.paragraph(title, 7.5, QUIET)
    pen.down(3)
    at, tall = 0.0, (27 if any(rung.note for rung in rungs) else 20) * pen.size * MM_PER_POINT
    top = pen.y
    for rung in rungs:
        texts = ((rung.label, 7.0, False), (rung.shutter, 9.0, True), (rung.note, 6.5, False))
        wide = max(max(measure(text, points * pen.size, bold) for text, points, bold in texts) + 3.2, 15 * pen.size)
        if at > 0 and at + wide > pen.width:
            at, top = 0.0, top + tall + 1.4
        pen.y = top
        pen.box(at, 0, wide, tall, WHITE if rung.now else WASH, AMBIENT if rung.now else None)
        for (text, points, bold), colour in zip(texts, (QUIET, INK, QUIET), strict=True):
            pen.down(points * 1.12)
            pen.words(text, at + 1.6, points, colour, bold=bold)
        at += wide + 1.4
    pen.y = top + tall


def _foot(pen: _Pen, page: PlanPage) -> None:
    pen.line(0, 0, pen.width, 0, LINE)
    pen.down(3)
    for heading, lines in (*page.notes, ("Take care", page.cautions)):
        pen.down(2)
        pen.paragraph(heading, 8, INK, bold=True)
        for line in lines:
            pen.paragraph(line, 7.5, QUIET)


def _evening(pen: _Pen, evening: Evening) -> None:
    """Daylight falling over the clock, sunset and twilight, and the set-ups' times under it."""
    wide, tall = min(pen.width, 120.0), 22.0 * pen.size
    most, least = (pick(stops for _, stops in evening.curve) for pick in (max, min))

    def x(minute: float) -> float:
        return wide * (minute - evening.start) / (evening.end - evening.start)

    def y(stops: float) -> float:
        return tall * (most - stops) / max(most - least, 1e-9)

    curve = (2 + 9 * len(evening.marks)) * pen.size * MM_PER_POINT
    for index, (label, minute) in enumerate(evening.marks):  # each label a row of its own: they may stand close
        pen.down(9)
        pen.words(label, x(minute), 6.5, AMBIENT, right=x(minute) > wide / 2)
        above = (index + 1) * 9 * pen.size * MM_PER_POINT
        pen.line(x(minute), 0.8, x(minute), curve - above + tall, AMBIENT, 0.2)
    pen.down(2)
    for minute in hours_between(evening.start, evening.end):
        pen.line(x(minute), 0, x(minute), tall, LINE)
    pen.path([(x(minute), y(stops)) for minute, stops in evening.curve], AMBIENT)
    pen.y += tall
    pen.y -= 0.8
    pen.words(f"daylight, {least - most:+.1f} stops from left to right".replace("-", "−"), 1, 6.5, QUIET)
    pen.y += 0.8
    pen.down(8)
    for minute in hours_between(evening.start, evening.end):
        text = clock_text(minute)
        pen.words(text, x(minute) + measure(text, 6.5 * pen.size) / 2, 6.5, QUIET, right=True)
    row = 9 * pen.size * MM_PER_POINT
    pen.y += 1.2
    placed = lanes(evening)
    for label, start, end, lane in placed:
        pen.box(x(start), lane * (row + 0.6), max(x(end) - x(start), 0.8), row, (214, 224, 231))
        pen.y += lane * (row + 0.6) + row * 0.74
        pen.words(label, x(start) + 0.8, 7)
        pen.y -= lane * (row + 0.6) + row * 0.74
    pen.y += (row + 0.6) * (1 + max((lane for *_, lane in placed), default=0))
