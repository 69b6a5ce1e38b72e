"""Texts at their places: the sheets' text styles, and what every kind of page sets alike. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from finishing.sheets import style
from finishing.sheets.captions import line_height
from finishing.sheets.fitting import Measure, shortened, wrapped
from finishing.sheets.model import Paper
from finishing.sheets.placed import Item, Text
from finishing.sheets.typeface import MM_PER_POINT, face


@dataclass(frozen=True)
class TextStyle:
    """How a text is set."""

    size_pt: float
    bold: bool = False
    grey: int = style.INK_GREY


TITLE = TextStyle(style.TITLE_PT, bold=True)
SUBTITLE = TextStyle(style.SUBTITLE_PT, grey=style.QUIET_GREY)
RUNNING = TextStyle(style.RUNNING_PT, grey=style.QUIET_GREY)
CONTINUED = TextStyle(style.CONTINUED_PT, bold=True)
CONTINUED_QUIET = TextStyle(style.CONTINUED_PT, grey=style.QUIET_GREY)
HEADING = TextStyle(style.HEADING_PT, bold=True)
DETAIL = TextStyle(style.DETAIL_PT, grey=style.QUIET_GREY)
NOTE = TextStyle(style.DETAIL_PT)
COLUMN = TextStyle(style.COLUMN_PT, bold=True, grey=style.QUIET_GREY)
MARK = TextStyle(style.MARK_PT, bold=True)
NAME = TextStyle(style.NAME_PT, bold=True)
CAPTION = TextStyle(style.CAPTION_PT, grey=style.QUIET_GREY)
ALERT = TextStyle(style.CAPTION_PT, bold=True)
MESSAGE = TextStyle(style.MESSAGE_PT)
FOOTER = TextStyle(style.FOOTER_PT, grey=style.QUIET_GREY)


def margin_of(paper: Paper) -> float:
    """The margin on all four sides, in millimetres."""
    share = style.MARGIN_SHARE * min(paper.width_mm, paper.height_mm)
    return min(max(share, style.LEAST_MARGIN_MM), style.GREATEST_MARGIN_MM)


class Typesetter:
    """Sets texts that are measured in one way."""

    def __init__(self, measure: Measure) -> None:
        self.measure = measure

    def width(self, text: str, how: TextStyle) -> float:
        """A text's width in millimetres."""
        return self.measure(text, how.size_pt, how.bold)

    def broken(self, text: str, how: TextStyle, width: float, most: int) -> list[str]:
        """The text in at most so many lines."""
        return wrapped(text, width, most, self.measure, how.size_pt, how.bold) if text else []

    def fitted(self, text: str, width: float, how: TextStyle) -> str:
        """The text, shortened where it is too wide."""
        return shortened(text, width, self.measure, how.size_pt, how.bold)

    def text(self, text: str, x: float, y: float, how: TextStyle, box: float | None = None) -> Text:
        """A text whose line box begins at (x, y); box: the type size that gives the box its height."""
        height = line_height(box or how.size_pt)
        regular = face(how.bold)
        em = (box or how.size_pt) * MM_PER_POINT
        baseline = y + (height - (regular.ascent + regular.descent) * em) / 2 + regular.ascent * em
        return Text(text, x, y, self.width(text, how), height, baseline, how.size_pt, how.bold, how.grey)

    def stack(self, lines: Sequence[str], x: float, y: float, how: TextStyle) -> list[Item]:
        """Lines below each other."""
        step = line_height(how.size_pt)
        return [self.text(line, x, y + i * step, how) for i, line in enumerate(lines)]

    def footer(self, told: str, number: int, count: int, paper: Paper) -> list[Item]:
        """The line at the foot of a page: a text at the left, the page's number at the right where it is not alone."""
        margin = margin_of(paper)
        top, width = paper.height_mm - margin - line_height(FOOTER.size_pt), paper.width_mm - 2 * margin
        page = f"{number} of {count}" if count > 1 else ""
        taken = self.width(page, FOOTER)
        items: list[Item] = [self.text(page, margin + width - taken, top, FOOTER)] if page else []
        fitted = self.fitted(told, width - taken - style.TEXT_GAP_MM, FOOTER)
        if fitted:
            items.append(self.text(fitted, margin, top, FOOTER))
        return items


def footer_top(paper: Paper) -> float:
    """Where the line at the foot begins."""
    return paper.height_mm - margin_of(paper) - line_height(FOOTER.size_pt)
