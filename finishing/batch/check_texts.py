"""Results of checks in a few words, for captions and tables."""

from collections.abc import Iterable, Sequence

from finishing.recipes.check import CheckResult
from finishing.recipes.recipe import Recipe, flow
from finishing.regions.combined import written
from finishing.units import format_number


def short_result(result: CheckResult) -> str:
    """skin hue shift +2.1°, clipped white 0.4 %, mean lightness 0.61; with its limit where it did not pass."""
    name = result.name.replace("_", " ")
    told = f"{name} {_value(result)}" if result.value is not None else f"{name}: {result.note}"
    return told if result.passed else f"{told}, not {result.limit}"


def _value(result: CheckResult) -> str:
    value = result.value or 0.0
    if result.unit == "of the pixels":
        return f"{format_number(100 * value, 1)} %"
    sign = ("−" if value < 0 else "+") if "shift" in result.name and format_number(abs(value), 2) != "0" else ""
    places = 1 if result.unit == "degrees" else 2
    return f"{sign}{format_number(abs(value), places)}" + ("°" if result.unit == "degrees" else "")


def quiet_and_alerts(results: Sequence[CheckResult]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The lines of checks that passed, and of those that did not."""
    passed = tuple(short_result(one) for one in results if one.passed)
    return passed, tuple(short_result(one) for one in results if not one.passed)


def limits_line(look: Recipe) -> str:
    """A look's checks with their limits in one line; empty where it has none."""
    return _joined(
        f"{one.check.name.replace('_', ' ')} {one.check.limit()}"
        + (f" where {flow(written(one.where))}" if one.where else "")
        for one in look.checks
    )


def settings_line(look: Recipe) -> str:
    """A look's settings with their values in one line; empty where it has none."""
    return _joined(f"{name} {flow(value)}" for name, value in look.settings.items())


def _joined(parts: Iterable[str]) -> str:
    return " · ".join(parts)
