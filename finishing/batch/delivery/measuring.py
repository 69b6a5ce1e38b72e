"""A look's checks on one frame, measured on a reduced picture."""

from collections.abc import Sequence

from finishing import domains
from finishing.batch.opening.picture import fitted, reduced
from finishing.engine.ends import LinearSink, Source
from finishing.engine.execution import execute
from finishing.operation import Geometry, Rectangle
from finishing.recipes.check import CheckResult
from finishing.recipes.recipe import Recipe, Step

#: Long edge in pixels of the picture that checks are measured on: shares of areas hold to a tenth of a percent.
MEASURED_EDGE = 1000


def measure(look: Recipe, full: Source, geometry: Geometry) -> list[CheckResult]:
    """The results of a look's checks; empty where it has none. geometry: of the full picture.

    Paper that the look lays round the picture, however wide a setting makes it, is not measured.
    """
    if not look.checks:
        return []
    width, height = fitted(full.width, full.height, MEASURED_EDGE)
    small = reduced(full, width, height)
    own = geometry.resized(width, height)
    finished, original = LinearSink(height, width), LinearSink(height, width)
    execute(look.steps, small, finished, own)
    execute([], small, original, own)
    domains.to_oklab(original.planes)
    picture = _picture(look.steps, own)
    results = []
    for requirement in look.checks:
        measuring = requirement.begin(own, picture)
        measuring.add(original.planes, finished.planes, 0)
        results.append(measuring.result())
    return results


def _picture(steps: Sequence[Step], geometry: Geometry) -> Rectangle:
    """What of the frame is picture after all steps. A step that is limited to a region paints no paper round it."""
    left, top, right, bottom = 0, 0, geometry.width, geometry.height
    for step in steps:
        kept = step.operation.picture(geometry) if step.where is None else None
        if kept is not None:
            left, top, right, bottom = max(left, kept[0]), max(top, kept[1]), min(right, kept[2]), min(bottom, kept[3])
    return left, top, max(right, left), max(bottom, top)


def failed_of(results: Sequence[CheckResult]) -> list[CheckResult]:
    """Those that did not pass."""
    return [result for result in results if not result.passed]
