"""A recipe step by step: the image as it came and after each step, with what the checks measure there.

It shows where a look comes from, and which step takes a check beyond its limits, or turns the skin.
"""

import os
import re
from collections.abc import Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from finishing.batch.delivery.measuring import MEASURED_EDGE, measure
from finishing.batch.opening.picture import finish_picture, reduced
from finishing.batch.paper.check_texts import limits_line, quiet_and_alerts
from finishing.batch.paper.on_trial import OnTrial
from finishing.batch.paper.prints import PIXELS_PER_INCH, Codes, is_pdf, jpeg_of, refuse_ending, write_pages
from finishing.operation import Geometry
from finishing.recipes.check import CheckResult, Requirement
from finishing.recipes.checks import SkinHueShift
from finishing.recipes.recipe import Recipe, Step
from finishing.sheets import layout, model, typeface

ORIGINAL = "original"
#: Skin whose hue turns by less than this in one step is as good as untouched; a common tolerance, no source.
_LEAST_TURN = 1.0
_LINES_EACH = 8


@dataclass(frozen=True)
class StepTold:
    """The image after a step. number: 0 for the image as it came; skin: its hue shift in degrees where the recipe
    does not check it itself, None where there is none to measure."""

    number: int
    name: str
    step: str
    checks: list[CheckResult]
    skin: float | None

    def value(self, index: int) -> CheckResult:
        """The result of the recipe's check at this place."""
        return self.checks[index]


@dataclass(frozen=True)
class StepsReport:
    """files: what was written; steps: the image as it came and each step; findings: which step leaves a limit, and
    where skin turns most; notices: what there is to tell of the files."""

    files: list[Path]
    steps: list[StepTold]
    findings: list[str]
    notices: list[str]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "files": [str(path) for path in self.files],
            "steps": [asdict(step) for step in self.steps],
            "findings": self.findings,
            "notices": self.notices,
        }


def make_steps(
    look: Recipe,
    image: OnTrial,
    path: Path,
    *,
    paper: str = "a4",
    columns: int | None = None,
    jobs: int | None = None,
    pixels_per_inch: float = PIXELS_PER_INCH,
) -> StepsReport:
    """Write the steps of a look on an image: PNG pages or a PDF, by the path's ending. Raises Problem."""
    refuse_ending(path, "step by step")
    opened = image.open(look, MEASURED_EDGE)
    full, geometry = opened.source, opened.geometry
    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        told = list(pool.map(lambda number: _measured(look, number, full, geometry), range(len(look.steps) + 1)))
        findings = _findings(look, told)
        sheet = model.Sheet(
            title=look.title,
            subtitle=f"{image.name} · step by step",
            footer=f"{look.name}, version {look.version}",
            groups=(_group(look, told, findings, image.width, image.height),),
            lines_each=_LINES_EACH,
        )
        pages = layout.lay_out(sheet, model.paper_called(paper), typeface.measure, columns)
        needed = layout.pictures_needed(pages, pixels_per_inch)

        def finished(number: int) -> Codes:
            width, height = needed[number]
            scale = min(width / full.width, height / full.height, 1)
            size = max(1, round(full.width * scale)), max(1, round(full.height * scale))
            return finish_picture(look.steps[:number], reduced(full, *size), geometry.resized(*size))

        pictures: dict[Hashable, Codes] = dict(enumerate(pool.map(finished, range(len(told)))))

    def picture(key: Hashable, width: int, height: int) -> Codes | bytes:
        return jpeg_of(pictures[key]) if is_pdf(path) else pictures[key]

    files, notices = write_pages(
        pages,
        picture,
        path,
        what="step by step",
        title=look.title,
        originals=image.originals,
        pixels_per_inch=pixels_per_inch,
    )
    return StepsReport(files, told, findings, [*opened.notices, *notices])


def _measured(look: Recipe, number: int, full: Any, geometry: Geometry) -> StepTold:
    """The checks after so many steps, and the skin's hue."""
    own = any(one.check.name == SkinHueShift.name for one in look.checks)
    extra = () if own else (Requirement(SkinHueShift(at_most=180), None),)
    results = measure(replace(look, steps=look.steps[:number], checks=(*look.checks, *extra)), full, geometry)
    skin = None if own else results.pop().value
    if number == 0:
        return StepTold(0, ORIGINAL, "", results, skin)
    step = look.steps[number - 1]
    return StepTold(number, step.operation.name, _parameters(step), results, skin)


def _parameters(step: Step) -> str:
    """The step's parameters as they stand in the recipe: stops: 0.3."""
    told = step.describe().partition(": ")[2]
    return told.removeprefix("{").removesuffix("}")


def _kept_together(text: str) -> str:
    """The same with spaces at which no line is broken between a name and its value, and inside short lists."""
    text = re.sub(r"(\w:) ", "\\1\N{NO-BREAK SPACE}", text)
    return re.sub(r"\[[^\[\]]{1,24}\]", lambda found: found.group().replace(" ", "\N{NO-BREAK SPACE}"), text)


def _rows(told: list[StepTold], width: int, height: int) -> Any:
    for step in told:
        passed, alerts = quiet_and_alerts(step.checks)
        skin = () if step.skin is None or step.number == 0 else (f"skin hue {_degrees(step.skin)}",)
        caption = (step.name, *((_kept_together(step.step),) if step.step else ()), *passed, *skin)
        yield (model.Cell(step.number, width, height, caption, str(step.number), alerts=alerts),)


def _group(look: Recipe, told: list[StepTold], findings: list[str], width: int, height: int) -> model.Group:
    limits = limits_line(look)
    return model.Group(
        "",
        tuple(_rows(told, width, height)),
        notes=tuple(one[0].upper() + one[1:] for one in findings),
        facts=(f"Checks: {limits}",) if limits else (),
    )


def _findings(look: Recipe, told: list[StepTold]) -> list[str]:
    """Which step takes each check that the finished image does not pass beyond its limits, and where skin turns."""
    found = []
    for index, requirement in enumerate(look.checks):
        name = requirement.check.name.replace("_", " ")
        if told[-1].value(index).passed:
            continue
        at = len(told) - 1
        while at > 0 and not told[at - 1].value(index).passed:
            at -= 1
        if at == 0:
            found.append(f"{name} is beyond its limits in the original already")
        else:
            found.append(f"{name} leaves its limits at step {at}, {told[at].name}")
    shifts = [_skin(look, step) for step in told]
    turns = [
        (abs(after - before), number, after - before)
        for number, (before, after) in enumerate(pairwise(shifts), 1)
        if before is not None and after is not None
    ]
    if turns and max(turns)[0] >= _LEAST_TURN:
        _, number, turn = max(turns)
        found.append(f"skin turns most at step {number}, {told[number].name}: {_degrees(turn)}")
    lost = next((n for n in range(1, len(shifts)) if shifts[n] is None and shifts[n - 1] is not None), None)
    if lost is not None and shifts[-1] is None:
        found.append(f"skin has no colour left from step {lost}, {told[lost].name}")
    return found


def _skin(look: Recipe, step: StepTold) -> float | None:
    own = next((n for n, one in enumerate(look.checks) if one.check.name == SkinHueShift.name), None)
    return step.skin if own is None else step.checks[own].value


def _degrees(value: float) -> str:
    sign = "−" if value < -0.05 else "+" if value > 0.05 else ""
    return f"{sign}{abs(value):.1f}°"
