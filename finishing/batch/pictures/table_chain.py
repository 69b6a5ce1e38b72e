"""The part of a look that knows nothing of places, as process nodes: exact ones first, a table for the rest."""

from collections.abc import Callable, Sequence
from itertools import takewhile

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour import transfer
from finishing.colour.gamut import bring_in
from finishing.colour.spaces import SRGB
from finishing.engine.reference import carry_out
from finishing.operation import Domain, Geometry, Reach
from finishing.recipes.recipe import Step
from finishing.regions.combined import AllOf, AnyOf, Not
from finishing.regions.region import Region
from finishing.tables.nodes import ExponentNode, MatrixNode, Node, RangeNode, Table1D, Table3D

Floats = NDArray[np.float64]

#: Entries of a curve: straight lines between 4096 places come within 1e-6 of what looks bend.
ENTRIES = 4096
#: Values this far outside 0…1 come from rounding.
ROUNDING = 1e-9
#: Colours worked on at a time.
CHUNK = 1 << 16

_REASONS = {
    Reach.PLACE: "depends on the place in the frame",
    Reach.NEIGHBOURHOOD: "looks at the pixels around",
    Reach.FRAME: "looks at the whole frame",
}


def left_out(step: Step) -> str | None:
    """Why a step cannot go into a table, in words; None where it can: what it does follows from the colour alone."""
    reason = _REASONS.get(step.operation.reach)
    if reason is None and step.where is not None and not _by_colour(step.where):
        reason = "is limited to a part of the frame"
    return reason


def _by_colour(region: Region) -> bool:
    if isinstance(region, AllOf | AnyOf):
        return all(_by_colour(one) for one in region.regions)
    return _by_colour(region.region) if isinstance(region, Not) else region.looks_at_colour


def exact_chain(steps: Sequence[Step], encoded: ArrayLike) -> Floats:
    """What a deliverable in sRGB gets: encoded values in, carried through the steps, brought into the gamut at their
    lightness and hue, and encoded. Channels in the last axis; what comes in is cut at 0 and 1."""
    values = np.clip(np.asarray(encoded, np.float64), 0, 1)
    return _finish(steps, np.asarray(transfer.srgb_decode(values), np.float64))


def _finish(steps: Sequence[Step], linear: Floats) -> Floats:
    """From linear light before the steps to encoded values in the gamut, a good many colours at a time."""
    flat = linear.reshape(-1, 3)
    result = np.empty_like(flat)
    for start in range(0, len(flat), CHUNK):
        light = bring_in(_carried(steps, flat[start : start + CHUNK]), SRGB)
        result[start : start + CHUNK] = transfer.srgb_encode(np.clip(light, 0, 1))
    return result.reshape(linear.shape)


def _carried(steps: Sequence[Step], linear: Floats) -> Floats:
    """Steps that look at nothing but the colour, on rows of colours (n, 3)."""
    return carry_out(steps, linear[None], Geometry(len(linear), 1))[0]


def nodes_of(steps: Sequence[Step], size: int) -> list[Node]:
    """Process nodes from encoded to encoded values. size: how many places the table has each way, if one is needed.

    Leading steps that treat each channel by itself become one curve a channel, leading 3×3 matrices on linear light
    stay what they are. What follows, and bringing colours into the gamut where any may lie outside, goes into a table.
    """
    chain = _Chain()
    rest = list(steps)
    while rest:
        run = _leading(rest, _is_curve)
        matrices = [matrix_of(step) for step in run]
        if any(matrix is None for matrix in matrices):
            chain.bend(run)
        else:
            run = _leading(rest, lambda step: matrix_of(step) is not None)
            if not run:
                break
            matrix = np.eye(3)
            for found in (matrix_of(step) for step in run):
                assert found is not None
                matrix = found @ matrix
            chain.multiply(matrix)
        rest = rest[len(run) :]
    if rest or not chain.inside:
        chain.tabulate(rest, size)
    return [*chain.nodes, RangeNode()]


def _leading(steps: Sequence[Step], fits: Callable[[Step], bool]) -> list[Step]:
    return list(takewhile(fits, steps))


def _is_curve(step: Step) -> bool:
    """Whether a step treats each channel by itself."""
    return step.where is None and step.operation.per_channel


def matrix_of(step: Step) -> Floats | None:
    """The 3×3 that a step on linear light is; None where it is none."""
    linear = step.where is None and step.operation.domain is Domain.LINEAR
    return step.operation.matrix if linear else None


class _Chain:
    """Nodes so far. What they give is u in 0…1; the encoded value that it means is low + u (high − low)."""

    def __init__(self) -> None:
        self.nodes: list[Node] = [RangeNode()]
        self.low, self.high = 0.0, 1.0

    @property
    def inside(self) -> bool:
        """Whether what comes out is the encoded value itself, and within 0 and 1."""
        return (self.low, self.high) == (0.0, 1.0)

    def bend(self, steps: Sequence[Step]) -> None:
        """Steps that treat each channel by itself, as one curve a channel."""
        light = transfer.srgb_decode(np.linspace(self.low, self.high, ENTRIES))
        values = np.asarray(transfer.srgb_encode(_carried(steps, np.stack([light] * 3, axis=-1))), np.float64)
        self._within(float(values.min()), float(values.max()))
        self.nodes.append(Table1D((values - self.low) / (self.high - self.low)))

    def multiply(self, matrix: Floats) -> None:
        """A 3×3 on linear light."""
        if not self.inside:
            self.nodes.append(_scaling(self.high - self.low, self.low))
        ends = np.asarray(transfer.srgb_decode(np.array([self.low, self.high])), np.float64)
        corners = np.stack([ends[0] * matrix, ends[1] * matrix])
        light = corners.min(axis=0).sum(axis=1).min(), corners.max(axis=0).sum(axis=1).max()
        self.nodes += [ExponentNode(decodes=True), MatrixNode(matrix), ExponentNode(decodes=False)]
        self._within(*(float(value) for value in transfer.srgb_encode(np.array(light))))
        if not self.inside:
            self.nodes.append(_scaling(1 / (self.high - self.low), -self.low / (self.high - self.low)))

    def tabulate(self, steps: Sequence[Step], size: int) -> None:
        """Everything else, and the way into the gamut."""
        places = np.linspace(self.low, self.high, size)
        encoded = np.stack(np.meshgrid(places, places, places, indexing="ij"), axis=-1)
        self.nodes.append(Table3D(_finish(steps, np.asarray(transfer.srgb_decode(encoded), np.float64))))
        self.low, self.high = 0.0, 1.0

    def _within(self, low: float, high: float) -> None:
        inside = low >= -ROUNDING and high <= 1 + ROUNDING
        self.low, self.high = (0.0, 1.0) if inside else (min(low, 0.0), max(high, 1.0))


def _scaling(gain: float, offset: float) -> MatrixNode:
    return MatrixNode(np.column_stack([np.eye(3) * gain, np.full(3, offset)]))
