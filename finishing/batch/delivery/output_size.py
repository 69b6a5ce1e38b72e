"""How large a deliverable comes out: the frame's width and height brought to what the session asks for."""

import math

from finishing.sessions.deliverables import Deliverable, PrintSize

#: Where a print's resolution is not given.
USUAL_PIXELS_PER_INCH = 300.0
#: Less than this share of the resolution does not show.
SHARE = 0.995


def pixels_per_inch_of(deliverable: Deliverable) -> float:
    """The resolution that a deliverable is to be printed at."""
    return float(deliverable.pixels_per_inch or USUAL_PIXELS_PER_INCH)


def limiting_side(paper: PrintSize, width: int, height: int) -> tuple[float, int]:
    """Of the side that fills the paper, its inches there and its pixels: the one with the more pixels to an inch."""
    sides = [(paper.long_inches, max(width, height))]
    if paper.short_inches is not None:
        sides.append((paper.short_inches, min(width, height)))
    return max(sides, key=lambda side: side[1] / side[0])


def resolution_on_paper(deliverable: Deliverable, width: int, height: int) -> float:
    """The resolution, in pixels per inch, that lays a picture of this size in pixels on the paper at the size asked
    for: the deliverable's own, unless the frame was too small for it."""
    asked = pixels_per_inch_of(deliverable)
    if deliverable.print_size is None:
        return asked
    inches, pixels = limiting_side(deliverable.print_size, width, height)
    found = pixels / inches
    return found if found < asked * SHARE else asked


def output_size(deliverable: Deliverable, width: int, height: int) -> tuple[int, int]:
    """Width and height in whole pixels, at least 1, in the frame's own proportions.

    width, height: of the frame as it is kept (straightened, cropped). A frame that is smaller than asked for stays as
    it is, unless the deliverable says to enlarge.
    """
    scale = _scale(deliverable, width, height)
    if scale is None or (scale >= 1 and not deliverable.enlarge):
        return width, height
    return max(1, round(width * scale)), max(1, round(height * scale))


def _scale(deliverable: Deliverable, width: int, height: int) -> float | None:
    """What width and height are multiplied by; None where no size is asked for."""
    long_side, short_side = max(width, height), min(width, height)
    if deliverable.long_edge is not None:
        return float(deliverable.long_edge / long_side)
    if deliverable.short_edge is not None:
        return float(deliverable.short_edge / short_side)
    if deliverable.megapixels is not None:
        return math.sqrt(deliverable.megapixels * 1e6 / (width * height))
    if deliverable.box is not None:
        return float(min(deliverable.box[0] / width, deliverable.box[1] / height))
    if deliverable.print_size is not None:
        resolution, paper = pixels_per_inch_of(deliverable), deliverable.print_size
        scale = float(paper.long_inches * resolution / long_side)
        if paper.short_inches is not None:
            scale = min(scale, paper.short_inches * resolution / short_side)
        return scale
    return None
