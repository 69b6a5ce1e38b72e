"""A session of blends finished, and its light read back: shared by their tests."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from finishing.batch.delivery.run import Report, run
from finishing.batch.lighting import taking_apart
from finishing.batch.work.assignment import assign
from tests.light.scene import Floats

EVEN = "match: {exposure: {to: {C: C-0013}, measure: {box: [0.4, 0.5, 0.5, 0.8]}, at_most: 4}}\nblends:"


def finish(folder: Path, *, frames: tuple[str, ...] = (), jobs: int = 2, **how: bool) -> Report:
    return run(assign(folder, frames=frames), folder / "finished", jobs=jobs, **how)


def light_in(folder: Path, name: str = "C-blend", look: str = "plain") -> Floats:
    """A finished file's linear light, by an independent reader."""
    return tifffile.imread(folder / f"finished/light/{look}/{name}.tif") / 65535


def off_by(made: Floats, truth: Floats, where: Any) -> float:
    """The largest error, as a share of the truth, where there is light to speak of and the file can hold it."""
    much = where & (truth > 0.01) & (truth < 0.97).all(axis=-1, keepdims=True)
    assert much.mean() > 0.1
    return float(np.abs(made[much] / truth[much] - 1).max())


def sure(ambient: Floats, strobe: Floats) -> Any:
    """Where no frame is clipped and both lights are there: the arithmetic is exact there."""
    return (4 * ambient + strobe < 0.97) & (ambient > 0.005) & (strobe > 0.005)


def separations(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Has an entry for every time that a scene is taken apart from now on."""
    seen: list[int] = []
    real = taking_apart.separate

    def counted(*given: Any, **more: Any) -> Any:
        seen.append(1)
        return real(*given, **more)

    monkeypatch.setattr(taking_apart, "separate", counted)
    return seen
