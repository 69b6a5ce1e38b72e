"""The process nodes that are used of the Common LUT Format (SMPTE ST 2136-1:2024; before it Academy S-2014-006).

Each is plain data. Values are floating-point numbers on the scale 0 (black) to 1 (white).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MatrixNode:
    """rows: 3×3, applied to red, green and blue as a column, or 3×4, the last column added."""

    rows: Floats


@dataclass(frozen=True)
class ExponentNode:
    """A power law with a straight foot, as monitors have it, mirrored below 0: style monCurveMirrorFwd decodes,
    monCurveMirrorRev encodes.

    exponent 2.4 and offset 0.055 make the curve of sRGB (IEC 61966-2-1), whose own constants are these, rounded.
    """

    decodes: bool
    exponent: float = 2.4
    offset: float = 0.055


@dataclass(frozen=True)
class RangeNode:
    """Limits every channel to low…high."""

    low: float = 0.0
    high: float = 1.0


@dataclass(frozen=True, eq=False)
class Table1D:
    """A curve a channel. values: (entries, 3) over 0…1, straight lines between; what lies outside takes the ends."""

    values: Floats


@dataclass(frozen=True, eq=False)
class Table3D:
    """values: (size, size, size, 3), by red, green and blue over 0…1, tetrahedra between; what lies outside takes the
    outermost."""

    values: Floats


Node = MatrixNode | ExponentNode | RangeNode | Table1D | Table3D


@dataclass(frozen=True)
class Process:
    """A whole file. identity: a UUID as text; descriptions, and what stands in the Info element by name, are for
    people; source, target: what comes in and goes out."""

    identity: str
    name: str
    descriptions: tuple[str, ...]
    source: str
    target: str
    nodes: tuple[Node, ...]
    info: tuple[tuple[str, str], ...] = ()
