"""Steps inside regions: the two ways, on a copy and in place, come to the same."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.engine import limits
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.limits import BLOCK, find_whole
from finishing.engine.reference import carry_out
from finishing.operation import Geometry, Operation
from finishing.operations.edge_vignette import EdgeVignette
from finishing.operations.exposure import Exposure
from finishing.operations.hue_shift import HueShift
from finishing.recipes.recipe import Step
from finishing.regions.box import Box
from finishing.regions.combined import AnyOf, Not
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.ranges import LightnessRange
from finishing.regions.region import Region

HEIGHT, WIDTH = 37, 300
GEOMETRY = Geometry(WIDTH, HEIGHT)
REGIONS = {
    "small": Ellipse(centre=(0.4, 0.5), radii=(0.1, 0.2), soft=0.1),
    "large": Ellipse(centre=(0.5, 0.5), radii=(0.45, 0.45), soft=0.3),
    "box": Box(sides=(0.05, 0.1, 0.98, 0.95), soft=0.2),
    "gradient": Gradient(full_at=(0.3, 0.2), gone_at=(0.8, 0.9)),
    "colour": LightnessRange(at_least=0.4, soft=0.2),
    "two": AnyOf(regions=(Box(sides=(0, 0, 0.3, 1), soft=0.1), Not(region=Box(sides=(0, 0, 0.7, 1), soft=0.1)))),
}
OPERATIONS = [
    Exposure(stops=1),
    HueShift(hue=(70.0,), degrees=20, width=200),
    EdgeVignette(toward="black", strength=0.8, starts_at=0),
]


def finish(step: Step, planes: np.ndarray, *, strip_rows: int, threads: int = 1) -> np.ndarray:
    sink = LinearSink(HEIGHT, WIDTH)
    execute([step], LinearSource(planes), sink, GEOMETRY, strip_rows=strip_rows, threads=threads)
    return sink.planes


@pytest.mark.parametrize("region", REGIONS.values(), ids=REGIONS)
@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.name)
def test_both_ways_are_the_law_in_any_strips(
    operation: Operation, region: Region, monkeypatch: pytest.MonkeyPatch
) -> None:
    planes = np.random.default_rng(5).random((3, HEIGHT, WIDTH)).astype(np.float32)
    step = Step(operation, where=region)
    expected = np.moveaxis(carry_out([step], np.moveaxis(planes, 0, -1).astype(np.float64), GEOMETRY), -1, 0)
    for large in (0.0, 2.0):  # all in place, all aside
        monkeypatch.setattr(limits, "LARGE", large)
        whole = finish(step, planes, strip_rows=HEIGHT)
        assert np.abs(whole - expected).max() < 1e-4
        assert np.abs(whole - planes).max() > 0.05
        for rows in (1, 5, 16):
            assert np.array_equal(finish(step, planes, strip_rows=rows, threads=2), whole)


@given(
    st.lists(st.tuples(st.integers(0, 700), st.integers(0, 700)), max_size=4),
    st.integers(1, 700),
    st.sampled_from([0.0, 0.5, 1 - 2**-24, float("nan")]),
)
def test_whole_stretches_hold_nothing_but_ones(holes: list[tuple[int, int]], width: int, other: float) -> None:
    weights = np.ones((2, width), np.float32)
    for first, count in holes:
        weights[0, first : first + count] = other
    whole = np.empty((2, 2), np.int64)
    find_whole(weights, whole)
    begin, end = whole[0]
    assert 0 <= begin <= end <= width
    assert np.all(weights[0, begin:end] == 1)
    assert whole[1].tolist() == [0, width // BLOCK * BLOCK]
