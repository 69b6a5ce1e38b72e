"""Steps inside regions, worked on in small parts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.limits import all_are
from finishing.engine.reference import carry_out
from finishing.operation import Geometry, Operation
from finishing.operations.border import Border
from finishing.operations.catalogue import OPERATIONS as CATALOGUE
from finishing.operations.edge_vignette import EdgeVignette
from finishing.operations.exposure import Exposure
from finishing.operations.glow import Glow
from finishing.operations.halation import Halation
from finishing.operations.hue_shift import HueShift
from finishing.recipes.recipe import Step
from finishing.regions.box import Box
from finishing.regions.combined import AnyOf, Not
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.ranges import LightnessRange
from finishing.regions.region import Region
from tests.operations.test_catalogue import example_of

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
def test_a_limited_step_is_the_law_in_any_strips(operation: Operation, region: Region) -> None:
    planes = np.random.default_rng(5).random((3, HEIGHT, WIDTH)).astype(np.float32)
    step = Step(operation, where=region)
    expected = np.moveaxis(carry_out([step], np.moveaxis(planes, 0, -1).astype(np.float64), GEOMETRY), -1, 0)
    whole = finish(step, planes, strip_rows=HEIGHT)
    assert np.abs(whole - expected).max() < 1e-4
    assert np.abs(whole - planes).max() > 0.05
    for rows in (1, 5, 16):
        assert np.array_equal(finish(step, planes, strip_rows=rows, threads=2), whole)


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_step_comes_to_the_same_on_parts_of_the_frame(name: str) -> None:
    """What looks at a pixel's place must know where a part stands; the box begins and ends amid the frame."""
    planes = np.random.default_rng(6).random((3, HEIGHT, WIDTH)).astype(np.float32)
    operation = example_of(name)
    box = Step(operation, where=Box(sides=(11 / WIDTH, 4 / HEIGHT, 290 / WIDTH, 34 / HEIGHT), soft=0))
    limited, whole = finish(box, planes, strip_rows=13), finish(Step(operation), planes, strip_rows=13)
    inside = np.zeros((HEIGHT, WIDTH), bool)
    inside[6:33, 13:289] = True
    beside = np.ones((HEIGHT, WIDTH), bool)
    beside[3:36, 10:292] = False
    assert np.abs(limited - whole)[:, inside].max() < 2e-5  # to OkLab and back, where the step is inside it
    assert np.abs(limited - planes)[:, beside].max() < 2e-5
    if name != "border":  # it paints the margin, which is beside the box
        assert np.abs(whole - planes)[:, inside].max() > 1e-3


@pytest.mark.parametrize("operation", [Glow(spread=0.3, above=0.2), Halation(spread=0.1, above=0.5)])
def test_light_from_a_reduced_overview_comes_to_the_right_part(operation: Operation) -> None:
    """Rows lie between two of the overview's, and the region begins amid the frame; two steps need two overviews."""
    geometry = Geometry(WIDTH, 130)
    assert operation.reduction(geometry) > 1
    planes = np.random.default_rng(8).random((3, 130, WIDTH)).astype(np.float32)
    planes[:, 40:60, 70:250] += 2

    def result(steps: list[Step], strip_rows: int = 130, threads: int = 1) -> np.ndarray:
        sink = LinearSink(130, WIDTH)
        execute(steps, LinearSource(planes), sink, geometry, strip_rows=strip_rows, threads=threads)
        return sink.planes

    box = Box(sides=(51 / WIDTH, 0.3, 0.9, 0.8), soft=0)
    inside = box.reference(np.zeros((130, WIDTH, 3)), geometry) == 1
    limited, whole = result([Step(operation, where=box)]), result([Step(operation)])
    assert np.abs(limited - np.where(inside, whole, planes)).max() < 1e-6
    assert np.abs(limited - planes).max() > 0.05
    both = [Step(operation, where=box), Step(operation, where=Not(region=box))]
    for rows, threads in ((1, 1), (7, 2), (40, 3)):
        assert np.array_equal(result(both, rows, threads), result(both))


@pytest.mark.parametrize("sides", [(3 / WIDTH, 2 / HEIGHT, 1, 1), (0.5, 0, 1, 1), (0, 0, 0.9, 0.5), (0.97, 0.2, 1, 1)])
def test_a_border_lies_where_the_frame_has_it(sides: tuple[float, float, float, float]) -> None:
    """The parts begin amid the paper, amid the picture, or have one side of it alone."""
    planes = np.random.default_rng(7).random((3, HEIGHT, WIDTH)).astype(np.float32)
    border, box = Border(width=0.2, line_width=0.03), Box(sides=sides, soft=0)
    whole = finish(Step(border), planes, strip_rows=HEIGHT)
    inside = box.reference(np.zeros((HEIGHT, WIDTH, 3)), GEOMETRY) == 1
    for rows in (HEIGHT, 5):
        limited = finish(Step(border, where=box), planes, strip_rows=rows)
        assert np.array_equal(limited, np.where(inside, whole, planes))
    assert (whole != planes)[:, inside].any()


@given(
    st.integers(1, 40),
    st.integers(1, 600),
    st.sampled_from([0.0, 1.0, 0.5, 2**-24, float("nan")]),
    st.lists(st.tuples(st.integers(0, 39), st.integers(0, 599)), max_size=3),
)
def test_parts_are_left_out_only_where_all_weights_are_alike(
    rows: int, columns: int, other: float, places: list[tuple[int, int]]
) -> None:
    for value in (np.float32(0), np.float32(1)):
        weights = np.full((rows + 2, columns + 3), 0.25, np.float32)
        part = weights[1 : 1 + rows, 2 : 2 + columns]
        part[:] = value
        for row, column in places:
            part[row % rows, column % columns] = other
        assert all_are(value, weights, 1, rows, 2, columns) == bool((part == value).all())
