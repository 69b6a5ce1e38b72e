"""The reference of operations, out of what they declare about themselves."""

import inspect
from collections.abc import Iterator
from typing import Any

from finishing.documents.flow import flow
from finishing.documents.names import unknown_name
from finishing.operation import ParameterFacts, parameters_of
from finishing.operations.catalogue import OPERATIONS


def operation_facts(name: str | None = None) -> list[dict[str, Any]]:
    """All operations, or one. Raises Problem for an unknown name, with the nearest."""
    if name is not None and name not in OPERATIONS:
        raise unknown_name("operation", name, OPERATIONS, None, listed_by="finishing operations")
    return [_facts(key) for key in OPERATIONS if name in (None, key)]


def _facts(name: str) -> dict[str, Any]:
    operation = OPERATIONS[name]
    return {
        "name": name,
        "summary": operation.summary,
        "law": inspect.getdoc(operation) or "",
        "looks_at": operation.reach.value,
        "example": operation.example,
        "parameters": [_parameter(facts) for facts in parameters_of(operation)],
    }


def _parameter(facts: ParameterFacts) -> dict[str, Any]:
    return {
        "name": facts.name,
        "about": facts.about,
        "expected": facts.expected,
        "unit": facts.unit,
        "lowest": facts.low,
        "highest": facts.high,
        "choices": list(facts.choices),
        "required": facts.required,
        "default": facts.default,
        "neutral": facts.neutral,
    }


def operation_lines(facts: list[dict[str, Any]], *, whole: bool) -> Iterator[str]:
    """The reference as text: a line an operation, or the whole page of one."""
    if not whole:
        width = max(len(one["name"]) for one in facts)
        for one in facts:
            yield f"{one['name']:<{width}}  {one['summary']}"
        yield ""
        yield "`finishing operations NAME` shows the parameters of one."
        return
    for one in facts:
        yield f"{one['name']}: {one['summary']}"
        yield ""
        yield from (f"  {line}".rstrip() for line in one["law"].splitlines())
        yield ""
        yield "Parameters"
        for parameter in one["parameters"]:
            default = "must be given" if parameter["required"] else f"{flow(parameter['default'])} unless given"
            yield f"  {parameter['name']}: {parameter['about']}"
            yield f"      {parameter['expected']}; {default}"
            if parameter["neutral"] is not None:
                yield f"      changes nothing at {flow(parameter['neutral'])}"
        yield ""
        yield "In a recipe"
        yield f"  - {one['example']}"
