"""One or two values of a recipe carried through a range: what test strips compare."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from finishing import units
from finishing.batch.paper.varying_regions import WHERE, Reached, reach
from finishing.documents.fields import parse_number
from finishing.documents.flow import flow
from finishing.documents.names import unknown_name
from finishing.documents.reading import validate
from finishing.documents.tree import Tree, parse_tree
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.operation import ParameterFacts, parameters_of
from finishing.recipes.recipe import Recipe, Step

LEAST_BANDS, MOST_BANDS = 2, 24
MOST_IN_GRID = 12
_EXAMPLE = "write --vary edge_vignette.strength=0.2..1.0 or --vary kept_hue=60,75,90, for example"

#: Reads the recipe with values for its settings.
Reader = Callable[[Mapping[str, Any]], Recipe]


@dataclass(frozen=True)
class Asked:
    """What stands behind --vary. operation: None for a setting; number: which of several steps, from 1; parameter: of
    the operation, or a path such as where.ellipse.soft into its region."""

    name: str
    operation: str | None
    number: int | None
    parameter: str
    ends: tuple[float, float] | None
    listed: tuple[str, ...]


@dataclass(frozen=True)
class Axis:
    """One thing that varies. values: as a recipe would have them; labels: as they are printed; own: the recipe's own
    value as printed, and which of the values is it, if any; region: where in the step's region, if it is there."""

    name: str
    step: int | None
    parameter: str
    values: tuple[str, ...]
    labels: tuple[str, ...]
    unit: str
    own: str
    own_at: int | None
    region: Reached | None = None


@dataclass(frozen=True)
class Varied:
    """A recipe with what varies in it."""

    base: Recipe
    axes: tuple[Axis, ...]
    read: Reader

    def look(self, *places: int) -> Recipe:
        """The recipe with the values at these places, one for each axis.

        Raises Problem or ProblemSet where they do not go together.
        """
        chosen = [(axis, axis.values[place]) for axis, place in zip(self.axes, places, strict=True)]
        settings = {axis.parameter: parsed(value) for axis, value in chosen if axis.step is None}
        try:
            look = self.read(settings) if settings else self.base
        except (Problem, ProblemSet) as error:
            told = ", ".join(f"{axis.name} = {value}" for axis, value in chosen if axis.step is None)
            raise ProblemSet([_with_values(problem, told) for problem in problems_of(error)]) from error
        for axis, value in chosen:
            if axis.step is not None:
                look = _with(look, axis, value)
        return look


def _with_values(problem: Problem, told: str) -> Problem:
    what = f"with {told}, {problem.what}"
    return Problem(what, where=problem.where, got=problem.got, expected=problem.expected, remedy=problem.remedy)


def vary(read: Reader, texts: Sequence[str], bands: Sequence[int]) -> Varied:
    """The recipe with one or two axes. texts: what stands behind --vary; bands: how many values each range gets.

    Raises Problem or ProblemSet for anything that cannot be read, that the recipe does not have, or that it cannot be.
    """
    if not 1 <= len(texts) <= 2:
        raise Problem("one or two things may vary", got=f"{len(texts)}", remedy=_EXAMPLE)
    base = read({})
    asked = [_only_parameter(base, read_asked(text)) for text in texts]
    most = MOST_BANDS if len(asked) == 1 else MOST_IN_GRID
    axes = tuple(_axis(base, read, one, count, most) for one, count in zip(asked, bands, strict=True))
    if len({axis.name for axis in axes}) < len(axes):
        raise Problem("both --vary name the same", got=axes[0].name, remedy="name two different things, or one")
    varied = Varied(base, axes, read)
    _try_all(varied)
    return replace(varied, axes=tuple(_with_unit(varied, place) for place in range(len(axes))))


def read_asked(text: str) -> Asked:
    """`edge_vignette.strength=0.2..1`, `tone_curve[2].channels=red,blue`, `exposure.where.ellipse.soft=0..0.6` or
    `kept_hue=60..90`. Raises Problem."""
    name, equals, values = (part.strip() for part in text.partition("="))
    found = re.fullmatch(r"(?:(\w+)(?:\[(\d+)\])?\.)?(where(?:\.\w+(?:\[\d+\])?)*|\w+)", name)
    if not equals or not values or not found:
        raise Problem(
            "what is to vary cannot be read",
            got=text,
            expected="name=from..to, or name=value,value; the name is a setting, operation.parameter, or, of a step's "
            "region, operation.where.region.parameter",
            remedy=_EXAMPLE,
        )
    operation, number, parameter = found.groups()
    if ".." in values:
        return Asked(name, operation, int(number) if number else None, parameter, _ends(text, values), ())
    listed = tuple(part.strip() for part in re.split(r",(?![^\[]*\])", values))  # not those inside of a list
    if len(listed) < LEAST_BANDS or not all(listed) or len(set(listed)) < len(listed):
        raise Problem(
            "this leaves nothing to compare",
            got=text,
            expected="a range such as 0.2..1.0, or two or more different values with commas between them",
            remedy=_EXAMPLE,
        )
    return Asked(name, operation, int(number) if number else None, parameter, None, listed)


def _ends(text: str, values: str) -> tuple[float, float]:
    low, _, high = values.partition("..")
    ends = []
    for end in (low, high):
        try:
            ends.append(_number(end))
        except ValueError:
            raise Problem(
                "the range cannot be read",
                got=text,
                expected="two numbers with two dots between them",
                remedy="write 0.2..1.0; list words with commas: white,black",
            ) from None
    if ends[0] == ends[1]:
        raise Problem(
            "the range has no width", got=text, expected="two different numbers", remedy="set its ends further apart"
        )
    return ends[0], ends[1]


def _number(text: str) -> float:
    try:
        return parse_number(text.strip())
    except ValueError:
        return units.parse_stops(text)  # 1/3, −1 1/3


def parsed(text: str) -> Any:
    """A value as it would stand in a recipe."""
    return parse_tree(f"value: {text}", text).data["value"] if not text.startswith("#") else text


def _axis(base: Recipe, read: Reader, asked: Asked, bands: int, most: int) -> Axis:
    step, facts, region = _step_of(base, asked) if asked.operation else (None, None, None)
    if region is not None:
        asked = replace(asked, name=f"{_called(asked)}.{region}", parameter=str(region))
    if asked.operation is None and asked.parameter not in base.settings:
        raise _unknown_setting(base, asked)
    count = bands if asked.ends else len(asked.listed)
    if not LEAST_BANDS <= count <= most:
        raise Problem(
            "so many values cannot be compared on one page",
            got=str(count),
            expected=f"{LEAST_BANDS} to {most}",
            remedy="choose --bands in this range, or list fewer values",
        )
    numbers: tuple[float, ...] = ()
    places = 0
    if asked.ends:
        if facts is not None:
            _refuse_range(base, asked, facts)
        whole = facts is not None and facts.expected.startswith("a whole number")
        numbers, places = spaced(*asked.ends, count, whole=whole)
        if len(set(numbers)) < count:
            raise Problem(
                "there are not so many whole numbers in this range",
                got=f"{count} bands from {asked.ends[0]:g} to {asked.ends[1]:g}",
                remedy="ask for fewer bands with --bands",
            )
    values = tuple(units.format_number(number, places) for number in numbers) or asked.listed
    if region is not None:
        own = region.own
    else:
        own = base.settings[asked.parameter] if step is None else base.steps[step].values()[asked.parameter]
    own_at = next((i for i, value in enumerate(values) if _same(value, own)), None)
    unit = facts.unit if facts is not None else ""
    return Axis(asked.name, step, asked.parameter, values, values, unit, flow(own), own_at, region)


def spaced(low: float, high: float, count: int, *, whole: bool = False) -> tuple[tuple[float, ...], int]:
    """Evenly spaced values with both ends, and to how many places they are rounded: what is printed is what is used.

    The rounding is below a tenth of a step; the ends keep up to three places more.
    """
    if whole:
        return tuple(round(low + number * (high - low) / (count - 1)) for number in range(count)), 0
    step = (high - low) / (count - 1)
    fine = max(0, math.ceil(-math.log10(abs(step))) + 1)
    places = next((n for n in range(fine, fine + 3) if round(low, n) == low and round(high, n) == high), fine + 3)
    inner = [round(low + number * step, fine) for number in range(1, count - 1)]
    return (round(low, places), *inner, round(high, places)), places


def _same(value: str, own: object) -> bool:
    held = own[0] if isinstance(own, list | tuple) and len(own) == 1 else own
    try:
        return math.isclose(parse_number(value), parse_number(held), rel_tol=1e-9, abs_tol=1e-12)
    except ValueError:
        return value == held


def _only_parameter(base: Recipe, asked: Asked) -> Asked:
    """A step that has one parameter, named alone, as that parameter; anything else as it is."""
    found = [step.operation for step in base.steps if step.operation.name == asked.parameter]
    if asked.operation is None and asked.parameter not in base.settings and found:
        facts = parameters_of(type(found[0]))
        if len(facts) == 1:
            name, parameter = asked.parameter, facts[0].name
            return replace(asked, name=f"{name}.{parameter}", operation=name, parameter=parameter)
    return asked


def _unknown_setting(base: Recipe, asked: Asked) -> Problem:
    steps = {step.operation.name: step for step in base.steps}
    if asked.parameter in steps:
        names = [facts.name for facts in parameters_of(type(steps[asked.parameter].operation))]
        return Problem(
            f'"{asked.parameter}" is a step, and it has several parameters',
            expected="one of " + ", ".join(f"{asked.parameter}.{name}" for name in names),
            remedy=f"write --vary {asked.parameter}.{names[0]}=…, for example",
        )
    if base.settings:
        return unknown_name("setting", asked.parameter, base.settings, str(base.path))
    return Problem(
        f'unknown setting "{asked.parameter}": this recipe has none',
        where=str(base.path),
        expected="operation.parameter, of one of " + ", ".join(steps),
        remedy=_EXAMPLE,
    )


def _called(asked: Asked) -> str:
    """The step as it was named: exposure[2]."""
    return f"{asked.operation}[{asked.number}]" if asked.number else str(asked.operation)


def _step_of(base: Recipe, asked: Asked) -> tuple[int, ParameterFacts, Reached | None]:
    """The place of the step that is meant among the recipe's, and its parameter, or one in its region."""
    at = [index for index, step in enumerate(base.steps) if step.operation.name == asked.operation]
    if not at:
        raise unknown_name("step", asked.operation or "", {step.operation.name for step in base.steps}, str(base.path))
    if asked.number is None and len(at) > 1:
        told = "; ".join(f"[{n}] {base.steps[index].describe()}" for n, index in enumerate(at, 1))
        raise Problem(
            f"this recipe has {asked.operation} {len(at)} times",
            got=told,
            remedy=f"say which: --vary {asked.operation}[1].{asked.parameter}=…",
        )
    if asked.number is not None and not 1 <= asked.number <= len(at):
        raise Problem(
            f"this recipe has {asked.operation} {'once' if len(at) == 1 else f'{len(at)} times'}",
            got=f"{asked.operation}[{asked.number}]",
            expected=f"[1] to [{len(at)}]" if len(at) > 1 else f"{asked.operation} or {asked.operation}[1]",
            remedy="`finishing explain` lists the steps",
        )
    index = at[(asked.number or 1) - 1]
    facts = {one.name: one for one in parameters_of(type(base.steps[index].operation))}
    if asked.parameter.partition(".")[0] == WHERE:
        region = reach(base.steps[index].where, asked.parameter, _called(asked), next(iter(facts)))
        return index, region.facts, region
    if asked.parameter not in facts:
        raise unknown_name(f"parameter of {asked.operation}", asked.parameter, facts, str(base.path))
    return index, facts[asked.parameter], None


def _refuse_range(base: Recipe, asked: Asked, facts: ParameterFacts) -> None:
    assert asked.ends is not None
    if facts.low is None and not facts.unit:
        told = f"list the values: --vary {asked.name}=" + ",".join(facts.choices[:2] or ("white", "black"))
        raise Problem(f"{asked.name} is not a number, so it has no range", expected=facts.expected or None, remedy=told)
    if facts.low is None or facts.high is None:
        return
    if min(asked.ends) < facts.low or max(asked.ends) > facts.high:
        raise Problem(
            f"the range of {asked.name} goes beyond what it can be",
            got=f"{asked.ends[0]:g}..{asked.ends[1]:g}",
            expected=facts.expected,
            remedy=f"stay within {units.format_number(facts.low, 4)}..{units.format_number(facts.high, 4)}",
        )


def _with(look: Recipe, axis: Axis, value: str) -> Recipe:
    assert axis.step is not None
    step = look.steps[axis.step]
    operation, where = step.operation, step.where
    try:
        if axis.region is not None and where is not None:
            where = axis.region.within(where, parsed(value))
        else:
            values = {**operation.model_dump(mode="json"), axis.parameter: parsed(value)}
            operation = validate(Tree(axis.name), (), type(operation), values)
    except ProblemSet as error:
        raise ProblemSet([_told(problem, axis, value) for problem in error.problems]) from error
    steps = list(look.steps)
    steps[axis.step] = Step(operation, where, step.place)
    return replace(look, steps=tuple(steps))


def _told(problem: Problem, axis: Axis, value: str) -> Problem:
    operation = axis.name.partition(".")[0].partition("[")[0]
    return Problem(
        f"{axis.name} cannot be {value}",
        got=problem.got if problem.got not in (None, value) else None,
        expected=problem.expected,
        remedy=f"`finishing operations {operation}` says what it can be"
        if axis.region is None
        else f"as in where: {{{axis.region.region.example}}}",
    )


def _try_all(varied: Varied) -> None:
    """Raises ProblemSet with all values that do not go, before any picture is made, or where nothing changes."""
    problems: dict[str, Problem] = {}
    hashes: dict[tuple[int, ...], str] = {}
    for places in product(*(range(len(axis.values)) for axis in varied.axes)):
        try:
            hashes[places] = varied.look(*places).hash
        except (Problem, ProblemSet) as error:
            problems.update({str(problem): problem for problem in problems_of(error)})
    if problems:
        raise ProblemSet(problems.values())
    for number, axis in enumerate(varied.axes):
        along = {told for places, told in hashes.items() if not any(p for n, p in enumerate(places) if n != number)}
        if len(along) == 1:
            raise Problem(
                f"{axis.name} changes nothing in this recipe",
                where=str(varied.base.path),
                remedy="vary something that a step uses",
            )


def _with_unit(varied: Varied, place: int) -> Axis:
    """The axis with the unit that a setting's value has in the steps that use it, and labels that print it."""
    axis = varied.axes[place]
    if axis.step is None:
        ends = [0] * len(varied.axes)
        first = varied.look(*ends)
        ends[place] = len(axis.values) - 1
        found = _units_between(first, varied.look(*ends))
        axis = replace(axis, unit=found.pop() if len(found) == 1 else "")
    labels = tuple(with_unit(value, axis.unit) for value in axis.values)
    return replace(axis, labels=labels, own=with_unit(axis.own, axis.unit))


def _units_between(one: Recipe, other: Recipe) -> set[str]:
    """The units of the parameters in which two versions of a recipe differ."""
    found = set()
    for first, second in zip(one.steps, other.steps, strict=True):
        values = first.values(), second.values()
        for facts in parameters_of(type(first.operation)):
            if values[0][facts.name] != values[1][facts.name]:
                found.add(facts.unit)
    return found


def with_unit(value: str, unit: str) -> str:
    """A value as it is printed: +0.3, 72°, 5600 K, 1.2 px; words and pure numbers as they are."""
    try:
        number = parse_number(value)
    except ValueError:
        return value
    plain = value.replace("-", "−")
    if unit == "stops":
        return plain if number <= 0 or plain.startswith("+") else f"+{plain}"
    short = {"degrees": "°", "kelvin": " K", "pixels": " px"}.get(unit)
    return plain + short if short else plain
