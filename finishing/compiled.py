"""How kernels are compiled, and the roots and powers they share.

A kernel is a plain function over planar float32 rows marked `@compiled`. numba is imported and the
function compiled at its first call, so that reading a recipe costs nothing; the machine code is
kept on disk for the next run. The flags leave out `nnan` and `ninf`, since NaN tests must hold, and
`reassoc`, since sums must not depend on how a loop was cut.

Constants inside a kernel are float32 globals: a bare `1.0` is float64 to the compiler and would
double the cost of everything it touches.
"""

import hashlib
import os
from collections.abc import Callable
from functools import cached_property
from threading import RLock
from types import FunctionType
from typing import Any

import numpy as np

_FLAGS = {"nsz", "arcp", "contract", "afn"}

#: Threads that meet a function at once must get one machine: each would compile its own.
_ONE_AT_A_TIME = RLock()


class Compiled:
    """A function that is compiled at its first call. Calls it makes to other compiled functions are linked in."""

    def __init__(self, function: FunctionType, *, inline: bool) -> None:
        self.function = function
        self.inline = inline
        self.__name__ = function.__name__
        self.__doc__ = function.__doc__
        self._machine: Callable[..., Any] | None = None
        self._variants: dict[tuple[tuple[str, Compiled], ...], Compiled] = {}

    @property
    def machine(self) -> Callable[..., Any]:
        """The compiled function itself."""
        if self._machine is None:
            with _ONE_AT_A_TIME:
                self._machine = self._machine or self._compile()
        return self._machine

    def linked(self, **functions: "Compiled") -> "Compiled":
        """This function with other ones in the place of the names that stand for them; the same each time."""
        key = tuple(functions.items())
        with _ONE_AT_A_TIME:
            if key not in self._variants:
                found = {**self.function.__globals__, **functions}
                variant = FunctionType(self.function.__code__, found, self.function.__name__)
                variant.__module__, variant.__qualname__ = self.function.__module__, self.function.__qualname__
                self._variants[key] = Compiled(variant, inline=self.inline)
            return self._variants[key]

    def _looked_up(self) -> dict[str, Any]:
        """What the function finds outside of itself: helpers, constants, modules."""
        names = self.function.__code__.co_names
        return {name: value for name, value in self.function.__globals__.items() if name in names}

    @cached_property
    def fingerprint(self) -> str:
        """Changes when the function does, or anything of ours that is linked into it."""
        code = self.function.__code__
        told = hashlib.sha256(repr((code.co_code, code.co_consts, code.co_names, code.co_varnames)).encode())
        for name, value in sorted(self._looked_up().items()):
            told.update(f"{name} {value.fingerprint if isinstance(value, Compiled) else repr(value)}".encode())
        return told.hexdigest()

    def _compile(self) -> Callable[..., Any]:
        import numba

        linked = {
            name: value.machine if isinstance(value, Compiled) else value for name, value in self._looked_up().items()
        }
        function = FunctionType(self.function.__code__, linked, self.function.__name__)
        function.__module__ = self.function.__module__
        # numba keeps machine code by this name, and looks for changes in this kernel's own file alone
        function.__qualname__ = f"{self.function.__qualname__}_{self.fingerprint[:12]}"
        options: dict[str, Any] = {"fastmath": _FLAGS, "error_model": "numpy", "nogil": True}
        if self.inline:
            return numba.njit(inline="always", **options)(function)
        # A cache that cannot be written (a read-only home, say) must cost time, not the run.
        cache = not os.environ.get("FINISHING_NO_KERNEL_CACHE")
        try:
            return numba.njit(cache=cache, **options)(function)
        except RuntimeError:
            return numba.njit(**options)(function)

    def __call__(self, *arguments: Any) -> Any:
        return self.machine(*arguments)


def compiled(function: Callable[..., Any]) -> Compiled:
    """Mark a kernel."""
    assert isinstance(function, FunctionType)
    return Compiled(function, inline=False)


def inlined(function: Callable[..., Any]) -> Compiled:
    """Mark a helper that is written into every kernel that calls it."""
    assert isinstance(function, FunctionType)
    return Compiled(function, inline=True)


def singles(*values: float) -> tuple[np.float32, ...]:
    """Arguments of a kernel as float32."""
    return tuple(np.float32(value) for value in values)


ZERO = np.float32(0)
ONE = np.float32(1)
TWO = np.float32(2)
THREE = np.float32(3)


def _through_chebyshev_nodes(function: Callable[[Any], Any], degree: int, low: float, high: float) -> list[np.float32]:
    """Coefficients of the polynomial through a function's values at Chebyshev nodes: within a hair of minimax."""
    nodes = np.cos((np.arange(degree + 1) + 0.5) * np.pi / (degree + 1)) * (high - low) / 2 + (high + low) / 2
    return [np.float32(c) for c in np.polynomial.polynomial.polyfit(nodes, function(nodes), degree)]


# ∛x starts from the bits of x read as an integer, which are close to its logarithm (Blinn, "Floating-point
# tricks", IEEE CG&A 17-4, 1997): with B the bits of 1 less a centring term, bits(t) = 4/3·B − bits(x)/3 gives
# t = x^(-1/3) to 4 %. With e = 1 − x·t³ the exact correction is (1 − e)^(-1/3), here 1 + e · a polynomial.
THIRD = np.float32(1 / 3)
CUBE_START = np.float32((127 - 0.048) * 2**23 * 4 / 3)
C0, C1, C2, C3 = _through_chebyshev_nodes(lambda e: ((1 - e) ** (-1 / 3) - 1) / e, 3, -0.1113, 0.0961)

# x^p = 2^(p·log₂ x): x is split into a power of 2 and m in 0.75…1.5; polynomials give log₂(m) / (m − 1) and 2^f.
G0, G1, G2, G3, G4, G5, G6 = _through_chebyshev_nodes(lambda t: np.log2(1 + t) / t, 6, -0.25, 0.5)
E0, E1, E2, E3, E4, E5 = _through_chebyshev_nodes(np.exp2, 5, 0, 1)
BITS_OF_THREE_QUARTERS = np.int32(0x3F400000)
MANTISSA_LENGTH = np.int32(23)
BIAS_FLOAT = np.float32(127)
LEAST_EXPONENT = np.float32(-127)

SRGB_SLOPE = np.float32(12.92)
SRGB_PER_SLOPE = np.float32(1 / 12.92)
SRGB_OFFSET = np.float32(0.055)
SRGB_SCALE = np.float32(1.055)
SRGB_PER_SCALE = np.float32(1 / 1.055)
SRGB_LINEAR_END = np.float32(0.0031308)
SRGB_ENCODED_END = np.float32(0.04045)
SRGB_EXPONENT = np.float32(2.4)
SRGB_PER_EXPONENT = np.float32(1 / 2.4)


@inlined
def smooth_step(t: Any) -> Any:
    """t²(3 − 2t) for t in 0…1: a ramp without a corner at either end."""
    return t * t * (THREE - TWO * t)


@inlined
def cube_root(x: Any) -> Any:
    """∛x with x's sign, to about 6e-7 of its value."""
    a = abs(x)
    bits = np.float32(np.float32(a).view(np.int32))
    t = np.int32(CUBE_START - bits * THIRD).view(np.float32)
    e = ONE - a * (t * t * t)
    t = t + t * e * (C0 + e * (C1 + e * (C2 + e * C3)))
    root = a * t * t
    return root if x >= ZERO else -root


@inlined
def logarithm(x: Any) -> Any:
    """log₂ x for x > 0, to about 1.5e-6."""
    bits = np.float32(x).view(np.int32)
    whole = np.int32(np.int32(bits - BITS_OF_THREE_QUARTERS) >> MANTISSA_LENGTH)
    t = np.int32(bits - np.int32(whole << MANTISSA_LENGTH)).view(np.float32) - ONE
    series = G0 + t * (G1 + t * (G2 + t * (G3 + t * (G4 + t * (G5 + t * G6)))))
    return np.float32(whole) + t * series


@inlined
def power(a: Any, exponent: Any) -> Any:
    """a^exponent for a ≥ 0, to about 4e-6 of its value; what is below 2^-127 comes out as 0 or next to it."""
    y = max(logarithm(a) * exponent, LEAST_EXPONENT)
    n = np.int32(y + BIAS_FLOAT)  # as good as rounded down: f may leave 0…1 by a rounding error, no more
    f = y - (np.float32(n) - BIAS_FLOAT)
    fraction = E0 + f * (E1 + f * (E2 + f * (E3 + f * (E4 + f * E5))))
    return np.int32(n << MANTISSA_LENGTH).view(np.float32) * fraction


@inlined
def srgb_encode(x: Any) -> Any:
    """IEC 61966-2-1, mirrored for negative values."""
    a = abs(x)
    curve = SRGB_SCALE * power(a, SRGB_PER_EXPONENT) - SRGB_OFFSET
    value = curve if a > SRGB_LINEAR_END else a * SRGB_SLOPE
    return value if x >= ZERO else -value


@inlined
def srgb_decode(x: Any) -> Any:
    """IEC 61966-2-1, mirrored for negative values."""
    a = abs(x)
    curve = power((a + SRGB_OFFSET) * SRGB_PER_SCALE, SRGB_EXPONENT)
    value = curve if a > SRGB_ENCODED_END else a * SRGB_PER_SLOPE
    return value if x >= ZERO else -value
