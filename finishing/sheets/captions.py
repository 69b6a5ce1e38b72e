"""Captions below the pictures: what fits into a column's width, and how high it becomes. Pure."""

from dataclasses import dataclass

from finishing.sheets import style
from finishing.sheets.fitting import Measure, shortened, wrapped
from finishing.sheets.model import Cell
from finishing.sheets.placed import clipping_texts
from finishing.sheets.typeface import MM_PER_POINT


def line_height(size_pt: float) -> float:
    """The height of a line of text in millimetres."""
    return size_pt * style.LEADING * MM_PER_POINT


@dataclass(frozen=True)
class Caption:
    """Fitted texts: the mark, the name beside it (`indent` from the left), the lines below, of which the last
    `alerts` stand out; sizes in mm, the height that of the texts. histogram, clipping: what of a picture's tones stands
    above the texts."""

    mark: str
    name: str
    lines: tuple[str, ...]
    alerts: int
    indent: float
    width: float
    height: float
    histogram: bool = False
    clipping: bool = False

    @property
    def head_pt(self) -> float:
        """The type size that gives the first line its height."""
        return style.MARK_PT if self.mark else style.NAME_PT

    @property
    def tones_height(self) -> float:
        """The height of what stands above the texts."""
        height = style.HISTOGRAM_MM + style.HISTOGRAM_GAP_MM if self.histogram else 0.0
        return height + (line_height(style.CAPTION_PT) if self.clipping else 0.0)


@dataclass(frozen=True)
class CaptionStyle:
    """What captions of a sheet hold. lines_each: into how many lines one line may be broken; titled: whether a title
    above the column says the look already."""

    lines_each: int = 2
    titled: bool = False
    histogram: bool = False
    clipping: bool = False


def fitted_caption(cell: Cell, width_mm: float, measure: Measure, how: CaptionStyle) -> Caption:
    """The cell's mark and caption in a column of this width: names shortened, other lines broken."""
    name = cell.caption[0] if cell.caption else ""
    mark = shortened(cell.mark, width_mm / 2 if name else width_mm, measure, style.MARK_PT, True)
    indent = measure(mark, style.MARK_PT, True) + style.MARK_GAP_MM if mark else 0.0
    name = shortened(name, width_mm - indent, measure, style.NAME_PT, True)

    def broken(told: tuple[str, ...], bold: bool) -> tuple[str, ...]:
        most = how.lines_each
        return tuple(p for line in told for p in wrapped(line, width_mm, most, measure, style.CAPTION_PT, bold))

    quiet = broken((*cell.caption[1:], *(() if how.titled else (cell.look,))), False)
    alerts = broken(cell.alerts, True)
    widths = [indent + measure(name, style.NAME_PT, True)]
    widths += [measure(line, style.CAPTION_PT, False) for line in quiet]
    widths += [measure(line, style.CAPTION_PT, True) for line in alerts]
    lines = (*quiet, *alerts)
    head = line_height(style.MARK_PT if mark else style.NAME_PT) if mark or name or lines else 0.0
    height = head + len(lines) * line_height(style.CAPTION_PT)
    return Caption(mark, name, lines, len(alerts), indent, max(widths), height, how.histogram, how.clipping)


def clipping_has_words(width_mm: float, measure: Measure) -> bool:
    """Whether the words black and white fit below a picture of this width, whatever the figures are."""
    black, white = clipping_texts(0.123, 0.0049, words=True)
    taken = measure(black, style.CAPTION_PT, False) + measure(white, style.CAPTION_PT, False)
    return taken + style.TEXT_GAP_MM <= width_mm
