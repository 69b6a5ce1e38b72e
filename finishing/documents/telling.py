"""What is wrong with a value, as a photographer can act on it: where, what was found, what was expected, what to do."""

import re
from typing import Any

from pydantic import BaseModel

from finishing.documents.fields import Words, is_number, parse_number
from finishing.documents.flow import flow
from finishing.documents.meant import as_meant, in_pixels, of_hundred, reads
from finishing.documents.models import Found, field_of, found_at, keys_of, model_in, required_keys, taken_keys, words_of
from finishing.documents.names import nearest, plainly_alike, same_word, spelled, synonyms, unknown_name
from finishing.documents.tree import Path_, Tree
from finishing.errors import Place, Problem
from finishing.units import format_number

#: As many signs of a user's own list or mapping as are repeated.
_MOST_SIGNS = 80


def shape(value: object) -> str:
    """What a plain value is, in words, with its text where it is short."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping (key: value)"
    if isinstance(value, list):
        text = "[" + ", ".join(str(v) for v in value) + "]"
        return text if len(text) <= 60 and not any(isinstance(v, dict | list) for v in value) else "a list"
    text = str(value)
    return text if len(text) <= 80 else text[:79] + "…"


def not_a_mapping(tree: Tree, path: Path_, value: object, model: type[BaseModel]) -> Problem:
    """The problem of what should be a mapping of a model's keys and is something else."""
    slip = _no_mapping(value, tree.place(path), path)
    if slip is not None:
        return slip
    key = path[-1] if path and isinstance(path[-1], str) else None
    remedy = "write one `key: value` a line" + (", without dashes" if isinstance(value, list) else "")
    return Problem(
        "this must be a mapping" if key is None else f'"{key}" must be a mapping',
        where=tree.place(path),
        got=shape(value),
        expected=f"keys and values: {', '.join(keys_of(model))}",
        remedy=remedy if key is None else in_braces(key, value, model) or remedy,
    )


def in_braces(key: str, value: object, model: type[BaseModel]) -> str | None:
    """How a value that stands bare behind a key is written, where a parameter takes it; None where none does. Where
    it may be another that is meant, it is an example."""
    if not isinstance(value, str):
        return None
    needed = required_keys(model)
    if len(needed) > 1:
        return None
    keys = needed or keys_of(model)
    takes = [one for one in keys if reads(value, field_of(model, one))]
    written = value
    if not takes:
        for one in keys:
            info = field_of(model, one)
            slip = as_meant(value, info, words_of(info))
            if slip is not None:
                takes, written = [one], slip.written
                break
    if not takes:
        return None
    return f"write {key}: {{{takes[0]}: {written}}}" + ("" if needed else ", for example")


def explained(errors: list[Any], tree: Tree, prefix: Path_, root: type[BaseModel]) -> list[tuple[Path_, Problem]]:
    """The errors of a validation, each as a problem with the path that it stands at.

    What only follows from another is not told: that a key is missing where it stands under another spelling, and that a
    list is too short where its items are faulty.
    """
    told = [item for item in errors if item["type"] != "too_short" or not tree.at((*prefix, *item["loc"]))]
    found = [found_at(tuple(item["loc"]), tree, prefix, root) for item in told]
    meant = {
        (*at.path[:-1], key)
        for item, at in zip(told, found, strict=True)
        if item["type"] == "extra_forbidden" and (key := _key_meant(at, tree)) is not None
    }
    return [
        (at.path, _explain(item, tree, at))
        for item, at in zip(told, found, strict=True)
        if not (item["type"] == "missing" and at.path in meant)
    ]


def _explain(error: Any, tree: Tree, at: Found) -> Problem:
    path, words = at.path, at.words
    name = next((str(part) for part in reversed(path) if isinstance(part, str)), "this file")
    if error["type"] == "extra_forbidden":
        return _unknown_key(name, tree, at)
    if error["type"] == "missing":
        parent = path[:-1]
        inside = f' in "{parent[-1]}"' if parent and isinstance(parent[-1], str) else ""
        return Problem(
            f'"{name}" is missing{inside}',
            where=tree.place(parent),
            expected=words.expected if words else None,
            remedy=f"add {name}: {words.example}" if words else f"add {name}:",
        )
    written, place, called = tree.at(path), tree.place(path), f'"{name}"'
    value = written if written is not None else error.get("input")
    setting = _setting_at_fault(written, error.get("input"), path, words.each if words else None)
    if setting is not None:
        name, value, place = setting[0], setting[1], tree.place(setting[2])
        called = f'the setting "{name}"'
    else:
        slip = _slip(error, tree, path)
        if slip is not None:
            return slip
    info = field_of(at.owner, path[-1]) if at.owner is not None and path else None
    whole = info is not None and (setting is None or setting[2] == path)
    by_choice = isinstance(value, str) and same_word(value, words.choices if words else ()) is not None
    meant = as_meant(value, info, words) if whole and not by_choice else None
    if meant is not None:
        expected = words.expected if words else None
        return Problem(f"{called} is written {meant.what}", where=place, got=shape(value), expected=expected,
                       remedy=meant.remedy(name))  # fmt: skip
    expected, remedy = _expected(error, at, name, value)
    if setting is not None and setting[2] != path:  # one number of several
        expected = "a number" if words is None or words.each is None else _span(words.each)
        remedy = f"write {expected} behind {name}:"
    elif words is not None and words.each is not None and (outside := _outside(value, words.each)):
        in_fractions = "fractions of" in words.expected
        remedy = (in_pixels(value) if in_fractions else None) or f"{outside}: write {_span(words.each)} there"
    got, filled = shape(value), error.get("input")
    if error["type"] == "value_error" and isinstance(value, dict | list) and value:  # of the right kind: as it stands
        in_full = flow(value)
        got = in_full if len(in_full) <= _MOST_SIGNS else got
    if setting is None and isinstance(filled, list | tuple) and "$" in got and filled != value:
        got = f"{got}, which is {flow(filled)}"
    if path not in tree.value_places and error["type"] == "value_error":  # its default, beside what another is given
        got = f"{flow(filled)}, which it is unless said"
    return Problem(f"{called} cannot be read", where=place, got=got, expected=expected, remedy=remedy)


def _setting_at_fault(
    written: object, filled: object, path: Path_, each: tuple[float, float] | None
) -> tuple[str, object, Path_] | None:
    """The setting that a value was made of and that makes it wrong: its name, its value, and the path of its $name.
    Within a list it is the one that is no number, or none that may stand there (each: lowest, highest)."""
    if isinstance(written, str) and written.startswith("$"):
        return written[1:], filled, path
    if isinstance(written, list) and isinstance(filled, list | tuple) and len(written) == len(filled):
        for index, (part, value) in enumerate(zip(written, filled, strict=True)):
            found = _setting_at_fault(part, value, (*path, index), each)
            if found is not None and (not is_number(found[1]) or (each is not None and _outside([found[1]], each))):
                return found
    return None


def _span(each: tuple[float, float]) -> str:
    low, high = (format_number(one, 4) for one in each)
    return f"a number from {low} to {high}"


def _outside(value: object, each: tuple[float, float]) -> str:
    """Which numbers of a list are above or below what each of them may be; empty where none is."""
    low, high = each
    items = [str(one) for one in value if is_number(one)] if isinstance(value, list | tuple) else []
    above = [one for one in items if parse_number(one) > high]
    below = [one for one in items if parse_number(one) < low]
    told = [(above, "above", high), (below, "below", low)]
    return ", ".join(
        f"{' and '.join(found)} {'is' if len(found) == 1 else 'are'} {side} {format_number(limit, 4)}"
        for found, side, limit in told if found
    )  # fmt: skip


def _key_meant(at: Found, tree: Tree) -> str | None:
    """The key that an unknown one was meant for: spelled otherwise, a slip away, or another word of the trade. Of
    several, one that is not there yet, and rather one that must be."""
    model, name = at.owner, str(at.path[-1])
    if model is None:
        return None
    beside = tree.at(at.path[:-1])
    there = set(beside) if isinstance(beside, dict) else set()
    known, needed = taken_keys(model), required_keys(model)
    same = [key for key in synonyms(name, known) if key not in there]
    return (
        same_word(name, known)
        or plainly_alike(name, known)
        or next(iter(sorted(same, key=lambda key: key not in needed)), None)
    )


def _unknown_key(name: str, tree: Tree, at: Found) -> Problem:
    model, place = at.owner, tree.key_place(at.path)
    known = taken_keys(model) if model else []
    problem = unknown_name("key", name, known, place)
    remedy = None
    near = _key_meant(at, tree)
    if near is not None:
        remedy = f'did you mean "{near}"?'
    elif model is not None:
        remedy = _belongs(name, model, at)
    return Problem(problem.what, where=place, expected=problem.expected, remedy=remedy or problem.remedy)


def _belongs(name: str, model: type[BaseModel], at: Found) -> str | None:
    """The remedy for a key that is known a level deeper, or further left."""
    for key, info in zip(keys_of(model), model.model_fields.values(), strict=True):
        below = model_in(info.annotation)
        deeper = same_word(name, keys_of(below)) if below is not None else None
        if deeper is not None:
            return f'"{deeper}" belongs below "{key}": indent it there'
    for depth in range(len(at.models) - 2, -1, -1):
        above = at.models[depth]
        if above is not None and above is not model and name in keys_of(above):
            beside = next((str(part) for part in reversed(at.path[: depth - len(at.models) + 1])
                           if isinstance(part, str)), None)  # fmt: skip
            return f'"{name}" belongs further left' + (f', in line with "{beside}"' if beside else "")
    return None


#: What pydantic calls a value that should be a mapping.
_MAPPING_TYPES = {"model_type", "dict_type", "model_attributes_type"}


def _slip(error: Any, tree: Tree, path: Path_) -> Problem | None:
    """A dash or a colon without its space, a dash too many: what is read is then of another kind than what is asked
    for."""
    written, place = tree.at(path), tree.place(path)
    if error["type"] in _MAPPING_TYPES:
        return _no_mapping(written, place, path)
    if error["type"] in {"list_type", "tuple_type"} and isinstance(written, str) and re.match(r"-\w", written):
        what = "a space is missing behind the dash"
        first = re.split(r"\s+-", written[1:])[0]
        return Problem(what, where=place, got=written, expected="a list", remedy=f"write - {first}")
    return None


def _no_mapping(written: object, place: Place, path: Path_) -> Problem | None:
    expected = "a mapping (key: value)"
    found = re.match(r"([A-Za-z_]\w*):(\S.*)", written) if isinstance(written, str) else None
    if found:
        what, key, value = "a space is missing behind the colon", found.group(1), found.group(2)
        return Problem(what, where=place, got=shape(written), expected=expected, remedy=f"write {key}: {value}")
    if written is None and path and isinstance(path[-1], int):
        what = "nothing stands behind this dash"
        return Problem(what, where=place, expected=expected, remedy="take the dash away, or write an entry behind it")
    pairs = written if isinstance(written, list) else []
    if pairs and path and all(isinstance(one, dict) and len(one) == 1 for one in pairs):
        what = f'dashes stand before the keys of "{path[-1]}", which is no list'
        return Problem(what, where=place, expected=expected, remedy=f"take the dashes away: {next(iter(pairs[0]))}: …")
    return None


def _expected(error: Any, at: Found, name: str, value: object) -> tuple[str, str]:
    kind, words, model = error["type"], at.words, at.below
    if kind in _MAPPING_TYPES:
        item = bool(at.path) and isinstance(at.path[-1], int)
        return "a mapping (key: value)", _as_mapping("" if item else f"{name}: ", value, model)
    if kind in {"list_type", "tuple_type"}:
        if model is not None and isinstance(value, str):
            return "a list", f"write {name}: [{_pairs(value, model)}]"
        if isinstance(value, dict) and value:
            first, said = next(iter(value.items()))
            unnumbered = re.sub(r"^\d{1,2}[.)]\s*(?=\S)", "", str(first))
            if unnumbered != first:
                return "a list", f"put dashes in place of the numbers: - {unnumbered}: …"
            begun = f"- {first}: {shape(said) if isinstance(said, str) else '…'}"
            if model is None:
                return "a list", f"put a dash before each of its entries: {begun}"
            more = ", and the other keys in line with that one" if len(value) > 1 else ""
            return "a list", f"put a dash before its first key: {begun}{more}"
        return "a list", f"write {name}: [first, second]"
    if kind == "too_short":
        return "a list with at least one entry", f"add the first entry below {name}:"
    message = str(error["msg"]).removeprefix("Value error, ")
    if message.startswith("expected "):
        expected, _, remedy = message.removeprefix("expected ").partition("; ")
        if remedy:
            return expected, remedy
        return expected, _choice(name, value, words) if words else f"correct {name} here"
    return (words.expected if words else message), f"correct {name} here"


def _choice(name: str, value: object, words: Words) -> str:
    """What to write where a value cannot be read: the choice that was meant, those that are left, or an example."""
    if not words.choices or not isinstance(value, str):
        return _beyond(name, value, words) or f"write {name}: {words.example}, for example"
    wants = spelled(value) in ("yes", "true", "on", "always")
    left = [one for one in words.choices if one != "none"]
    near = None if wants and len(left) < len(words.choices) else nearest(value, words.choices)
    if near is not None:
        return f"did you mean {name}: {near}?"
    if len(left) > 3:
        return f"write {name}: {words.example if words.example in left else left[0]}, for example"
    *most, last = [f"{name}: {one}" for one in left]
    return f"write {', '.join(most)} or {last}" if most else f"write {last}"


def _beyond(name: str, value: object, words: Words) -> str:
    """What to do about a number above or below what it may be; empty where it is neither. From 10 to 100 it may be a
    percentage of what goes to a few times the whole."""
    if words.low is None or words.high is None or not is_number(value):
        return ""
    outside = _outside([value], (words.low, words.high))
    if not outside:
        return ""
    number = parse_number(value)
    share = of_hundred(number, words) if 10 <= number <= 100 and words.high < 10 else None
    if share is not None and words.low <= parse_number(share) <= words.high:
        return f"{outside}: write {name}: {share} where that is a percentage"
    return f"{outside}: write {name}: {words.example}, for example"


def _as_mapping(key: str, value: object, model: type[BaseModel] | None) -> str:
    """How a mapping is written where something else stands: with the value under the key that it fits, if there is
    one. key: what stands before it, nothing in a list."""
    pair = re.fullmatch(r"(\w+)\s*=\s*(.+)", value) if isinstance(value, str) else None
    if pair:
        return f"write {key}{{{pair.group(1)}: {pair.group(2)}}}"
    if model is None or not isinstance(value, str):
        return "write one `key: value` a line, without dashes"
    return f"write {key}{_pairs(value, model)}"


def _pairs(value: str, model: type[BaseModel]) -> str:
    """A text as the mapping that it stands for: {aspect: 4:5}."""
    needed = required_keys(model)
    named = same_word(value, keys_of(model))
    if named is not None:
        return f"{{{_example(model, named)}}}"
    if len(needed) > 1:
        fits = next((key for key in needed if reads(value, field_of(model, key))), None)
        told = (f"{key}: {value}" if key == fits else _example(model, key) for key in needed)
        return f"{{{', '.join(told)}}}"
    keys = sorted(needed or keys_of(model), key=lambda key: not _counts(model, key))
    for key in keys if spelled(value) not in ("yes", "no", "true", "false", "on", "off") else ():
        info = field_of(model, key)
        if reads(value, info):
            return f"{{{key}: {value}}}"
        meant = as_meant(value, info, words_of(info))
        if meant is not None:
            return f"{{{key}: {meant.written}}}"
    return f"{{{_example(model, (needed or keys_of(model))[0])}}}"


def _counts(model: type[BaseModel], key: str) -> bool:
    """Whether a key has a value with a unit, which takes nothing by accident."""
    words = words_of(field_of(model, key))
    return words is not None and words.unit != ""


def _example(model: type[BaseModel], key: str) -> str:
    words = words_of(field_of(model, key))
    return f"{key}: {words.example if words else '…'}"
