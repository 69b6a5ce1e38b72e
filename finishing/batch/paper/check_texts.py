"""Results of checks in a few words, for captions and tables."""

from collections.abc import Iterable, Sequence

from finishing.documents.flow import flow
from finishing.recipes.check import CheckResult, limit_words
from finishing.recipes.recipe import Recipe, brief
from finishing.regions.combined import written
from finishing.sheets.fitting import NO_BREAK_SPACE


def short_result(result: CheckResult) -> str:
    """skin hue shift +2.1°, clipped white 0.4 %, mean lightness 0.61; with its limit where it did not pass."""
    name = result.name.replace("_", " ")
    told = f"{name} {result.value_words()}" if result.value is not None else f"{name}: {result.note}"
    return told if result.passed else f"{told} (limit: {limit_words(result.limit, result.unit)})"


def quiet_and_alerts(results: Sequence[CheckResult]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is told of the checks that passed, in one line that is best broken between them, and a line for each that
    did not."""
    passed = _joined(short_result(one).replace(" ", NO_BREAK_SPACE) for one in results if one.passed)
    return (passed,) if passed else (), tuple(short_result(one) for one in results if not one.passed)


def limits_line(look: Recipe) -> str:
    """A look's checks with their limits in one line; empty where it has none."""
    return _joined(
        f"{one.check.name.replace('_', ' ')} {limit_words(one.check.limit(), one.check.unit)}"
        + (f" where {flow(written(one.where))}" if one.where else "")
        for one in look.checks
    )


def settings_line(look: Recipe) -> str:
    """A look's settings with their values in one line; empty where it has none."""
    return _joined(f"{name} {brief(value)}" for name, value in look.settings.items())


def _joined(parts: Iterable[str]) -> str:
    return " · ".join(parts)
