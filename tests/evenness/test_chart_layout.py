"""Where things stand on the chart of what was evened out: every frame's name, the trade's words, nothing on top."""

from itertools import combinations

import numpy as np
import pytest

from finishing.evenness.chart_layout import MOST_WIDTH, Page, Text, arranged, scale
from finishing.evenness.consistency import SetupConsistency, State
from finishing.evenness.words import A_PER_PERCENT, B_PER_KELVIN, QUANTITIES
from finishing.sheets import typeface

COUNTS = (1, 2, 6, 24, 60, 80, 200, 300, 900)


def measure(words: str, size: int, bold: bool) -> float:
    """Pixels: a typeface's points are taken for pixels."""
    return typeface.measure(words, size, bold) / typeface.MM_PER_POINT


def setup(count: int, name: str = "A-{:04d}", title: str | None = "A") -> SetupConsistency:
    random = np.random.default_rng(count)

    def states(scale: float) -> tuple[State, ...]:
        drawn = random.normal(0, scale, (count, 4)) * [0.8, 0.01, 0.02, 4]
        return tuple(State(float(e), (float(a), float(b)), float(50 + h)) for e, a, b, h in drawn)

    return SetupConsistency(title, tuple(name.format(at) for at in range(count)), states(1), states(0.05))


def words(page: Page) -> list[str]:
    return [text.words for text in page.texts]


def overlap(one: Text, other: Text) -> bool:
    across = one.x < other.x + other.width and other.x < one.x + one.width
    return across and one.y < other.y + other.height and other.y < one.y + one.height


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("name", ["A-{:04d}", "2026-09-19 orchard at dusk, second body {:05d}", "{}"])
def test_no_text_lies_on_another_or_leaves_the_page(count: int, name: str) -> None:
    page = arranged([setup(count, name), setup(min(count, 7), name, "B")], measure)
    assert page.width <= MOST_WIDTH
    assert not [(one, other) for one, other in combinations(page.texts, 2) if overlap(one, other)]
    for text in page.texts:
        assert text.x >= 0
        assert text.y >= 0
        assert text.x + text.width <= page.width
        assert text.y + text.height <= page.height


@pytest.mark.parametrize("count", COUNTS)
def test_names_stand_below_their_frames(count: int) -> None:
    """Every name up to sixty frames, of three hundred every second; each on the upright of its dots."""
    page = arranged([setup(count)], measure)
    named = [text for text in page.texts if text.words.startswith("A-")]
    step = {80: 2, 200: 2, 300: 2, 900: 5}.get(count, 1)
    assert [text.words for text in named] == [f"A-{at:04d}" for at in range(0, count, step)]
    assert all(text.upright for text in named) == (count >= 24)
    dots = sorted({dot.x for dot in page.dots[2:]})  # without the two that explain
    assert len(dots) == count
    assert [text.x + text.width / 2 for text in named] == pytest.approx(dots[::step])
    lowest = max(dot.y for dot in page.dots)
    assert min(text.y for text in named) > lowest


@pytest.mark.parametrize("count", [24, 200, 300])
def test_dots_of_neighbours_do_not_touch(count: int) -> None:
    page = arranged([setup(count)], measure)
    across = sorted({dot.x for dot in page.dots[2:]})
    assert np.diff(across).min() >= 2 * max(dot.radius for dot in page.dots[2:])


def test_what_is_told_is_in_the_trades_words() -> None:
    told = " | ".join(words(arranged([setup(24)], measure)))
    for word in ("stops", "kelvin", "warmer", "cooler", "greener", "more magenta", "brighter", "darker", "as it came"):
        assert word in told
    assert "lab" not in told.lower()


def test_a_warmer_frame_stands_higher() -> None:
    """Three frames: the middle one 1000 K warmer, 10 % greener and a stop brighter as it came."""
    first, odd = State(0.0, (0.02, 0.03), 50.0), State(1.0, (0.02 - 10 * A_PER_PERCENT, 0.03 + 1000 * B_PER_KELVIN), 55)
    one = SetupConsistency("A", ("a", "b", "c"), (first, odd, first), (first, first, first))
    wanted = {"exposure_stops": 1.0, "white_b": 1000.0, "white_a": 10.0, "skin_hue_degrees": 5.0}
    for quantity in QUANTITIES:
        before, after = quantity.of(one)
        assert before == pytest.approx([0, wanted[quantity.name], 0], abs=0.05)
        assert after == [0, 0, 0]
    page = arranged([one], measure)
    came = [dot for dot in page.dots[2:] if not dot.leaves]
    for at in range(0, len(came), 3):
        assert came[at + 1].y < came[at].y - 10


def test_frames_without_a_value_are_told_and_still_named() -> None:
    known = setup(6)
    lacking = SetupConsistency("A", known.frames, (State(),) * 6, (*known.after[:5], State()))
    page = arranged([lacking], measure)
    assert "Exposure: stops from the key frame · 1 frame not measured" in words(page)
    assert "A-0005" in words(page)
    nothing = arranged([SetupConsistency("A", known.frames, (State(),) * 6, (State(),) * 6)], measure)
    assert words(nothing).count("could not be measured") == 4


def test_a_name_that_breaks_lines_stays_on_one() -> None:
    page = arranged([setup(3, "one\ntwo\t{}")], measure)
    assert "one two 1" in words(page)


@pytest.mark.parametrize(
    ("low", "high", "least"), [(-0.02, 0.04, 1.0), (-3.4, 0.2, 1.0), (0, 0, 8.0), (-900, 2400, 1500)]
)
def test_an_axis_takes_its_values_in(low: float, high: float, least: float) -> None:
    start, end, step = scale(low, high, least)
    assert start <= low <= high <= end
    assert end - start >= least
    assert 2 <= round((end - start) / step) <= 5


@pytest.mark.parametrize("session", ["Orchard at dusk", "Orchard\nat {dusk} " + "and so on, " * 60, "x" * 700])
def test_the_sessions_title_begins_the_first_line_and_stays_in_it(session: str) -> None:
    page = arranged([setup(3)], measure, session)
    title = next(text for text in page.texts if text.bold)
    assert title.words.startswith(session.split()[0][:50])
    assert title.words.endswith(" · evened out")
    assert ("…" in title.words) == (len(session) > 100)
    others = [text for text in page.texts if text is not title and abs(text.y - title.y) < title.height]
    assert len(others) == 2
    assert all(title.x + title.width < text.x for text in others)
