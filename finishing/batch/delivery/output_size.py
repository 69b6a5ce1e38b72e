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


def printed(deliverable: Deliverable) -> PrintSize | None:
    """The part of the paper that is for the picture: all of it, or what the margin leaves."""
    paper, margin = deliverable.print_size, deliverable.margin or 0.0
    if paper is None:
        return None
    short = None if paper.short_inches is None else paper.short_inches - 2 * margin
    return PrintSize(paper.long_inches - 2 * margin, short)


def limiting_side(part: PrintSize, width: int, height: int) -> tuple[float, int]:
    """Of the side that fills its part of the paper, the inches there and its pixels: the one with the more pixels to an
    inch."""
    sides = [(part.long_inches, max(width, height))]
    if part.short_inches is not None:
        sides.append((part.short_inches, min(width, height)))
    return max(sides, key=lambda side: side[1] / side[0])


def resolution_on_paper(deliverable: Deliverable, width: int, height: int) -> float:
    """The resolution, in pixels per inch, that lays a picture of this size in pixels on the paper at the size asked
    for: the deliverable's own, unless the frame was too small for it."""
    asked, part = pixels_per_inch_of(deliverable), printed(deliverable)
    if part is None:
        return asked
    inches, pixels = limiting_side(part, width, height)
    found = pixels / inches
    return found if found < asked * SHARE else asked


def paper_size(deliverable: Deliverable, width: int, height: int) -> tuple[int, int] | None:
    """Width and height in pixels of the whole sheet that a picture of this size lies on, which turns with the picture.
    None where the file is the picture alone."""
    paper, margin = deliverable.print_size, deliverable.margin
    if paper is None or margin is None:
        return None
    resolution = resolution_on_paper(deliverable, width, height)
    long_side = max(round(paper.long_inches * resolution), width, height)
    short_side = min(width, height) + 2 * round(margin * resolution)
    if paper.short_inches is not None:
        short_side = max(round(paper.short_inches * resolution), min(width, height))
    return (long_side, short_side) if width >= height else (short_side, long_side)


def output_size(deliverable: Deliverable, width: int, height: int) -> tuple[int, int]:
    """Width and height of the picture in whole pixels, at least 1, in the frame's own proportions.

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
    part = printed(deliverable)
    if part is not None:
        resolution = pixels_per_inch_of(deliverable)
        scale = float(part.long_inches * resolution / long_side)
        if part.short_inches is not None:
            scale = min(scale, part.short_inches * resolution / short_side)
        return scale
    return None
