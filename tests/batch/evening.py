"""Sessions to be evened out, and what is found of them: shared by their tests."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.evening.evening_out import Evenness
from finishing.batch.work.assignment import assign
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from finishing.exposure.series import exact_shutter
from tests.evenness.dusk import (
    FIGURE,
    Fault,
    card_of,
)

BOTH = f"  exposure: {{to: A-0005, measure: {FIGURE}}}\n  white_balance: {{to: A-0005, measure: {FIGURE}}}\n"


EXPOSURE = f"  exposure: {{to: A-0005, measure: {FIGURE}}}\n"


def evenness(folder: Path) -> Evenness:
    found = assign(folder, jobs=2).evenness
    assert found is not None
    return found


def faulty(count: int, seed: int, *, told: bool) -> dict[str, Fault]:
    """Gains to ±1.5 stops (told: most of it a turn of the shutter that the camera knows), casts to ±800 K, the figure
    moving; A-0005 is without fault."""
    random = np.random.default_rng(seed)
    shutters = [1 / 320, 1 / 250, 1 / 200, 1 / 160, 1 / 125, 1 / 100, 1 / 80, 1 / 60, 1 / 50]
    faults = {}
    for at in range(count):
        seconds, stops = 1 / 125, float(random.uniform(-1.5, 1.5))
        if told:
            seconds = float(random.choice(shutters))
            stops = float(np.log2(exact_shutter(seconds) / 2**-7) + random.uniform(-0.15, 0.15))
        faults[f"A-{at:04d}"] = Fault(stops, 6504 + float(random.uniform(-800, 800)), seconds,
                                      float(random.uniform(-0.02, 0.02)))  # fmt: skip
    return {**faults, "A-0005": Fault()}


def errors(folder: Path, found: Evenness, names: list[str]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far each frame's card is from the truth (18 % grey): in stops, and as CIEDE2000 at one luminance."""
    stops, differences = [], []
    for name in names:
        codes = np.asarray(Image.open(folder / "frames" / f"{name}.jpg"))
        card = found.correction(name).apply(card_of(codes))
        light = float(luminance(card))
        stops.append(abs(np.log2(light / 0.18)))
        differences.append(float(ciede2000(linear_to_lab(card * 0.18 / light), linear_to_lab(np.full(3, 0.18)))))
    return np.array(stops), np.array(differences)
