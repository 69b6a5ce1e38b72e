"""Carries a framing out on pixels: codes cut, or turned in linear light; masks brought along.

Turning samples the frame anew between its pixels with the cubic convolution of R. G. Keys (1981, a = -1/2), in linear
light of the file's own primaries: exact for flat areas and straight ramps, and sharp. Next to a hard edge a cubic
overshoots; what it gives is therefore kept within the four pixels around the place, so that no dark or bright seam
comes up beside a bright edge. Beyond the frame's border its outermost pixels go on.
"""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing import domains
from finishing.batch.opening.framing import Framing
from finishing.compiled import ONE, ZERO, compiled, inlined
from finishing.engine.ends import CodedSource, LinearSource, Source, make_finite

HALF = np.float32(0.5)
ONE_AND_HALF = np.float32(1.5)
TWO = np.float32(2)
TWO_AND_HALF = np.float32(2.5)


def framed_source(source: CodedSource | LinearSource, framing: Framing, *, threads: int = 1) -> Source:
    """What is kept of a photograph, as the engine reads it. framing: of the source's own size.

    The whole frame is the source itself. A crop has codes (or light) of its own, contiguous; a turned frame is float32
    in linear light, four times the memory of 8-bit codes. A float source that
    is turned must be the caller's to change: NaN and infinity in it become what the engine makes of them.
    """
    if framing.whole:
        return source
    rows = slice(framing.top, framing.top + framing.height)
    columns = slice(framing.left, framing.left + framing.width)
    if framing.level and isinstance(source, LinearSource):
        return LinearSource(np.ascontiguousarray(source.planes[:, rows, columns]))
    if framing.level and isinstance(source, CodedSource):
        cut = CodedSource(np.ascontiguousarray(source.codes[rows, columns]), source.tables, None)
        cut.matrix = source.matrix
        return cut
    planes = np.empty((3, framing.height, framing.width), np.float32)
    places = framing.to_frame()
    if isinstance(source, LinearSource):
        make_finite(source.planes)

    def run(top: int) -> None:
        bottom = min(top + rows_each, framing.height)
        part = np.empty((3, bottom - top, framing.width), np.float32)
        if isinstance(source, LinearSource):
            turn_light(source.planes, places, part, top)
        else:
            turn_codes(source.codes, source.tables, places, part, top)
            if source.matrix is not None:
                domains.apply_matrix(part, source.matrix)
        planes[:, top:bottom] = part

    rows_each = max(64, -(-framing.height // (4 * threads)))
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(run, range(0, framing.height, rows_each)))
    return LinearSource(planes)


def framed_mask(mask: NDArray[np.float32], framing: Framing) -> NDArray[np.float32]:
    """A mask laid over the whole frame, brought to what is kept: bilinear, at the mask's own fineness."""
    import cv2

    if framing.whole:
        return mask
    fine_x, fine_y = mask.shape[1] / framing.full_width, mask.shape[0] / framing.full_height
    width, height = max(1, round(framing.width * fine_x)), max(1, round(framing.height * fine_y))
    a, b, c, d, e, f = framing.to_frame()
    step_x, step_y = framing.width / width, framing.height / height  # pixels of the frame to one of the new mask
    across, down = np.meshgrid((np.arange(width) + 0.5) * step_x, (np.arange(height) + 0.5) * step_y)
    at_x = ((a * across + b * down + c) * fine_x - 0.5).astype(np.float32)
    at_y = ((d * across + e * down + f) * fine_y - 0.5).astype(np.float32)
    moved = cv2.remap(mask, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.ascontiguousarray(moved, np.float32)


@inlined
def keys(t: Any) -> Any:
    """The weights of four samples in a row for a place t (0…1) between the second and the third (Keys, a = -1/2)."""
    return (
        ((-HALF * t + ONE) * t - HALF) * t,
        (ONE_AND_HALF * t - TWO_AND_HALF) * t * t + ONE,
        ((-ONE_AND_HALF * t + TWO) * t + HALF) * t,
        (HALF * t - HALF) * t * t,
    )


@compiled
def turn_codes(codes: Any, tables: Any, places: Any, planes: Any, top: int) -> None:
    """Rows from `top` on of what is kept. codes (height, width, 3), tables (3, levels); places: see `to_frame`."""
    a, b, c, d, e, f = places
    last_row, last_column = codes.shape[0] - 1, codes.shape[1] - 1
    column, row = np.empty(4, np.int64), np.empty(4, np.int64)
    for line in range(planes.shape[1]):
        y = top + line + 0.5
        for pixel in range(planes.shape[2]):
            x = pixel + 0.5
            at_x, at_y = a * x + b * y + c - 0.5, d * x + e * y + f - 0.5
            left, above = int(np.floor(at_x)), int(np.floor(at_y))
            across, down = keys(np.float32(at_x - left)), keys(np.float32(at_y - above))
            for i in range(4):
                column[i] = min(max(left - 1 + i, 0), last_column)
                row[i] = min(max(above - 1 + i, 0), last_row)
            for channel in range(3):
                table = tables[channel]
                value = ZERO
                for j in range(4):
                    along = ZERO
                    for i in range(4):
                        along += across[i] * table[codes[row[j], column[i], channel]]
                    value += down[j] * along
                first, second = table[codes[row[1], column[1], channel]], table[codes[row[1], column[2], channel]]
                third, fourth = table[codes[row[2], column[1], channel]], table[codes[row[2], column[2], channel]]
                low = min(min(first, second), min(third, fourth))
                high = max(max(first, second), max(third, fourth))
                planes[channel, line, pixel] = min(max(value, low), high)


@compiled
def turn_light(light: Any, places: Any, planes: Any, top: int) -> None:
    """The same from planes (3, height, width) of light."""
    a, b, c, d, e, f = places
    last_row, last_column = light.shape[1] - 1, light.shape[2] - 1
    column, row = np.empty(4, np.int64), np.empty(4, np.int64)
    for line in range(planes.shape[1]):
        y = top + line + 0.5
        for pixel in range(planes.shape[2]):
            x = pixel + 0.5
            at_x, at_y = a * x + b * y + c - 0.5, d * x + e * y + f - 0.5
            left, above = int(np.floor(at_x)), int(np.floor(at_y))
            across, down = keys(np.float32(at_x - left)), keys(np.float32(at_y - above))
            for i in range(4):
                column[i] = min(max(left - 1 + i, 0), last_column)
                row[i] = min(max(above - 1 + i, 0), last_row)
            for channel in range(3):
                plane = light[channel]
                value = ZERO
                for j in range(4):
                    along = ZERO
                    for i in range(4):
                        along += across[i] * plane[row[j], column[i]]
                    value += down[j] * along
                first, second = plane[row[1], column[1]], plane[row[1], column[2]]
                third, fourth = plane[row[2], column[1]], plane[row[2], column[2]]
                low = min(min(first, second), min(third, fourth))
                high = max(max(first, second), max(third, fourth))
                planes[channel, line, pixel] = min(max(value, low), high)
