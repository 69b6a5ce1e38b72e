"""The report: spreads as numbers, and the chart."""

import io

import numpy as np
import pytest
from PIL import Image

from finishing.evenness.chart_layout import LEAST_WIDTH
from finishing.evenness.consistency import SetupConsistency, State, corrected, spread, state_of
from finishing.evenness.correction import NONE, correction_of
from finishing.evenness.drawing import MARK, draw_consistency
from finishing.evenness.white import even_white
from finishing.sheets.typeface import face
from tests.evenness.test_reading import picture, read
from tests.evenness.test_white import under

FONTS = (face(False).path, face(True).path)


def test_a_spread() -> None:
    found = spread([0.0, None, 1.0, 2.0])
    assert (found.count, found.span) == (3, 2.0)
    assert found.deviation == pytest.approx(np.std([0, 1, 2]))
    assert spread([None]).as_json() == {"frames": 0, "standard_deviation": None, "range": None}


def test_states_before_and_after() -> None:
    key, frame = read(picture(1)), read(picture(1) * np.float32(1.5))
    skin = np.array([0.40, 0.24, 0.16])
    before = state_of((key, key), (frame, frame), skin, NONE)
    assert before.exposure == pytest.approx(np.log2(1.5), abs=1e-4)
    after = state_of((key, key), (frame, frame), skin, correction_of(-np.log2(1.5)))
    assert after.exposure == pytest.approx(0, abs=1e-3)
    assert before.skin_hue == pytest.approx(after.skin_hue)  # exposure is no matter of hue
    same = state_of((key, key), (key, key), None, NONE)
    assert before.white == pytest.approx(same.white, abs=1e-5)
    assert same.skin_hue is None


def test_white_before_and_after() -> None:
    key, cool = under(6504), under(7200)
    evened = even_white([key, cool], 0)[1]
    correction = correction_of(0, evened.matrix)
    own = state_of((key, key), (key, key), None, NONE).white
    before = state_of((key, key), (cool, cool), None, NONE).white
    after = state_of((key, key), (cool, cool), None, correction).white
    assert own is not None
    assert before is not None
    assert after is not None
    assert before[1] < own[1] - 0.004  # bluer
    assert after == pytest.approx(own, abs=5e-4)


def test_what_cannot_be_measured_is_none() -> None:
    dark = read(picture(1) * np.float32(0.001))
    assert corrected(dark, NONE) is None
    assert state_of((dark, dark), (dark, dark), None, NONE) == State()


def setups(count: int) -> list[SetupConsistency]:
    random = np.random.default_rng(count)

    def states(scale: float) -> tuple[State, ...]:
        return tuple(
            State(float(e), (0.01, float(b)), float(45 + h))
            for e, b, h in zip(random.normal(0, scale, count), random.normal(0, 0.02 * scale, count),
                               random.normal(0, 4 * scale, count), strict=True)
        )  # fmt: skip

    names = tuple(f"A-{at:04d}" for at in range(count))
    return [
        SetupConsistency("A", names, states(0.8), states(0.05)),
        SetupConsistency(None, names[:1], (State(),), (State(),)),
    ]


def test_the_chart_is_a_picture_with_its_dots() -> None:
    content = draw_consistency(setups(24), *FONTS)
    with Image.open(io.BytesIO(content)) as image:
        assert image.info[MARK[0]] == MARK[1]
        pixels = np.asarray(image.convert("RGB")).astype(int)
    teal = (np.abs(pixels - (31, 96, 104)).max(axis=-1) < 12).sum()
    assert teal > 24 * 4 * 10  # four panels of filled dots
    assert draw_consistency(setups(24), *FONTS) == content


def test_the_chart_tells_its_session() -> None:
    plain, titled = (draw_consistency(setups(3), *FONTS, session) for session in ("", "Orchard at dusk"))
    with Image.open(io.BytesIO(plain)) as one, Image.open(io.BytesIO(titled)) as other:
        assert one.size == other.size
        changed = np.argwhere((np.asarray(one) != np.asarray(other)).any(axis=-1))
    assert len(changed) > 200
    assert changed[:, 0].max() < 60  # in the first line alone


@pytest.mark.parametrize("count", [1, 2, 300])
def test_any_number_of_frames_can_be_drawn(count: int) -> None:
    with Image.open(io.BytesIO(draw_consistency(setups(count), *FONTS))) as image:
        image.load()
        assert (image.size[0] == LEAST_WIDTH) == (count < 3)
    assert draw_consistency([], *FONTS)[:4] == b"\x89PNG"
