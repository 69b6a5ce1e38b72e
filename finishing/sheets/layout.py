"""Contact sheets as pages of placed items: titles, set-ups, pictures, captions, page numbers. Pure.

Nothing is drawn here and no file is read: texts are fitted with the `measure` that the caller passes in.
Every text is shortened or broken so that it stays in its own place, whatever its length.
"""

from collections.abc import Sequence
from dataclasses import replace

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets import typesetting as set_as
from finishing.sheets.arrangement import (
    Arrangement,
    Block,
    Frame,
    Set,
    Slot,
    best_arrangement,
)
from finishing.sheets.captions import Caption, CaptionStyle, clipping_has_words, fitted_caption, line_height
from finishing.sheets.fitting import Measure, tidy
from finishing.sheets.instead import in_place_of
from finishing.sheets.model import Cell, Group, Paper, Sheet
from finishing.sheets.placed import (
    Clipping,
    Histogram,
    Item,
    Page,
    Picture,
    Rectangle,
    Said,
    Text,
    clipping_texts,
    notices,
    pictures_needed,
)

__all__ = ["Page", "Picture", "Rectangle", "Text", "lay_out", "notices", "pictures_needed"]

CONTINUED = "continued"
_NOTE_LINES = 6  # into so many lines a note below a heading may be broken


def lay_out(
    sheet: Sheet, paper: Paper, measure: Measure, columns: int | None = None, *, before: int = 0, after: int = 0
) -> list[Page]:
    """The sheet's pages. before, after: how many other pages of the same document stand around them.

    measure(text, size_pt, bold) gives a text's width in millimetres. columns: pictures across a page,
    instead of the number that suits them. A paper that may turn lies the way that needs fewer pages,
    or at equal pages shows larger pictures. Raises Problem for a sheet without frames, for columns
    that are too narrow, and for paper that is too small for the captions.
    """
    sheet = _tidied(sheet)
    if not any(cell is not None for group in sheet.groups for row in group.rows for cell in row):
        raise Problem("there is no frame to put on the contact sheet", remedy="choose at least one frame and look")
    upright = _Composer(sheet, paper, measure, columns)
    if not paper.may_turn:
        return upright.pages(before, after)
    turned = _Composer(sheet, paper.turned(), measure, columns)
    better = min((upright, turned), key=lambda one: (one.arrangement.pages, -one.arrangement.worth))
    return better.pages(before, after)


def _tidied(sheet: Sheet) -> Sheet:
    """The sheet with every text as one printable line, and without the rows and groups that are empty."""

    def cell(one: Cell | None) -> Cell | None:
        if one is None:
            return None
        lines = tuple(tidy(line) for line in one.caption)
        alerts = tuple(tidy(line) for line in one.alerts)
        told = tidy(one.message)
        return replace(one, caption=lines, mark=tidy(one.mark), message=told, look=tidy(one.look), alerts=alerts)

    groups = []
    for group in sheet.groups:
        rows = tuple(tuple(cell(one) for one in row) for row in group.rows if any(row))
        if rows:
            notes, facts = (tuple(tidy(one) for one in told) for told in (group.notes, group.facts))
            groups.append(Group(tidy(group.heading), rows, tidy(group.detail), notes, facts))
    return replace(
        sheet,
        title=tidy(sheet.title),
        subtitle=tidy(sheet.subtitle),
        footer=tidy(sheet.footer),
        column_titles=tuple(tidy(title) for title in sheet.column_titles),
        groups=tuple(groups),
    )


def _looks_of(group: Group) -> tuple[int, ...]:
    """The columns of the sheet in which the group has a picture."""
    return tuple(sorted({look for row in group.rows for look, cell in enumerate(row) if cell is not None}))


class _Composer:
    """One orientation of the paper: measures the headings, has the lines arranged, places the items."""

    def __init__(self, sheet: Sheet, paper: Paper, measure: Measure, columns: int | None) -> None:
        self.sheet = sheet
        self.paper = paper
        self.measure = measure
        self.setter = set_as.Typesetter(measure)
        self.margin = set_as.margin_of(paper)
        self.width = paper.width_mm - 2 * self.margin
        self.headings = [self._broken(group.heading, set_as.HEADING, 2) for group in sheet.groups]
        self.details = [self._broken(group.detail, set_as.DETAIL, 2) for group in sheet.groups]
        self.notes = [self._broken_notes(group) for group in sheet.groups]
        self.title = self._broken(sheet.title, set_as.TITLE, 2)
        self.looks = [_looks_of(group) for group in sheet.groups]
        every = sorted({look for looks in self.looks for look in looks})
        self.titles = [[self._title_of(look) for look in looks] for looks in self.looks]
        subtitle = sheet.subtitle
        if len(every) == 1:
            # The only look of the sheet is named once, below its title.
            subtitle = " · ".join(part for part in (subtitle, self._title_of(every[0])) if part)
            self.titles = [[""] for _ in self.looks]
        self.subtitle = self._broken(subtitle, set_as.SUBTITLE, 2)
        first, later = self._tops()
        bottom = set_as.footer_top(paper) - style.FOOTER_GAP_MM
        frame = Frame(self.width, bottom - first, bottom - later)
        self.tops = (first, later)
        self.blocks = [self._block(index) for index in range(len(sheet.groups))]
        most = max(block.looks for block in self.blocks)
        self.arrangement: Arrangement = best_arrangement(self.blocks, frame, most, columns)

    def pages(self, before: int, after: int) -> list[Page]:
        """The finished pages."""
        own = self.arrangement.pages
        count = before + own + after
        content: list[list[Item]] = [
            [*self._header(number), *self.setter.footer(self.sheet.footer, before + number + 1, count, self.paper)]
            for number in range(own)
        ]
        for placed in self.arrangement.lines:
            content[placed.page].extend(self._line(placed))
        return [
            Page(self.paper.width_mm, self.paper.height_mm, before + number + 1, count, tuple(items))
            for number, items in enumerate(content)
        ]

    # Texts

    def _title_of(self, look: int) -> str:
        return self.sheet.column_titles[look] if look < len(self.sheet.column_titles) else ""

    def _broken(self, text: str, how: set_as.TextStyle, most: int) -> list[str]:
        return self.setter.broken(text, how, self.width, most)

    def _broken_notes(self, group: Group) -> list[tuple[str, set_as.TextStyle]]:
        told = [(note, set_as.NOTE) for note in group.notes] + [(fact, set_as.DETAIL) for fact in group.facts]
        return [(line, how) for text, how in told for line in self._broken(text, how, _NOTE_LINES)]

    def _stack(self, lines: Sequence[str], y: float, how: set_as.TextStyle) -> list[Item]:
        return self.setter.stack(lines, self.margin, y, how)

    # What stands on every page

    def _tops(self) -> tuple[float, float]:
        """Where the pictures' area begins on the first and on later pages."""
        first = self.margin + len(self.title) * line_height(set_as.TITLE.size_pt)
        first += len(self.subtitle) * line_height(set_as.SUBTITLE.size_pt)
        first += style.HEADER_GAP_MM if self.title or self.subtitle else 0.0
        later = self.margin + (line_height(set_as.RUNNING.size_pt) + style.RUNNING_GAP_MM if self.sheet.title else 0.0)
        return first, later

    def _header(self, number: int) -> list[Item]:
        if number == 0:
            below = self.margin + len(self.title) * line_height(set_as.TITLE.size_pt)
            return [
                *self._stack(self.title, self.margin, set_as.TITLE),
                *self._stack(self.subtitle, below, set_as.SUBTITLE),
            ]
        running = self.setter.fitted(self.sheet.title, self.width, set_as.RUNNING)
        return self._stack([running] if running else [], self.margin, set_as.RUNNING)

    # Groups and lines

    def _block(self, index: int) -> Block:
        heading = len(self.headings[index]) * line_height(set_as.HEADING.size_pt)
        detail = len(self.details[index]) * line_height(set_as.DETAIL.size_pt)
        if self.notes[index]:
            detail += style.NOTE_GAP_MM + len(self.notes[index]) * line_height(set_as.NOTE.size_pt)
        gap = style.DETAIL_GAP_MM + (style.HEADING_GAP_MM if heading or detail else 0.0)
        continued = line_height(set_as.CONTINUED.size_pt) + style.HEADING_GAP_MM if heading else 0.0
        titles = line_height(set_as.COLUMN.size_pt) + style.COLUMN_GAP_MM if any(self.titles[index]) else 0.0
        group, looks = self.sheet.groups[index], self.looks[index]
        rows = tuple(tuple(row[look] if look < len(row) else None for look in looks) for row in group.rows)
        return Block(
            rows,
            self.width,
            lambda cell, width, titled: fitted_caption(
                cell,
                width,
                self.measure,
                CaptionStyle(self.sheet.lines_each, titled, self.sheet.histograms, self.sheet.clipping),
            ),
            heading + detail + gap,
            continued,
            titles,
        )

    def _lead(self, placed: Set, top: float) -> tuple[list[Item], float]:
        """The heading above a line, and where the line begins below it."""
        items: list[Item] = []
        index, y = placed.block, top
        headings, details, notes = self.headings[index], self.details[index], self.notes[index]
        if placed.lead == "heading":
            items += self._stack(headings, y, set_as.HEADING)
            y += len(headings) * line_height(set_as.HEADING.size_pt) + style.DETAIL_GAP_MM
            items += self._stack(details, y, set_as.DETAIL)
            y += len(details) * line_height(set_as.DETAIL.size_pt)
            y += style.NOTE_GAP_MM if notes else 0.0
            for line, how in notes:
                items.append(self.setter.text(line, self.margin, y, how))
                y += line_height(how.size_pt)
            y += style.HEADING_GAP_MM if headings or details or notes else 0.0
        elif placed.lead == "continued" and headings:
            taken = (
                self.measure(CONTINUED, set_as.CONTINUED_QUIET.size_pt, set_as.CONTINUED_QUIET.bold) + style.TEXT_GAP_MM
            )
            short = self.setter.fitted(self.sheet.groups[index].heading, self.width - taken, set_as.CONTINUED)
            heading = self.setter.text(short, self.margin, y, set_as.CONTINUED)
            after = self.margin + heading.width_mm + style.TEXT_GAP_MM
            items += [heading, self.setter.text(CONTINUED, after, y, set_as.CONTINUED_QUIET)]
            y += line_height(set_as.CONTINUED.size_pt) + style.HEADING_GAP_MM
        if placed.lead and self.blocks[index].titles(placed.columns):
            items += self._column_titles(placed, y)
            y += line_height(set_as.COLUMN.size_pt) + style.COLUMN_GAP_MM
        return items, y

    def _column_titles(self, placed: Set, y: float) -> list[Item]:
        """The looks' names, flush with the group's widest picture, or with the column for want of room.

        A group of one look has its name once, at the left of the line.
        """
        block, titles = self.blocks[placed.block], self.titles[placed.block]
        column = placed.columns.slot_width(self.width)
        inset = (column - placed.side * block.widest) / 2
        panels = range(len(placed.line.panels))
        if block.looks == 1:
            panels, column = range(1), self.width - 2 * style.PANEL_PAD_MM
        widest = max(self.measure(title, set_as.COLUMN.size_pt, set_as.COLUMN.bold) for title in titles)
        if widest > column - inset:
            inset = 0.0
        items: list[Item] = []
        for panel in panels:
            for number, title in enumerate(titles):
                fitted = self.setter.fitted(title, column - inset, set_as.COLUMN)
                if fitted:
                    items.append(
                        self.setter.text(fitted, self._slot_left(placed, panel, number) + inset, y, set_as.COLUMN)
                    )
        return items

    def _slot_left(self, placed: Set, panel: int, slot: int) -> float:
        columns = placed.columns
        left = self.margin + panel * (columns.panel_width(self.width) + style.PANEL_GAP_MM)
        return left + style.PANEL_PAD_MM + slot * (columns.slot_width(self.width) + style.SLOT_GAP_MM)

    def _line(self, placed: Set) -> list[Item]:
        side = placed.side
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
                    items += self._picture(slot, side, at, y, height, placed.columns.slot_width(self.width))
                    below = y + height + style.CAPTION_GAP_MM
                    items += self._tones(slot, side, at, below, placed.columns.slot_width(self.width))
                    below += slot.caption.tones_height
                    items += self._caption(slot.caption, at + insets[number][place], below)
        return items

    def _caption_insets(self, placed: Set) -> list[list[float]]:
        """How far captions stand in from their columns' left edges.

        On a whole line alike: flush with their own pictures, else with the group's widest picture,
        else, where a text needs the whole width, with the columns.
        """
        side, column = placed.side, placed.columns.slot_width(self.width)
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

    def _picture(self, slot: Slot, side: float, left: float, top: float, height: float, column: float) -> list[Item]:
        """A picture in the middle of its column, or what is said in its place."""
        width, tall = side * slot.width, side * slot.height
        x, y = left + (column - width) / 2, top + (height - tall) / 2
        picture = Picture(slot.cell.picture, x, y, width, tall)
        if slot.cell.picture is not None:
            return [picture]
        return [*in_place_of(picture, Said(slot.cell.message), self.measure)]

    def _tones(self, slot: Slot, side: float, left: float, top: float, column: float) -> list[Item]:
        """The histogram of a picture, as wide as it, and the shares of it that hold no tone."""
        key, items = slot.cell.picture, list[Item]()
        if key is None:
            return items
        width, y = side * slot.width, top
        if slot.caption.histogram:
            at = left + (column - width) / 2
            items.append(Histogram(key, at, y, width, style.HISTOGRAM_MM, style.HISTOGRAM_GREY))
            y += style.HISTOGRAM_MM + style.HISTOGRAM_GAP_MM
        if slot.caption.clipping:
            words = clipping_has_words(width, self.measure)
            ends = clipping_texts(0.123, 0.123, words=words)
            least = sum(self.measure(end, set_as.CAPTION.size_pt, False) for end in ends) + style.MARK_GAP_MM
            width = min(column, max(width, least))
            line = self.setter.text("", left + (column - width) / 2, y, set_as.CAPTION)
            items.append(
                Clipping(
                    key, line.x_mm, y, width, line.height_mm, line.baseline_mm, line.size_pt, line.grey, words=words
                )
            )
        return items

    def _caption(self, caption: Caption, x: float, y: float) -> list[Item]:
        items: list[Item] = []
        if caption.mark:
            items.append(self.setter.text(caption.mark, x, y, set_as.MARK))
        if caption.name:
            items.append(self.setter.text(caption.name, x + caption.indent, y, set_as.NAME, caption.head_pt))
        y += line_height(caption.head_pt)
        step = line_height(set_as.CAPTION.size_pt)
        quiet = len(caption.lines) - caption.alerts
        items += [
            self.setter.text(line, x, y + i * step, set_as.CAPTION if i < quiet else set_as.ALERT)
            for i, line in enumerate(caption.lines)
        ]
        return items
