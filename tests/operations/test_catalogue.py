"""What holds for every operation of the catalogue."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from pydantic import ValidationError

from finishing.documents.models import words_of
from finishing.documents.reading import validate
from finishing.documents.tree import parse_tree
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out, from_linear
from finishing.operation import Geometry, Operation, Reach, parameters_of
from finishing.operations.catalogue import OPERATIONS
from finishing.recipes.recipe import Step

WIDTH, HEIGHT = 61, 47
GEOMETRY = Geometry(WIDTH, HEIGHT, subject=(0.4, 0.6))
every_operation = pytest.mark.parametrize("name", OPERATIONS)


def example_of(name: str) -> Operation:
    """The operation of its own example."""
    tree = parse_tree(OPERATIONS[name].example, "example.yaml")
    ((written, _),) = tree.data.items()
    assert written == name
    return validate(tree, (name,), OPERATIONS[name])


def neutral_of(name: str) -> Operation:
    """The example with its neutral parameters."""
    values = {**example_of(name).model_dump(), **OPERATIONS[name].neutral}
    return OPERATIONS[name].model_validate(values)


def picture(seed: int = 1) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Planes with values from −0.5 to 8, most of them between black and white, some flat greys."""
    random = np.random.default_rng(seed)
    planes = random.random((3, HEIGHT, WIDTH)).astype(np.float32)
    planes[:, :9, :9] = 0.18
    planes[:, 20:24] = random.uniform(-0.5, 8, (3, 4, WIDTH))
    planes[:, 30, ::7] = 0
    return planes


def finish(operation: Operation, planes: np.ndarray[Any, Any], **how: int) -> np.ndarray[Any, Any]:
    sink = LinearSink(HEIGHT, WIDTH)
    execute([Step(operation)], LinearSource(planes), sink, GEOMETRY, **how)
    return sink.planes


@every_operation
def test_is_named_documented_and_shown_by_an_example(name: str) -> None:
    operation = OPERATIONS[name]
    assert operation.name == name
    assert operation.summary.endswith(".")
    assert operation.__doc__
    assert len(operation.__doc__) > 80
    assert not example_of(name).changes_nothing()
    for facts in parameters_of(operation):
        assert facts.about, f"{name}.{facts.name} has no description"
        assert facts.expected.strip() != "a value", f"{name}.{facts.name} does not say what is expected"


@every_operation
def test_the_examples_that_are_told_for_parameters_are_sound_together(name: str) -> None:
    told = {key: words.example for key, info in OPERATIONS[name].model_fields.items() if (words := words_of(info))}
    if name == "white_balance":  # a grey tells what the temperature would
        del told["grey"]
    text = "{" + ", ".join(f"{key}: {example}" for key, example in told.items()) + "}"
    assert OPERATIONS[name].model_validate(parse_tree(text, "x").data)


@every_operation
def test_neutral_parameters_change_nothing_bit_for_bit(name: str) -> None:
    operation = neutral_of(name)
    assert OPERATIONS[name].neutral
    assert operation.changes_nothing()
    planes = picture()
    assert np.array_equal(finish(operation, planes), planes)


@every_operation
def test_input_is_not_modified(name: str) -> None:
    planes = picture()
    before = planes.copy()
    finish(example_of(name), planes)
    assert np.array_equal(planes, before)
    operation = example_of(name)
    pixels = from_linear(np.moveaxis(planes, 0, -1).astype(np.float64), operation.domain)
    kept = pixels.copy()
    operation.reference(pixels, GEOMETRY)
    assert np.array_equal(pixels, kept)


@every_operation
def test_strips_and_threads_equal_the_whole(name: str) -> None:
    planes = picture()
    whole = finish(example_of(name), planes, strip_rows=HEIGHT)
    for rows, threads in ((1, 1), (7, 2), (16, 3)):
        assert np.array_equal(finish(example_of(name), planes, strip_rows=rows, threads=threads), whole)


@every_operation
def test_engine_equals_the_reference(name: str) -> None:
    planes = picture()
    expected = carry_out([Step(example_of(name))], np.moveaxis(planes, 0, -1), GEOMETRY)
    result = np.moveaxis(finish(example_of(name), planes), 0, -1)
    assert np.max(np.abs(result - expected) / (1 + np.abs(expected))) < 1e-4


@every_operation
def test_nan_and_infinity_come_out_defined(name: str) -> None:
    planes = picture()
    planes[0, 3, 4], planes[1, 12, 30], planes[2, 40, 50] = np.nan, np.inf, -np.inf
    assert np.isfinite(finish(example_of(name), planes)).all()


@every_operation
def test_declared_reach_is_honest(name: str) -> None:
    operation = example_of(name)
    if operation.reach is Reach.FRAME:
        pytest.skip("reaches over the whole frame")
    radius = operation.radius(GEOMETRY)
    planes = np.full((3, HEIGHT, WIDTH), 0.4, np.float32)
    planes[0] = 0.6
    kicked = planes.copy()
    row, column = 23, 30
    kicked[:, row, column] = (0.1, 0.9, 0.3)
    changed = np.argwhere((finish(operation, planes) != finish(operation, kicked)).any(axis=0))
    assert np.abs(changed - (row, column)).max(initial=0) <= radius


@every_operation
def test_goes_through_yaml_and_back(name: str) -> None:
    operation = example_of(name)
    text = yaml.safe_dump({name: operation.model_dump(mode="json")})
    again = validate(parse_tree(text, "again.yaml"), (name,), OPERATIONS[name])
    assert again == operation


@every_operation
def test_cannot_be_changed_and_takes_no_unknown_parameter(name: str) -> None:
    operation = example_of(name)
    first = next(iter(type(operation).model_fields))
    with pytest.raises(ValidationError):
        setattr(operation, first, getattr(operation, first))
    with pytest.raises(ValidationError):
        OPERATIONS[name].model_validate({**operation.model_dump(), "unknown": 1})


def test_every_file_of_operations_is_in_the_catalogue() -> None:
    folder = Path(OPERATIONS["exposure"].prepare.__code__.co_filename).parent
    files = {path.stem for path in folder.glob("*.py")} - {"__init__", "catalogue"}
    assert files == set(OPERATIONS)


@pytest.mark.parametrize("name", [name for name in OPERATIONS if example_of(name).matrix is not None])
def test_a_matrix_that_is_stated_is_all_that_it_does(name: str) -> None:
    made = example_of(name)
    assert made.matrix is not None
    pixels = np.random.default_rng(3).uniform(-2, 6, (7, 11, 3))
    assert np.abs(made.reference(pixels, Geometry(11, 7)) - pixels @ made.matrix.T).max() < 1e-12
