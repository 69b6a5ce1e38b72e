"""Values of a trial that look the same are told as such."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from finishing.batch.paper.looking_alike import Likeness, alike
from finishing.batch.paper.on_trial import image_on_trial
from finishing.batch.paper.test_strip import make_strip
from finishing.batch.paper.varying import Axis, vary
from finishing.batch.work.looks import read_look
from finishing.recipes.recipe import Recipe
from tests.conftest import write_frame

LOOK = """\
look: Trial
steps:
  - exposure: {stops: 0}
  - edge_vignette: {toward: black, strength: 0.5, starts_at: 0.85, reaches: 1.0}
"""


def notices(folder: Path, texts: list[str], bands: list[int], **how: Any) -> list[str]:
    write_frame(folder / "A-0001.png", size=(300, 200))
    (folder / "trial.yaml").write_text(LOOK)

    def read(overrides: Mapping[str, Any]) -> Recipe:
        return read_look(str(folder / "trial.yaml"), overrides=overrides)

    found = make_strip(
        vary(read, texts, bands), image_on_trial(folder / "A-0001.png"), folder / "strip.png", pixels_per_inch=60, **how
    )
    return found.notices


def test_values_that_differ_are_told_nothing(tmp_path: Path) -> None:
    assert notices(tmp_path, ["exposure.stops=-1..1"], [5]) == []
    assert notices(tmp_path, ["exposure.stops=-1..1", "edge_vignette.strength=0..1"], [3, 2]) == []


def test_values_too_near_to_each_other(tmp_path: Path) -> None:
    """A hundred-thousandth of a stop rounds to the same codes."""
    (line,) = notices(tmp_path, ["exposure.stops=0,0.00001,1"], [3])
    assert line == "exposure.stops: 0 and +0.00001 look the same in what is shown"


@pytest.mark.parametrize("whole", [False, True])
def test_what_has_no_effect_at_all(tmp_path: Path, whole: bool) -> None:
    """The edge is outside of a window in the middle."""
    (line,) = notices(tmp_path, ["edge_vignette.strength=0.2..1"], [4], window=0.5, whole=whole)
    assert line == "edge_vignette.strength changes nothing in what is shown: its 4 values look the same"


def test_what_differs_beyond_its_own_bands(tmp_path: Path) -> None:
    """The corners go dark, and the two bands in the middle do not show them."""
    (line,) = notices(tmp_path, ["edge_vignette.strength=0.2,0.4,0.6,0.8"], [4])
    assert line.startswith("edge_vignette.strength: 0.4 and 0.6 differ, but not in these two bands; --whole")
    assert notices(tmp_path, ["edge_vignette.strength=0.2,0.4,0.6,0.8"], [4], whole=True) == []


def test_a_code_more_or_less_looks_the_same_and_creeping_on_does_not() -> None:
    flat = np.full((4, 5, 3), 100, np.uint8)
    likeness = Likeness(2)
    assert [likeness.number(flat + step) for step in (0, 1, 2, 3, 4, 0)] == [0, 0, 1, 1, 2, 0]
    odd = flat.copy()
    odd[2, 3, 1] += 2  # one pixel is enough
    likeness = Likeness(2)
    assert [likeness.number(flat), likeness.number(odd)] == [0, 1]


def axis(name: str, *labels: str) -> Axis:
    return Axis(name, 0, name, labels, labels, "", labels[0], 0)


def test_a_grid() -> None:
    """By columns, by rows, and by single pictures where it is neither."""
    both = [axis("across", "a", "b", "c"), axis("down", "1", "2")]
    seen = {(x, y): (x, y) for x in range(3) for y in range(2)}
    assert alike(both, seen) == []
    assert alike(both, {key: key[1] for key in seen}) == [
        "across changes nothing in what is shown: its 3 values look the same"
    ]
    assert alike(both, {key: (min(key[0], 1), key[1]) for key in seen}) == [
        "across: b and c look the same in what is shown"
    ]
    odd = {**seen, (2, 1): (0, 0)}
    assert alike(both, odd) == ["across a with down 1 and across c with down 2 look the same in what is shown"]


def test_many_like_pictures_are_counted() -> None:
    both = [axis("across", *"abcdefg"), axis("down", *"1234567")]
    seen = {(x, y): (x * y) for x in range(7) for y in range(7)}
    (line,) = alike(both, seen)
    assert line.endswith(" of the pictures look the same as another")
