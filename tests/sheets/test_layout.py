"""Laws of the page layout: nothing overlaps, nothing is lost, everything stays inside the margins."""

import itertools
import math
import subprocess
import sys
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishing.errors import Problem
from finishing.sheets import style
from finishing.sheets.layout import Page, Picture, Rectangle, Text, lay_out, notices, pictures_needed
from finishing.sheets.model import Cell, Group, Paper, Sheet, paper_called
from finishing.sheets.placed import Item
from finishing.sheets.typeface import MM_PER_POINT, measure
from tests.sheets.scenes import LANDSCAPE, PORTRAIT, cell, sheet

A4 = paper_called("a4")
TOUCH = 1e-6


def texts(page: Page) -> list[Text]:
    return [item for item in page.items if isinstance(item, Text)]


def pictures(page: Page) -> list[Picture]:
    return [item for item in page.items if isinstance(item, Picture)]


def areas(page: Page, grey: int) -> list[Rectangle]:
    return [item for item in page.items if isinstance(item, Rectangle) and item.grey == grey]


def apart(one: Item, other: Item) -> bool:
    return (
        one.x_mm + one.width_mm <= other.x_mm + TOUCH
        or other.x_mm + other.width_mm <= one.x_mm + TOUCH
        or one.y_mm + one.height_mm <= other.y_mm + TOUCH
        or other.y_mm + other.height_mm <= one.y_mm + TOUCH
    )


def inside(one: Item, outer: Rectangle) -> bool:
    return (
        one.x_mm >= outer.x_mm - TOUCH
        and one.y_mm >= outer.y_mm - TOUCH
        and one.x_mm + one.width_mm <= outer.x_mm + outer.width_mm + TOUCH
        and one.y_mm + one.height_mm <= outer.y_mm + outer.height_mm + TOUCH
    )


def check_page(page: Page) -> None:
    """No two texts, pictures or panels overlap; pictures lie in panels, texts beside them."""
    panels, placeholders = areas(page, style.PANEL_GREY), areas(page, style.PLACEHOLDER_GREY)
    shown: list[Item] = [*pictures(page), *placeholders]
    messages = [text for text in texts(page) if any(inside(text, area) for area in placeholders)]
    others = [text for text in texts(page) if text not in messages]
    together: list[list[Item]] = [[*panels, *others], shown, [*messages]]
    for one, other in itertools.chain(*(itertools.combinations(kind, 2) for kind in together)):
        assert apart(one, other), (one, other)
    for item in shown:
        assert any(inside(item, panel) for panel in panels), item
    margin = max(style.LEAST_MARGIN_MM, style.MARGIN_SHARE * min(page.width_mm, page.height_mm))
    margin = min(margin, style.GREATEST_MARGIN_MM)
    edge = Rectangle(margin, margin, page.width_mm - 2 * margin, page.height_mm - 2 * margin, 0)
    for item in page.items:
        assert inside(item, edge), item
        assert item.width_mm > 0
        assert item.height_mm > 0
    foot = page.height_mm - margin - style.FOOTER_PT * style.LEADING * MM_PER_POINT
    for item in page.items:
        assert item.y_mm >= foot - TOUCH or item.y_mm + item.height_mm <= foot - style.FOOTER_GAP_MM + TOUCH
    for text in texts(page):
        assert text.width_mm == pytest.approx(measure(text.text, text.size_pt, text.bold))
        assert text.size_pt >= 6.5
        assert text.y_mm < text.baseline_mm < text.y_mm + text.height_mm


def check_all(made: Sheet, pages: list[Page]) -> None:
    for page in pages:
        check_page(page)
    expected = [
        one.picture for group in made.groups for row in group.rows for one in row if one and one.picture is not None
    ]
    assert Counter(item.key for page in pages for item in pictures(page)) == Counter(expected)
    assert [page.number for page in pages] == list(range(1, len(pages) + 1))
    for page in pages:
        assert page.count == len(pages)
        told = f"{page.number} of {page.count}" in [text.text for text in texts(page)]
        assert told == (len(pages) > 1)  # a page alone has no number
        assert len({(page.width_mm, page.height_mm) for page in pages}) == 1


@st.composite
def sheets(draw: st.DrawFn) -> Sheet:
    names = st.text(st.characters(codec="utf-8"), max_size=140) | st.text("Aẞ…\u0301жΩ_0 ", max_size=140)
    sides = st.integers(1, 9000)
    looks = draw(st.integers(1, 6))
    number = itertools.count()

    def made() -> Cell | None:
        kind = draw(st.integers(0, 9))
        if kind == 0:
            return None
        caption = tuple(draw(st.lists(names, max_size=4)))
        mark = draw(st.sampled_from(["", "12", "a very long mark indeed, far too long to say"]))
        if kind == 1:
            return Cell(None, 0, 0, caption, mark, message=draw(names))
        shape = draw(st.sampled_from([LANDSCAPE, PORTRAIT, (4000, 4000)]) | st.tuples(sides, sides))
        return Cell(next(number), *shape, caption, mark)

    groups = tuple(
        Group(
            draw(names),
            tuple(tuple(made() for _ in range(looks)) for _ in range(draw(st.integers(0, 5)))),
            draw(names),
        )
        for _ in range(draw(st.integers(0, 3)))
    )
    first = Group(draw(names), ((Cell(next(number), 3000, 2000, ("A-0001",)),),))
    titles = tuple(draw(names) for _ in range(draw(st.sampled_from([0, looks]))))
    return Sheet(draw(names), draw(names), draw(names), titles, (*groups, first))


@settings(max_examples=120, deadline=None)
@given(
    sheets(),
    st.sampled_from([A4, paper_called("letter", "landscape"), Paper(160, 200), Paper(420, 180), Paper(900, 700)]),
    st.sampled_from([None, None, 1, 2, 3, 5]),
)
def test_nothing_overlaps_or_is_lost_or_leaves_the_margins(made: Sheet, paper: Paper, columns: int | None) -> None:
    check_all(made, lay_out(made, paper, measure, columns))


@pytest.mark.parametrize(("frames", "looks"), [(1, 1), (2, 1), (7, 1), (60, 1), (300, 1), (1, 3), (12, 3), (9, 25)])
def test_any_number_of_frames_and_looks(frames: int, looks: int) -> None:
    made = sheet(frames, looks, (LANDSCAPE, PORTRAIT, LANDSCAPE))
    check_all(made, lay_out(made, A4, measure))


def test_a_thousand_frames_of_three_looks() -> None:
    made = sheet(1000, 3)
    pages = lay_out(made, A4, measure)
    assert sum(len(pictures(page)) for page in pages) == 3000
    for page in (pages[0], pages[1], pages[-1]):
        check_page(page)


def test_one_frame_fills_one_page_the_way_it_lies() -> None:
    for size, upright in ((LANDSCAPE, False), (PORTRAIT, True)):
        (page,) = lay_out(sheet(1, sizes=(size,)), A4, measure)
        assert (page.height_mm > page.width_mm) == upright
        (picture,) = pictures(page)
        assert picture.width_mm / picture.height_mm == pytest.approx(size[0] / size[1])
        assert max(picture.width_mm, picture.height_mm) > 160


def test_a_given_orientation_is_kept() -> None:
    for orientation, width in (("portrait", 210), ("landscape", 297)):
        for size in (LANDSCAPE, PORTRAIT):
            page = lay_out(sheet(1, sizes=(size,)), paper_called("A4", orientation), measure)[0]
            assert page.width_mm == width


def test_portrait_and_landscape_frames_get_the_same_area() -> None:
    made = sheet(12, 1, (LANDSCAPE, PORTRAIT, (3000, 3000)))
    covered = [item.width_mm * item.height_mm for page in lay_out(made, A4, measure) for item in pictures(page)]
    assert max(covered) == pytest.approx(min(covered))


def test_a_panorama_stays_in_its_column_and_keeps_its_shape() -> None:
    made = sheet(12, 1, (LANDSCAPE, (9000, 1000), (1000, 9000)))
    for page in lay_out(made, A4, measure):
        check_page(page)
        for item in pictures(page):
            number = item.key[0]  # type: ignore[index]
            assert item.width_mm / item.height_mm == pytest.approx([1.5, 9, 1 / 9][number % 3])


def test_looks_stand_in_columns_below_their_names() -> None:
    (page, *_) = lay_out(sheet(6, 3), A4, measure)
    titles = {text.text: text.x_mm for text in texts(page) if text.text.startswith("Look")}
    assert len(titles) == 3
    for item in pictures(page):
        look = item.key[1]  # type: ignore[index]
        assert item.x_mm == pytest.approx(titles[f"Look {look}"])
    for frame in {item.key[0] for item in pictures(page)}:  # type: ignore[index]
        row = [item for item in pictures(page) if item.key[0] == frame]  # type: ignore[index]
        assert len({item.y_mm for item in row}) == 1
        assert [item.key[1] for item in sorted(row, key=lambda one: one.x_mm)] == [0, 1, 2]  # type: ignore[index]


@pytest.mark.parametrize("asked", [1, 2, 4, 7])
def test_columns_asked_for(asked: int) -> None:
    pages = lay_out(sheet(20), paper_called("a4", "portrait"), measure, asked)
    top = min(item.y_mm for item in pictures(pages[0]))
    assert len([item for item in pictures(pages[0]) if item.y_mm == top]) == asked


def test_columns_for_looks_hold_whole_frames_or_break_a_frame_evenly() -> None:
    def across(asked: int) -> int:
        page = lay_out(sheet(6, 3), paper_called("a4", "landscape"), measure, asked)[0]
        top = min(item.y_mm for item in pictures(page))
        return len([item for item in pictures(page) if item.y_mm == top])

    assert [across(asked) for asked in (1, 2, 3, 5, 6)] == [1, 2, 3, 3, 6]


def test_pages_are_not_more_than_the_frames_need() -> None:
    def count(frames: int) -> int:
        return len(lay_out(sheet(frames), A4, measure))

    counts = [count(frames) for frames in range(1, 80, 6)]
    assert counts == sorted(counts)
    assert counts[0] == 1
    assert count(12) == 1
    assert count(79) <= math.ceil(79 / 16)


def test_every_set_up_has_its_heading_and_a_further_page_says_so() -> None:
    pages = lay_out(sheet(30, groups=2), A4, measure)
    words = [[text.text for text in texts(page)] for page in pages]
    everything = list(itertools.chain(*words))
    assert everything.count("f/8 · 1/125 · ISO 100") == 60 + 2  # one below each frame, one below each heading
    assert "A  By the wall" in words[0]
    for page in words[1:]:
        assert ("continued" in page) or ("B  By the wall" in page)


def test_a_heading_is_never_parted_from_its_first_pictures() -> None:
    for frames in range(1, 14):
        for page in lay_out(sheet(frames, groups=4), A4, measure):
            lowest = max(item.y_mm for item in pictures(page))
            headings = [text for text in texts(page) if text.text.endswith("By the wall")]
            assert headings
            assert all(text.y_mm < lowest for text in headings)


def test_a_failed_frame_says_why_in_its_place() -> None:
    failed = Cell(None, 0, 0, ("A-0002",), "2", "the file ends before the picture does " * 20)
    made = Sheet("Orchard", groups=(Group("", ((cell(1),), (failed,), (cell(3),))),))
    (page,) = lay_out(made, A4, measure)
    check_page(page)
    (placeholder,) = areas(page, style.PLACEHOLDER_GREY)
    said = [text.text for text in texts(page) if inside(text, placeholder)]
    assert said[0].startswith("The file ends")
    assert "…" in said[-1]
    assert "A-0002" in [text.text for text in texts(page)]


def test_a_failed_frame_has_the_shape_of_its_other_looks() -> None:
    made = Sheet("Orchard", groups=(Group("", ((cell(1, 0, PORTRAIT), Cell(None, 0, 0, ("A-0001",))),)),))
    (page,) = lay_out(made, A4, measure)
    (placeholder,) = areas(page, style.PLACEHOLDER_GREY)
    assert placeholder.height_mm == pytest.approx(1.5 * placeholder.width_mm)


def test_long_names_keep_their_beginning_and_their_end() -> None:
    name = "orchard_" + "x" * 120 + "_0042"
    made = Sheet("Orchard", groups=(Group("", tuple((cell(i, name=name),) for i in range(20))),))
    shown = [text.text for page in lay_out(made, A4, measure) for text in texts(page) if "…" in text.text]
    assert len(shown) == 20
    assert all(one.startswith("orchard") and one.endswith("0042") for one in shown)


def test_same_sheet_same_pages() -> None:
    assert lay_out(sheet(9, 2), A4, measure) == lay_out(sheet(9, 2), A4, measure)


def test_pictures_needed_are_the_placed_sizes() -> None:
    pages = lay_out(sheet(5, 2), A4, measure)
    needed = pictures_needed(pages, 254)  # ten pixels a millimetre
    assert len(needed) == 10
    for page in pages:
        for item in pictures(page):
            assert needed[item.key] == (round(10 * item.width_mm), round(10 * item.height_mm))


def test_a_missing_sign_is_named() -> None:
    made = Sheet("Orchard", groups=(Group("", ((cell(1, name="写真 e\u0301 Ж ΐ 1"),),)),))
    told = notices(lay_out(made, A4, measure))
    assert len(told) == 2
    assert "U+5199" in told[0]
    assert "U+771F" in told[1]
    assert notices(lay_out(sheet(3), A4, measure)) == []


@pytest.mark.parametrize(
    ("made", "paper", "columns", "word"),
    [
        (Sheet("Orchard"), A4, None, "no frame"),
        (Sheet("Orchard", groups=(Group("A", ((None, None),)),)), A4, None, "no frame"),
        (sheet(3), A4, 0, "at least one column"),
        (sheet(3), A4, 40, "too narrow"),
        (Sheet("", groups=(Group("", ((Cell(1, 3, 2, ("x",) * 60),),)),)), Paper(100, 100), None, "no room"),
    ],
)
def test_what_cannot_be_laid_out_is_said(made: Sheet, paper: Paper, columns: int | None, word: str) -> None:
    with pytest.raises(Problem, match=word) as caught:
        lay_out(made, paper, measure, columns)
    assert caught.value.remedy


def test_papers() -> None:
    assert paper_called("a4") == Paper(210, 297, may_turn=True)  # ISO 216
    assert paper_called("Letter", "landscape") == Paper(279.4, 215.9)  # 8.5 x 11 inches
    assert paper_called("250 x 200 mm") == Paper(250, 200)
    assert paper_called("250×200", "portrait") == Paper(200, 250)
    for wrong in ("a44", "10x10", "5000x200", "x", "200x"):
        with pytest.raises(Problem):
            paper_called(wrong)
    with pytest.raises(Problem, match="orientation"):
        paper_called("a4", "sideways")


def test_the_layout_needs_no_pixel_library() -> None:
    code = (
        "import sys, finishing.sheets.layout, finishing.sheets.drawing, finishing.sheets.pdf\n"
        "print(sorted({'numpy', 'PIL', 'cv2', 'fpdf'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_tallest_picture_leaves_room_for_every_heading() -> None:
    for paper in (paper_called("a4", "landscape"), Paper(300, 110)):
        made = sheet(3, 2, (PORTRAIT,))
        check_all(made, lay_out(made, paper, measure))


def test_texts_of_any_length_stay_in_their_places() -> None:
    long = "Ein Name ohne Ende, " * 30
    row = tuple(Cell(look, *LANDSCAPE, (long, long, long), long) for look in range(3))
    made = Sheet(long, long, long, (long, "Faded", long), (Group(long, (row,), long),))
    pages = lay_out(made, A4, measure)
    check_all(made, pages)
    footers = [text for text in texts(pages[0]) if text.y_mm > pages[0].height_mm - 20]
    assert len(footers) == (2 if len(pages) > 1 else 1)


def test_a_look_whose_name_fits_its_column_is_named_in_full() -> None:
    name = "Faded print, warm paper, soft"
    groups = tuple(
        Group("", (tuple(cell(i, look, size) for look in range(3)),)) for i, size in enumerate((LANDSCAPE, PORTRAIT))
    )
    made = Sheet("Orchard", column_titles=("Plain", "Silver", name), groups=groups)
    pages = lay_out(made, paper_called("a4", "portrait"), measure, 3)
    shown = [text for page in pages for text in texts(page) if text.text == name]
    assert len(shown) == 2
    portrait = next(item for page in pages for item in pictures(page) if item.key == (1, 2))
    assert shown[1].x_mm < portrait.x_mm  # flush with the picture it would not have fitted
