"""JSON Schemas of the files a user writes, for editors that complete and check while one types."""

from typing import Any

from finishing.documents.reading import Model
from finishing.operations.catalogue import OPERATIONS
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


def _recipe() -> dict[str, Any]:
    """A step is a mapping with one operation; each parameter may be a setting, `$name`."""
    schema: dict[str, Any] = RecipeFile.model_json_schema()
    setting: dict[str, Any] = {"type": "string", "pattern": "^\\$[A-Za-z_][A-Za-z0-9_]*$"}
    steps: list[dict[str, Any]] = []
    for name, operation in OPERATIONS.items():
        own = operation.model_json_schema()
        properties: dict[str, Any] = {
            key: {"anyOf": [value, setting]} for key, value in own.get("properties", {}).items()
        }
        properties["where"] = {"$ref": "#/$defs/where"}
        parameters: dict[str, Any] = {
            "type": "object",
            "description": operation.summary,
            "properties": properties,
            "required": own.get("required", []),
            "additionalProperties": False,
        }
        steps.append(
            {"type": "object", "properties": {name: parameters}, "required": [name], "additionalProperties": False}
        )
    schema.setdefault("$defs", {})["where"] = where_schema()
    schema["properties"]["steps"] = {"type": "array", "items": {"anyOf": steps}}
    return schema
