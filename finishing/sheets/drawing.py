"""Laid-out pages drawn to PNG files.

Texts are set by FreeType through Pillow, sign by sign at quarter pixels, so that a line is exactly as
wide as the layout measured it at any resolution. Files carry nothing of the clock or the machine: same pages, same
bytes.
"""

import math
import re
from collections import deque
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.instead import in_place_of
from finishing.sheets.placed import Clipping, Histogram, Page, Picture, ReadingSource, Rectangle, Said, Text, pixels
from finishing.sheets.png_file import png_file
from finishing.sheets.replacing import Replacing, settle
from finishing.sheets.typeface import MM_PER_POINT, face, measure, printable

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

# key, width, height in pixels -> uint8 sRGB of at most that size, rows x columns x 3, or what is said in its place
PictureSource = Callable[[Hashable, int, int], "npt.NDArray[np.uint8] | Said"]

DEFAULT_PIXELS_PER_INCH = 200.0
LEAST_PIXELS_PER_INCH = 50.0
GREATEST_PIXELS_PER_INCH = 600.0
# keywords under which a page says who made it, which of how many it is, and what it is a page of
_SOFTWARE, _PAGE, _OF = "Software", "Page", "Source"
_MAKER = "finishing"


def page_paths(path: Path, count: int) -> list[Path]:
    """sheet.png for a single page; sheet-1.png, sheet-2.png … for more (sheet-01.png from ten pages on)."""
    if count == 1:
        return [path]
    digits = len(str(count))
    return [path.with_name(f"{path.stem}-{number:0{digits}d}{path.suffix}") for number in range(1, count + 1)]


def draw_png(
    pages: Sequence[Page],
    pictures: PictureSource,
    path: Path,
    pixels_per_inch: float = DEFAULT_PIXELS_PER_INCH,
    readings: ReadingSource | None = None,
    of: str = "",
) -> list[Path]:
    """Draws the pages and returns the files written, one a page.

    pictures(key, width_px, height_px) returns a picture as uint8 sRGB, rows x columns x 3, no larger
    than asked for (a smaller one is centred in its place), or `Said`, which is set in its place. readings(key): what
    is told of a picture's tones, asked for after the picture. of: ASCII that the files say they are
    pages of. All pages are drawn before the first file takes its name, each compressed while the next is drawn.
    Raises Problem for a resolution outside 50 to 600 pixels per inch and for a folder that cannot be written to,
    ValueError for a picture of a wrong type or size.
    """
    if not LEAST_PIXELS_PER_INCH <= pixels_per_inch <= GREATEST_PIXELS_PER_INCH:
        raise Problem(
            "the contact sheet's resolution is out of range",
            got=f"{pixels_per_inch:g} pixels per inch",
            expected=f"{LEAST_PIXELS_PER_INCH:g} to {GREATEST_PIXELS_PER_INCH:g}",
            remedy="choose a resolution in this range; 200 prints well",
        )
    targets = page_paths(path, len(pages))
    with Replacing(path.parent) as files, ThreadPoolExecutor(1) as pool:
        saving: deque[Future[None]] = deque()
        for page, target in zip(pages, targets, strict=True):
            image = page_image(page, pictures, pixels_per_inch, readings)
            while len(saving) > 1:
                saving.popleft().result()
            saving.append(pool.submit(_save, image, page, files.open_for(target), pixels_per_inch, of))
        while saving:
            saving.popleft().result()
    return targets


def leftover_pages(path: Path, written: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """Pages that an earlier sheet of this name left beside the ones just written: ours, and files that only look so.

    Ours are those that say in their own data that they are the page their name stands for, of another number of pages.
    """
    ours: list[Path] = []
    others: list[Path] = []
    for one in _named_like(path):
        if one in written:
            continue
        told = page_told(one)
        if told is not None and page_paths(path, told[1])[told[0] - 1] == one:
            ours.append(one)
        elif told is None:
            others.append(one)
    return ours, others


def pages_there(path: Path) -> dict[Path, str]:
    """The pages of a sheet of this name that are there already, with what they say they are pages of."""
    found = {}
    for one in _named_like(path):
        told = page_told(one)
        if told is not None and page_paths(path, told[1])[told[0] - 1] == one:
            found[one] = str(_texts(one).get(_OF, ""))
    return found


def _named_like(path: Path) -> list[Path]:
    """The files beside a path that have a name as its pages have."""
    name = re.compile(rf"{re.escape(path.stem)}(-\d+)?{re.escape(path.suffix)}")
    there = sorted(path.parent.iterdir()) if path.parent.is_dir() else []
    return [one for one in there if name.fullmatch(one.name) and one.is_file()]


def _texts(path: Path) -> "dict[Any, Any]":
    from PIL import Image

    try:
        with Image.open(path, formats=["PNG"]) as image:
            return image.info
    except (OSError, SyntaxError, ValueError):
        return {}


def page_told(path: Path) -> tuple[int, int] | None:
    """Which page of how many a PNG file of ours is; None for any other file."""
    told = _texts(path)
    found = re.fullmatch(r"([1-9]\d{0,5}) of ([1-9]\d{0,5})", str(told.get(_PAGE)))
    if told.get(_SOFTWARE) != _MAKER or not found or int(found.group(1)) > int(found.group(2)):
        return None
    return int(found.group(1)), int(found.group(2))


def page_image(
    page: Page, pictures: PictureSource, pixels_per_inch: float, readings: ReadingSource | None = None
) -> "Image":
    """One page as a Pillow RGB image."""
    from PIL import Image, ImageDraw

    scale = pixels_per_inch / 25.4
    size = (pixels(page.width_mm, pixels_per_inch), pixels(page.height_mm, pixels_per_inch))
    image = Image.new("RGB", size, (style.PAPER_GREY,) * 3)
    draw = ImageDraw.Draw(image)
    fonts: dict[tuple[bool, float], FreeTypeFont] = {}
    for item in page.items:
        if isinstance(item, Rectangle):
            _area(draw, item, scale)
        elif isinstance(item, Picture):
            shown = pictures(item.key, pixels(item.width_mm, pixels_per_inch), pixels(item.height_mm, pixels_per_inch))
            if not isinstance(shown, Said):
                _place(image, item, shown, pixels_per_inch)
                continue
            for part in in_place_of(item, shown, measure):
                if isinstance(part, Text):
                    _write(draw, part, scale, fonts)
                else:
                    _area(draw, part, scale)
        elif isinstance(item, Text):
            _write(draw, item, scale, fonts)
        else:
            assert readings is not None
            reading = readings(item.key)
            if reading is None:
                continue
            if isinstance(item, Clipping):
                for text in item.texts(reading, measure):
                    _write(draw, text, scale, fonts)
            else:
                _bars(draw, item, reading.bars, scale)
    return image


def _area(draw: "ImageDraw", item: Rectangle, scale: float) -> None:
    left, top = round(item.x_mm * scale), round(item.y_mm * scale)
    right, bottom = round((item.x_mm + item.width_mm) * scale), round((item.y_mm + item.height_mm) * scale)
    draw.rectangle((left, top, max(left, right - 1), max(top, bottom - 1)), fill=(item.grey,) * 3)


def _bars(draw: "ImageDraw", item: Histogram, bars: Sequence[float], scale: float) -> None:
    """Every column of pixels takes the height of the bar that it lies in."""
    left, right = round(item.x_mm * scale), round((item.x_mm + item.width_mm) * scale)
    foot, most = round((item.y_mm + item.height_mm) * scale), item.height_mm * scale
    for x in range(left, right):
        height = round(most * bars[(x - left) * len(bars) // (right - left)])
        if height:
            draw.rectangle((x, foot - height, x, foot - 1), fill=(item.grey,) * 3)
    draw.rectangle((left, foot, max(left, right - 1), foot), fill=(item.grey,) * 3)


def _place(image: "Image", item: Picture, array: "npt.NDArray[np.uint8]", pixels_per_inch: float) -> None:
    from PIL import Image

    width, height = pixels(item.width_mm, pixels_per_inch), pixels(item.height_mm, pixels_per_inch)
    if array.dtype.name != "uint8" or array.ndim != 3 or array.shape[2] != 3 or 0 in array.shape:
        raise ValueError(f"picture {item.key!r}: expected uint8 rows x columns x 3, got {array.dtype} {array.shape}")
    if array.shape[0] > height or array.shape[1] > width:
        raise ValueError(f"picture {item.key!r}: asked for {width} x {height}, got {array.shape[1]} x {array.shape[0]}")
    left = round(item.x_mm * pixels_per_inch / 25.4) + (width - array.shape[1]) // 2
    top = round(item.y_mm * pixels_per_inch / 25.4) + (height - array.shape[0]) // 2
    image.paste(Image.fromarray(array), (left, top))


def _write(draw: "ImageDraw", item: Text, scale: float, fonts: "dict[tuple[bool, float], FreeTypeFont]") -> None:
    from PIL import ImageFont

    known = face(item.bold)
    font = fonts.get((item.bold, item.size_pt))
    if font is None:
        size = item.size_pt * MM_PER_POINT * scale
        # The basic layout engine is always there and needs no shaping library, so bytes do not depend on one.
        font = ImageFont.truetype(str(known.path), size, layout_engine=ImageFont.Layout.BASIC)
        fonts[(item.bold, item.size_pt)] = font
    em = item.size_pt * MM_PER_POINT * scale
    x, baseline = item.x_mm * scale, round(item.baseline_mm * scale)
    for sign in printable(item.text, item.bold):
        if not sign.isspace():
            draw.text((math.floor(x * 4) / 4, baseline), sign, fill=(item.grey,) * 3, font=font, anchor="ls")
        x += known.advances[ord(sign)] * em


def _save(image: "Image", page: Page, file: BinaryIO, pixels_per_inch: float, of: str) -> None:
    import numpy as np

    told = {_SOFTWARE: _MAKER, _PAGE: f"{page.number} of {page.count}", **({_OF: of} if of else {})}
    file.writelines(png_file(np.asarray(image), pixels_per_inch, told))
    settle(file)
