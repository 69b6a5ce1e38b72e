"""Hashes: the two ways agree, numbers look random, and no row is another one shifted."""

from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from finishing.compiled import compiled
from finishing.hashing import NO_KEY, hashed, lower_half, plain_hashed, upper_half

words = st.integers(0, 2**32 - 1)


@compiled
def hash_all(values: Any, key: Any, out: Any) -> None:
    for x in range(values.shape[0]):
        h = hashed(values[x], key)
        out[x, 0], out[x, 1], out[x, 2] = h, lower_half(h), upper_half(h)


def compiled_hash(values: list[int], key: int) -> np.ndarray[Any, Any]:
    out = np.empty((len(values), 3), np.int64)
    hash_all(np.array(values, np.uint32), np.uint32(key), out)
    return out


@given(st.lists(words, min_size=1, max_size=20), words)
def test_both_ways_are_one_hash(values: list[int], key: int) -> None:
    out = compiled_hash(values, key)
    assert out[:, 0].tolist() == plain_hashed(np.array(values, np.uint32), np.uint32(key)).tolist()
    assert (out[:, 1] + (out[:, 2] << 16)).tolist() == out[:, 0].tolist()


@given(words)
def test_it_is_the_law_in_whole_numbers(x: int) -> None:
    """The steps as published, in numbers of any size."""
    h = x ^ (x >> 16)
    h = h * 0x7FEB352D % 2**32
    h ^= h >> 15
    h = h * 0x846CA68B % 2**32
    h ^= h >> 16
    assert compiled_hash([x], int(NO_KEY))[0, 0] == h


def test_neighbours_share_nothing() -> None:
    """Each bit of a number flips each bit of its hash half the time, within four standard errors of 65536 numbers."""
    numbers = np.arange(65536, dtype=np.uint32)
    before = plain_hashed(numbers)
    for bit in range(32):
        flipped = before ^ plain_hashed(numbers ^ np.uint32(1 << bit))
        share = [(flipped >> np.uint32(other) & 1).mean() for other in range(32)]
        assert np.abs(np.array(share) - 0.5).max() < 0.02


def test_rows_with_different_keys_are_not_each_other_shifted() -> None:
    columns = np.arange(4096, dtype=np.uint32)
    first, second = plain_hashed(columns, np.uint32(1)), plain_hashed(columns, np.uint32(2))
    assert len(np.intersect1d(first, second)) <= 2  # 4096² pairs of 2³² numbers: none or one by chance
