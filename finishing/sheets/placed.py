"""Laid-out pages: rectangles, pictures and texts at their places in millimetres from the top left corner.

A renderer draws a page's items in their order and needs to know nothing else.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass

from finishing.sheets.fitting import Measure
from finishing.sheets.typeface import notices_of
from finishing.units import format_number


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
class Said:
    """Given for a picture that there is not: what is said in its place."""

    text: str


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


@dataclass(frozen=True)
class Histogram:
    """The tones of the picture with this key, as bars from black at the left to white at the right."""

    key: Hashable
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    grey: int


@dataclass(frozen=True)
class Clipping:
    """How much of the picture with this key has no tone left: black at the left end of a line, white at the right.

    words: whether there is room for the words black and white beside the figures.
    """

    key: Hashable
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    baseline_mm: float
    size_pt: float
    grey: int
    words: bool

    def texts(self, reading: "Reading", measure: Measure) -> list[Text]:
        """The two ends as texts at their places; measure gives a text's width in millimetres."""
        black, white = clipping_texts(reading.black, reading.white, words=self.words)
        width = measure(white, self.size_pt, False)
        right = self.x_mm + self.width_mm - width
        return [
            Text(text, x, self.y_mm, taken, self.height_mm, self.baseline_mm, self.size_pt, False, self.grey)
            for text, x, taken in (
                (black, self.x_mm, measure(black, self.size_pt, False)),
                (white, right, width),
            )
        ]


def clipping_texts(black: float, white: float, *, words: bool) -> tuple[str, str]:
    """Two shares of a picture, 0 to 1, as they are printed: black 0.3 %, white 2.1 %."""
    ends = [f"{format_number(100 * share, 1 if share < 0.0995 else 0)} %" for share in (black, white)]
    if 0 < black < 0.0005:
        ends[0] = "< 0.1 %"
    if 0 < white < 0.0005:
        ends[1] = "< 0.1 %"
    return (f"black {ends[0]}", f"white {ends[1]}") if words else (ends[0], ends[1])


@dataclass(frozen=True)
class Reading:
    """What is known of a picture's tones. bars: heights 0 to 1, from black to white; black, white: the shares of its
    pixels, 0 to 1, that hold no tone."""

    bars: tuple[float, ...]
    black: float
    white: float


#: Gives the reading of a picture by its key, after the picture itself was asked for; None where there is no picture.
ReadingSource = Callable[[Hashable], Reading | None]

Item = Rectangle | Picture | Text | Histogram | Clipping


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
