"""Laid-out pages: rectangles, pictures and texts at their places in millimetres from the top left corner.

A renderer draws a page's items in their order and needs to know nothing else.
"""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass

from finishing.sheets.typeface import notices_of


@dataclass(frozen=True)
class Rectangle:
    """A filled area; grey: an sRGB code from 0 (black) to 255 (paper white)."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    grey: int


@dataclass(frozen=True)
class Picture:
    """A picture, to be fitted inside its area."""

    key: Hashable
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Text:
    """One line of text; the area is its line box, `baseline_mm` is measured from the page's top."""

    text: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    baseline_mm: float
    size_pt: float
    bold: bool
    grey: int


Item = Rectangle | Picture | Text


@dataclass(frozen=True)
class Page:
    """One page; number counts from 1."""

    width_mm: float
    height_mm: float
    number: int
    count: int
    items: tuple[Item, ...]


def pixels(length_mm: float, pixels_per_inch: float) -> int:
    """A length in whole pixels, at least one."""
    return max(1, round(length_mm * pixels_per_inch / 25.4))


def pictures_needed(pages: Iterable[Page], pixels_per_inch: float) -> dict[Hashable, tuple[int, int]]:
    """The width and height in pixels into which each picture has to be fitted, by its key, in reading order.

    The caller can so decode each frame once for all its looks. A picture placed twice is listed with
    the larger of its sizes.
    """
    needed: dict[Hashable, tuple[int, int]] = {}
    for page in pages:
        for item in page.items:
            if isinstance(item, Picture):
                width = pixels(item.width_mm, pixels_per_inch)
                height = pixels(item.height_mm, pixels_per_inch)
                known = needed.get(item.key, (0, 0))
                needed[item.key] = (max(known[0], width), max(known[1], height))
    return needed


def notices(pages: Iterable[Page]) -> list[str]:
    """What has to be told about the pages' texts: signs that the typeface lacks."""
    return notices_of(item.text for page in pages for item in page.items if isinstance(item, Text))
