"""What stands in the place of a picture that there is not. Pure."""

from finishing.sheets import style
from finishing.sheets import typesetting as set_as
from finishing.sheets.captions import line_height
from finishing.sheets.fitting import Measure, tidy, wrapped
from finishing.sheets.placed import Picture, Rectangle, Said, Text

_MOST_LINES = 6


def in_place_of(picture: Picture, said: Said, measure: Measure) -> list[Rectangle | Text]:
    """An empty area as large as the picture, and the text on it, as far as there is room."""
    x, y, width, height = picture.x_mm, picture.y_mm, picture.width_mm, picture.height_mm
    items: list[Rectangle | Text] = [Rectangle(x, y, width, height, style.PLACEHOLDER_GREY)]
    told = tidy(said.text)
    text, step = told[:1].upper() + told[1:], line_height(set_as.MESSAGE.size_pt)
    inner, most = width - 2 * style.MESSAGE_PAD_MM, int((height - 2 * style.MESSAGE_PAD_MM) / step)
    if not text or most < 1 or inner <= 0:
        return items
    how = set_as.MESSAGE
    lines = wrapped(text, inner, min(most, _MOST_LINES), measure, how.size_pt, how.bold)
    setter, first = set_as.Typesetter(measure), y + (height - len(lines) * step) / 2
    items += [setter.text(line, x + style.MESSAGE_PAD_MM, first + i * step, how) for i, line in enumerate(lines)]
    return items
