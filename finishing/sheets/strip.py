"""Test strips and grids of trial prints as one page: what to compare stays large, its values stand beside it. Pure.

A strip is one picture in bands that lie edge to edge, as an enlarger exposes them; ticks in the grey round it say
where a band ends, so that nothing is drawn into the picture. A grid shows the whole picture small for every pair of
values, one along the top, one down the side; for the values of one thing alone, in as many rows as make it largest.
"""

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets import typesetting as set_as
from finishing.sheets.captions import line_height
from finishing.sheets.fitting import Measure, tidy
from finishing.sheets.model import Paper
from finishing.sheets.placed import Item, Page, Picture, Rectangle

_TICK_MM, _TICK_WIDTH_MM = 1.8, 0.25
_LABEL_GAP_MM = 1.2
_CELL_GAP_MM = 3.0
_LEAST_SIDE_MM = 8.0


@dataclass(frozen=True)
class Value:
    """A value along a strip or grid as it is printed. own: whether it is the one that the recipe has."""

    text: str
    own: bool = False


@dataclass(frozen=True)
class Trial:
    """What a page of trials says. notes: short lines below the subtitle, of at most two lines each."""

    title: str
    subtitle: str = ""
    notes: tuple[str, ...] = ()
    footer: str = ""


def lay_out_strip(
    trial: Trial, picture: Hashable, shape: float, values: Sequence[Value], paper: Paper, measure: Measure
) -> Page:
    """The page of a test strip. shape: the picture's width over its height.

    Paper that may turn lies the way that shows the picture larger. Raises Problem where the paper is too small.
    """
    return _larger(paper, lambda one: _strip(_tidied(trial), picture, shape, values, one, measure))


def lay_out_grid(
    trial: Trial,
    pictures: Sequence[Sequence[Hashable]],
    shape: float,
    across: Sequence[Value],
    down: Sequence[Value],
    paper: Paper,
    measure: Measure,
) -> Page:
    """The page of a grid. pictures: a row of keys for every value of `down` (one row where it is empty), each with one
    key for every value of `across`. With nothing down the side, the prints fill the page in rows, each above its value.

    Paper that may turn lies the way that shows the pictures larger. Raises Problem where the paper is too small.
    """
    if not down:
        return _larger(paper, lambda one: _prints(_tidied(trial), pictures[0], shape, across, one, measure))
    return _larger(paper, lambda one: _grid(_tidied(trial), pictures, shape, across, down, one, measure))


def _tidied(trial: Trial) -> Trial:
    return Trial(tidy(trial.title), tidy(trial.subtitle), tuple(tidy(note) for note in trial.notes), tidy(trial.footer))


def _larger(paper: Paper, laid_out: Callable[[Paper], Page]) -> Page:
    pages: list[Page] = []
    failed: Problem | None = None
    for one in (paper, paper.turned()) if paper.may_turn else (paper,):
        try:
            pages.append(laid_out(one))
        except Problem as problem:
            failed = problem
    if not pages:
        assert failed is not None
        raise failed
    return max(pages, key=lambda page: max(item.width_mm for item in page.items if isinstance(item, Picture)))


def _head(trial: Trial, paper: Paper, setter: set_as.Typesetter) -> tuple[list[Item], float]:
    """Title, subtitle, notes, and where the pictures' area begins below them."""
    margin = set_as.margin_of(paper)
    width, y = paper.width_mm - 2 * margin, margin
    items: list[Item] = []
    told = [(trial.title, set_as.TITLE), (trial.subtitle, set_as.SUBTITLE), *((n, set_as.NOTE) for n in trial.notes)]
    for index, (text, how) in enumerate(told):
        lines = setter.broken(text, how, width, 2)
        if index == 2 and lines:
            y += style.DETAIL_GAP_MM * 3
        items += setter.stack(lines, margin, y, how)
        y += len(lines) * line_height(how.size_pt)
    return items, y + style.RUNNING_GAP_MM


def _too_small(side: float) -> Problem:
    return Problem(
        "the paper leaves no room for the pictures beside their texts",
        got=f"pictures of {max(side, 0):.1f} mm",
        expected=f"at least {_LEAST_SIDE_MM:g} mm",
        remedy="choose larger paper, or fewer values",
    )


def _strip(
    trial: Trial, picture: Hashable, shape: float, values: Sequence[Value], paper: Paper, measure: Measure
) -> Page:
    setter = set_as.Typesetter(measure)
    margin = set_as.margin_of(paper)
    items, top = _head(trial, paper, setter)
    pad = style.PANEL_PAD_MM + _TICK_MM
    values_height = _LABEL_GAP_MM + 2 * line_height(style.NAME_PT)
    room = set_as.footer_top(paper) - style.FOOTER_GAP_MM - top - 2 * pad - values_height
    width = min(paper.width_mm - 2 * margin - 2 * pad, room * shape)
    height = width / shape
    if min(width, height) < _LEAST_SIDE_MM:
        raise _too_small(min(width, height))
    panel_width = paper.width_mm - 2 * margin
    left, y = margin + (panel_width - width) / 2, top + pad
    items.append(Rectangle(margin, top, panel_width, height + 2 * pad, style.PANEL_GREY))
    band = width / len(values)
    for number in range(1, len(values)):
        x = left + number * band - _TICK_WIDTH_MM / 2
        for at in (y - _TICK_MM - 0.3, y + height + 0.3):
            items.append(Rectangle(x, at, _TICK_WIDTH_MM, _TICK_MM, style.INK_GREY))
    items.append(Picture(picture, left, y, width, height))
    below = top + height + 2 * pad + _LABEL_GAP_MM
    for number, value in enumerate(values):
        items += _centred(setter, value, left + number * band, below, band)
    items += setter.footer(trial.footer, 1, 1, paper)
    return Page(paper.width_mm, paper.height_mm, 1, 1, tuple(items))


def _centred(setter: set_as.Typesetter, value: Value, left: float, top: float, width: float) -> list[Item]:
    """A value in the middle of a width, smaller where it would not fit; the recipe's own says so below."""
    how = set_as.NAME
    while how.size_pt > 4 and setter.width(value.text, how) > width - 0.6:
        how = replace(how, size_pt=how.size_pt - 0.5)
    text = setter.fitted(value.text, width - 0.6, how)
    items: list[Item] = [setter.text(text, left + (width - setter.width(text, how)) / 2, top, how, set_as.NAME.size_pt)]
    if value.own:
        items += _own(setter, left, top + line_height(set_as.NAME.size_pt), width)
    return items


def _own(setter: set_as.Typesetter, left: float, top: float, width: float) -> list[Item]:
    told = next((t for t in ("as in the recipe", "recipe") if setter.width(t, set_as.CAPTION) <= width), "")
    if not told:
        return [Rectangle(left + width / 4, top + 0.6, width / 2, 0.5, style.QUIET_GREY)]
    return [setter.text(told, left + (width - setter.width(told, set_as.CAPTION)) / 2, top, set_as.CAPTION)]


def _prints(
    trial: Trial, pictures: Sequence[Hashable], shape: float, values: Sequence[Value], paper: Paper, measure: Measure
) -> Page:
    """Small whole pictures in the rows that show them largest, each row on a panel of its own."""
    setter = set_as.Typesetter(measure)
    margin = set_as.margin_of(paper)
    items, top = _head(trial, paper, setter)
    line = line_height(style.NAME_PT)
    told = _LABEL_GAP_MM + line * (2 if any(one.own for one in values) else 1)
    pad, count = style.PANEL_PAD_MM, len(values)
    panel_width = paper.width_mm - 2 * margin
    room = set_as.footer_top(paper) - style.FOOTER_GAP_MM - top

    def width_in(columns: int) -> float:
        rows = math.ceil(count / columns)
        beside = (panel_width - 2 * pad - (columns - 1) * _CELL_GAP_MM) / columns
        tall = (room - (rows - 1) * style.LINE_GAP_MM) / rows - told - 2 * pad
        return min(beside, tall * shape)

    # No row is emptier than it has to be: three and two rather than four and one.
    choices = {math.ceil(count / rows) for rows in range(1, count + 1)}
    columns = max(sorted(choices, reverse=True), key=width_in)
    width = width_in(columns)
    height = width / shape
    if min(width, height) < _LEAST_SIDE_MM:
        raise _too_small(min(width, height))
    step = width + _CELL_GAP_MM
    first = margin + (panel_width - columns * step + _CELL_GAP_MM) / 2
    for row in range(math.ceil(count / columns)):
        y = top + row * (height + 2 * pad + told + style.LINE_GAP_MM)
        held = range(row * columns, min((row + 1) * columns, count))
        empty = (columns - len(held)) * step
        items.append(Rectangle(margin, y, panel_width - empty, height + 2 * pad, style.PANEL_GREY))
        for place, number in enumerate(held):
            left = first + place * step
            items.append(Picture(pictures[number], left, y + pad, width, height))
            items += _centred(setter, values[number], left, y + height + 2 * pad + _LABEL_GAP_MM, width)
    items += setter.footer(trial.footer, 1, 1, paper)
    return Page(paper.width_mm, paper.height_mm, 1, 1, tuple(items))


def _grid(
    trial: Trial,
    pictures: Sequence[Sequence[Hashable]],
    shape: float,
    across: Sequence[Value],
    down: Sequence[Value],
    paper: Paper,
    measure: Measure,
) -> Page:
    setter = set_as.Typesetter(measure)
    margin = set_as.margin_of(paper)
    items, top = _head(trial, paper, setter)
    line = line_height(style.NAME_PT)
    titles = line * (2 if any(one.own for one in across) else 1) + _LABEL_GAP_MM
    side = max(setter.width(one.text, set_as.NAME) for one in down)
    side = min(max(side, setter.width("recipe", set_as.CAPTION) if any(one.own for one in down) else 0.0), 40.0)
    side += style.TEXT_GAP_MM
    pad, columns, rows = style.PANEL_PAD_MM, len(across), len(pictures)
    panel_width = paper.width_mm - 2 * margin - side
    room = set_as.footer_top(paper) - style.FOOTER_GAP_MM - top - titles - 2 * pad
    width = (panel_width - 2 * pad - (columns - 1) * _CELL_GAP_MM) / columns
    width = min(width, (room - (rows - 1) * _CELL_GAP_MM) / rows * shape)
    height = width / shape
    if min(width, height) < _LEAST_SIDE_MM:
        raise _too_small(min(width, height))
    step = width + _CELL_GAP_MM
    first = margin + side + (panel_width - columns * step + _CELL_GAP_MM) / 2
    for number, value in enumerate(across):
        at = top + titles - _LABEL_GAP_MM - line
        if value.own:
            items += _own(setter, first + number * step, at, width)
            at -= line
        items += _centred(setter, replace(value, own=False), first + number * step, at, width)
    y = top + titles
    panel_height = rows * (height + _CELL_GAP_MM) - _CELL_GAP_MM + 2 * pad
    items.append(Rectangle(margin + side, y, panel_width, panel_height, style.PANEL_GREY))
    for row, keys in enumerate(pictures):
        at = y + pad + row * (height + _CELL_GAP_MM)
        items += [Picture(key, first + number * step, at, width, height) for number, key in enumerate(keys)]
        text = setter.fitted(down[row].text, side - style.TEXT_GAP_MM + 1e-6, set_as.NAME)
        items.append(setter.text(text, margin, at + height / 2 - line / 2, set_as.NAME))
        if down[row].own:
            items.append(setter.text("recipe", margin, at + height / 2 + line / 2, set_as.CAPTION))
    items += setter.footer(trial.footer, 1, 1, paper)
    return Page(paper.width_mm, paper.height_mm, 1, 1, tuple(items))
