"""How kernels are told apart on the disk, and the roots and powers that they share."""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from types import FunctionType
from typing import Any

import numpy as np
import pytest

from finishing import compiled as module
from finishing.compiled import Compiled, compiled, inlined, singles

FACTOR = np.float32(2)


@inlined
def helper(x: Any) -> Any:
    return x * FACTOR


@compiled
def kernel(line: Any) -> None:
    for x in range(line.shape[0]):
        line[x] = helper(line[x])


def with_globals(kernel: Compiled, **changed: Any) -> Compiled:
    """The same kernel where its file has other helpers or constants."""
    function = FunctionType(
        kernel.function.__code__, {**kernel.function.__globals__, **changed}, kernel.function.__name__
    )
    return Compiled(function, inline=kernel.inline)


def test_a_kernel_s_fingerprint_changes_with_what_is_linked_into_it() -> None:
    assert with_globals(kernel).fingerprint == kernel.fingerprint
    assert with_globals(kernel, unused=1).fingerprint == kernel.fingerprint
    other = with_globals(helper, FACTOR=np.float32(3))
    assert with_globals(kernel, helper=other).fingerprint != kernel.fingerprint


def test_a_changed_helper_is_not_taken_from_the_cache() -> None:
    lines = np.ones((2, 5), np.float32)
    kernel(lines[0])
    with_globals(kernel, helper=with_globals(helper, FACTOR=np.float32(3)))(lines[1])
    assert lines[0].tolist() == [2] * 5
    assert lines[1].tolist() == [3] * 5


def test_the_shared_roots_and_powers_against_numpy() -> None:
    @compiled
    def all_of_them(line: Any, roots: Any, logarithms: Any, powers: Any, exponent: Any) -> None:
        for x in range(line.shape[0]):
            roots[x] = cube_root(line[x])  # noqa: F821
            logarithms[x] = logarithm(line[x])  # noqa: F821
            powers[x] = power(line[x], exponent)  # noqa: F821

    known = {name: getattr(module, name) for name in ("cube_root", "logarithm", "power")}
    values = np.geomspace(1e-6, 1e4, 1000).astype(np.float32)
    roots, logarithms, powers = np.empty((3, 1000), np.float32)
    with_globals(all_of_them, **known)(values, roots, logarithms, powers, *singles(2.4))
    exact = values.astype(np.float64)
    assert np.abs(roots / np.cbrt(exact) - 1).max() < 7e-7
    assert np.abs(logarithms - np.log2(exact)).max() < 1.5e-6
    assert np.abs(powers / exact**2.4 - 1).max() < 5e-6


def test_a_function_is_linked_once_with_each_other_one() -> None:
    other = with_globals(helper, FACTOR=np.float32(3))
    with_other = kernel.linked(helper=other)
    assert kernel.linked(helper=helper).fingerprint == kernel.fingerprint
    assert kernel.linked(helper=other) is with_other
    line = np.ones(5, np.float32)
    with_other(line)
    assert line.tolist() == [3] * 5


def test_threads_that_begin_together_get_one_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each would compile for itself otherwise, which takes seconds."""
    alone = Compiled._compile

    def slowly(self: Compiled) -> Callable[..., Any]:
        time.sleep(0.01)
        return alone(self)

    monkeypatch.setattr(Compiled, "_compile", slowly)
    fresh, other = with_globals(kernel), with_globals(helper, FACTOR=np.float32(5))
    together = Barrier(4)

    def begin(_: int) -> tuple[Compiled, Callable[..., Any]]:
        together.wait()
        variant = fresh.linked(helper=other)
        return variant, variant.machine

    with ThreadPoolExecutor(4) as pool:
        got = list(pool.map(begin, range(4)))
    assert len({id(variant) for variant, _ in got}) == 1
    assert len({id(machine) for _, machine in got}) == 1
