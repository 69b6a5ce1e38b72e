"""Results of checks in a few words, for captions and tables."""

import re
from collections.abc import Iterable, Sequence

from finishing.recipes.check import CheckResult
from finishing.recipes.recipe import Recipe, flow
from finishing.regions.combined import written
from finishing.sheets.fitting import NO_BREAK_SPACE
from finishing.units import format_number


def short_result(result: CheckResult) -> str:
    """skin hue shift +2.1°, clipped white 0.4 %, mean lightness 0.61; with its limit where it did not pass."""
    name = result.name.replace("_", " ")
    told = f"{name} {_value(result)}" if result.value is not None else f"{name}: {result.note}"
    return told if result.passed else f"{told} (limit: {_in_unit(result.limit, result.unit)})"


def _in_unit(limit: str, unit: str) -> str:
    """A limit as values are printed here: at most 0.005 of the pixels is at most 0.5 %."""

    def number(found: re.Match[str]) -> str:
        if unit == "of the pixels":
            return f"{format_number(100 * float(found.group()), 2)} %"
        return found.group().replace("-", "−") + ("°" if unit == "degrees" else "")

    return re.sub(r"-?\d+(?:\.\d+)?", number, limit)


def _value(result: CheckResult) -> str:
    value = result.value or 0.0
    if result.unit == "of the pixels":
        return f"{format_number(100 * value, 1)} %"
    places = 1 if result.unit == "degrees" else 2
    signed = "shift" in result.name and format_number(abs(value), places) != "0"
    sign = ("−" if value < 0 else "+") if signed else ""
    return f"{sign}{format_number(abs(value), places)}" + ("°" if result.unit == "degrees" else "")


def quiet_and_alerts(results: Sequence[CheckResult]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is told of the checks that passed, in one line that is best broken between them, and a line for each that
    did not."""
    passed = _joined(short_result(one).replace(" ", NO_BREAK_SPACE) for one in results if one.passed)
    return (passed,) if passed else (), tuple(short_result(one) for one in results if not one.passed)


def limits_line(look: Recipe) -> str:
    """A look's checks with their limits in one line; empty where it has none."""
    return _joined(
        f"{one.check.name.replace('_', ' ')} {_in_unit(one.check.limit(), one.check.unit)}"
        + (f" where {flow(written(one.where))}" if one.where else "")
        for one in look.checks
    )


def settings_line(look: Recipe) -> str:
    """A look's settings with their values in one line; empty where it has none."""
    return _joined(f"{name} {flow(value)}" for name, value in look.settings.items())


def _joined(parts: Iterable[str]) -> str:
    return " · ".join(parts)
