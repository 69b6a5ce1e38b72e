"""What goes on a contact sheet, and the paper it goes on. No pixels, no positions."""

import re
from collections.abc import Hashable
from dataclasses import dataclass

from finishing.errors import Problem

# Width and height in millimetres, upright. A sizes: ISO 216. Letter, legal, tabloid: ANSI/ASME Y14.1
# and common North American office sizes, 8.5 x 11, 8.5 x 14 and 11 x 17 inches.
NAMED_PAPERS: dict[str, tuple[float, float]] = {
    "a3": (297.0, 420.0),
    "a4": (210.0, 297.0),
    "a5": (148.0, 210.0),
    "letter": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "tabloid": (279.4, 431.8),
}
LEAST_SIDE_MM = 100.0
GREATEST_SIDE_MM = 1200.0  # a little more than A0; beyond it one page no longer fits into memory
_EXPECTED = f"{', '.join(NAMED_PAPERS)}, or width x height in millimetres such as 200x250"


@dataclass(frozen=True)
class Paper:
    """A page's size in millimetres; `may_turn`: it may be laid on its side where that serves the pictures.

    Raises Problem for a side under 100 mm or over 1200 mm.
    """

    width_mm: float
    height_mm: float
    may_turn: bool = False

    def __post_init__(self) -> None:
        for side in (self.width_mm, self.height_mm):
            if not LEAST_SIDE_MM <= side <= GREATEST_SIDE_MM:
                raise Problem(
                    "the paper cannot carry a contact sheet",
                    got=f"{self.width_mm:g} x {self.height_mm:g} mm",
                    expected=f"sides of {LEAST_SIDE_MM:g} to {GREATEST_SIDE_MM:g} mm",
                    remedy="choose another paper",
                )

    def turned(self) -> "Paper":
        """The same sheet of paper, lying on its other side."""
        return Paper(self.height_mm, self.width_mm, self.may_turn)


def paper_called(text: str, orientation: str | None = None) -> Paper:
    """A paper from `a4`, `letter`, `200x250`, `200 x 250 mm`.

    orientation: `portrait`, `landscape`, or None: a named paper may then turn to suit the pictures,
    while a size in millimetres stays as it is written. Raises Problem for anything else.
    """
    if orientation not in {None, "portrait", "landscape"}:
        raise Problem(
            "the paper's orientation is not known",
            got=str(orientation),
            expected="portrait or landscape",
            remedy="write one of the two, or leave it out",
        )
    word = text.strip().lower()
    named = NAMED_PAPERS.get(word)
    if named is None:
        found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x\u00d7]\s*(\d+(?:\.\d+)?)\s*(?:mm)?", word)
        if not found:
            raise Problem("the paper is not known", got=text, expected=_EXPECTED, remedy="choose one of these")
        width, height = float(found.group(1)), float(found.group(2))
    else:
        width, height = named
    if orientation is None:
        return Paper(width, height, may_turn=named is not None)
    if (width > height) != (orientation == "landscape"):
        width, height = height, width
    return Paper(width, height)


@dataclass(frozen=True)
class Cell:
    """One picture with its caption.

    picture: the caller's key for it, or None for a picture that could not be made.
    width_px, height_px: the finished picture's size, of which only the shape matters; 0 where unknown.
    caption: its lines, the first of them (the frame's name) in bold.
    mark: a short word a client can say over the telephone, such as the frame's number; stands out in front.
    message: why there is no picture; shown in the picture's place.
    look: what the picture is shown in; said below it where no title above its column says it.
    alerts: lines that stand out below the caption: what is not as it should be.
    """

    picture: Hashable | None
    width_px: int
    height_px: int
    caption: tuple[str, ...] = ()
    mark: str = ""
    message: str = ""
    look: str = ""
    alerts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Group:
    """The frames of one set-up: a heading, a quieter line below it, and one row for every frame.

    A row has one cell a look, in the order of the sheet's looks; None where a frame has no such look. notes,
    facts: short paragraphs below the heading, each broken into lines; facts are quieter.
    """

    heading: str
    rows: tuple[tuple[Cell | None, ...], ...]
    detail: str = ""
    notes: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A whole contact sheet: a title, a line below it, a line at the foot (rights), looks, groups.

    lines_each: into how many lines a line of a caption may be broken. histograms, clipping: whether every picture gets
    its tones drawn below it, and the shares of it that are plain black and plain white.
    """

    title: str
    subtitle: str = ""
    footer: str = ""
    column_titles: tuple[str, ...] = ()
    groups: tuple[Group, ...] = ()
    lines_each: int = 2
    histograms: bool = False
    clipping: bool = False
