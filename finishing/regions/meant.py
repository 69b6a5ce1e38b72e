"""What was meant by what stands behind `where` and names no region: how it is written."""

import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from finishing.documents.flow import flow
from finishing.documents.meant import in_pixels, lists_meant
from finishing.documents.names import same_word
from finishing.documents.telling import shape
from finishing.documents.tree import Path_, Tree
from finishing.errors import Place, Problem
from finishing.regions.catalogue import REGIONS, stands_alone
from finishing.regions.region import Region

EXAMPLE = "where: {near: subject}"
#: Words that people put before what a step is to leave alone. Common usage, no source.
_NOT = re.compile(r"(?:not|no|except|without|outside|all but|everything but)[\s_-]+(.+)", re.IGNORECASE)
#: As many signs of a user's own text as are repeated in an advice.
_MOST_SIGNS = 120


def without_braces(value: str, place: Place, *, is_key: bool = False) -> Problem | None:
    """The problem of `not skin`, which is written {not: skin}; None of any other text. is_key: whether it stands in
    braces already."""
    found = _NOT.fullmatch(value.strip())
    name = same_word(found.group(1), REGIONS) if found else None
    if name is None:
        return None
    kind, alone = REGIONS[name], stands_alone(REGIONS[name])
    inside = f"not: {name}" if alone else f"not: {{{kind.example}}}"
    remedy = f"write {inside if is_key else '{' + inside + '}'}" + ("" if alone else ", for example")
    return Problem(
        f'"{value}" is written with a colon' + ("" if is_key else ", in braces"),
        where=place,
        expected="a region, or {not: …} with a region in it",
        remedy=remedy,
    )


def no_region(tree: Tree, path: Path_, value: Any) -> Problem:
    """The problem of what is no region and no mapping of regions. Of a list of regions it is told how one says which
    of their pixels are meant."""
    place = tree.place(path)
    if isinstance(value, list) and len(value) > 1 and all(map(_is_region, value)):
        as_written = tree.at(path)
        whole = flow(as_written if isinstance(as_written, list) else value)
        listed = whole if len(whole) <= _MOST_SIGNS else "[…]"
        key = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
        again = listed if len(listed) < _MOST_SIGNS // 2 else "[…]"
        return Problem(
            "this list of regions does not say how they go together",
            where=place,
            got=shape(value),
            expected="any_of or all_of before a list",
            remedy=f"write {key}{{any_of: {listed}}} for what lies in one or another of them, "
            f"or {key}{{all_of: {again}}} for what lies in every one",
        )
    lone = isinstance(value, list) and len(value) == 1 and _is_region(value[0])
    return Problem(
        "this does not say where",
        where=place,
        got=shape(value) if value else "nothing",
        expected="a region, or several: {ellipse: subject}",
        remedy="take the brackets around the region away" if lone else f"write {EXAMPLE}, for example",
    )


def _is_region(value: Any) -> bool:
    names = [value] if isinstance(value, str) else list(value) if isinstance(value, dict) else []
    return bool(names) and all(name in REGIONS for name in names)


def misplaced(tree: Tree, path: Path_, value: Mapping[str, Any]) -> list[Problem]:
    """The problems of parameters of a region that stand beside it, in place of in its own braces."""
    owners = {
        key: [name for name in value if name in REGIONS and key in REGIONS[name].model_fields]
        for key in value
        if key not in REGIONS
    }
    alone = sum(name in REGIONS for name in value) == 1  # else the others stay beside it
    problems: list[Problem] = []
    for key, names in owners.items():
        if not names:
            continue
        first = names[0]
        added = {one: tree.at((*path, one)) for one, its in owners.items() if its == names}
        there = _long_form(tree.at((*path, first)), first)
        whole = flow({first: {**there, **added}}) if there is not None else ""
        example = (whole if alone else whole[1:-1]) if there is not None else f"{first}: {{…, {flow(added)[1:-1]}}}"
        what, remedy = f'"{key}" belongs in the braces of "{first}"', f"write {example}"
        if len(names) > 1:
            what, remedy = f'"{key}" belongs in the braces of one of the regions beside it', f"{remedy}, for example"
        problems.append(Problem(what, where=tree.key_place((*path, key)), remedy=remedy))
    return problems


def _long_form(item: Any, name: str) -> dict[str, Any] | None:
    """A region's parameters as a mapping, from any of its forms; None where it cannot be told."""
    kind = REGIONS[name]
    if isinstance(item, dict):
        return item
    if stands_alone(kind):
        return {}
    try:
        return kind.spelled_out(item)
    except ValueError:
        return None


def otherwise_written(tree: Tree, path: Path_, kind: type[Region], item: Any) -> Problem | None:
    """The problem of numbers that are a region's short form once they are written as such (percentages, semicolons,
    decimal commas), or that are pixels; None of others."""
    place = tree.place(path)
    for what, numbers in lists_meant(item):
        try:
            kind.model_validate(kind.spelled_out(numbers))
        except (ValidationError, ValueError):
            continue
        remedy = f"write {kind.name}: [{', '.join(numbers)}]"
        return Problem(f'"{kind.name}" is written {what}', where=place, got=shape(item), expected=kind.short,
                       remedy=remedy)  # fmt: skip
    pixels = in_pixels(item) if "fractions of" in kind.short else None
    if pixels is None:
        return None
    return Problem(f'"{kind.name}" cannot be read', where=place, got=shape(item), expected=kind.short, remedy=pixels)
