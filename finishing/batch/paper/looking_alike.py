"""Which values of a trial look the same: told in a line, so that nobody looks for a difference that is not there."""

from collections.abc import Hashable, Mapping, Sequence
from hashlib import sha256
from typing import TypeVar

import numpy as np

from finishing.batch.paper.prints import Codes
from finishing.batch.paper.varying import Axis

Key = TypeVar("Key", bound=Hashable)

#: More groups of single pictures than this say no more than their number.
MOST_TOLD = 4


def digest(codes: Codes) -> bytes:
    """The same for the same pixels, and only for these."""
    return sha256(np.ascontiguousarray(codes).data).digest()


def alike(axes: Sequence[Axis], seen: Mapping[tuple[int, ...], Hashable]) -> list[str]:
    """Lines on the values whose pictures are the same, pixel for pixel.

    axes: what varies; seen: what tells a picture from others, by the places of its values on the axes.
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


def alike_in_bands(axis: Axis, apart: Sequence[tuple[Hashable, Hashable]], pictures: Sequence[Hashable]) -> list[str]:
    """Lines on values side by side whose pictures differ, but nowhere in their own two bands.

    apart: of each pair of neighbours, what the two bands together show of the one and of the other; pictures: of each
    value, the whole of it.
    """
    return [
        f"{axis.name}: {axis.labels[at]} and {axis.labels[at + 1]} differ, but not in these two bands; "
        "--whole shows the whole picture of each"
        for at, (one, other) in enumerate(apart)
        if one == other and pictures[at] != pictures[at + 1]
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
