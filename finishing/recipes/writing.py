"""A recipe written down whole: settings filled in, every parameter spelled out, so that it can be read years later.

What the text does not hold is the recipe's name (that of its file) and what its settings were called;
`finishing.recipes.reading.read_recipe_text` reads it.
"""

import json
import re
from collections.abc import Mapping
from typing import Any

from finishing.recipes.recipe import Recipe

#: What YAML 1.2 does not print as it stands (5.1, character set), besides what JSON escapes anyway.
_UNPRINTED = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")


def recipe_text(recipe: Recipe) -> str:
    """The recipe as the text of a recipe file. It reads back as the same look, with the same hash."""
    lines = [f"look: {_flow(recipe.title)}"]
    if recipe.about:
        lines.append(f"about: {_flow(recipe.about)}")
    if recipe.client:
        lines.append(f"client: {_flow(recipe.client)}")
    lines.append(f"version: {recipe.version}")
    lines.append("steps:")
    lines += [f"  - {step.operation.name}: {_flow(step.values())}" for step in recipe.steps]
    if recipe.checks:
        lines.append("checks:")
        lines += [f"  - {one.check.name}: {_flow(one.values())}" for one in recipe.checks]
    return "\n".join(lines) + "\n"


def _flow(value: Any) -> str:
    """A plain value as YAML on one line: numbers to their last bit, texts in quotes unless they are one word."""
    if isinstance(value, Mapping):
        told = (f"{_flow(str(key))}: {_flow(item)}" for key, item in value.items() if item is not None)
        return "{" + ", ".join(told) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flow(item) for item in value) + "]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return repr(value)
    text = str(value)
    if _WORD.fullmatch(text) and text not in ("null", "None"):
        return text
    quoted = json.dumps(value, ensure_ascii=False)
    return _UNPRINTED.sub(lambda found: f"\\u{ord(found.group()):04x}", quoted)
