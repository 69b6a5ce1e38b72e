"""Frames as the separation reads them: strips of linear light, laid over the first, with what is clipped known."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.compiled import compiled

Planes = NDArray[np.float32]
Matrix = NDArray[np.float64]

#: From this share of the highest code on a value counts as clipped: JPEG moves codes near white by some steps.
CLIPPED_FROM = 0.988
#: Source rows and columns around a strip that the interpolation looks at, and within which a clipped pixel tells.
INTERPOLATION = 4
NAN = np.float32(np.nan)


@dataclass(frozen=True, eq=False)
class LitFrame:
    """One frame of a scene on a tripod.

    codes: uint8 or uint16 (height, width, 3) with tables float32 (3, levels), the linear light of each code; or
    float32 linear light with tables (3, 0). seconds: exact shutter time. strobes: whether they fired. placed: 2×3
    affine from pixels (x, y) of the first frame to pixels of this one, None where they lie on each other. lossy: the
    standard deviation, in codes, that a lossy compression adds where the picture has structure; 0 without one.
    """

    name: str
    codes: NDArray[Any]
    tables: Planes
    seconds: float
    strobes: bool = True
    placed: Matrix | None = None
    lossy: float = 0.0

    @property
    def height(self) -> int:
        """In pixels."""
        return int(self.codes.shape[0])

    @property
    def width(self) -> int:
        """In pixels."""
        return int(self.codes.shape[1])

    @property
    def white(self) -> Planes:
        """Per channel, the linear light from which on a value is clipped; infinite for floating-point frames."""
        levels = self.tables.shape[1]
        if levels == 0:
            return np.full(3, np.inf, np.float32)
        return np.ascontiguousarray(self.tables[:, round(CLIPPED_FROM * (levels - 1))])

    def step(self, light: NDArray[np.float64]) -> NDArray[np.float64]:
        """The linear light between two neighbouring codes, at these amounts of light (of the first channel)."""
        if self.tables.shape[1] == 0:
            return np.zeros_like(light)
        known = self.tables[0].astype(np.float64)
        return np.interp(light, known, np.gradient(known))


def read_rows(frame: LitFrame, planes: Planes, top: int) -> None:
    """Fill planes (3, rows, width) with the rows from `top` on, as they lie in the first frame.

    What the frame did not see is NaN. Next to a clipped pixel a value that was interpolated counts as clipped.
    """
    if frame.placed is None:
        decode(frame, frame.codes[top : top + planes.shape[1]], planes)
        return
    import cv2

    rows, width = planes.shape[1:]
    m = frame.placed
    corners = np.array([[0, top], [width - 1, top], [0, top + rows - 1], [width - 1, top + rows - 1]], np.float64)
    down = corners @ m[1, :2] + m[1, 2]
    first = max(0, int(np.floor(down.min())) - INTERPOLATION)
    last = min(frame.height, int(np.ceil(down.max())) + INTERPOLATION + 1)
    if first >= last:
        planes[:] = NAN
        return
    source = np.empty((3, last - first, frame.width), np.float32)
    decode(frame, frame.codes[first:last], source)
    # the strip's own coordinates on both sides
    part = m.copy()
    part[:, 2] += m[:, 1] * top
    part[1, 2] -= first
    white = frame.white
    size = (width, rows)
    around = np.ones((3, 3), np.uint8)
    for channel in range(3):
        planes[channel] = cv2.warpAffine(
            source[channel], part, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        clipped = source[channel] >= white[channel]
        if clipped.any():
            near = cv2.dilate(clipped.astype(np.uint8), around, iterations=2)
            shown = cv2.warpAffine(near, part, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
            np.maximum(planes[channel], white[channel], out=planes[channel], where=shown > 0)
    x, y = np.arange(width, dtype=np.float64), np.arange(top, top + rows, dtype=np.float64)[:, None]
    across, down = m[0, 0] * x + m[0, 1] * y + m[0, 2], m[1, 0] * x + m[1, 1] * y + m[1, 2]
    unseen = (across < 0) | (across > frame.width - 1) | (down < 0) | (down > frame.height - 1)
    if unseen.any():
        planes[:, unseen] = NAN


def decode(frame: LitFrame, codes: NDArray[Any], planes: Planes) -> None:
    """Rows of a frame's codes or floats (rows, width, 3) to linear light (3, rows, width)."""
    if frame.tables.shape[1] == 0:
        planes[:] = np.moveaxis(codes, -1, 0)
    else:
        domains.load(codes, frame.tables, planes)


def reduced(frame: LitFrame, by: int) -> Planes:
    """The frame, not yet laid over the first, at 1/by of its size: (3, height // by, width // by), means of blocks.

    A block with a clipped pixel in it counts as clipped. Rows and columns that fill no block are left out.
    """
    height, width = frame.height // by, frame.width // by
    planes = np.empty((3, height, width), np.float32)
    if by == 1:
        decode(frame, frame.codes, planes)
        return planes
    rows = max(1, 65536 // max(frame.width * by, 1))
    strip = np.empty((3, rows * by, frame.width), np.float32)
    white = frame.white
    for top in range(0, height, rows):
        count = min(rows, height - top)
        part = strip if count == rows else np.empty((3, count * by, frame.width), np.float32)
        decode(frame, frame.codes[top * by : (top + count) * by], part)
        gather(part, by, white, planes[:, top : top + count])
    return planes


@compiled
def gather(strip: Any, by: Any, white: Any, out: Any) -> None:
    """Means of blocks of by × by; at least `white` where one of the block's pixels is that light."""
    share = np.float32(1.0 / (by * by))
    for channel in range(3):
        limit = white[channel]
        for row in range(out.shape[1]):
            for x in range(out.shape[2]):
                total = np.float32(0)
                most = np.float32(0)
                for down in range(by):
                    for across in range(by):
                        value = strip[channel, row * by + down, x * by + across]
                        total += value
                        most = max(most, value)
                mean = total * share
                out[channel, row, x] = mean if most < limit else max(mean, limit)
