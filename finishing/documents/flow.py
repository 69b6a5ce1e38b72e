"""Plain values as YAML on one line."""

import json
import re
from collections.abc import Mapping
from typing import Any


def flow(value: Any) -> str:
    """A plain value as YAML on one line: {stops: 0.3}, [[0, 0.06], [1, 0.97]]."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)
    if value is None:
        return "null"
    text = str(value)
    plain = text.replace("_", "").replace(" ", "").replace(".", "").replace("/", "").replace("-", "").isalnum()
    if re.fullmatch(r"\$\w+", text):  # a setting
        return text
    return text if plain and text == text.strip() else json.dumps(text, ensure_ascii=False)
