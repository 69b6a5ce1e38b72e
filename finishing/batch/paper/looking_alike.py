"""Which values of a trial look the same: told in a line, so that nobody looks for a difference that is not there."""

from collections import deque
from collections.abc import Hashable, Mapping, Sequence
from hashlib import sha256
from typing import TypeVar

import cv2
import numpy as np

from finishing.batch.paper.prints import Codes
from finishing.batch.paper.varying import Axis

Key = TypeVar("Key", bound=Hashable)

#: Pictures that differ by no more codes of 255 than this look the same.
SEEN_FROM = 1
#: More groups of single pictures than this say no more than their number.
MOST_TOLD = 4


def look_the_same(one: Codes, other: Codes) -> bool:
    """Whether no channel of any pixel differs by more than a rounding may: one code of 255, which nobody sees."""
    return one.shape == other.shape and float(cv2.norm(one, other, cv2.NORM_INF)) <= SEEN_FROM


class Likeness:
    """Numbers pictures so that those that look the same have one number.

    A picture is held against the first ones of the latest `kept` numbers, and against the bytes of all: what creeps on
    from picture to picture is not taken for the same.
    """

    def __init__(self, kept: int) -> None:
        self._first: deque[tuple[int, Codes]] = deque(maxlen=kept)
        self._by_bytes: dict[bytes, int] = {}
        self._count = 0

    def number(self, codes: Codes) -> int:
        """The number of a picture, uint8 (height, width, 3)."""
        codes = np.ascontiguousarray(codes)
        digest = sha256(codes.data).digest()
        if digest not in self._by_bytes:
            like = next((number for number, first in self._first if look_the_same(codes, first)), None)
            if like is None:
                like, self._count = self._count, self._count + 1
                self._first.append((like, codes))
            self._by_bytes[digest] = like
        return self._by_bytes[digest]


def alike(axes: Sequence[Axis], seen: Mapping[tuple[int, ...], Hashable]) -> list[str]:
    """Lines on the values whose pictures look the same.

    axes: what varies; seen: the number of each picture's likeness, by the places of its values on the axes.
    """
    told, first = [], []
    for number, axis in enumerate(axes):
        groups = _grouped(
            {
                place: tuple(seen[key] for key in sorted(seen) if key[number] == place)
                for place in range(len(axis.values))
            }
        )
        told += [_of_axis(axis, group) for group in groups if len(group) > 1]
        first.append({place: group[0] for group in groups for place in group})
    if len(axes) > 1:
        rest = {key: one for key, one in seen.items() if all(of[at] == at for of, at in zip(first, key, strict=True))}
        told += _of_pictures(axes, [group for group in _grouped(rest) if len(group) > 1])
    return told


def alike_in_bands(axis: Axis, same: Sequence[bool], pictures: Sequence[int]) -> list[str]:
    """Lines on values side by side whose pictures differ, but nowhere in their own two bands.

    same: of each pair of neighbours, whether their two bands look the same in both; pictures: the number of each
    value's whole picture.
    """
    return [
        f"{axis.name}: {axis.labels[at]} and {axis.labels[at + 1]} differ, but not in these two bands; "
        "--whole shows the whole picture of each"
        for at, alike_here in enumerate(same)
        if alike_here and pictures[at] != pictures[at + 1]
    ]


def _grouped(told: Mapping[Key, Hashable]) -> list[list[Key]]:
    """Keys with the same value, in their order."""
    groups: dict[Hashable, list[Key]] = {}
    for key, value in told.items():
        groups.setdefault(value, []).append(key)
    return list(groups.values())


def _of_axis(axis: Axis, places: Sequence[int]) -> str:
    if len(places) == len(axis.values):
        return f"{axis.name} changes nothing in what is shown: its {len(places)} values look the same"
    return f"{axis.name}: {_listed([axis.labels[place] for place in places])} look the same in what is shown"


def _of_pictures(axes: Sequence[Axis], groups: Sequence[Sequence[tuple[int, ...]]]) -> list[str]:
    if len(groups) > MOST_TOLD:
        return [f"{sum(map(len, groups))} of the pictures look the same as another"]

    def named(key: Sequence[int]) -> str:
        return " with ".join(f"{axis.name} {axis.labels[at]}" for axis, at in zip(axes, key, strict=True))

    return [f"{_listed([named(key) for key in group])} look the same in what is shown" for group in groups]


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"
