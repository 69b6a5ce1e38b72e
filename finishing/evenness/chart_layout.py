"""Where everything stands on the chart of what was evened out. Pure: no picture, only places.

A set-up is a block of panels below each other, one a quantity. A frame stands at the same place across in all of
them, and its name below the last, so that what strays can be told by name.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from finishing.evenness.consistency import SetupConsistency
from finishing.evenness.words import QUANTITIES, Quantity
from finishing.units import format_number

#: Text, size in pixels, bold: its width in pixels.
Measure = Callable[[str, int, bool], float]

LEAST_WIDTH, MOST_WIDTH, MARGIN = 1140, 4000, 36
#: Left of a panel for its numbers, and right of it for the words that say which way is up.
NUMBERS, WAYS = 62, 100
TITLE, HEADING, CAPTION, PANEL, GAP = 34, 30, 20, 84, 14
BETWEEN = 30  # set-ups
TITLE_SIZE, HEADING_SIZE, TEXT_SIZE, SMALL = 17, 14, 11, 10
#: A frame has so much room across, as long as the chart stays within its width.
LEAST_CELL = 7.5
#: Names side by side keep so far apart, upright and lying.
UPRIGHT_APART, LYING_APART = 15.0, 10.0
#: Longer names lose their beginnings: names differ at their ends.
MOST_NAME = 150.0
GREATEST_DOT, LEAST_DOT = 3.5, 1.2
CAME, LEAVES = "as it came", "as it leaves"


@dataclass(frozen=True)
class Text:
    """Words whose box begins at x, y (its left top) and is width × height pixels; upright: read from below."""

    x: float
    y: float
    words: str
    size: int
    width: float
    height: float
    bold: bool = False
    quiet: bool = True
    upright: bool = False


@dataclass(frozen=True)
class Line:
    """kind: rule, zero (the rule at 0), frame (a faint upright above a name), came or leaves."""

    x0: float
    y0: float
    x1: float
    y1: float
    kind: str


@dataclass(frozen=True)
class Dot:
    """The value of one frame, as it came or as it leaves."""

    x: float
    y: float
    radius: float
    leaves: bool


@dataclass
class Page:
    """All of a chart, in pixels of the final picture; what comes later lies on top, dots over lines."""

    width: int
    height: int = 0
    texts: list[Text] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    dots: list[Dot] = field(default_factory=list)


def arranged(setups: Sequence[SetupConsistency], measure: Measure, session: str = "") -> Page:
    """The page of the set-ups' frames, in the order in which they were taken from left to right. session: its title."""
    most = max((len(setup.frames) for setup in setups), default=0)
    around = 2 * MARGIN + NUMBERS + WAYS
    page = Page(math.ceil(min(max(LEAST_WIDTH, around + most * LEAST_CELL), MOST_WIDTH)))
    writer = _Writer(page, measure)
    _title(writer, session)
    top = float(MARGIN + TITLE)
    for at, setup in enumerate(setups):
        top = _block(writer, setup, top + (BETWEEN if at else 0))
    page.height = math.ceil(top + MARGIN)
    return page


class _Writer:
    """Puts texts on a page with the room that they take."""

    def __init__(self, page: Page, measure: Measure) -> None:
        self.page, self.measure = page, measure

    def text(
        self, x: float, y: float, words: str, size: int = TEXT_SIZE, *, bold: bool = False, quiet: bool = True,
        from_right: bool = False,
    ) -> Text:  # fmt: skip
        """Words with their left (or right) end at x and their top at y."""
        width = self.measure(words, size, bold)
        text = Text(x - width if from_right else x, y, words, size, width, size * 1.3, bold, quiet)
        self.page.texts.append(text)
        return text

    def upright(self, x: float, y: float, words: str, size: int = TEXT_SIZE) -> None:
        """Words that read from below, centred at x, with their end at y."""
        width, height = size * 1.3, self.measure(words, size, False)
        self.page.texts.append(Text(x - width / 2, y, words, size, width, height, upright=True))


def _title(writer: _Writer, session: str) -> None:
    page = writer.page
    right = float(page.width - MARGIN)
    for words, leaves in ((LEAVES, True), (CAME, False)):
        text = writer.text(right, MARGIN, words, TEXT_SIZE + 1, from_right=True)
        page.dots.append(Dot(text.x - 9, MARGIN + text.height / 2, GREATEST_DOT, leaves))
        right = text.x - 34
    told = "Evened out"
    session = " ".join(session.split())
    if session:
        told = " · evened out"
        room = right - MARGIN - writer.measure(told, TITLE_SIZE, True)
        told = _cut(session, room, writer.measure) + told
    writer.text(MARGIN, MARGIN - 4, told, TITLE_SIZE, bold=True, quiet=False)


def _cut(title: str, room: float, measure: Measure) -> str:
    """A title as far as there is room for it."""
    if measure(title, TITLE_SIZE, True) <= room:
        return title
    kept = next(at for at in range(len(title), -1, -1) if measure(f"{title[:at]}…", TITLE_SIZE, True) <= room)
    return f"{title[:kept].rstrip()}…"


def _block(writer: _Writer, setup: SetupConsistency, top: float) -> float:
    """One set-up's panels and names; returns where it ends."""
    count = len(setup.frames)
    named = "All frames" if setup.setup is None else f"Set-up {setup.setup}"
    heading = f"{named}, {count} frame{'' if count == 1 else 's'}"
    writer.text(MARGIN, top, heading, HEADING_SIZE, bold=True, quiet=False)
    top += HEADING
    left, right = float(MARGIN + NUMBERS), float(writer.page.width - MARGIN - WAYS)
    cell = (right - left) / max(count, 1)
    across = [left + (at + 0.5) * cell for at in range(count)]
    first = top
    for quantity in QUANTITIES:
        top = _panel(writer, setup, quantity, (left, right), across, top) + GAP
    return _names(writer, setup.frames, across, cell, (first + CAPTION, top - GAP))


def _names(
    writer: _Writer, frames: Sequence[str], across: Sequence[float], cell: float, panels: tuple[float, float]
) -> float:
    """The frames' names below their dots; of many frames every second, fifth or tenth. Returns where they end."""
    names = [shortened(name, writer.measure) for name in frames]
    widths = [writer.measure(name, TEXT_SIZE, False) for name in names]
    lying = all(width + LYING_APART <= cell for width in widths)
    step = 1 if lying else _every(UPRIGHT_APART / cell)
    first, last = panels
    top, deepest = last + 8, 0.0
    for at in range(0, len(names), step):
        writer.page.lines.append(Line(across[at], first, across[at], last + 5, "frame"))
        if lying:
            writer.text(across[at] - widths[at] / 2, top, names[at])
            deepest = TEXT_SIZE * 1.3
        else:
            writer.upright(across[at], top, names[at])
            deepest = max(deepest, widths[at])
    return top + deepest


def _every(least: float) -> int:
    """The least of 1, 2, 5, 10, 20, 50 … that is no less: steps that are easily counted between."""
    power = 1
    while True:
        for part in (1, 2, 5):
            if part * power >= least:
                return part * power
        power *= 10


def shortened(name: str, measure: Measure) -> str:
    """A name on one line and not too long, its beginning left out where it is."""
    tidy = " ".join(name.split())
    if measure(tidy, TEXT_SIZE, False) <= MOST_NAME:
        return tidy
    start = next(at for at in range(1, len(tidy) + 1) if measure(f"…{tidy[at:]}", TEXT_SIZE, False) <= MOST_NAME)
    return f"…{tidy[start:]}"


def _panel(
    writer: _Writer,
    setup: SetupConsistency,
    quantity: Quantity,
    sides: tuple[float, float],
    across: Sequence[float],
    top: float,
) -> float:
    """One quantity of the frames; returns where the panel ends."""
    before, after = quantity.of(setup)
    left, right = sides
    lacking = sum(value is None for value in after)
    title = quantity.title
    if 0 < lacking < len(after):
        title += f" · {lacking} frame{'' if lacking == 1 else 's'} not measured"
    writer.text(left, top, title)
    top += CAPTION
    known = [value for value in (*before, *after) if value is not None]
    if not known:
        writer.text(left + 8, top + 2, "could not be measured")
        return top + CAPTION
    low, high, step = scale(min(known), max(known), quantity.least)

    def height(value: float) -> float:
        return top + PANEL * (high - value) / (high - low)

    for mark in range(round((high - low) / step) + 1):
        value = low + mark * step
        told = format_number(value, 3)
        kind = "zero" if told == "0" else "rule"
        writer.page.lines.append(Line(left, height(value), right, height(value), kind))
        told = told if told == "0" else ("−" if value < 0 else "+") + told.lstrip("-−")
        writer.text(left - 8, height(value) - SMALL * 0.65, told + quantity.unit, SMALL, from_right=True)
    writer.text(right + 8, top, f"↑ {quantity.more}")
    writer.text(right + 8, top + PANEL - TEXT_SIZE * 1.3, f"↓ {quantity.less}")
    radius = max(min(GREATEST_DOT, (right - left) / len(across) * 0.42), LEAST_DOT)
    for values, leaves in ((before, False), (after, True)):
        points = [(x, height(value)) for x, value in zip(across, values, strict=True) if value is not None]
        kind = "leaves" if leaves else "came"
        writer.page.lines += [Line(*one, *other, kind) for one, other in pairwise(points)]
        writer.page.dots += [Dot(x, y, radius, leaves) for x, y in points]
    return top + PANEL


def scale(smallest: float, largest: float, least: float) -> tuple[float, float, float]:
    """Lower end, upper end and step of an axis that takes in the values, at least `least` long, on round numbers."""
    middle, span = (smallest + largest) / 2, max((largest - smallest) * 1.1, least)
    power = 10.0 ** math.floor(math.log10(span / 3))
    step = next(power * part for part in (1, 2, 5, 10) if power * part * 3 >= span)
    low = math.floor((middle - span / 2) / step + 1e-9) * step
    return low, math.ceil((middle + span / 2) / step - 1e-9) * step, step
