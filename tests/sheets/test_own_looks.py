"""Set-ups with looks of their own: each in its own columns, so that no grey stands for what is not there."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishing.sheets import style
from finishing.sheets.layout import lay_out
from finishing.sheets.model import Cell, Group, Paper, Sheet, paper_called
from finishing.sheets.typeface import measure
from tests.sheets.scenes import LANDSCAPE, PORTRAIT, cell
from tests.sheets.test_layout import areas, check_all, inside, pictures, texts

A4 = paper_called("a4")
LOOKS = ("Faded print", "One colour kept", "White edge", "Cool dusk")
LONG = "A name that has no end, as files of long sessions have, 2026-09-19, camera 2, card 14, frame 0042"


def mixed(
    kinds: list[tuple[int, tuple[int, ...]]], sizes: tuple[tuple[int, int], ...] = (LANDSCAPE,), name: str = ""
) -> Sheet:
    """kinds: of each set-up the number of its frames and its looks, as places in LOOKS."""
    number = itertools.count(1)
    groups = []
    for index, (frames, looks) in enumerate(kinds):
        rows = []
        for _ in range(frames):
            n = next(number)
            own = (cell(n, look, sizes[n % len(sizes)], name) if look in looks else None for look in range(len(LOOKS)))
            rows.append(tuple(own))
        groups.append(Group(f"{'ABCDEFGH'[index]}  By the wall", tuple(rows), "f/8 · 1/125 · ISO 100"))
    return Sheet("Orchard at dusk", "", "© 2026 A. Example", LOOKS, tuple(groups))


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.integers(1, 7), st.sets(st.integers(0, 3), min_size=1).map(sorted).map(tuple)), min_size=1,
             max_size=5),
    st.sampled_from([(LANDSCAPE,), (PORTRAIT,), (LANDSCAPE, PORTRAIT), (PORTRAIT, (4000, 4000), (6000, 2000))]),
    st.sampled_from([A4, paper_called("letter", "landscape"), Paper(420, 297)]),
    st.sampled_from(["", LONG]),
    st.sampled_from([None, None, 2, 4]),
)  # fmt: skip
def test_every_place_on_a_panel_holds_a_picture(
    kinds: list[tuple[int, tuple[int, ...]]],
    sizes: tuple[tuple[int, int], ...],
    paper: Paper,
    name: str,
    columns: int | None,
) -> None:
    made = mixed(kinds, sizes, name)
    pages = lay_out(made, paper, measure, columns)
    check_all(made, pages)
    for page in pages:
        for panel in areas(page, style.PANEL_GREY):
            held = sorted((item for item in pictures(page) if inside(item, panel)), key=lambda item: item.x_mm)
            middles = [item.x_mm + item.width_mm / 2 for item in held]
            step = (panel.width_mm - 2 * style.PANEL_PAD_MM + style.SLOT_GAP_MM) / len(held)
            first = panel.x_mm + style.PANEL_PAD_MM + (step - style.SLOT_GAP_MM) / 2
            assert middles == pytest.approx([first + n * step for n in range(len(held))])


def test_columns_stand_below_the_names_of_the_set_ups_own_looks() -> None:
    pages = lay_out(mixed([(3, (0, 1)), (2, (0, 1, 2)), (4, (3,))]), A4, measure)
    for page in pages:
        for item in pictures(page):
            look = item.key[1]  # type: ignore[index]
            above = [text for text in texts(page) if text.text in LOOKS and text.y_mm < item.y_mm]
            nearest = max(text.y_mm for text in above)
            names = {text.text: [] for text in above if text.y_mm == nearest}  # type: dict[str, list[float]]
            for text in above:
                if text.y_mm == nearest:
                    names[text.text].append(text.x_mm)
            if look == 3:
                assert list(names) == ["Cool dusk"]
                assert len(names["Cool dusk"]) == 1
            else:
                assert any(at == pytest.approx(item.x_mm) for at in names[LOOKS[look]])


def test_frames_of_few_looks_share_lines_and_pages() -> None:
    """Four looks in all, two or three of them in each set-up: laid out as four columns these would take four pages."""
    pages = lay_out(mixed([(6, (0, 1)), (4, (0, 1, 2)), (3, (0, 3))], (LANDSCAPE, PORTRAIT)), A4, measure)
    assert len(pages) == 3
    lines = {round(item.y_mm + item.height_mm / 2, 3) for item in pictures(pages[0]) if item.key[0] <= 6}  # type: ignore[index]
    assert len(lines) == 3


def test_one_look_that_all_set_ups_share_is_named_below_the_title_alone() -> None:
    (page,) = lay_out(mixed([(3, (2,)), (2, (2,))]), A4, measure)
    assert [text.text for text in texts(page) if "White edge" in text.text] == ["White edge"]


def test_as_many_columns_have_pictures_of_the_same_area() -> None:
    pages = lay_out(mixed([(4, (0, 1)), (3, (0, 1, 2)), (5, (1, 3)), (9, (2,))], (LANDSCAPE, PORTRAIT)), A4, measure)
    kinds: dict[int, set[float]] = {}
    numbers = {n: index for index, r in enumerate((range(1, 5), range(5, 8), range(8, 13), range(13, 22))) for n in r}
    for page in pages:
        for item in pictures(page):
            group = numbers[item.key[0]]  # type: ignore[index]
            kinds.setdefault(group, set()).add(round(item.width_mm * item.height_mm, 3))
    assert all(len(found) == 1 for found in kinds.values())
    assert kinds[0] == kinds[2]
    assert min(kinds[1]) >= min(kinds[0])


def test_a_frame_that_failed_keeps_its_look() -> None:
    failed = Cell(None, 0, 0, ("A-0002",), "2", "this frame cannot be read")
    made = Sheet("Orchard", column_titles=LOOKS, groups=(Group("A", ((None, cell(1, 1)), (None, failed))),))
    (page,) = lay_out(made, A4, measure)
    check_all(made, [page])
    assert len(areas(page, style.PLACEHOLDER_GREY)) == 1
