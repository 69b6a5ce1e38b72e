"""The schema of recipes: what an editor is told agrees with what the reader takes."""

import copy
import re
from typing import Any

import pytest
import yaml
from pydantic import ValidationError

from finishing.batch.texts.schemas import schema_of
from finishing.documents.models import keys_of
from finishing.recipes.checks import CHECKS
from finishing.recipes.library import library_folder, recipes_in
from finishing.recipes.reading import RecipeFile
from finishing.sessions.blends import FrameBlend
from finishing.sessions.deliverables import Deliverable
from finishing.sessions.evening import Match
from finishing.sessions.plan import Setup, ShootPlan, Strobe
from finishing.sessions.session import LookForFrames, PerFrame, SessionFile

SCHEMA = schema_of("recipe")
TYPES = {
    "object": dict, "array": list, "string": str, "boolean": bool, "integer": int, "number": (int, float),
    "null": type(None),
}  # fmt: skip


def fits(value: Any, schema: Any, whole: Any = SCHEMA) -> bool:
    """Validation as JSON Schema (draft 2020-12) has it, for the keywords that the schema uses. whole: what references
    point into."""
    if "$ref" in schema:
        where = whole
        for part in schema["$ref"].removeprefix("#/").split("/"):
            where = where[part]
        return fits(value, where, whole)
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    rules = [
        not kinds
        or any(isinstance(value, TYPES[kind]) and not (kind != "boolean" and value is True) for kind in kinds),
        "enum" not in schema or value in schema["enum"],
        "anyOf" not in schema or any(fits(value, one, whole) for one in schema["anyOf"]),
    ]
    if isinstance(value, str):
        rules.append(re.search(schema.get("pattern", ""), value) is not None)
    if isinstance(value, int | float) and not isinstance(value, bool):
        rules.append(schema.get("minimum", value) <= value <= schema.get("maximum", value))
    if isinstance(value, list):
        rules.append(schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", len(value)))
        rules.append(all(fits(item, schema["items"], whole) for item in value) if "items" in schema else True)
    if isinstance(value, dict):
        known, other = schema.get("properties", {}), schema.get("additionalProperties", True)
        rules.append(set(schema.get("required", [])) <= set(value))
        rules.append(len(value) >= schema.get("minProperties", 0))
        rules.append(all(fits(item, known[key], whole) for key, item in value.items() if key in known))
        extra = [item for key, item in value.items() if key not in known]
        rules.append(not extra if other is False else other is True or all(fits(item, other, whole) for item in extra))
    return all(rules)


@pytest.mark.parametrize("name", sorted(recipes_in(library_folder())))
def test_every_look_of_the_library_fits(name: str) -> None:
    assert fits(yaml.safe_load(recipes_in(library_folder())[name].read_text(encoding="utf-8")), SCHEMA)


@pytest.mark.parametrize("name", sorted(CHECKS))
def test_the_example_of_every_check_fits(name: str) -> None:
    assert fits({"look": "x", "checks": [yaml.safe_load(CHECKS[name].example)]}, SCHEMA)


@pytest.mark.parametrize(
    ("check", "right"),
    [
        ("clipped_white: {at_most: 0.02, where: {ellipse: subject}}", True),
        ("clipped_white: {at_most: $most, where: $middle}", True),
        ("mean_lightness: {between: [0.4, $lightest]}", True),
        ("skin_hue_shift: {between: [-3, 6]}", True),
        ("clipped_white: {at_most: 7}", False),
        ("clipped_white: {at_most: 0.1, were: subject}", False),
        ("clipped_white: {at_most: 0.1, where: {elipse: subject}}", False),
        ("clipped_white: {where: subject}", False),  # no limit
        ("clipped_whit: {at_most: 0.1}", False),
        ("skin_hue_shift: {at_least: 3}", False),  # has no such limit
        ("kept_colour_area: {at_least: 0.1}", False),  # of which colour?
        ("outside_gamut: {at_most: 0.1, space: wide}", False),
        ("clipped_white", False),
    ],
)
def test_checks_have_their_true_schema(check: str, right: bool) -> None:
    assert fits({"look": "x", "checks": [yaml.safe_load(check)]}, SCHEMA) is right


def test_a_step_may_stand_alone_where_it_needs_no_parameter() -> None:
    assert fits({"look": "x", "steps": ["grain", {"exposure": {"stops": "$stops"}}]}, SCHEMA)
    assert not fits({"look": "x", "steps": ["exposure"]}, SCHEMA)


#: A whole file of each kind, and where in it the keys of a model stand.
WHOLE: dict[str, dict[str, Any]] = {
    "recipe": {"look": "x", "extends": "faded_print", "steps": [{"exposure": {"stops": 1}}]},
    "session": {
        "session": "x", "frames": ["a"], "looks": [{"look": "x"}], "match": {"exposure": {"to": "A"}},
        "blends": {"C": {"sources": ["A", "B"]}}, "per_frame": {"A": {}}, "deliverables": {"web": {}},
    },
    "plan": {"setups": [{"id": "A", "strobes": [{"name": "key"}]}]},
}  # fmt: skip
KEYS = [
    (kind, at, key)
    for kind, at, model in (
        ("recipe", (), RecipeFile), ("session", (), SessionFile), ("session", ("looks", 0), LookForFrames),
        ("session", ("match",), Match), ("session", ("blends", "C"), FrameBlend),
        ("session", ("per_frame", "A"), PerFrame), ("session", ("deliverables", "web"), Deliverable),
        ("plan", (), ShootPlan), ("plan", ("setups", 0), Setup), ("plan", ("setups", 0, "strobes", 0), Strobe),
    )
    for key in keys_of(model)
]  # fmt: skip


@pytest.mark.parametrize(("kind", "at", "key"), KEYS)
def test_an_empty_key_is_right_to_both_or_to_none(kind: str, at: tuple[str | int, ...], key: str) -> None:
    """`blends:` with nothing below it, all of it commented out, say."""
    value = copy.deepcopy(WHOLE[kind])
    part: Any = value
    for step in at:
        part = part[step]
    part[key] = None
    model = {"recipe": RecipeFile, "session": SessionFile, "plan": ShootPlan}[kind]
    try:
        model.model_validate(value)
        read = True
    except ValidationError:
        read = False
    schema = schema_of(kind)
    assert fits(WHOLE[kind], schema, schema)
    assert fits(value, schema, schema) is read
    if (kind, key) in {("session", "blends"), ("session", "rights"), ("recipe", "checks"), ("plan", "place")}:
        assert read
