"""Texts from outside, as they can be printed on a terminal."""

import json


def shown(text: object, limit: int = 60) -> str:
    """A text from outside in quotes, shortened, signs without a picture written out."""
    if isinstance(text, dict | list):
        return "a list" if isinstance(text, list) else "a mapping (key: value)"
    value = text if isinstance(text, str) else json.dumps(text)
    cut = value if len(value) <= limit else value[: limit - 1] + "…"
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in cut) + '"'
