"""The page of a contact sheet that shows what the strobes did to one scene: a figure, and pictures beside it. Pure."""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets import typesetting as set_as
from finishing.sheets.captions import line_height
from finishing.sheets.fitting import Measure, tidy
from finishing.sheets.model import Paper
from finishing.sheets.placed import Item, Page, Picture, Rectangle

_LEAST_FIGURE_MM, _LEAST_PICTURE_MM = 40.0, 16.0
_MOST_SHARE = 0.6  # of the figure's width, that a picture may have
_GAP_MM = 7.0  # between the figure and the pictures
_TRIED = 40
_DETAIL_LINES = 2


@dataclass(frozen=True)
class Shown:
    """A picture with what it is, and something quieter in at most two lines."""

    key: Hashable
    title: str
    detail: str = ""


@dataclass(frozen=True)
class LightPage:
    """What stands on the page. running: the document's title, small; figure: its key, and width over height; pictures:
    all of one shape (width over height)."""

    running: str
    heading: str
    detail: str
    figure: Hashable
    figure_shape: float
    pictures: tuple[Shown, ...]
    shape: float
    footer: str = ""


@dataclass(frozen=True)
class _Places:
    """Where the figure and the pictures stand, from the top left of the area. across: pictures in a row."""

    figure: float
    picture: float
    left: float
    top: float
    across: int


def lay_out_light(page: LightPage, paper: Paper, measure: Measure, number: int, count: int) -> Page:
    """The page: the pictures below the figure or beside it, whichever shows more. number, count: of the document's
    pages. Raises Problem where the paper is too small."""
    setter = set_as.Typesetter(measure)
    margin = set_as.margin_of(paper)
    width = paper.width_mm - 2 * margin
    items, top = _head(page, setter, margin, width)
    room = set_as.footer_top(paper) - style.FOOTER_GAP_MM - top
    places = _best(page, width, room)
    figure = Picture(page.figure, margin, top, places.figure, places.figure / page.figure_shape)
    items += [figure, *_pictures(page, places, setter, margin + places.left, top + places.top)]
    items += setter.footer(tidy(page.footer), number, count, paper)
    return Page(paper.width_mm, paper.height_mm, number, count, tuple(items))


def _head(page: LightPage, setter: set_as.Typesetter, margin: float, width: float) -> tuple[list[Item], float]:
    items: list[Item] = []
    y = margin
    if page.running:
        running = setter.fitted(tidy(page.running), width, set_as.RUNNING)
        items += setter.stack([running], margin, y, set_as.RUNNING)
        y += line_height(style.RUNNING_PT) + style.RUNNING_GAP_MM
    for text, how in ((page.heading, set_as.HEADING), (page.detail, set_as.DETAIL)):
        lines = setter.broken(tidy(text), how, width, 2)
        items += setter.stack(lines, margin, y, how)
        y += len(lines) * line_height(how.size_pt) + style.DETAIL_GAP_MM
    return items, y + style.HEADING_GAP_MM


def _captions() -> float:
    return style.CAPTION_GAP_MM + line_height(style.NAME_PT) + _DETAIL_LINES * line_height(style.CAPTION_PT)


def _best(page: LightPage, width: float, room: float) -> _Places:
    """The places that give figure and pictures the largest areas."""
    fitting = [
        one for one in _tried(page, width, room)
        if one.figure >= _LEAST_FIGURE_MM and one.picture >= _LEAST_PICTURE_MM
    ]  # fmt: skip
    if not fitting:
        raise Problem(
            "the paper leaves no room for the pages on blends",
            expected=f"a figure of {_LEAST_FIGURE_MM:g} mm with its pictures",
            remedy="choose larger paper, or leave these pages out with --no-light-pages",
        )

    def shown(one: _Places) -> float:
        return one.figure**2 / page.figure_shape + len(page.pictures) * one.picture**2 / page.shape

    return max(fitting, key=shown)


def _tried(page: LightPage, width: float, room: float) -> Iterator[_Places]:
    count, pad, frame = len(page.pictures), style.PANEL_PAD_MM, 2 * style.PANEL_PAD_MM + _captions()
    for step in range(1, _TRIED):
        figure = min(width * step / _TRIED, room * page.figure_shape)
        for across in (1, count):
            down, gaps = -(-count // across), 2 * pad + (across - 1) * style.SLOT_GAP_MM
            one = (width - figure - _GAP_MM - gaps) / across
            one = min(one, ((room - (down - 1) * style.LINE_GAP_MM) / down - frame) * page.shape, figure * _MOST_SHARE)
            yield _Places(figure, one, width - across * one - gaps, 0.0, across)
        tall = room * step / _TRIED
        figure = min(width, tall * page.figure_shape)
        one = (width - 2 * pad - (count - 1) * style.SLOT_GAP_MM) / count
        tall = figure / page.figure_shape
        one = min(one, (room - tall - _GAP_MM - frame) * page.shape, figure * _MOST_SHARE)
        yield _Places(figure, one, 0.0, tall + _GAP_MM, count)


def _pictures(page: LightPage, places: _Places, setter: set_as.Typesetter, left: float, top: float) -> Iterator[Item]:
    wide, pad = places.picture, style.PANEL_PAD_MM
    tall = wide / page.shape
    for row in range(0, len(page.pictures), places.across):
        part: Sequence[Shown] = page.pictures[row : row + places.across]
        y = top + row // places.across * (tall + 2 * pad + _captions() + style.LINE_GAP_MM)
        panel = len(part) * wide + (len(part) - 1) * style.SLOT_GAP_MM + 2 * pad
        yield Rectangle(left, y, panel, tall + 2 * pad, style.PANEL_GREY)
        for index, shown in enumerate(part):
            x = left + pad + index * (wide + style.SLOT_GAP_MM)
            yield Picture(shown.key, x, y + pad, wide, tall)
            at = y + tall + 2 * pad + style.CAPTION_GAP_MM
            yield setter.text(setter.fitted(tidy(shown.title), wide, set_as.NAME), x, at, set_as.NAME)
            at += line_height(style.NAME_PT)
            yield from setter.stack(
                setter.broken(tidy(shown.detail), set_as.CAPTION, wide, _DETAIL_LINES), x, at, set_as.CAPTION
            )
