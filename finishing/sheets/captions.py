"""Captions below the pictures: what fits into a column's width, and how high it becomes. Pure."""

from dataclasses import dataclass

from finishing.sheets import style
from finishing.sheets.fitting import Measure, shortened, wrapped
from finishing.sheets.model import Cell
from finishing.sheets.typeface import MM_PER_POINT

_LINES_EACH = 2  # a caption's line that is too long is broken into at most so many


def line_height(size_pt: float) -> float:
    """The height of a line of text in millimetres."""
    return size_pt * style.LEADING * MM_PER_POINT


@dataclass(frozen=True)
class Caption:
    """Fitted texts: the mark, the name beside it (`indent` from the left), the lines below; sizes in mm."""

    mark: str
    name: str
    lines: tuple[str, ...]
    indent: float
    width: float
    height: float

    @property
    def head_pt(self) -> float:
        """The type size that gives the first line its height."""
        return style.MARK_PT if self.mark else style.NAME_PT


def fitted_caption(cell: Cell, width_mm: float, measure: Measure) -> Caption:
    """The cell's mark and caption in a column of this width: names shortened, other lines broken."""
    name = cell.caption[0] if cell.caption else ""
    mark = shortened(cell.mark, width_mm / 2 if name else width_mm, measure, style.MARK_PT, True)
    indent = measure(mark, style.MARK_PT, True) + style.MARK_GAP_MM if mark else 0.0
    name = shortened(name, width_mm - indent, measure, style.NAME_PT, True)
    lines = tuple(
        part
        for line in cell.caption[1:]
        for part in wrapped(line, width_mm, _LINES_EACH, measure, style.CAPTION_PT, False)
    )
    widths = [indent + measure(name, style.NAME_PT, True)]
    widths += [measure(line, style.CAPTION_PT, False) for line in lines]
    head = line_height(style.MARK_PT if mark else style.NAME_PT) if mark or name or lines else 0.0
    height = head + len(lines) * line_height(style.CAPTION_PT)
    return Caption(mark, name, lines, indent, max(widths), height)
