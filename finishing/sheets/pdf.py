"""Laid-out pages drawn to one PDF file: texts as text, areas as vectors, pictures as the JPEG data given.

The JPEG data is stored untouched (DCTDecode). Same pages, same bytes: the file holds nothing of the
clock or the machine, and its date is the caller's.
"""

import io
import logging
from collections.abc import Callable, Hashable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from finishing.errors import Problem
from finishing.sheets.placed import Page, Picture, Rectangle, pixels
from finishing.sheets.replacing import Replacing
from finishing.sheets.typeface import FAMILY, face, printable

if TYPE_CHECKING:
    from fpdf import FPDF

# key, width, height in pixels -> a JPEG file's bytes in sRGB of at most that size
JpegSource = Callable[[Hashable, int, int], bytes]

DEFAULT_PDF_PIXELS_PER_INCH = 300.0
_NO_DATE = datetime(1970, 1, 1, tzinfo=UTC)  # PDF writers must write some date


def draw_pdf(
    pages: Sequence[Page],
    pictures: JpegSource,
    path: Path,
    pixels_per_inch: float = DEFAULT_PDF_PIXELS_PER_INCH,
    *,
    title: str = "",
    author: str = "",
    dated: datetime = _NO_DATE,
) -> Path:
    """Draws the pages into one file and returns its path.

    pictures(key, width_px, height_px) returns a baseline or progressive JPEG no larger than asked for;
    it is fitted inside its place. title and author go into the document's properties; dated: its date
    with a time zone, for instance the day of the session. Raises Problem where the PDF library is not
    installed or the folder cannot be written to, ValueError for a picture that is no JPEG.
    """
    document = _new_document()
    document.set_creation_date(dated)
    document.set_title(title)
    document.set_author(author)
    for page in pages:
        document.add_page(format=(page.width_mm, page.height_mm))
        _draw_page(document, page, pictures, pixels_per_inch)
    # The library's font subsetter reports every table it keeps; that is of no use to a photographer.
    logging.getLogger("fontTools.subset").setLevel(logging.WARNING)
    data = bytes(document.output())
    with Replacing(path.parent) as files:
        files.open_for(path).write(data)
    return path


def _new_document() -> "FPDF":
    try:
        from fpdf import FPDF
    except ImportError as error:
        raise Problem(
            "PDF files need a library that is not installed",
            remedy="run: pip install 'finishing[pdf]', or write the contact sheet as .png",
        ) from error
    document = FPDF(unit="mm")
    document.set_auto_page_break(False)
    document.set_margin(0)
    document.c_margin = 0
    for bold in (False, True):
        document.add_font(FAMILY, "B" if bold else "", str(face(bold).path))
    return document


def _draw_page(document: "FPDF", page: Page, pictures: JpegSource, pixels_per_inch: float) -> None:
    for item in page.items:
        if isinstance(item, Rectangle):
            document.set_fill_color(item.grey)
            document.rect(item.x_mm, item.y_mm, item.width_mm, item.height_mm, style="F")
        elif isinstance(item, Picture):
            width, height = pixels(item.width_mm, pixels_per_inch), pixels(item.height_mm, pixels_per_inch)
            data = pictures(item.key, width, height)
            if not data.startswith(b"\xff\xd8"):
                raise ValueError(f"picture {item.key!r}: expected a JPEG file's bytes")
            document.image(
                io.BytesIO(data), item.x_mm, item.y_mm, item.width_mm, item.height_mm, keep_aspect_ratio=True
            )
        else:
            document.set_font(FAMILY, "B" if item.bold else "", item.size_pt)
            document.set_text_color(item.grey)
            document.text(item.x_mm, item.baseline_mm, printable(item.text, item.bold))
