"""What is told of a finished picture's tones: a small histogram, the shares without any tone, and marks on them.

Measured on the picture as it is shown, reduced: areas keep their shares, a single glint is averaged away.
"""

from typing import TYPE_CHECKING

from finishing.sheets.placed import Reading

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Codes = npt.NDArray[np.uint8]

BARS = 64
_HATCH_PX = 8  # from line to line of the marks
_MARK_ON_WHITE, _MARK_ON_BLACK = 70, 175


def reading_of(codes: "Codes") -> Reading:
    """The tones of sRGB codes, rows x columns x 3.

    A pixel's tone is its luma Y' = 0.2126 R' + 0.7152 G' + 0.0722 B' (Rec. ITU-R BT.709-6, item 3.2). Bars are
    relative to the tallest that is not at an end, so that plain white does not flatten the rest. A pixel holds no
    tone where all three channels are at their end: 0 or 255.
    """
    import numpy as np

    wide = codes.astype(np.uint32)
    luma = (2126 * wide[..., 0] + 7152 * wide[..., 1] + 722 * wide[..., 2]) // 10000
    counts = np.bincount((luma * BARS // 256).ravel(), minlength=BARS)
    tallest = max(int(counts[1:-1].max()), 1)
    total = luma.size
    low, high = codes.max(axis=2), codes.min(axis=2)
    return Reading(
        tuple(round(min(1.0, int(count) / tallest), 4) for count in counts),
        int(np.count_nonzero(low == 0)) / total,
        int(np.count_nonzero(high == 255)) / total,
    )


def with_clipping_marks(codes: "Codes") -> "Codes":
    """A copy in which what holds no tone is hatched: plain white with dark lines that rise, plain black with light
    lines that fall. Neutral, so that they show on paper without colour too."""
    import numpy as np

    marked = codes.copy()
    rows, columns = np.ogrid[: codes.shape[0], : codes.shape[1]]
    rising, falling = (rows + columns) % _HATCH_PX < 2, (columns - rows) % _HATCH_PX < 2
    marked[(codes.min(axis=2) == 255) & rising] = _MARK_ON_WHITE
    marked[(codes.max(axis=2) == 0) & falling] = _MARK_ON_BLACK
    return marked
