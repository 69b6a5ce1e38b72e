"""JSON Schemas of the files a user writes, for editors that complete and check while one types."""

from typing import Any

from finishing.documents.reading import Model, or_empty
from finishing.operations.catalogue import OPERATIONS
from finishing.recipes.check import LIMITS, Check
from finishing.recipes.checks import CHECKS
from finishing.recipes.reading import RecipeFile
from finishing.regions.catalogue import where_schema
from finishing.sessions.plan import ShootPlan
from finishing.sessions.session import SessionFile

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(kind: str) -> dict[str, Any]:
    """The schema of `recipe`, `session` or `plan`."""
    if kind == "recipe":
        own = _recipe()
    else:
        model: type[Model] = SessionFile if kind == "session" else ShootPlan
        own = model.model_json_schema()
    return {"$schema": DRAFT, **own}


#: A value may also be a setting of the recipe.
_SETTING: dict[str, Any] = {"type": "string", "pattern": "^\\$[A-Za-z_][A-Za-z0-9_]*$"}


def _recipe() -> dict[str, Any]:
    """A step is a mapping with one operation, a check one with what it measures; each value may be a setting."""
    schema: dict[str, Any] = RecipeFile.model_json_schema()
    schema.setdefault("$defs", {})["where"] = _inside(where_schema())
    steps = [_named(name, operation, operation.summary) for name, operation in OPERATIONS.items()]
    bare = [name for name, operation in OPERATIONS.items() if not _required(operation)]
    schema["properties"]["steps"] = or_empty({"type": "array", "items": {"anyOf": [*steps, {"enum": bare}]}})
    checks = [_check(name, check) for name, check in CHECKS.items()]
    schema["properties"]["checks"] = or_empty({"type": "array", "items": {"anyOf": checks}})
    return schema


def _named(name: str, model: type[Model], summary: str) -> dict[str, Any]:
    """{name: {parameter: value, where: …}}, where every value may be a setting, whole or in parts."""
    own = model.model_json_schema()
    parameters: dict[str, Any] = {
        "type": "object",
        "description": summary,
        "properties": {
            **{key: _or_setting(value) for key, value in own.get("properties", {}).items()},
            "where": _or_setting({"$ref": "#/$defs/where"}),
        },
        "required": own.get("required", []),
        "additionalProperties": False,
    }
    return {"type": "object", "properties": {name: parameters}, "required": [name], "additionalProperties": False}


def _or_setting(value: dict[str, Any]) -> dict[str, Any]:
    """A value or a setting that stands for it."""
    return {"anyOf": [_inside(value), _SETTING]}


def _inside(schema: dict[str, Any]) -> dict[str, Any]:
    """A schema in which every part of a value may be a setting."""
    found = dict(schema)
    if "properties" in schema:
        found["properties"] = {key: _or_setting(value) for key, value in schema["properties"].items()}
    for key in ("items", "additionalProperties"):
        if isinstance(schema.get(key), dict):
            found[key] = _or_setting(schema[key])
    for key in ("anyOf", "oneOf"):
        if key in schema:
            found[key] = [_inside(one) for one in schema[key]]
    return found


def _required(model: type[Model]) -> list[str]:
    return [name for name, info in model.model_fields.items() if info.is_required()]


def _check(name: str, check: type[Check]) -> dict[str, Any]:
    """The same of a check, which needs a limit or two."""
    named = _named(name, check, check.summary)
    limits = [limit for limit in LIMITS if limit in check.model_fields]
    named["properties"][name]["anyOf"] = [{"required": [limit]} for limit in limits]
    return named
