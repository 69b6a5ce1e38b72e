"""The pages of test strips and grids: everything on the paper, nothing over another, values at their bands."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.model import paper_called
from finishing.sheets.placed import Page, Picture, Rectangle, Text
from finishing.sheets.strip import Trial, Value, lay_out_grid, lay_out_strip
from finishing.sheets.typeface import measure

TRIAL = Trial("White edge", "A-0005 · test strip", ("edge_vignette.strength from 0.2 to 1",), "white_edge, version 2")
LONG = "Αγροτεμάχιο-" + "Яблоневый-сад-" * 6 + "ÄÖÜ-çñø-0001"


def inside(page: Page) -> None:
    for item in page.items:
        assert item.x_mm >= -1e-6
        assert item.y_mm >= -1e-6
        assert item.x_mm + item.width_mm <= page.width_mm + 1e-6
        assert item.y_mm + item.height_mm <= page.height_mm + 1e-6


def apart(page: Page) -> None:
    """No text lies over another, nor over a picture."""
    placed = [item for item in page.items if isinstance(item, Picture | Text) and item.width_mm > 0]
    for one, other in combinations(placed, 2):
        aside = one.x_mm + one.width_mm <= other.x_mm + 1e-6 or other.x_mm + other.width_mm <= one.x_mm + 1e-6
        above = one.y_mm + one.height_mm <= other.y_mm + 1e-6 or other.y_mm + other.height_mm <= one.y_mm + 1e-6
        assert aside or above, (one, other)


@given(
    st.integers(2, 24),
    st.floats(0.4, 3),
    st.sampled_from(["a4", "letter", "a5", "200x250"]),
    st.sampled_from(["0.2", "5600 K", "+0.33", "white", "−10 1/3"]),
    st.booleans(),
)
def test_every_strip_stays_on_its_paper(count: int, shape: float, paper: str, text: str, own: bool) -> None:
    values = [Value(f"{text}", own and number == 1) for number in range(count)]
    page = lay_out_strip(TRIAL, "strip", shape, values, paper_called(paper), measure)
    inside(page)
    apart(page)
    (picture,) = [item for item in page.items if isinstance(item, Picture)]
    assert picture.width_mm / picture.height_mm == pytest.approx(shape)
    ticks = [i for i in page.items if isinstance(i, Rectangle) and i.grey == style.INK_GREY]
    assert len(ticks) == 2 * (count - 1)


def test_a_value_stands_below_its_band() -> None:
    page = lay_out_strip(TRIAL, "strip", 1.5, [Value(str(n)) for n in range(5)], paper_called("a4"), measure)
    (picture,) = [item for item in page.items if isinstance(item, Picture)]
    for number in range(5):
        (label,) = [item for item in page.items if isinstance(item, Text) and item.text == str(number)]
        middle = picture.x_mm + picture.width_mm * (number + 0.5) / 5
        assert label.x_mm + label.width_mm / 2 == pytest.approx(middle)
        assert label.y_mm > picture.y_mm + picture.height_mm


def test_paper_turns_to_the_larger_picture() -> None:
    wide = lay_out_strip(TRIAL, "strip", 1.5, [Value("1"), Value("2")], paper_called("a4"), measure)
    tall = lay_out_strip(TRIAL, "strip", 0.67, [Value("1"), Value("2")], paper_called("a4"), measure)
    assert wide.width_mm > wide.height_mm
    assert tall.width_mm < tall.height_mm


def test_long_names_of_any_script_are_shortened() -> None:
    trial = Trial(LONG, LONG, (LONG * 3,), LONG)
    page = lay_out_strip(trial, "strip", 1.5, [Value("1"), Value(LONG)], paper_called("a5"), measure)
    inside(page)
    apart(page)


@given(st.integers(2, 12), st.integers(0, 12), st.floats(0.5, 2), st.booleans())
def test_every_grid_stays_on_its_paper(columns: int, rows: int, shape: float, own: bool) -> None:
    across = [Value(f"{n / 10}", own and n == 0) for n in range(columns)]
    down = [Value(f"{n}°", own and n == 1) for n in range(rows)]
    keys = [[(x, y) for x in range(columns)] for y in range(max(1, rows))]
    page = lay_out_grid(TRIAL, keys, shape, across, down, paper_called("a4"), measure)
    inside(page)
    apart(page)
    pictures = {item.key: item for item in page.items if isinstance(item, Picture)}
    assert set(pictures) == {key for row in keys for key in row}
    assert len({(round(p.width_mm, 6), round(p.height_mm, 6)) for p in pictures.values()}) == 1
    for number, value in enumerate(down):
        if not value.own:
            (label,) = [i for i in page.items if isinstance(i, Text) and i.text == value.text]
            row = pictures[0, number]
            assert row.y_mm <= label.y_mm + label.height_mm / 2 <= row.y_mm + row.height_mm


def placed(count: int, shape: float, paper: str = "a4") -> tuple[Page, list[Picture]]:
    values = [Value(str(n)) for n in range(count)]
    page = lay_out_grid(TRIAL, [[(n,) for n in range(count)]], shape, values, [], paper_called(paper), measure)
    return page, [item for item in page.items if isinstance(item, Picture)]


def test_whole_pictures_of_one_value_fill_the_page_in_rows() -> None:
    page, pictures = placed(4, 1.5)
    assert [item.key for item in pictures] == [(0,), (1,), (2,), (3,)]
    assert len({round(item.y_mm, 6) for item in pictures}) == 2
    assert len({round(item.x_mm, 6) for item in pictures}) == 2
    assert pictures[0].width_mm > 0.3 * page.width_mm
    for count in (2, 3, 4, 5, 6, 9, 12):
        for shape in (0.67, 1.0, 1.5):
            page, pictures = placed(count, shape)
            panels = [i for i in page.items if isinstance(i, Rectangle) and i.grey == style.PANEL_GREY]
            assert sum(i.height_mm * i.width_mm for i in panels) > 0.35 * page.width_mm * page.height_mm, (count, shape)
            rows = [len([i for i in pictures if i.y_mm == y]) for y in sorted({item.y_mm for item in pictures})]
            assert max(rows) == rows[0]
            assert sum(rows) == count


def test_a_value_stands_below_its_whole_picture() -> None:
    page, pictures = placed(5, 0.67)
    for number, item in enumerate(pictures):
        (label,) = [one for one in page.items if isinstance(one, Text) and one.text == str(number)]
        assert label.x_mm + label.width_mm / 2 == pytest.approx(item.x_mm + item.width_mm / 2)
        assert 0 < label.y_mm - item.y_mm - item.height_mm < 8


def test_paper_too_small_is_said() -> None:
    with pytest.raises(Problem, match="no room for the pictures"):
        placed(24, 1.5, "100x100")
    values = [Value(str(n)) for n in range(12)]
    with pytest.raises(Problem, match="no room for the pictures"):
        lay_out_grid(TRIAL, [[(x,) for x in range(12)]], 1.5, values, values[:1], paper_called("100x100"), measure)
