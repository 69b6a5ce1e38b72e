"""How large a deliverable comes out: the frame's width and height brought to what the session asks for."""

import math

from finishing.sessions.deliverables import Deliverable

#: Where a print's resolution is not given.
USUAL_PIXELS_PER_INCH = 300.0


def pixels_per_inch_of(deliverable: Deliverable) -> float:
    """The resolution that a deliverable is printed at."""
    return float(deliverable.pixels_per_inch or USUAL_PIXELS_PER_INCH)


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
