"""The schema of recipes: what an editor is told agrees with what the reader takes."""

import re
from typing import Any

import pytest
import yaml

from finishing.batch.texts.schemas import schema_of
from finishing.recipes.checks import CHECKS
from finishing.recipes.library import library_folder, recipes_in

SCHEMA = schema_of("recipe")
TYPES = {
    "object": dict, "array": list, "string": str, "boolean": bool, "integer": int, "number": (int, float),
    "null": type(None),
}  # fmt: skip


def fits(value: Any, schema: Any) -> bool:
    """Validation as JSON Schema (draft 2020-12) has it, for the keywords that the schema uses."""
    if "$ref" in schema:
        where = SCHEMA
        for part in schema["$ref"].removeprefix("#/").split("/"):
            where = where[part]
        return fits(value, where)
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    rules = [
        not kinds
        or any(isinstance(value, TYPES[kind]) and not (kind != "boolean" and value is True) for kind in kinds),
        "enum" not in schema or value in schema["enum"],
        "anyOf" not in schema or any(fits(value, one) for one in schema["anyOf"]),
    ]
    if isinstance(value, str):
        rules.append(re.search(schema.get("pattern", ""), value) is not None)
    if isinstance(value, int | float) and not isinstance(value, bool):
        rules.append(schema.get("minimum", value) <= value <= schema.get("maximum", value))
    if isinstance(value, list):
        rules.append(schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", len(value)))
        rules.append(all(fits(item, schema["items"]) for item in value) if "items" in schema else True)
    if isinstance(value, dict):
        known, other = schema.get("properties", {}), schema.get("additionalProperties", True)
        rules.append(set(schema.get("required", [])) <= set(value))
        rules.append(len(value) >= schema.get("minProperties", 0))
        rules.append(all(fits(item, known[key]) for key, item in value.items() if key in known))
        extra = [item for key, item in value.items() if key not in known]
        rules.append(not extra if other is False else other is True or all(fits(item, other) for item in extra))
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
