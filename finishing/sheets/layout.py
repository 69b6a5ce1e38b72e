"""Contact sheets as pages of placed items: titles, set-ups, pictures, captions, page numbers. Pure.

Nothing is drawn here and no file is read: texts are fitted with the `measure` that the caller passes in.
Every text is shortened or broken so that it stays in its own place, whatever its length.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.arrangement import (
    Arrangement,
    Block,
    Frame,
    Set,
    Slot,
    best_arrangement,
)
from finishing.sheets.captions import Caption, fitted_caption, line_height
from finishing.sheets.fitting import Measure, shortened, tidy, wrapped
from finishing.sheets.model import Cell, Group, Paper, Sheet
from finishing.sheets.placed import Item, Page, Picture, Rectangle, Text, notices, pictures_needed
from finishing.sheets.typeface import MM_PER_POINT, face

__all__ = ["Page", "Picture", "Rectangle", "Text", "lay_out", "notices", "pictures_needed"]

CONTINUED = "continued"


def lay_out(sheet: Sheet, paper: Paper, measure: Measure, columns: int | None = None) -> list[Page]:
    """The sheet's pages.

    measure(text, size_pt, bold) gives a text's width in millimetres. columns: pictures across a page,
    instead of the number that suits them. A paper that may turn lies the way that needs fewer pages,
    or at equal pages shows larger pictures. Raises Problem for a sheet without frames, for columns
    that are too narrow, and for paper that is too small for the captions.
    """
    sheet = _tidied(sheet)
    looks = max([len(sheet.column_titles), *(len(row) for group in sheet.groups for row in group.rows)], default=0)
    if not any(cell is not None for group in sheet.groups for row in group.rows for cell in row):
        raise Problem("there is no frame to put on the contact sheet", remedy="choose at least one frame and look")
    upright = _Composer(sheet, paper, measure, looks, columns)
    if not paper.may_turn:
        return upright.pages()
    turned = _Composer(sheet, paper.turned(), measure, looks, columns)
    better = min((upright, turned), key=lambda one: (one.arrangement.pages, -one.arrangement.side))
    return better.pages()


def _tidied(sheet: Sheet) -> Sheet:
    """The sheet with every text as one printable line, and without the rows and groups that are empty."""

    def cell(one: Cell | None) -> Cell | None:
        if one is None:
            return None
        lines = tuple(tidy(line) for line in one.caption)
        return replace(one, caption=lines, mark=tidy(one.mark), message=tidy(one.message))

    groups = []
    for group in sheet.groups:
        rows = tuple(tuple(cell(one) for one in row) for row in group.rows if any(row))
        if rows:
            groups.append(Group(tidy(group.heading), rows, tidy(group.detail)))
    titles = tuple(tidy(title) for title in sheet.column_titles)
    return Sheet(tidy(sheet.title), tidy(sheet.subtitle), tidy(sheet.footer), titles, tuple(groups))


@dataclass(frozen=True)
class _Style:
    """How a text is set."""

    size_pt: float
    bold: bool = False
    grey: int = style.INK_GREY


_TITLE = _Style(style.TITLE_PT, bold=True)
_SUBTITLE = _Style(style.SUBTITLE_PT, grey=style.QUIET_GREY)
_RUNNING = _Style(style.RUNNING_PT, grey=style.QUIET_GREY)
_CONTINUED = _Style(style.CONTINUED_PT, bold=True)
_CONTINUED_QUIET = _Style(style.CONTINUED_PT, grey=style.QUIET_GREY)
_HEADING = _Style(style.HEADING_PT, bold=True)
_DETAIL = _Style(style.DETAIL_PT, grey=style.QUIET_GREY)
_COLUMN = _Style(style.COLUMN_PT, bold=True, grey=style.QUIET_GREY)
_MARK = _Style(style.MARK_PT, bold=True)
_NAME = _Style(style.NAME_PT, bold=True)
_CAPTION = _Style(style.CAPTION_PT, grey=style.QUIET_GREY)
_MESSAGE = _Style(style.MESSAGE_PT)
_FOOTER = _Style(style.FOOTER_PT, grey=style.QUIET_GREY)


class _Composer:
    """One orientation of the paper: measures the headings, has the lines arranged, places the items."""

    def __init__(self, sheet: Sheet, paper: Paper, measure: Measure, looks: int, columns: int | None) -> None:
        self.sheet = sheet
        self.paper = paper
        self.measure = measure
        share = style.MARGIN_SHARE * min(paper.width_mm, paper.height_mm)
        self.margin = min(max(share, style.LEAST_MARGIN_MM), style.GREATEST_MARGIN_MM)
        self.width = paper.width_mm - 2 * self.margin
        self.headings = [self._broken(group.heading, _HEADING, 2) for group in sheet.groups]
        self.details = [self._broken(group.detail, _DETAIL, 2) for group in sheet.groups]
        self.title = self._broken(sheet.title, _TITLE, 2)
        subtitle = sheet.subtitle
        if looks == 1 and sheet.column_titles and sheet.column_titles[0]:
            subtitle = " · ".join(part for part in (subtitle, sheet.column_titles[0]) if part)
        self.subtitle = self._broken(subtitle, _SUBTITLE, 2)
        self.footer_top = paper.height_mm - self.margin - line_height(_FOOTER.size_pt)
        first, later = self._tops()
        bottom = self.footer_top - style.FOOTER_GAP_MM
        frame = Frame(self.width, bottom - first, bottom - later)
        self.tops = (first, later)
        self.blocks = [self._block(index, looks) for index in range(len(sheet.groups))]
        self.arrangement: Arrangement = best_arrangement(self.blocks, frame, looks, columns)

    def pages(self) -> list[Page]:
        """The finished pages."""
        count = self.arrangement.pages
        content: list[list[Item]] = [[*self._header(number), *self._footer(number, count)] for number in range(count)]
        for placed in self.arrangement.lines:
            content[placed.page].extend(self._line(placed))
        return [
            Page(self.paper.width_mm, self.paper.height_mm, number + 1, count, tuple(items))
            for number, items in enumerate(content)
        ]

    # Texts

    def _broken(self, text: str, how: _Style, most: int) -> list[str]:
        return wrapped(text, self.width, most, self.measure, how.size_pt, how.bold) if text else []

    def _fitted(self, text: str, width: float, how: _Style) -> str:
        return shortened(text, width, self.measure, how.size_pt, how.bold)

    def _text(self, text: str, x: float, y: float, how: _Style, box: float | None = None) -> Text:
        """A text whose line box begins at (x, y); box: the type size that gives the box its height."""
        height = line_height(box or how.size_pt)
        regular = face(how.bold)
        em = (box or how.size_pt) * MM_PER_POINT
        baseline = y + (height - (regular.ascent + regular.descent) * em) / 2 + regular.ascent * em
        width = self.measure(text, how.size_pt, how.bold)
        return Text(text, x, y, width, height, baseline, how.size_pt, how.bold, how.grey)

    def _stack(self, lines: Sequence[str], y: float, how: _Style) -> list[Item]:
        step = line_height(how.size_pt)
        return [self._text(line, self.margin, y + i * step, how) for i, line in enumerate(lines)]

    # What stands on every page

    def _tops(self) -> tuple[float, float]:
        """Where the pictures' area begins on the first and on later pages."""
        first = self.margin + len(self.title) * line_height(_TITLE.size_pt)
        first += len(self.subtitle) * line_height(_SUBTITLE.size_pt)
        first += style.HEADER_GAP_MM if self.title or self.subtitle else 0.0
        later = self.margin + (line_height(_RUNNING.size_pt) + style.RUNNING_GAP_MM if self.sheet.title else 0.0)
        return first, later

    def _header(self, number: int) -> list[Item]:
        if number == 0:
            below = self.margin + len(self.title) * line_height(_TITLE.size_pt)
            return [
                *self._stack(self.title, self.margin, _TITLE),
                *self._stack(self.subtitle, below, _SUBTITLE),
            ]
        running = self._fitted(self.sheet.title, self.width, _RUNNING)
        return self._stack([running] if running else [], self.margin, _RUNNING)

    def _footer(self, number: int, count: int) -> list[Item]:
        page = f"{number + 1} of {count}"
        taken = self.measure(page, _FOOTER.size_pt, _FOOTER.bold)
        items: list[Item] = [self._text(page, self.margin + self.width - taken, self.footer_top, _FOOTER)]
        rights = self._fitted(self.sheet.footer, self.width - taken - style.TEXT_GAP_MM, _FOOTER)
        if rights:
            items.append(self._text(rights, self.margin, self.footer_top, _FOOTER))
        return items

    # Groups and lines

    def _block(self, index: int, looks: int) -> Block:
        heading = len(self.headings[index]) * line_height(_HEADING.size_pt)
        detail = len(self.details[index]) * line_height(_DETAIL.size_pt)
        gap = style.DETAIL_GAP_MM + (style.HEADING_GAP_MM if heading or detail else 0.0)
        continued = line_height(_CONTINUED.size_pt) + style.HEADING_GAP_MM if heading else 0.0
        titles = line_height(_COLUMN.size_pt) + style.COLUMN_GAP_MM if any(self.sheet.column_titles) else 0.0
        return Block(
            self.sheet.groups[index],
            looks,
            self.width,
            lambda cell, width: fitted_caption(cell, width, self.measure),
            heading + detail + gap,
            continued,
            titles,
        )

    def _lead(self, placed: Set, top: float) -> tuple[list[Item], float]:
        """The heading above a line, and where the line begins below it."""
        items: list[Item] = []
        index, y = placed.block, top
        headings, details = self.headings[index], self.details[index]
        if placed.lead == "heading":
            items += self._stack(headings, y, _HEADING)
            y += len(headings) * line_height(_HEADING.size_pt) + style.DETAIL_GAP_MM
            items += self._stack(details, y, _DETAIL)
            y += len(details) * line_height(_DETAIL.size_pt)
            y += style.HEADING_GAP_MM if headings or details else 0.0
        elif placed.lead == "continued" and headings:
            taken = self.measure(CONTINUED, _CONTINUED_QUIET.size_pt, _CONTINUED_QUIET.bold) + style.TEXT_GAP_MM
            short = self._fitted(self.sheet.groups[index].heading, self.width - taken, _CONTINUED)
            heading = self._text(short, self.margin, y, _CONTINUED)
            after = self.margin + heading.width_mm + style.TEXT_GAP_MM
            items += [heading, self._text(CONTINUED, after, y, _CONTINUED_QUIET)]
            y += line_height(_CONTINUED.size_pt) + style.HEADING_GAP_MM
        if placed.lead and placed.columns.titled and any(self.sheet.column_titles):
            items += self._column_titles(placed, y)
            y += line_height(_COLUMN.size_pt) + style.COLUMN_GAP_MM
        return items, y

    def _column_titles(self, placed: Set, y: float) -> list[Item]:
        """The looks' names, flush with the group's widest picture, or with the column for want of room."""
        column = placed.columns.slot_width(self.width)
        inset = (column - self.arrangement.side * self.blocks[placed.block].widest) / 2
        widest = max(self.measure(title, _COLUMN.size_pt, _COLUMN.bold) for title in self.sheet.column_titles)
        if widest > column - inset:
            inset = 0.0
        items: list[Item] = []
        for panel in range(len(placed.line.panels)):
            for number, title in enumerate(self.sheet.column_titles):
                fitted = self._fitted(title, column - inset, _COLUMN)
                if fitted:
                    items.append(self._text(fitted, self._slot_left(placed, panel, number) + inset, y, _COLUMN))
        return items

    def _slot_left(self, placed: Set, panel: int, slot: int) -> float:
        columns = placed.columns
        left = self.margin + panel * (columns.panel_width(self.width) + style.PANEL_GAP_MM)
        return left + style.PANEL_PAD_MM + slot * (columns.slot_width(self.width) + style.SLOT_GAP_MM)

    def _line(self, placed: Set) -> list[Item]:
        side = self.arrangement.side
        items, y = self._lead(placed, self.tops[min(placed.page, 1)] + placed.top)
        height = side * placed.line.tallest + 2 * style.PANEL_PAD_MM
        insets = self._caption_insets(placed)
        for number, panel in enumerate(placed.line.panels):
            left = self._slot_left(placed, number, 0) - style.PANEL_PAD_MM
            width = placed.columns.run_width(self.width, len(panel))
            items.append(Rectangle(left, y, width, height, style.PANEL_GREY))
            for place, slot in enumerate(panel):
                if slot is not None:
                    at = self._slot_left(placed, number, place)
                    items += self._picture(slot, at, y, height, placed.columns.slot_width(self.width))
                    below = y + height + style.CAPTION_GAP_MM
                    items += self._caption(slot.caption, at + insets[number][place], below)
        return items

    def _caption_insets(self, placed: Set) -> list[list[float]]:
        """How far captions stand in from their columns' left edges.

        On a whole line alike: flush with their own pictures, else with the group's widest picture,
        else, where a text needs the whole width, with the columns.
        """
        side, column = self.arrangement.side, placed.columns.slot_width(self.width)
        own = [[(column - side * slot.width) / 2 if slot else 0.0 for slot in panel] for panel in placed.line.panels]
        common = (column - side * self.blocks[placed.block].widest) / 2
        for insets in (own, [[common] * len(panel) for panel in own]):
            if all(
                slot is None or inset + slot.caption.width <= column + 1e-9
                for panel, line in zip(placed.line.panels, insets, strict=True)
                for slot, inset in zip(panel, line, strict=True)
            ):
                return insets
        return [[0.0] * len(panel) for panel in own]

    def _picture(self, slot: Slot, left: float, top: float, height: float, column: float) -> list[Item]:
        """A picture in the middle of its column, or what is said in its place."""
        width, tall = self.arrangement.side * slot.width, self.arrangement.side * slot.height
        x, y = left + (column - width) / 2, top + (height - tall) / 2
        if slot.cell.picture is not None:
            return [Picture(slot.cell.picture, x, y, width, tall)]
        placeholder = Rectangle(x, y, width, tall, style.PLACEHOLDER_GREY)
        return [placeholder, *self._message(slot.cell, x, y, width, tall)]

    def _message(self, cell: Cell, x: float, y: float, width: float, tall: float) -> list[Item]:
        inner = width - 2 * style.MESSAGE_PAD_MM
        step = line_height(_MESSAGE.size_pt)
        most = int((tall - 2 * style.MESSAGE_PAD_MM) / step)
        if not cell.message or most < 1 or inner <= 0:
            return []
        lines = wrapped(cell.message, inner, min(most, 6), self.measure, _MESSAGE.size_pt, _MESSAGE.bold)
        first = y + (tall - len(lines) * step) / 2
        return [self._text(line, x + style.MESSAGE_PAD_MM, first + i * step, _MESSAGE) for i, line in enumerate(lines)]

    def _caption(self, caption: Caption, x: float, y: float) -> list[Item]:
        items: list[Item] = []
        if caption.mark:
            items.append(self._text(caption.mark, x, y, _MARK))
        if caption.name:
            items.append(self._text(caption.name, x + caption.indent, y, _NAME, caption.head_pt))
        y += line_height(caption.head_pt)
        step = line_height(_CAPTION.size_pt)
        items += [self._text(line, x, y + i * step, _CAPTION) for i, line in enumerate(caption.lines)]
        return items
