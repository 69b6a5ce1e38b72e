"""Codes that are decoded by a weight: a curve inside a region, worked into a table by code and weight."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing import domains
from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.engine.conversions import TOGETHER, load_between
from finishing.engine.ends import WEIGHTS, CodedSink, CodedSource, LinearSink, LinearSource, WeightedSource
from finishing.engine.execution import execute, planned
from finishing.engine.plan import Apply
from finishing.engine.reference import carry_out
from finishing.kernel import PixelKernel
from finishing.operation import Domain, Geometry, Operation
from finishing.operations.catalogue import CrossProcess, FilmCurve, Saturation, ToneCurve
from finishing.recipes.recipe import Step
from finishing.regions.box import Box
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.region import Region

HEIGHT, WIDTH = 40, 4 * TOGETHER + 77
GEOMETRY = Geometry(WIDTH, HEIGHT)
TABLES = np.tile(srgb_decode(np.arange(256) / 255).astype(np.float32), (3, 1))
CURVES = [
    ToneCurve(points=[(0, 0.2), (0.3, 0.1), (1, 0.8)]),
    ToneCurve(points=[(0, 1), (1, 0)]),
    ToneCurve(points=[(0, 0), (0.5, 0.2), (1, 1)], channels="green"),
    FilmCurve(),
    CrossProcess(),
]
REGIONS = [
    Ellipse(centre=(0.4, 0.5), radii=(0.2, 0.2), soft=0.3),
    Box(sides=(0.2, 0.2, 0.7, 0.6), soft=0.2),
    Gradient(full_at=(0.5, 0), gone_at=(0.5, 1)),
    Gradient(full_at=(0.1, 0.2), gone_at=(0.8, 0.9)),
]


def codes_of(seed: int) -> NDArray[np.uint8]:
    return np.random.default_rng(seed).integers(0, 256, (HEIGHT, WIDTH, 3), np.uint8)


def decoded(codes: NDArray[np.uint8]) -> NDArray[np.float64]:
    return np.asarray(srgb_decode(codes / 255.0))


def finish(steps: list[Step], codes: NDArray[np.uint8], **how: int) -> NDArray[np.float32]:
    sink = LinearSink(HEIGHT, WIDTH)
    execute(steps, CodedSource(codes, TABLES, None), sink, GEOMETRY, **how)
    return sink.planes


@pytest.mark.parametrize("region", REGIONS, ids=lambda region: region.name)
@pytest.mark.parametrize("curve", CURVES, ids=lambda curve: curve.name)
def test_a_curve_inside_a_region_is_the_law(curve: Operation, region: Region) -> None:
    codes = codes_of(1)
    steps = [
        Step(ToneCurve(points=[(0, 0.02), (1, 0.98)])),
        Step(curve, where=region),
        Step(ToneCurve(points=[(0, 0.1), (1, 1)])),
    ]
    for chain in (steps, steps[1:2], [*steps, Step(Saturation(amount=0.5))]):
        whole = finish(chain, codes)
        expected = np.moveaxis(carry_out(chain, decoded(codes), GEOMETRY), -1, 0)
        assert np.abs(whole - expected).max() < 2e-5
        for rows in (1, 7):
            assert np.array_equal(finish(chain, codes, strip_rows=rows, threads=2), whole)


@pytest.mark.parametrize("curve", CURVES, ids=lambda curve: curve.name)
def test_it_is_the_curve_inside_and_nothing_outside(curve: Operation) -> None:
    codes = codes_of(2)
    limited = finish([Step(curve, where=Box(sides=(0.25, 0.25, 0.75, 0.75), soft=0.1))], codes)
    middle, edge = np.s_[:, 12:28, WIDTH // 3 : WIDTH * 2 // 3], np.s_[:, :, : WIDTH // 10]
    assert np.array_equal(limited[middle], finish([Step(curve)], codes)[middle])
    assert np.abs(limited[edge] - finish([], codes)[edge]).max() < 1e-6  # to encoded values and back


@pytest.mark.parametrize("region", REGIONS, ids=lambda region: region.name)
@pytest.mark.parametrize("bits", [8, 16])
def test_finished_codes_are_those_of_light(region: Region, bits: int) -> None:
    """The curve alone goes from codes to codes, one that leaves white and black behind by way of light."""
    codes = codes_of(3)
    light = np.ascontiguousarray(np.moveaxis(decoded(codes), -1, 0).astype(np.float32))
    most = 2**bits - 1
    for curve in (CURVES[0], ToneCurve(points=[(0, -0.1), (1, 1.2)])):
        steps = [Step(curve, where=region)]
        by_table, by_light = (np.empty(codes.shape, np.uint16 if bits == 16 else np.uint8) for _ in range(2))
        execute(steps, CodedSource(codes, TABLES, None), CodedSink(by_table, SRGB), GEOMETRY)
        execute(steps, LinearSource(light), CodedSink(by_light, SRGB), GEOMETRY)
        differences = np.abs(by_table.astype(int) - by_light)
        assert differences.max() <= max(1, most / 255 / 10)
        assert (differences > 0.5 * most / 255).mean() < 0.002  # on the edge between two codes
        if bits == 8:
            execute(steps, CodedSource(codes.copy(), TABLES, None), CodedSink(by_light, SRGB), GEOMETRY)
            in_place = codes.copy()
            execute(steps, CodedSource(in_place, TABLES, None), CodedSink(in_place, SRGB), GEOMETRY)
            assert np.array_equal(in_place, by_light)


def test_no_seam_shows_where_the_rows_of_a_region_end() -> None:
    """Pixels that the region does not touch have the same codes in its rows as beyond them: half-way codes too."""
    codes = codes_of(7)
    values = np.tile(np.arange(256) * 250 + 0.5, (WEIGHTS, 3, 1))
    region = Box(sides=(0.4, 0.9, 0.6, 1), soft=0)
    source = WeightedSource(codes, values.astype(np.float32), region.prepare(GEOMETRY), region.rows(GEOMETRY))
    out = np.empty(codes.shape, np.uint16)
    source.recode(values, out)
    assert np.array_equal(out, codes * np.uint16(250) + 1)


def test_straight_lines_between_the_weights_are_as_near_as_they_say() -> None:
    """The worst curve there is: from black to white and back, mixed in encoded values."""
    codes, weights = codes_of(4), np.random.default_rng(4).random((HEIGHT, WIDTH)).astype(np.float32)
    curve = ToneCurve(points=[(0, 1), (1, 0)]).prepare(GEOMETRY)
    assert isinstance(curve, PixelKernel)
    encoded_source = CodedSource(codes, TABLES, None).folded([lambda planes, top: domains.linear_to_encoded(planes)])
    after = [lambda planes, top: domains.encoded_to_linear(planes)]
    source = encoded_source.by_weight(curve, after, REGIONS[0], GEOMETRY)
    planes = np.empty((3, HEIGHT, WIDTH), np.float32)
    load_between(codes, source.tables, weights, planes)
    encoded = codes / 255.0
    w = weights[..., None].astype(np.float64)
    exact = srgb_decode(encoded * (1 - w) + (1 - encoded) * w)
    assert np.abs(np.moveaxis(planes, 0, -1) - exact).max() < 7e-6


@pytest.mark.parametrize(
    "after",
    [
        ToneCurve(points=[(0, 0), (0.5, 0.1), (0.502, 0.9), (1, 1)]),
        ToneCurve(points=[(0, 0), (0.5, 0), (0.51, 0.8), (0.52, 0), (1, 1)]),
        ToneCurve(points=[(0, 0.4), (0.6, 0.4), (0.61, 0.6), (1, 0.6)], channels="blue"),
    ],
)
def test_where_the_next_curve_is_too_steep_for_straight_lines_they_are_not_drawn(after: ToneCurve) -> None:
    """Between two weights a steep curve goes from its lower end to its upper one."""
    codes = codes_of(6)
    chain = [Step(ToneCurve(points=[(0, 0), (0.5, 0.2), (1, 0.6)]), where=REGIONS[3]), Step(after)]
    expected = np.moveaxis(carry_out(chain, decoded(codes), GEOMETRY), -1, 0)
    assert np.abs(srgb_encode(finish(chain, codes)) - srgb_encode(expected)).max() < 0.5 / 255
    out = np.empty_like(codes)
    execute(chain, CodedSource(codes, TABLES, None), CodedSink(out, SRGB), GEOMETRY)
    assert np.abs(out - 255 * np.moveaxis(srgb_encode(expected), 0, -1)).max() < 0.75
    source = CodedSource(codes, TABLES, None)
    assert not any(isinstance(item, Apply) for item in planned(chain, source, (Domain.LINEAR,), GEOMETRY).table)
    gentle = [chain[0], Step(ToneCurve(points=[(0, 0), (0.25, 0.1), (0.75, 0.9), (1, 1)]))]
    assert not planned(gentle, source, (Domain.LINEAR,), GEOMETRY).items


@given(st.integers(0, 2**32 - 1), st.integers(1, 2 * TOGETHER), st.integers(2, 9))
def test_between_two_tables_lies_a_straight_line(seed: int, width: int, steps: int) -> None:
    random = np.random.default_rng(seed)
    tables = random.random((steps, 3, 256)).astype(np.float32)
    codes = random.integers(0, 256, (5, width, 3), np.uint8)
    weights = random.random((5, width)).astype(np.float32)
    weights[1:4] = np.array([0, 1, 0.3], np.float32)[:, None]
    weights[4, random.random(width) < 0.5] = 1
    planes = np.empty((3, 5, width), np.float32)
    load_between(codes, tables, weights, planes)
    for channel in range(3):
        values = tables[:, channel, :].astype(np.float64)[:, codes[..., channel]]
        place = weights * (steps - 1.0)
        below = np.minimum(place.astype(int), steps - 2)
        lower, upper = np.take_along_axis(values, below[None], 0)[0], np.take_along_axis(values, below[None] + 1, 0)[0]
        assert np.abs(planes[channel] - (lower + (upper - lower) * (place - below))).max() < 1e-6
    exact = np.take_along_axis(tables[-1].T, codes[2].astype(int), 0)
    assert np.array_equal(planes[:, 2], exact.T)
    assert np.array_equal(planes[:, 1], np.take_along_axis(tables[0].T, codes[1].astype(int), 0).T)


def test_sixteen_bits_go_the_long_way() -> None:
    codes = (codes_of(5).astype(np.uint16) << 8) + 7
    tables = np.tile(srgb_decode(np.arange(65536) / 65535).astype(np.float32), (3, 1))
    step = Step(CURVES[0], where=REGIONS[1])
    sink = LinearSink(HEIGHT, WIDTH)
    execute([step], CodedSource(codes, tables, None), sink, GEOMETRY)
    expected = carry_out([step], np.asarray(srgb_decode(codes / 65535.0)), GEOMETRY)
    assert np.abs(sink.planes - np.moveaxis(expected, -1, 0)).max() < 2e-5
