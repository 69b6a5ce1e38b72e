"""Compiled: a file's interleaved codes (rows, width, 3) to planar float32 strips (3, rows, width) and back."""

from typing import Any

import numpy as np

from finishing.compiled import ONE, ZERO, compiled, inlined, power

HALF = np.float32(0.5)


#: Pixels of a row that are looked at together for whether all of them have the same weight.
TOGETHER = 256


@compiled
def load_between(codes: Any, tables: Any, weights: Any, planes: Any) -> None:
    """Values from integer codes (rows, width, 3) and weights 0…1 (rows, width).

    tables: float32 (steps, 3, levels), the values at weights from 0 to 1, with straight lines between. Where pixels
    side by side have one weight, they need one table.
    """
    own, held = tables[0].copy(), ZERO
    width = codes.shape[1]
    for row in range(codes.shape[0]):
        for first in range(0, width, TOGETHER):
            last = min(first + TOGETHER, width)
            if alike(weights, row, first, last):
                if weights[row, first] != held:
                    held = weights[row, first]
                    fill_between(tables, held, own)
                look_up(codes, row, first, last, own, planes)
            else:
                look_up_between(codes, row, first, last, tables, weights, planes)


@compiled
def recode_between(codes: Any, tables: Any, weights: Any, out: Any) -> None:
    """Codes to codes (rows, width, 3), which may be one array; tables as for `load_between`, of codes not rounded."""
    width = codes.shape[1]
    values = np.empty((3, 1, width), np.float32)
    red, green, blue = values[0, 0], values[1, 0], values[2, 0]
    for row in range(codes.shape[0]):
        load_between(codes[row : row + 1], tables, weights[row : row + 1], values)
        told = out[row]
        for x in range(width):
            told[x, 0] = np.int32(red[x] + HALF)
            told[x, 1] = np.int32(green[x] + HALF)
            told[x, 2] = np.int32(blue[x] + HALF)


# The helpers take arrays and places in them, not parts of arrays: making a part costs as much as a hundred pixels.


@compiled
def alike(weights: Any, row: Any, first: Any, last: Any) -> Any:
    """Whether all weights of a stretch are the same. Counted, since a count vectorises."""
    line = weights[row, first:last]
    others = np.int32(0)
    for x in range(line.shape[0]):
        others += np.int32(line[x] != line[0])
    return others == 0


@inlined
def step_of(weight: Any, steps: Any) -> Any:
    """The step below a weight, and how far the weight is on the way to the next."""
    place = weight * np.float32(steps - 1)
    below = min(np.int64(place), steps - 2)
    return below, place - np.float32(below)


@compiled
def fill_between(tables: Any, weight: Any, own: Any) -> None:
    """The table of one weight."""
    below, way = step_of(weight, tables.shape[0])
    for channel in range(3):
        lower, upper = tables[below, channel], tables[below + 1, channel]
        for code in range(tables.shape[2]):
            own[channel, code] = lower[code] * (ONE - way) + upper[code] * way


@compiled
def look_up(codes: Any, row: Any, first: Any, last: Any, table: Any, planes: Any) -> None:
    """A stretch of a row, all from one table."""
    line, width = codes[row, first:last], last - first
    red, green, blue = planes[0, row, first:last], planes[1, row, first:last], planes[2, row, first:last]
    for x in range(width):
        red[x] = table[0, line[x, 0]]
        green[x] = table[1, line[x, 1]]
        blue[x] = table[2, line[x, 2]]


@compiled
def look_up_between(codes: Any, row: Any, first: Any, last: Any, tables: Any, weights: Any, planes: Any) -> None:
    """The same, each pixel by its weight. Places are unsigned: a signed one is looked at for whether it counts from
    the end, which takes as long as all the rest."""
    line, weight, width = codes[row, first:last], weights[row, first:last], last - first
    red, green, blue = planes[0, row, first:last], planes[1, row, first:last], planes[2, row, first:last]
    flat = tables.reshape(-1)
    second = np.uint64(tables.shape[2])
    third, step = second + second, second + second + second
    for x in range(width):
        below, way = step_of(weight[x], tables.shape[0])
        rest, start = ONE - way, np.uint64(below) * step
        r = start + np.uint64(line[x, 0])
        g = start + second + np.uint64(line[x, 1])
        b = start + third + np.uint64(line[x, 2])
        red[x] = flat[r] * rest + flat[r + step] * way
        green[x] = flat[g] * rest + flat[g + step] * way
        blue[x] = flat[b] * rest + flat[b + step] * way


@compiled
def store(planes: Any, table: Any, codes: Any) -> None:
    """Values to interleaved 8-bit codes through a table over 0…1; what lies outside is cut here and only here.

    planes: (3, rows, width); table: the codes of 65536 evenly spaced values; codes: (rows, width, 3), filled. The
    places in the table are worked out for a row at a time, which vectorises, and looked up afterwards.
    """
    last = np.float32(table.shape[0] - 1)
    width = planes.shape[2]
    first = np.empty(width, np.uint16)
    second = np.empty(width, np.uint16)
    third = np.empty(width, np.uint16)
    for row in range(planes.shape[1]):
        red, green, blue = planes[0, row], planes[1, row], planes[2, row]
        for x in range(width):
            first[x] = np.uint16(np.int32(min(max(red[x], ZERO), ONE) * last + HALF))
            second[x] = np.uint16(np.int32(min(max(green[x], ZERO), ONE) * last + HALF))
            third[x] = np.uint16(np.int32(min(max(blue[x], ZERO), ONE) * last + HALF))
        out = codes[row]
        for x in range(width):
            out[x, 0] = table[first[x]]
            out[x, 1] = table[second[x]]
            out[x, 2] = table[third[x]]


@compiled
def store_values(planes: Any, most: Any, codes: Any) -> None:
    """Encoded values 0…1 to interleaved integer codes 0…most by rounding; what lies outside is cut here and only here.

    planes: (3, rows, width); most: the highest code as float32; codes: (rows, width, 3), filled.
    """
    width = planes.shape[2]
    places = np.empty(width, np.int32)
    for channel in range(3):
        for row in range(planes.shape[1]):
            line, out = planes[channel, row], codes[row]
            for x in range(width):
                places[x] = np.int32(min(max(line[x], ZERO), ONE) * most + HALF)
            for x in range(width):
                out[x, channel] = places[x]


@compiled
def linear_to_power(planes: Any, exponent: Any) -> None:
    """A plain power of every value; what is negative becomes 0, since it goes straight into codes."""
    for channel in range(3):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                # not max(): it may give −0, of which there is no logarithm
                line[x] = power(line[x], exponent) if line[x] > ZERO else ZERO


@compiled
def recode(codes: Any, tables: Any, out: Any) -> None:
    """Codes to codes: tables is (3, levels), one row a channel; codes and out (rows, width, 3) may be one array."""
    for row in range(codes.shape[0]):
        line, told = codes[row], out[row]
        for x in range(codes.shape[1]):
            told[x, 0] = tables[0, line[x, 0]]
            told[x, 1] = tables[1, line[x, 1]]
            told[x, 2] = tables[2, line[x, 2]]


@compiled
def reduce_codes(codes: Any, table: Any, down: Any, across: Any, planes: Any) -> None:
    """The mean over each pixel's area of the linear light of codes, in one go: decoded, added down, then across.

    codes: integers (height, width, 3). table: float32, linear light of each code, the same for all channels. down and
    across: for every row and column of the result the first source line, the one past the last, and the shares that
    the first and the last of them have; shares are of the result's pixel, so that they sum to 1 with `whole` for each
    line between. planes: float32 (3, rows, columns), filled.
    """
    top, bottom, first_row, last_row, whole_row = down
    left, right, first_column, last_column, whole_column = across
    count = codes.shape[1] * 3
    sums = np.empty(count, np.float32)
    for y in range(planes.shape[1]):
        begin, end = top[y], bottom[y]
        w0, w1 = first_row[y], last_row[y]
        line = codes[begin].reshape(-1)
        if end - begin == 3:
            second, third = codes[begin + 1].reshape(-1), codes[begin + 2].reshape(-1)
            for k in range(count):
                sums[k] = w0 * table[line[k]] + whole_row * table[second[k]] + w1 * table[third[k]]
        elif end - begin == 4:
            second, third = codes[begin + 1].reshape(-1), codes[begin + 2].reshape(-1)
            fourth = codes[begin + 3].reshape(-1)
            for k in range(count):
                between = table[second[k]] + table[third[k]]
                sums[k] = w0 * table[line[k]] + whole_row * between + w1 * table[fourth[k]]
        else:
            for k in range(count):
                sums[k] = w0 * table[line[k]]
            for row in range(begin + 1, end):
                line = codes[row].reshape(-1)
                weight = w1 if row == end - 1 else whole_row
                for k in range(count):
                    sums[k] += weight * table[line[k]]
        red, green, blue = planes[0, y], planes[1, y], planes[2, y]
        for x in range(planes.shape[2]):
            at = left[x]
            weight = first_column[x]
            r, g, b = weight * sums[3 * at], weight * sums[3 * at + 1], weight * sums[3 * at + 2]
            for column in range(at + 1, right[x] - 1):
                r += whole_column * sums[3 * column]
                g += whole_column * sums[3 * column + 1]
                b += whole_column * sums[3 * column + 2]
            at = right[x] - 1
            if at > left[x]:
                weight = last_column[x]
                r += weight * sums[3 * at]
                g += weight * sums[3 * at + 1]
                b += weight * sums[3 * at + 2]
            red[x], green[x], blue[x] = r, g, b
