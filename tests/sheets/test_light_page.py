"""The page on what the strobe did: everything on the paper, nothing over another, the pictures all of one size."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.errors import Problem
from finishing.light.drawing import figure_size
from finishing.sheets.light_page import LightPage, Shown, lay_out_light
from finishing.sheets.model import paper_called
from finishing.sheets.placed import Page, Picture, Rectangle, Text
from finishing.sheets.typeface import measure

LONG = "Яблоневый-сад-" * 9


def page_of(width: int, height: int, told: str = "C-0012 · 1/125 · f/8 · ISO 100") -> LightPage:
    across, down = figure_size(width, height)
    pictures = tuple(Shown(title, title, told) for title in ("As taken", "Ambient alone", "Strobe alone"))
    return LightPage("Orchard at dusk", f"C-blend: {told}", told, "map", across / down, pictures, width / height, told)


def apart(page: Page) -> None:
    placed = [item for item in page.items if isinstance(item, Picture | Text) and item.width_mm > 0]
    for one, other in combinations(placed, 2):
        aside = one.x_mm + one.width_mm <= other.x_mm + 1e-6 or other.x_mm + other.width_mm <= one.x_mm + 1e-6
        above = one.y_mm + one.height_mm <= other.y_mm + 1e-6 or other.y_mm + other.height_mm <= one.y_mm + 1e-6
        assert aside or above, (one, other)


@given(
    st.sampled_from([(6000, 4000), (4000, 6000), (5000, 5000), (6000, 2000), (4000, 3000)]),
    st.sampled_from(["a4", "letter", "a3", "a5", "200x250"]),
    st.sampled_from(["portrait", "landscape"]),
    st.sampled_from(["C-0012 · 1/125", LONG, ""]),
)
def test_everything_stands_on_the_paper(size: tuple[int, int], paper: str, way: str, told: str) -> None:
    page = lay_out_light(page_of(*size, told), paper_called(paper, way), measure, 3, 4)
    for item in page.items:
        assert item.x_mm >= 0
        assert item.y_mm >= 0
        assert item.x_mm + item.width_mm <= page.width_mm + 1e-6
        assert item.y_mm + item.height_mm <= page.height_mm + 1e-6
    apart(page)
    figure, *pictures = [item for item in page.items if isinstance(item, Picture)]
    assert [item.key for item in (figure, *pictures)] == ["map", "As taken", "Ambient alone", "Strobe alone"]
    across, down = figure_size(*size)
    assert figure.width_mm / figure.height_mm == pytest.approx(across / down)
    for picture in pictures:
        assert picture.width_mm == pytest.approx(pictures[0].width_mm)
        assert picture.width_mm / picture.height_mm == pytest.approx(size[0] / size[1])
        assert picture.width_mm < figure.width_mm
        around = [
            one for one in page.items if isinstance(one, Rectangle)
            and one.x_mm < picture.x_mm and picture.x_mm + picture.width_mm < one.x_mm + one.width_mm
            and one.y_mm < picture.y_mm and picture.y_mm + picture.height_mm < one.y_mm + one.height_mm
        ]  # fmt: skip
        assert len(around) == 1
    assert "3 of 4" in [item.text for item in page.items if isinstance(item, Text)]


def test_pictures_stand_beside_the_map_on_wide_paper_and_below_it_on_high_paper() -> None:
    wide = lay_out_light(page_of(6000, 4000), paper_called("a4", "landscape"), measure, 1, 1)
    high = lay_out_light(page_of(6000, 4000), paper_called("a4", "portrait"), measure, 1, 1)
    for page, beside in ((wide, True), (high, False)):
        figure, *pictures = [item for item in page.items if isinstance(item, Picture)]
        assert all((one.x_mm > figure.x_mm + figure.width_mm) == beside for one in pictures)
        assert figure.width_mm > 0.6 * page.width_mm


def test_paper_that_is_too_small() -> None:
    with pytest.raises(Problem, match="no room for the pages on blends"):
        lay_out_light(page_of(600, 6000), paper_called("100x100"), measure, 1, 1)
