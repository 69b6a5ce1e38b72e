"""What holds for every region of the catalogue."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pydantic import ValidationError

from finishing.documents.models import words_of
from finishing.documents.tree import parse_tree
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry, parameters_of
from finishing.operations.catalogue import EdgeVignette, HueIsolation, ToneCurve
from finishing.recipes.recipe import Step
from finishing.regions.catalogue import REGIONS, stands_alone, where_schema
from finishing.regions.combined import AllOf, AnyOf, Not, both, either, written
from finishing.regions.gradient import Gradient
from finishing.regions.mask import FrameMask
from finishing.regions.reading import read_region
from finishing.regions.region import Region

WIDTH, HEIGHT = 83, 61
RANDOM = np.random.default_rng(7)


def _mask(height: int, width: int) -> NDArray[np.float32]:
    """Black on the left, white on the right, noise between."""
    mask = RANDOM.random((height, width)).astype(np.float32)
    mask[:, : width // 3], mask[:, -width // 3 :] = 0, 1
    return mask


GEOMETRY = Geometry(
    WIDTH, HEIGHT, subject=(0.4, 0.6), masks={"coat": _mask(23, 31), "subject": _mask(HEIGHT * 3, WIDTH * 2)}
)
every_region = pytest.mark.parametrize("name", REGIONS)


def read(text: str) -> Region:
    """A region from what stands behind `where`."""
    tree = parse_tree(text, "look.yaml")
    return read_region(tree, (), tree.data)


def colours() -> NDArray[np.float32]:
    """OkLab planes of every lightness from −0.1 to 1.3, hues all round, greys among them, skin in a corner."""
    hue, chroma = RANDOM.uniform(0, 2 * np.pi, (HEIGHT, WIDTH)), RANDOM.uniform(0, 0.3, (HEIGHT, WIDTH))
    chroma[10:20] = 0
    chroma[20:30] *= 0.1
    hue[40:], chroma[40:] = np.radians(RANDOM.uniform(25, 75, (21, WIDTH))), RANDOM.uniform(0.03, 0.15, (21, WIDTH))
    lightness = RANDOM.uniform(-0.1, 1.3, (HEIGHT, WIDTH))
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)]).astype(np.float32)


PLANES = colours()
PIXELS = np.moveaxis(PLANES, 0, -1).astype(np.float64)


def weights_of(region: Region, geometry: Geometry = GEOMETRY, strip: int | None = None) -> NDArray[np.float32]:
    """The quick weights of the whole frame, made in strips."""
    fill = region.prepare(geometry)
    whole = np.full((geometry.height, geometry.width), np.nan, np.float32)
    rows = strip or geometry.height
    for top in range(0, geometry.height, rows):
        planes = np.ascontiguousarray(PLANES[:, top : top + rows]) if region.looks_at_colour else None
        fill(whole[top : top + rows], planes, top)
    return whole


@every_region
def test_is_named_documented_and_shown_by_an_example(name: str) -> None:
    kind = REGIONS[name]
    assert kind.name == name
    assert kind.summary.endswith(".")
    assert kind.__doc__
    assert len(kind.__doc__) > 30
    assert isinstance(read(kind.example), kind)
    assert kind.short or stands_alone(kind)
    for facts in parameters_of(kind):
        assert facts.about, f"{name}.{facts.name} has no description"
        assert facts.expected.strip() != "a value", f"{name}.{facts.name} does not say what is expected"


@every_region
def test_weights_run_from_exactly_nothing_to_exactly_one(name: str) -> None:
    weights = weights_of(read(REGIONS[name].example))
    assert weights.min() == 0
    assert weights.max() == 1
    assert ((weights > 0) & (weights < 1)).any()


@every_region
def test_equals_the_plain_reference(name: str) -> None:
    region = read(REGIONS[name].example)
    expected = region.reference(PIXELS, GEOMETRY)
    weights = weights_of(region)
    assert np.abs(weights - expected).max() < 1e-5
    # in and out are the same pixels but for those whose weight rounds to 1 or 0 in float32
    assert (expected[weights == 0] < 1e-6).all()
    assert (expected[weights == 1] > 1 - 1e-6).all()
    assert (weights[expected == 1] == 1).all()
    assert (weights[expected == 0] == 0).all()


@every_region
@pytest.mark.parametrize("rows", [1, 7, 16])
def test_strips_equal_the_whole(name: str, rows: int) -> None:
    region = read(REGIONS[name].example)
    assert np.array_equal(weights_of(region, strip=rows), weights_of(region))


@every_region
def test_part_of_the_columns_equals_the_same_part_of_the_whole(name: str) -> None:
    region = read(REGIONS[name].example)
    part = np.full((20, 33), np.nan, np.float32)
    planes = np.ascontiguousarray(PLANES[:, 9:29, 17:50])
    region.prepare(GEOMETRY)(part, planes if region.looks_at_colour else None, 9, 17)
    assert np.abs(part - weights_of(region)[9:29, 17:50]).max() < 1e-6


@every_region
def test_bounds_hold_all_that_is_in(name: str) -> None:
    region = read(REGIONS[name].example)
    (top, bottom), (left, right) = region.rows(GEOMETRY), region.columns(GEOMETRY)
    assert 0 <= top < bottom <= HEIGHT
    assert 0 <= left < right <= WIDTH
    outside = weights_of(region)
    outside[top:bottom, left:right] = 0
    assert not outside.any()


@pytest.mark.parametrize(
    "text", ["box: [0.5, 0.4, 0.6, 0.7]", "ellipse: [0.5, 0.5, 0.1, 0.1]", "radial: [0.5, 0.5, 0.1, 0.2]"]
)
def test_bounds_are_tight(text: str) -> None:
    region = read(text)
    (top, bottom), (left, right) = region.rows(GEOMETRY), region.columns(GEOMETRY)
    there = weights_of(region) > 0
    rows, columns = np.flatnonzero(there.any(axis=1)), np.flatnonzero(there.any(axis=0))
    assert rows[0] - top <= 2
    assert bottom - rows[-1] <= 3
    assert columns[0] - left <= 2
    assert right - columns[-1] <= 3


@every_region
def test_goes_through_yaml_and_back(name: str) -> None:
    region = read(REGIONS[name].example)
    assert read(yaml.safe_dump(written(region))) == region
    # as a step writes it into the line that is printed
    step = Step(ToneCurve(points=[(0, 0), (1, 1)]), region)
    where = yaml.safe_load(step.describe())["tone_curve"]["where"]
    assert read(yaml.safe_dump(where)) == region


@every_region
def test_cannot_be_changed_and_takes_no_unknown_parameter(name: str) -> None:
    region = read(REGIONS[name].example)
    for field in type(region).model_fields:
        with pytest.raises(ValidationError):
            setattr(region, field, getattr(region, field))
    values = {field: getattr(region, field) for field in type(region).model_fields}
    with pytest.raises(ValidationError, match="unknown"):
        REGIONS[name].model_validate({**values, "unknown": 1})


@every_region
def test_a_list_of_one_and_turning_twice_change_nothing(name: str) -> None:
    region = read(REGIONS[name].example)
    weights = weights_of(region)
    for same in (
        AllOf(regions=(region,)),
        AnyOf(regions=(region,)),
        Not(region=Not(region=region)),
    ):
        assert np.array_equal(weights_of(same), weights)
        np.testing.assert_allclose(same.reference(PIXELS, GEOMETRY), region.reference(PIXELS, GEOMETRY), atol=1e-15)
    # 1 less the weight, to the rounding of float32; in and out change places exactly
    turned = weights_of(Not(region=region))
    assert np.abs(turned - (1 - weights.astype(np.float64))).max() < 6e-8
    assert np.array_equal(turned == 0, weights == 1)


@given(
    st.lists(
        st.tuples(st.floats(0, 1, width=32), st.floats(0, 1, width=32)) | st.sampled_from([(0, 0), (1, 0), (1, 1)]),
        min_size=1,
    )
)
def test_weights_are_joined_exactly_at_both_ends(pairs: list[tuple[float, float]]) -> None:
    first, second = (np.array([values], np.float32) for values in zip(*pairs, strict=True))
    met, joined = first.copy(), first.copy()
    both(met, second)
    either(joined, second)
    u, v = first.astype(np.float64), second.astype(np.float64)
    assert np.abs(met - u * v).max() < 1e-7
    assert np.abs(joined - (1 - (1 - u) * (1 - v))).max() < 1e-7
    assert joined.max() <= 1
    assert np.all(joined[(u == 1) | (v == 1)] == 1)
    assert np.all(met[(u == 0) | (v == 0)] == 0)
    for weights, other, same in ((met, v, u), (met, u, v)):
        assert np.array_equal(weights[other == 1], same[other == 1])
    for other, same in ((v, u), (u, v)):
        assert np.array_equal(joined[other == 0], same[other == 0])


@pytest.mark.parametrize("kind", [AllOf, AnyOf])
def test_two_soft_edges_cross_without_a_crease(kind: type[AllOf | AnyOf]) -> None:
    """Along a line through both edges the slope changes by no more from pixel to pixel than it does along either edge;
    the smaller or larger of two weights would break it at once."""
    geometry = Geometry(1000, 20)
    falls = Gradient(full_at=(0.2, 0.5), gone_at=(0.8, 0.5))
    rises = Gradient(full_at=(0.9, 0.5), gone_at=(0.3, 0.5))

    def bend(weights: np.ndarray) -> float:
        return float(np.abs(np.diff(weights[10], n=2)).max())

    alone = max(bend(falls.reference(np.empty(0), geometry)), bend(rises.reference(np.empty(0), geometry)))
    together = kind(regions=(falls, rises)).reference(np.empty(0), geometry)
    assert bend(together) < 2 * alone
    assert bend(np.minimum(falls.reference(np.empty(0), geometry), rises.reference(np.empty(0), geometry))) > 20 * alone


@pytest.mark.parametrize("one", REGIONS)
@pytest.mark.parametrize("other", ["near", "hue", "gradient"])
def test_either_is_what_is_left_out_of_neither(one: str, other: str) -> None:
    """De Morgan's law, to the rounding of float32; and the order of a list does not matter."""
    first, second = read(REGIONS[one].example), read(REGIONS[other].example)
    either = weights_of(AnyOf(regions=(first, second)))
    neither = AllOf(regions=(Not(region=first), Not(region=second)))
    assert np.abs(weights_of(Not(region=neither)) - either).max() < 1.2e-7
    assert np.array_equal(weights_of(AnyOf(regions=(second, first))), either)


@every_region
def test_a_step_leaves_the_outside_bit_for_bit_and_does_the_inside_whole(name: str) -> None:
    region = read(REGIONS[name].example)
    linear = RANDOM.random((3, HEIGHT, WIDTH)).astype(np.float32)
    vignette = EdgeVignette(toward="#c8a21b", strength=1, starts_at=0, reaches=0.1)
    results = []
    for where in (region, None):
        sink = LinearSink(HEIGHT, WIDTH)
        execute([Step(vignette, where)], LinearSource(linear), sink, GEOMETRY, strip_rows=16)
        results.append(np.moveaxis(sink.planes, 0, -1))
    limited, unlimited = results
    pixels = np.moveaxis(linear, 0, -1).astype(np.float64)
    from finishing.colour.oklab import linear_to_oklab

    expected = region.reference(linear_to_oklab(pixels), GEOMETRY)
    assert np.array_equal(limited[expected == 0], np.moveaxis(linear, 0, -1)[expected == 0])
    if not region.looks_at_colour:
        assert np.array_equal(limited[expected == 1], unlimited[expected == 1])


@every_region
@pytest.mark.parametrize(
    "operation",
    [
        HueIsolation(keep=75, least_chroma=0.02),
        ToneCurve(points=[(0, 0.1), (0.6, 0.5), (1, 0.9)], channels="lightness"),
        EdgeVignette(toward="white", strength=0.8, starts_at=0.1),
    ],
    ids=lambda operation: operation.name,
)
def test_limited_steps_equal_the_reference_at_every_strip_height(name: str, operation: Any) -> None:
    linear = RANDOM.random((3, HEIGHT, WIDTH)).astype(np.float32)
    steps = [Step(operation, read(REGIONS[name].example))]
    expected = carry_out(steps, np.moveaxis(linear, 0, -1), GEOMETRY)
    first = None
    for rows, threads in ((HEIGHT, 1), (5, 2)):
        sink = LinearSink(HEIGHT, WIDTH)
        execute(steps, LinearSource(linear), sink, GEOMETRY, strip_rows=rows, threads=threads)
        assert np.abs(np.moveaxis(sink.planes, 0, -1) - expected).max() < 1e-4
        first = sink.planes if first is None else first
        assert np.array_equal(sink.planes, first)


@given(
    st.sampled_from(
        ["near: {radius: %s, soft: %s}", "ellipse: {radii: [%s, 0.2], soft: %s}", "radial: {full_to: %s, gone_at: 1%s}"]
    ),
    st.floats(0.01, 0.6),
    st.floats(0.01, 0.5),
    st.tuples(st.floats(-0.3, 1.3), st.floats(-0.3, 1.3)),
)
def test_round_regions_fall_outward_and_equal_the_reference(
    text: str, radius: float, soft: float, subject: tuple[float, float]
) -> None:
    region = read(text % (f"{radius:.4f}", f"{soft:.4f}".removeprefix("0") if "gone_at" in text else f"{soft:.4f}"))
    geometry = Geometry(57, 38, subject)
    weights = np.empty((38, 57), np.float32)
    region.prepare(geometry)(weights, None, 0)
    assert np.abs(weights - region.reference(np.empty((38, 57, 3)), geometry)).max() < 1e-5
    along = weights[19].astype(np.float64)
    peak = int(np.clip(round(subject[0] * 57 - 0.5), 0, 56))
    if "radial" in text:
        peak = 28
    assert (np.diff(along[peak:]) <= 1e-6).all()
    assert (np.diff(along[: peak + 1]) >= -1e-6).all()


@given(st.lists(st.tuples(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2)), min_size=3, max_size=9), st.floats(0, 0.4))
def test_polygons_equal_the_reference(points: list[tuple[float, float]], soft: float) -> None:
    try:
        region = REGIONS["polygon"].model_validate({"points": points, "soft": soft if soft > 0.01 else 0})
    except ValidationError:
        return  # all on one line
    geometry = Geometry(44, 29)
    weights = np.empty((29, 44), np.float32)
    fill = region.prepare(geometry)
    fill(weights, None, 0)
    expected = region.reference(np.empty((29, 44, 3)), geometry)
    assert np.abs(weights - expected).max() < 1e-4
    (top, bottom), (left, right) = region.rows(geometry), region.columns(geometry)
    again = np.zeros_like(weights)
    if top < bottom and left < right:
        part = np.empty((bottom - top, right - left), np.float32)
        fill(part, None, top, left)
        again[top:bottom, left:right] = part
    assert np.abs(again - weights).max() < 1e-6


def test_schema_names_every_region_and_every_parameter() -> None:
    alone, mapping = where_schema()["anyOf"]
    assert alone["enum"] == ["skin", "subject"]
    assert set(mapping["properties"]) == set(REGIONS)
    for name, kind in REGIONS.items():
        if kind in (AllOf, AnyOf, Not):
            continue
        long = mapping["properties"][name]["anyOf"][-1]
        assert set(long["properties"]) == set(kind.model_fields)


def test_every_file_of_regions_is_in_the_catalogue() -> None:
    folder = Path(__file__).parents[2] / "finishing" / "regions"
    shared = {"__init__", "catalogue", "region", "reading", "rings", "edges", "places", "mask_files", "meant"}
    files = {path.stem for path in folder.glob("*.py")} - shared
    assert files == {kind.__module__.rpartition(".")[2] for kind in REGIONS.values()}


def test_names_of_the_masks_that_a_frame_must_bring() -> None:
    assert read("{mask: coat, not: subject, near: subject}").mask_names == {"coat", "subject"}
    assert read("any_of: [skin, {ellipse: subject}]").mask_names == set()
    assert FrameMask(which="masks/all.png").mask_names == set()


@pytest.mark.parametrize(
    "text",
    [
        "radial: {centre: [0.25, 0.2837769], full_to: 0.25, gone_at: 0.250000001}",
        "radial: {centre: [0.5, 0], full_to: 0.5, gone_at: 0.500000001}",
        "ellipse: {centre: [0.5, 0.5], radii: [0.25, 0.001], soft: 1e-12}",
        "near: {point: [1, 0.8044611], radius: [1, 1], soft: 1e-7}",
    ],
)
def test_an_edge_narrower_than_float32_tells_is_a_hard_one(text: str) -> None:
    """A pixel that lies on the outline lies on the edge's end as well, and a share of nothing is no number."""
    region = read(text)
    for width, height in ((37, 53), (1, 500), (100, 100)):
        weights = weights_of(region, Geometry(width, height))
        assert ((weights >= 0) & (weights <= 1)).all()


@pytest.mark.parametrize("name", [name for name in REGIONS if name not in ("all_of", "any_of", "not")])
def test_the_examples_that_are_told_for_parameters_are_sound_together(name: str) -> None:
    kind = REGIONS[name]
    told = {key: words.example for key, info in kind.model_fields.items() if (words := words_of(info))}
    text = "{" + ", ".join(f"{key}: {example}" for key, example in told.items()) + "}"
    assert kind.model_validate(parse_tree(text, "x").data)
