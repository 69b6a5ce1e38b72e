"""The reference of operations and regions, out of what they declare about themselves."""

import inspect
import textwrap
from collections.abc import Iterator
from typing import Any

from finishing.documents.flow import flow
from finishing.documents.names import unknown_name
from finishing.operation import ParameterFacts, parameters_of
from finishing.operations.catalogue import OPERATIONS
from finishing.regions.catalogue import REGIONS, stands_alone


def operation_facts(name: str | None = None) -> list[dict[str, Any]]:
    """All operations, or one. Raises Problem for an unknown name, with the nearest."""
    if name is not None and name not in OPERATIONS:
        raise unknown_name("operation", name, OPERATIONS, None, listed_by="finishing operations")
    return [_operation(key) for key in OPERATIONS if name in (None, key)]


def region_facts(name: str | None = None) -> list[dict[str, Any]]:
    """All regions, or one. Raises Problem for an unknown name, with the nearest."""
    if name is not None and name not in REGIONS:
        raise unknown_name("region", name, REGIONS, None, listed_by="finishing regions")
    return [_region(key) for key in REGIONS if name in (None, key)]


def _operation(name: str) -> dict[str, Any]:
    operation = OPERATIONS[name]
    return {
        "name": name,
        "summary": operation.summary,
        "law": inspect.getdoc(operation) or "",
        "looks_at": operation.reach.value,
        "example": operation.example,
        "parameters": [_parameter(facts) for facts in parameters_of(operation)],
    }


def _region(name: str) -> dict[str, Any]:
    region = REGIONS[name]
    return {
        "name": name,
        "summary": region.summary,
        "law": inspect.getdoc(region) or "",
        "short": region.short,
        "alone": stands_alone(region),
        "example": f"exposure: {{stops: -0.5, where: {{{region.example}}}}}",
        # what is a list or a region itself has no names to write before it
        "parameters": [] if region.short_is_all else [_parameter(facts) for facts in parameters_of(region)],
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
        yield from _list(facts)
        yield "`finishing operations NAME` shows the parameters of one; `finishing regions` where a step may act."
        return
    for one in facts:
        yield from _page(one, "Parameters")


def region_lines(facts: list[dict[str, Any]], *, whole: bool) -> Iterator[str]:
    """The same of regions."""
    if not whole:
        yield from _list(facts)
        yield "They stand behind `where` in any step. Several in one `where` mean what lies in all of them:"
        yield "  - exposure: {stops: 0.3, where: {ellipse: subject, skin: yes}}"
        yield ""
        yield "`finishing regions NAME` shows the parameters of one."
        return
    for one in facts:
        ways = [f"`where: {one['name']}` is enough"] if one["alone"] else []
        ways += [f"Behind `{one['name']}:` stands {one['short']}"] if one["short"] else []
        ways += ["its parameters" if ways else "Parameters"] if one["parameters"] else []
        yield from _page(one, "; or ".join(ways))


def _list(facts: list[dict[str, Any]]) -> Iterator[str]:
    width = max(len(one["name"]) for one in facts)
    for one in facts:
        yield f"{one['name']:<{width}}  {one['summary']}"
    yield ""


def _page(one: dict[str, Any], heading: str) -> Iterator[str]:
    yield f"{one['name']}: {one['summary']}"
    yield ""
    yield from (f"  {line}".rstrip() for line in one["law"].splitlines())
    yield ""
    yield from textwrap.wrap(heading, 110, break_long_words=False, break_on_hyphens=False)
    for parameter in one["parameters"]:
        default = "must be given" if parameter["required"] else f"{flow(parameter['default'])} unless given"
        yield f"  {parameter['name']}: {parameter['about']}"
        yield f"      {parameter['expected']}; {default}"
        if parameter["neutral"] is not None:
            yield f"      changes nothing at {flow(parameter['neutral'])}"
    yield ""
    yield "In a recipe"
    yield f"  - {one['example']}"
