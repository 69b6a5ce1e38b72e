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

from finishing.errors import Problem, install_extra
from finishing.sheets.instead import in_place_of
from finishing.sheets.placed import Clipping, Histogram, Page, Picture, ReadingSource, Rectangle, Said, Text, pixels
from finishing.sheets.replacing import Replacing
from finishing.sheets.typeface import FAMILY, face, measure, printable

if TYPE_CHECKING:
    from fpdf import FPDF

# key, width, height in pixels -> a JPEG file's bytes in sRGB of at most that size, or what is said in its place
JpegSource = Callable[[Hashable, int, int], "bytes | Said"]

DEFAULT_PDF_PIXELS_PER_INCH = 300.0
NO_DATE = datetime(1970, 1, 1, tzinfo=UTC)  # PDF writers must write some date


def draw_pdf(
    pages: Sequence[Page],
    pictures: JpegSource,
    path: Path,
    pixels_per_inch: float = DEFAULT_PDF_PIXELS_PER_INCH,
    *,
    title: str = "",
    author: str = "",
    dated: datetime = NO_DATE,
    readings: ReadingSource | None = None,
    instead: str = "contact sheet as .png",
    xmp: str = "",
) -> Path:
    """Draws the pages into one file and returns its path.

    pictures(key, width_px, height_px) returns a baseline or progressive JPEG no larger than asked for, which is fitted
    inside its place, or `Said`, which is set there. title and author go into the document's properties; dated: its date
    with a time zone, for instance the day of the session. readings(key): what is told of a picture's tones, asked for
    after the picture. instead: what to write without the PDF library. xmp: the document's record (ISO 16684-1), an
    x:xmpmeta element, stored as it is. Raises Problem where that library is not installed or the folder cannot be
    written to, ValueError for a picture that is no JPEG.
    """
    document = new_document(instead)
    document.set_creation_date(dated)
    document.set_title(title)
    document.set_author(author)
    if xmp:
        document.set_xmp_metadata(xmp)
    for page in pages:
        document.add_page(format=(page.width_mm, page.height_mm))
        _draw_page(document, page, pictures, pixels_per_inch, readings)
    # The library's font subsetter reports every table it keeps; that is of no use to a photographer.
    logging.getLogger("fontTools.subset").setLevel(logging.WARNING)
    data = document.output()
    with Replacing(path.parent) as files:
        files.open_for(path).write(data)
    return path


def new_document(instead: str) -> "FPDF":
    """An empty document in millimetres with the sheets' typeface. instead: what to write without the library.

    Raises Problem where the library is not installed.
    """
    try:
        from fpdf import FPDF
    except ImportError as error:
        raise Problem(
            "PDF files need a library that is not installed",
            remedy=f"{install_extra('pdf')}; or write the {instead}",
        ) from error
    document = FPDF(unit="mm")
    document.set_auto_page_break(False)
    document.set_margin(0)
    document.c_margin = 0
    for bold in (False, True):
        document.add_font(FAMILY, "B" if bold else "", str(face(bold).path))
    return document


def _draw_page(
    document: "FPDF", page: Page, pictures: JpegSource, pixels_per_inch: float, readings: ReadingSource | None
) -> None:
    for item in page.items:
        if isinstance(item, Rectangle):
            _area(document, item)
        elif isinstance(item, Picture):
            width, height = pixels(item.width_mm, pixels_per_inch), pixels(item.height_mm, pixels_per_inch)
            data = pictures(item.key, width, height)
            if isinstance(data, Said):
                for part in in_place_of(item, data, measure):
                    if isinstance(part, Text):
                        _write(document, part)
                    else:
                        _area(document, part)
                continue
            if not data.startswith(b"\xff\xd8"):
                raise ValueError(f"picture {item.key!r}: expected a JPEG file's bytes")
            document.image(
                io.BytesIO(data), item.x_mm, item.y_mm, item.width_mm, item.height_mm, keep_aspect_ratio=True
            )
        elif isinstance(item, Text):
            _write(document, item)
        else:
            assert readings is not None
            reading = readings(item.key)
            if reading is None:
                continue
            if isinstance(item, Clipping):
                for text in item.texts(reading, measure):
                    _write(document, text)
            else:
                _bars(document, item, reading.bars)


def _area(document: "FPDF", item: Rectangle) -> None:
    document.set_fill_color(item.grey)
    document.rect(item.x_mm, item.y_mm, item.width_mm, item.height_mm, style="F")


def _write(document: "FPDF", item: Text) -> None:
    document.set_font(FAMILY, "B" if item.bold else "", item.size_pt)
    document.set_text_color(item.grey)
    document.text(item.x_mm, item.baseline_mm, printable(item.text, item.bold))


def _bars(document: "FPDF", item: Histogram, bars: Sequence[float]) -> None:
    """The bars as one filled outline on a thin line."""
    foot, step = item.y_mm + item.height_mm, item.width_mm / len(bars)
    points = [(item.x_mm, foot)]
    for number, bar in enumerate(bars):
        top = foot - bar * item.height_mm
        points += [(item.x_mm + number * step, top), (item.x_mm + (number + 1) * step, top)]
    points.append((item.x_mm + item.width_mm, foot))
    document.set_fill_color(item.grey)
    document.polygon(points, style="F")
    document.rect(item.x_mm, foot, item.width_mm, 0.12, style="F")
