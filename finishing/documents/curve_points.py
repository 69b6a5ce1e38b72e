"""Points of a curve, [[from, to], …], that cannot be read: what to do about them, in the user's own numbers."""

import re
from collections.abc import Sequence
from itertools import pairwise

from finishing.documents.fields import is_number, parse_number
from finishing.documents.flow import flow
from finishing.units import format_number

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
#: Points nearer to each other than this stand at one place.
LEAST_STEP = 1e-4


def _ordinal(index: int) -> str:
    return _ORDINALS[index] if index < len(_ORDINALS) else f"{index + 1}th"


def remedy_for_points(value: object, low: float, high: float) -> str | None:
    """What to do about points that cannot be read; None where there is no telling. low, high: what numbers may be."""
    if not isinstance(value, list | tuple) or not value:
        return None
    if not any(isinstance(item, list | tuple) for item in value):
        return _in_pairs(value)
    for index, item in enumerate(value):
        told = _point_at_fault(index, item, low, high)
        if told is not None:
            return told
    return _out_of_order([(parse_number(x), parse_number(y)) for x, y in value], value)


def _in_pairs(value: Sequence[object]) -> str | None:
    """Brackets that are missing around each point: [0, 0.1, 1, 0.9]."""
    if len(value) % 2 or len(value) < 4 or not all(map(is_number, value)):
        return None
    pairs = [[value[i], value[i + 1]] for i in range(0, len(value), 2)]
    return f"put brackets around each point: {flow(pairs)}"


def _point_at_fault(index: int, item: object, low: float, high: float) -> str | None:
    which = f"the {_ordinal(index)} point"
    if not isinstance(item, list | tuple):
        return f"{which}, {item}, has no brackets: write [from, to]"
    parts = ["nothing" if part is None else str(part) for part in item]
    if len(parts) == 4 and all(re.fullmatch(r"[+-]?\d+" if i % 2 == 0 else r"\d+", one) for i, one in enumerate(parts)):
        return f"write {which} with points for its decimals: [{parts[0]}.{parts[1]}, {parts[2]}.{parts[3]}]"
    if len(parts) != 2:
        return f"{which}, {flow(item)}, has {len(parts)} number{'s' * (len(parts) != 1)}: write two, [from, to]"
    for part in parts:
        if not is_number(part):
            return f"{part} in {which} is no number: write one from {_span(low, high)}"
        if not low <= parse_number(part) <= high:
            side = f"above {format_number(high, 4)}" if parse_number(part) > high else f"below {format_number(low, 4)}"
            return f"{part} in {which} is {side}: write a number from {_span(low, high)}"
    return None


def _out_of_order(points: Sequence[tuple[float, float]], as_written: Sequence[object]) -> str | None:
    places = [x for x, _ in points]
    at = next((i for i, (one, next_one) in enumerate(pairwise(places), 1) if next_one - one < LEAST_STEP), None)
    if at is None:
        return None
    twin = next((i for i, x in enumerate(places[:at]) if abs(x - places[at]) < LEAST_STEP), None)
    if twin is not None and len(points) == 2:
        return None
    if twin is not None:
        return f"take one of {flow(as_written[twin])} and {flow(as_written[at])} out: both begin at one place"
    after = next(i for i, x in enumerate(places) if x > places[at])
    return f"move {flow(as_written[at])} to before {flow(as_written[after])}"


def _span(low: float, high: float) -> str:
    return f"{format_number(low, 4)} to {format_number(high, 4)}"
