"""How many pictures stand side by side, how large they are, and which lines go on which page. Pure.

Every group is laid out in the columns of its own looks. All pictures of a sheet have the same area, so that portrait
and landscape frames weigh alike; shapes longer than `WIDEST_SHAPE` are fitted inside. The area is chosen as large as
the fewest pages allow, counted at a comfortable size. Only where groups differ in columns, those with fewer and wider
ones get larger pictures, as far as that takes no further page. Sizes here are for an area of 1 mm² where they are
called factors: a picture's side is the factor times the square root of the area.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.captions import Caption
from finishing.sheets.model import Cell

_STEP = 0.97  # the ratio of successive picture sides that are tried


def side_factors(shape: float) -> tuple[float, float]:
    """Width and height of a picture of this shape (width over height) at an area of 1 mm²."""
    if shape > style.WIDEST_SHAPE:
        width = math.sqrt(style.WIDEST_SHAPE)
        return width, width / shape
    if shape < style.TALLEST_SHAPE:
        height = math.sqrt(1 / style.TALLEST_SHAPE)
        return height * shape, height
    return math.sqrt(shape), math.sqrt(1 / shape)


def shape_of(cell: Cell, row: Sequence[Cell | None]) -> float:
    """The cell's shape; where it is not known, that of its row's first known picture, or 3:2."""
    for one in (cell, *row):
        if one is not None and one.width_px > 0 and one.height_px > 0:
            return one.width_px / one.height_px
    return style.UNKNOWN_SHAPE


@dataclass(frozen=True)
class Slot:
    """A cell with its picture's side factors and its caption, fitted to the column."""

    cell: Cell
    width: float
    height: float
    caption: Caption


@dataclass(frozen=True)
class Line:
    """Panels side by side, each a run of slots (None: left empty)."""

    panels: tuple[tuple[Slot | None, ...], ...]

    @cached_property
    def tallest(self) -> float:
        """The height factor of the tallest picture."""
        return max((slot.height for panel in self.panels for slot in panel if slot), default=0.0)

    @cached_property
    def captions(self) -> float:
        """The height of the captions with the space above them."""
        heights = [slot.caption.tones_height + slot.caption.height for panel in self.panels for slot in panel if slot]
        return style.CAPTION_GAP_MM + max(heights) if any(heights) else 0.0

    def height(self, side: float) -> float:
        """The whole line's height; side: the square root of the pictures' area."""
        return 2 * style.PANEL_PAD_MM + side * self.tallest + self.captions


@dataclass(frozen=True)
class Columns:
    """Panels across a page and slots on each; `titled`: the slots stand for the looks, one each."""

    panels: int
    slots: int
    titled: bool

    @property
    def across(self) -> int:
        """Pictures across a page."""
        return self.panels * self.slots

    def panel_width(self, width: float) -> float:
        """The width of a full panel on a line of this width."""
        return (width - (self.panels - 1) * style.PANEL_GAP_MM) / self.panels

    def slot_width(self, width: float) -> float:
        """The width of one slot on a line of this width."""
        inner = self.panel_width(width) - 2 * style.PANEL_PAD_MM - (self.slots - 1) * style.SLOT_GAP_MM
        return inner / self.slots

    def run_width(self, width: float, slots: int) -> float:
        """The width of a panel with this many slots."""
        return 2 * style.PANEL_PAD_MM + slots * self.slot_width(width) + (slots - 1) * style.SLOT_GAP_MM


def fewest_columns(looks: int, width: float) -> Columns:
    """One frame across: its looks side by side, or on several lines where they would become too narrow."""
    for lines in range(1, looks + 1):
        columns = Columns(1, math.ceil(looks / lines), lines == 1 and looks > 1)
        if columns.slot_width(width) >= style.LEAST_SLOT_MM:
            return columns
    return Columns(1, 1, False)


def asked_columns(asked: int, looks: int, width: float) -> Columns:
    """The columns a user asked for: whole frames across, or a frame's looks on several lines.

    Raises Problem where the pictures would become too narrow.
    """
    if asked < 1:
        raise Problem("a contact sheet has at least one column", got=str(asked), remedy="ask for 1 or more columns")
    if looks == 1:
        columns = Columns(1, asked, False)
    elif asked >= looks:
        columns = Columns(asked // looks, looks, True)
    else:
        columns = Columns(1, math.ceil(looks / math.ceil(looks / asked)), False)
    if columns.slot_width(width) < style.LEAST_ASKED_SLOT_MM:
        raise Problem(
            "the columns become too narrow for the paper",
            got=f"{asked} columns on {width:.0f} mm",
            expected=f"columns of at least {style.LEAST_ASKED_SLOT_MM:g} mm",
            remedy="ask for fewer columns or for larger paper",
        )
    return columns


class Block:
    """A group ready to be put in lines: the heights of its headings, and the extremes of its pictures.

    rows: one a frame, each with a cell, or None, for every look of the group; looks: how many these are. width: of a
    line, in millimetres. captioned(cell, width, titled) fits a cell's caption into a column; titled: whether the column
    has its look's title above it.
    """

    def __init__(
        self,
        rows: Sequence[tuple[Cell | None, ...]],
        width: float,
        captioned: Callable[[Cell, float, bool], Caption],
        heading: float,
        continued: float,
        titles: float,
    ) -> None:
        self.looks = len(rows[0])
        self.width = width
        self.heading = heading
        self.continued = continued
        self._titles = titles
        self._captioned = captioned
        self._rows = rows
        factors = [side_factors(shape_of(cell, row)) for row in self._rows for cell in row if cell]
        self.widest = max(width for width, _ in factors)
        self.tallest = max(height for _, height in factors)
        self._lines: dict[Columns, tuple[Line, ...]] = {}

    def titles(self, columns: Columns) -> float:
        """The height of the looks' names above the columns, which a single look has once."""
        return self._titles if columns.titled or self.looks == 1 else 0.0

    def columns_for(self, side: float) -> Columns:
        """As many columns as pictures of this side leave room for."""
        best = fewest_columns(self.looks, self.width)
        if self.looks > 1 and not best.titled:
            return best
        while True:
            wider = Columns(best.panels + 1, best.slots, True) if self.looks > 1 else Columns(1, best.slots + 1, False)
            if wider.slot_width(self.width) < max(side * self.widest, style.LEAST_SLOT_MM):
                return best
            best = wider

    def lines(self, columns: Columns) -> tuple[Line, ...]:
        """The group's lines for these columns."""
        if columns not in self._lines:
            self._lines[columns] = tuple(self._made_lines(columns))
        return self._lines[columns]

    def captions(self, columns: Columns) -> float:
        """The height of the highest captions with the space above them."""
        return max(line.captions for line in self.lines(columns))

    def _made_lines(self, columns: Columns) -> Iterator[Line]:
        column, titled = columns.slot_width(self.width), columns.titled or self.looks == 1

        def slot(cell: Cell, row: Sequence[Cell | None]) -> Slot:
            return Slot(cell, *side_factors(shape_of(cell, row)), self._captioned(cell, column, titled))

        rows = [tuple(None if cell is None else slot(cell, row) for cell in row) for row in self._rows]
        if self.looks == 1:
            for at in range(0, len(rows), columns.slots):
                yield Line((tuple(row[0] for row in rows[at : at + columns.slots]),))
        elif columns.titled:
            for at in range(0, len(rows), columns.panels):
                yield Line(tuple(rows[at : at + columns.panels]))
        else:
            for row in rows:
                for at in range(0, self.looks, columns.slots):
                    part = row[at : at + columns.slots]
                    if any(part):
                        yield Line((part,))


@dataclass(frozen=True)
class Frame:
    """The area of a page for pictures: width, and height on the first and on later pages, in millimetres."""

    width: float
    first_height: float
    later_height: float


@dataclass(frozen=True)
class Set:
    """A line at its place: page from 0, top from the frame's top, where its heading stands if it has one.

    side: the square root of its pictures' area. lead: "heading" for a group's first line, "continued" for its first
    line on a further page, else "".
    """

    page: int
    top: float
    block: int
    line: Line
    columns: Columns
    side: float
    lead: str


@dataclass(frozen=True)
class Arrangement:
    """Every line at its place. width: of a line, in millimetres."""

    lines: tuple[Set, ...]
    pages: int
    width: float

    @property
    def columns(self) -> tuple[Columns, ...]:
        """Of each block."""
        return tuple({placed.block: placed.columns for placed in self.lines}.values())

    @cached_property
    def worth(self) -> float:
        """What is compared at equal pages: the pictures' mean area; where lines differ in looks, times the share of the
        grey panels that they fill."""
        sides = [(line.side, slot) for line in self.lines for panel in line.line.panels for slot in panel if slot]
        area = math.fsum(side**2 for side, _ in sides) / len(sides)
        if len({line.columns.slots if line.columns.titled else 1 for line in self.lines}) == 1:
            return area
        grey = math.fsum(
            (line.side * line.line.tallest + 2 * style.PANEL_PAD_MM) * line.columns.run_width(self.width, len(panel))
            for line in self.lines
            for panel in line.line.panels
        )
        return area * math.fsum(side**2 * slot.width * slot.height for side, slot in sides) / grey


def placed_lines(
    blocks: Sequence[Block], frame: Frame, sides: Sequence[float], columns: Sequence[Columns]
) -> Arrangement:
    """Lines from the top of the first page on; a heading never stands alone at the foot of a page."""
    sets: list[Set] = []
    page, y, room = 0, 0.0, frame.first_height
    for index, (block, side, across) in enumerate(zip(blocks, sides, columns, strict=True)):
        titles = block.titles(across)
        for number, line in enumerate(block.lines(across)):
            lead = "heading" if number == 0 else ""
            above = block.heading + titles if lead else 0.0
            gap = style.GROUP_GAP_MM if lead else style.LINE_GAP_MM
            height = line.height(side)
            if y > 0 and y + gap + above + height > room + 1e-9:
                page, y, room = page + 1, 0.0, frame.later_height
            if y == 0:
                gap = 0.0
                if not lead:
                    lead, above = "continued", block.continued + titles
            y += gap
            sets.append(Set(page, y, index, line, across, side, lead))
            y += above + height
    return Arrangement(tuple(sets), page + 1, frame.width)


def greatest_sides(blocks: Sequence[Block], frame: Frame, columns: Sequence[Columns]) -> list[float]:
    """For each block the side of the largest pictures that fit their slots and, with captions and heading, a page;
    the same one for all blocks of as many columns.

    Raises Problem where nothing worth looking at fits.
    """
    room = min(frame.first_height, frame.later_height)
    found: dict[int, float] = {}
    for block, across in zip(blocks, columns, strict=True):
        taken = block.heading + block.titles(across) + 2 * style.PANEL_PAD_MM + block.captions(across)
        own = min(across.slot_width(frame.width) / block.widest, (room - taken) / block.tallest)
        found[across.across] = min(found.get(across.across, math.inf), own)
    least = min(found.values())
    if least < style.LEAST_PICTURE_MM:
        raise Problem(
            "the paper leaves no room for the pictures beside their texts",
            got=f"pictures of {max(0.0, least):.1f} mm",
            expected=f"at least {style.LEAST_PICTURE_MM:g} mm",
            remedy="choose larger paper, or fewer caption lines",
        )
    return [found[across.across] for across in columns]


def best_arrangement(blocks: Sequence[Block], frame: Frame, looks: int, asked: int | None) -> Arrangement:
    """The largest pictures that need no more pages than pictures of a comfortable size do.

    looks: the most that a block has. asked: a number of columns that overrides the choice; pictures then fill their
    columns.
    """
    if asked is not None:
        fixed = [asked_columns(asked, block.looks, frame.width) for block in blocks]
        return placed_lines(blocks, frame, greatest_sides(blocks, frame, fixed), fixed)
    largest = min(greatest_sides(blocks, frame, [fewest_columns(block.looks, frame.width) for block in blocks]))
    # Where groups differ in looks, what is comfortable alone is so for all: frames of few looks then share a line.
    alone = looks == 1 or len({block.looks for block in blocks}) > 1
    comfortable, share = (style.COMFORTABLE_ALONE_MM, 1 / 4.5) if alone else (style.COMFORTABLE_LOOKS_MM, 1 / 3.5)
    # On small paper the comfortable width is a share of the line, but never a column too narrow for captions.
    comfortable = min(comfortable, max(style.LEAST_SLOT_MM, frame.width * share))
    least = min(largest, comfortable / math.sqrt(1.5))
    tried: list[Arrangement] = []
    side = largest
    while side >= least * (1 - 1e-9):
        columns = [block.columns_for(side) for block in blocks]
        tried.append(placed_lines(blocks, frame, [side] * len(blocks), columns))
        side = side * _STEP if side == least or side * _STEP >= least else least
    fewest_pages = min(one.pages for one in tried)
    largest_of = dict[tuple[Columns, ...], Arrangement]()
    for one in tried:
        if one.pages == fewest_pages:
            largest_of.setdefault(one.columns, one)
    return max((_widened(blocks, frame, one) for one in largest_of.values()), key=lambda one: one.worth)


def _widened(blocks: Sequence[Block], frame: Frame, plain: Arrangement) -> Arrangement:
    """With larger pictures in blocks of fewer and wider columns than others have, on as many pages."""
    side = plain.lines[0].side
    columns = plain.columns
    if len({across.across for across in columns}) == 1:
        return plain
    most = greatest_sides(blocks, frame, columns)
    scale = max(most) / side
    while scale > 1:
        wider = placed_lines(blocks, frame, [max(side, min(one, side * scale)) for one in most], columns)
        if wider.pages == plain.pages:
            return wider
        scale *= _STEP
    return plain
