"""How large deliverables come out."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.batch.delivery.output_size import output_size, paper_size, resolution_on_paper
from finishing.sessions.deliverables import Deliverable, PrintSize


@pytest.mark.parametrize(
    ("asked", "size"),
    [
        ({}, (6000, 4000)),
        ({"long_edge": 2048}, (2048, 1365)),
        ({"short_edge": 1080}, (1620, 1080)),
        ({"megapixels": 2}, (1732, 1155)),
        ({"box": (1920, 1080)}, (1620, 1080)),
        ({"box": (1080, 1920)}, (1080, 720)),  # a box does not turn: it is a screen
        ({"print_size": PrintSize(12, 8), "pixels_per_inch": 300}, (3600, 2400)),
        ({"print_size": PrintSize(12, 9), "pixels_per_inch": 240}, (2880, 1920)),
        ({"print_size": PrintSize(10)}, (3000, 2000)),  # 300 pixels an inch unless said
        ({"long_edge": 9000}, (6000, 4000)),
        ({"long_edge": 9000, "enlarge": True}, (9000, 6000)),
        ({"print_size": PrintSize(30, 20), "enlarge": True}, (9000, 6000)),
    ],
)
def test_sizes(asked: dict[str, object], size: tuple[int, int]) -> None:
    assert output_size(Deliverable.model_construct(**asked), 6000, 4000) == size


def test_a_print_turns_with_the_frame() -> None:
    print_size = Deliverable.model_construct(print_size=PrintSize(12, 8), pixels_per_inch=100)
    assert output_size(print_size, 4000, 6000) == (800, 1200)


@given(st.integers(1, 9000), st.integers(1, 9000), st.integers(16, 9000))
def test_a_long_edge_is_met_and_nothing_grows_unasked(width: int, height: int, edge: int) -> None:
    found = output_size(Deliverable.model_construct(long_edge=edge), width, height)
    assert max(found) == min(edge, max(width, height))
    assert min(found) >= 1
    assert abs(found[0] - width * max(found) / max(width, height)) <= 1
    assert max(output_size(Deliverable.model_construct(long_edge=edge, enlarge=True), width, height)) == edge


def test_the_resolution_lays_a_picture_at_the_size_asked_for() -> None:
    """30 cm are 11.811 inches: 1500 pixels of them are 127 to an inch."""
    paper = {"print_size": PrintSize(30 / 2.54, 20 / 2.54)}
    small = Deliverable.model_construct(**paper)
    assert resolution_on_paper(small, 1500, 1000) == pytest.approx(127)
    assert resolution_on_paper(small, 1000, 1500) == pytest.approx(127)  # the paper turns
    assert resolution_on_paper(small, 1000, 1000) == pytest.approx(127)  # a square is as wide as the short side
    assert resolution_on_paper(small, *output_size(small, 6000, 4000)) == 300
    assert resolution_on_paper(Deliverable.model_construct(long_edge=800, pixels_per_inch=240), 800, 600) == 240


@given(st.integers(16, 9000), st.integers(16, 9000))
def test_no_picture_is_laid_larger_than_asked_for(width: int, height: int) -> None:
    paper = PrintSize(12, 8)
    asked = Deliverable.model_construct(print_size=paper)
    size = output_size(asked, width, height)
    inches = [side / resolution_on_paper(asked, *size) for side in size]
    assert max(inches) <= 12 * 1.006 + 1e-9 or max(size) < 200  # whole pixels of small pictures
    assert min(inches) <= 8 * 1.006 + 1e-9 or min(size) < 200
    assert max(inches) >= 12 * 0.99 or min(inches) >= 8 * 0.99 or min(size) < 200


@pytest.mark.parametrize(
    ("frame", "picture", "sheet"),
    [
        ((6000, 4000), (2400, 1600), (3000, 2000)),  # 26 × 16 inches are left: a 3:2 frame is 24 × 16 there
        ((4000, 6000), (1600, 2400), (2000, 3000)),  # the paper turns
        ((5000, 4000), (2000, 1600), (3000, 2000)),  # another shape has more paper at two sides
        ((1200, 800), (1200, 800), (1500, 1000)),  # too small: as large as it is, at half the resolution
    ],
)
def test_a_margin_leaves_the_picture_whole(
    frame: tuple[int, int], picture: tuple[int, int], sheet: tuple[int, int]
) -> None:
    asked = Deliverable.model_construct(print_size=PrintSize(30, 20), margin=2.0, pixels_per_inch=100)
    assert output_size(asked, *frame) == picture
    assert paper_size(asked, *picture) == sheet


def test_paper_of_one_side_takes_the_other_from_the_picture() -> None:
    asked = Deliverable.model_construct(print_size=PrintSize(12), margin=1.0, pixels_per_inch=100)
    assert output_size(asked, 6000, 4000) == (1000, 667)
    assert paper_size(asked, 1000, 667) == (1200, 867)
    assert paper_size(Deliverable.model_construct(print_size=PrintSize(12)), 1000, 667) is None
