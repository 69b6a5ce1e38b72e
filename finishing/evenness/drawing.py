"""The consistency of a session as a picture: for each set-up exposure, white and skin, before and after."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.evenness.chart_layout import Dot, Line, Text, arranged
from finishing.evenness.consistency import SetupConsistency

if TYPE_CHECKING:
    from PIL import Image

PAPER, INK, QUIET = (255, 255, 255), (38, 38, 38), (96, 96, 96)
CAME, LEAVES = (150, 150, 150), (31, 96, 104)
LINES = {
    "rule": (226, 226, 226),
    "zero": (176, 176, 176),
    "frame": (242, 242, 242),
    "came": (205, 205, 205),
    "leaves": LEAVES,
}
#: Drawn this many times larger and brought down, for smooth dots.
FINER = 2
#: What a file of ours says of itself, so that a later run knows that it may write over it; and under which keyword it
#: says whose it is.
MARK, OF = ("Software", "finishing: evenness"), "Source"


def draw_consistency(
    setups: Sequence[SetupConsistency], font: Path, bold: Path, session: str = "", of: str = ""
) -> bytes:
    """A PNG, the same bytes for the same numbers: open dots as the frames came, filled dots as they leave, from left
    to right in the order they were taken. font, bold: TrueType files; session: what the session is called; of: ASCII
    that the file says of whose it is."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    fonts = _Fonts(font, bold)
    page = arranged(setups, fonts.width, session)
    image = Image.new("RGB", (page.width * FINER, page.height * FINER), PAPER)
    pen = _Pen(image, fonts)
    for kind in ("frame", "rule", "zero", "came"):
        pen.lines([line for line in page.lines if line.kind == kind])
    pen.dots([dot for dot in page.dots if not dot.leaves])
    pen.lines([line for line in page.lines if line.kind == "leaves"])
    pen.dots([dot for dot in page.dots if dot.leaves])
    for text in page.texts:
        pen.text(text)
    small = image.resize((page.width, page.height), Image.Resampling.LANCZOS)
    chunks, file = PngInfo(), io.BytesIO()
    chunks.add(b"sRGB", b"\x00")
    chunks.add_text(*MARK)
    if of:
        chunks.add_text(OF, of)
    small.save(file, format="PNG", pnginfo=chunks)
    return file.getvalue()


class _Fonts:
    """The two faces at every size that is asked for."""

    def __init__(self, font: Path, bold: Path) -> None:
        self._files = {False: font, True: bold}
        self._fonts: dict[tuple[bool, int], Any] = {}

    def at(self, size: int, bold: bool) -> Any:
        from PIL import ImageFont

        if (bold, size) not in self._fonts:
            layout = ImageFont.Layout.BASIC
            self._fonts[bold, size] = ImageFont.truetype(str(self._files[bold]), size * FINER, layout_engine=layout)
        return self._fonts[bold, size]

    def width(self, words: str, size: int, bold: bool) -> float:
        """The width of a text in pixels of the final picture."""
        return float(self.at(size, bold).getlength(words)) / FINER


class _Pen:
    """Draws in units of the final picture."""

    def __init__(self, image: "Image.Image", fonts: _Fonts) -> None:
        from PIL import ImageDraw

        self._image, self._draw, self._fonts = image, ImageDraw.Draw(image), fonts

    def text(self, text: Text) -> None:
        from PIL import Image, ImageDraw

        font, ink = self._fonts.at(text.size, text.bold), QUIET if text.quiet else INK
        at = (round(text.x * FINER), round(text.y * FINER))
        if not text.upright:
            self._draw.text(at, text.words, fill=ink, font=font, anchor="la")
            return
        size = (max(round(text.height * FINER), 1), max(round(text.width * FINER), 1))
        lying = Image.new("L", size)
        ImageDraw.Draw(lying).text((0, 0), text.words, fill=255, font=font, anchor="la")
        standing = lying.transpose(Image.Transpose.ROTATE_90)
        self._image.paste(ink, at, standing)

    def lines(self, lines: Sequence[Line]) -> None:
        for line in lines:
            ends = tuple(part * FINER for part in (line.x0, line.y0, line.x1, line.y1))
            self._draw.line(ends, fill=LINES[line.kind], width=FINER)

    def dots(self, dots: Sequence[Dot]) -> None:
        for dot in dots:
            radius = dot.radius
            box = tuple(part * FINER for part in (dot.x - radius, dot.y - radius, dot.x + radius, dot.y + radius))
            fill, outline = (LEAVES, LEAVES) if dot.leaves else (PAPER, CAME)
            self._draw.ellipse(box, fill=fill, outline=outline, width=FINER + 1)
