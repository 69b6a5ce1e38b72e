"""Texts that have to fit a width, and the typeface's own measures."""

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.sheets.fitting import ELLIPSIS, NO_BREAK_SPACE, shortened, tidy, wrapped
from finishing.sheets.typeface import FONTS, REPLACEMENT, face, measure, notices_of, printable

ANY_TEXT = st.text(max_size=150)


def letters(text: str, size_pt: float, bold: bool) -> float:
    """Every sign one millimetre wide."""
    return float(len(text))


def test_the_middle_is_left_out() -> None:
    assert shortened("orchard_at_dusk_0042", 11, letters, 7, False) == f"orchar{ELLIPSIS}0042"
    assert shortened("orchard", 7, letters, 7, False) == "orchard"
    assert shortened("orchard", 1, letters, 7, False) == ELLIPSIS
    assert shortened("orchard", 0.5, letters, 7, False) == ""


@pytest.mark.parametrize(
    ("text", "width", "expected"),
    [
        ("Standing by the ladder, low sun from camera left", 30, "Standing by the…camera left"),
        ("Standing by the ladder, low sun from camera left", 22, "Standing by the…left"),
        ("low sun from camera left and right of it", 12, "low…of it"),
        ("saffron and long ago · version 2", 20, "saffron…version 2"),
    ],
)
def test_words_are_left_out_whole(text: str, width: int, expected: str) -> None:
    assert shortened(text, width, letters, 7, False) == expected


@pytest.mark.parametrize("width", range(1, 30))
@pytest.mark.parametrize(
    "text",
    [
        "orchard_at_dusk_20260919_0042", "A-0042", "0042-orchard-at-dusk", "kept at 1/125, f/5.6, ISO 3200 and so on",
        "lifted by 1,25 stops, 0,30 under the card", "1,25 and 0,75", "a margin of 1,600 pixels",
    ],
)  # fmt: skip
def test_no_number_is_cut(text: str, width: int) -> None:
    """What is left of the ellipsis and right of it has the numbers of the text, whole."""
    numbers = re.findall(r"\d+(?:[.,/:]\d+)*", text)
    for part in shortened(text, width, letters, 7, False).split(ELLIPSIS):
        assert all(number in numbers for number in re.findall(r"\d+(?:[.,/:]\d+)*", part))


def test_the_number_at_the_end_goes_before_the_beginning() -> None:
    assert shortened("orchard_at_dusk_0042", 5, letters, 7, False) == f"{ELLIPSIS}0042"
    assert shortened("orchard_at_dusk_0042", 7, letters, 7, False) == f"or{ELLIPSIS}0042"
    assert shortened("orchard_at_dusk_0042", 4, letters, 7, False) == f"or{ELLIPSIS}"


def test_a_number_longer_than_any_frames_is_cut() -> None:
    """A moment written as fourteen digits is no frame's number; its end is better than nothing."""
    assert shortened("20260919183042", 7, letters, 7, False) == f"202{ELLIPSIS}042"


def test_marks_stay_with_their_letters() -> None:
    text = "x\u0323\u0301" * 9
    for width in range(1, 27):
        short = shortened(text, width, letters, 7, False).replace(ELLIPSIS, "")
        assert len(short) % 3 == 0


@given(ANY_TEXT, st.floats(0, 80), st.booleans())
def test_shortened_fits_and_keeps_both_ends(text: str, width: float, bold: bool) -> None:
    short = shortened(text, width, measure, 7, bold)
    assert measure(short, 7, bold) <= width or short == ""
    if ELLIPSIS not in text and ELLIPSIS in short:
        head, tail = short.split(ELLIPSIS)
        assert text.startswith(head)
        assert text.endswith(tail)


@given(ANY_TEXT, st.floats(5, 60), st.integers(1, 4))
def test_wrapped_lines_fit(text: str, width: float, most: int) -> None:
    lines = wrapped(tidy(text), width, most, measure, 9, False)
    assert len(lines) <= most
    assert all(line and measure(line, 9, False) <= width for line in lines)


def test_wrapped_breaks_at_spaces_and_drops_the_dot_at_a_break() -> None:
    assert wrapped("f/8 · 1/125 · ISO 100", 12, 2, letters, 7, False) == ["f/8 · 1/125", "ISO 100"]
    assert wrapped("f/8 · 1/125 · ISO 100", 21, 2, letters, 7, False) == ["f/8 · 1/125 · ISO 100"]
    assert wrapped("one two three", 7, 3, letters, 7, False) == ["one two", "three"]
    assert wrapped("", 7, 3, letters, 7, False) == []


@given(ANY_TEXT | st.text(st.characters(categories=["Cc", "Cf", "Cs", "Mn", "Zl", "Ll"])))
def test_tidy_leaves_one_composed_line(text: str) -> None:
    clean = tidy(text)
    assert not {unicodedata.category(sign) for sign in clean} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert tidy(clean) == clean


def test_tidy_composes_and_shows_what_is_no_text() -> None:
    assert tidy("e\u0301te\u0301\tA\nB") == "été A B"
    assert tidy("e\u200d\u0301") == "é"
    assert tidy("\u0301") == "\N{DOTTED CIRCLE}\u0301"
    assert tidy("A\udcff1") == f"A{REPLACEMENT}1"


@pytest.mark.parametrize("bold", [False, True])
def test_advances_equal_those_of_two_other_readers(bold: bool) -> None:
    """Second implementations: fontTools (hmtx, cmap) and FreeType through Pillow at one unit a pixel."""
    from PIL import ImageFont

    tools = pytest.importorskip("fontTools.ttLib", reason="fontTools is not installed")
    known = face(bold)
    font = tools.TTFont(known.path)
    em = font["head"].unitsPerEm
    expected = {code: font["hmtx"][name][0] / em for code, name in font.getBestCmap().items()}
    assert known.advances == expected
    assert (known.ascent, known.descent) == (font["hhea"].ascent / em, -font["hhea"].descent / em)
    drawn = ImageFont.truetype(str(known.path), em, layout_engine=ImageFont.Layout.BASIC)
    for text in ("f/8 · 1/125 · ISO 100 · ambient −2", "Ψάθα", "Яблоневый", "Žluťoučký kůň"):
        assert drawn.getlength(text) == pytest.approx(sum(known.advances[ord(sign)] for sign in text) * em, abs=1)


def test_a_text_of_72_points_is_an_inch_an_em() -> None:
    em = face(False).advances[ord("m")]
    assert measure("m", 72) == pytest.approx(25.4 * em)


@pytest.mark.parametrize("bold", [False, True])
def test_the_shipped_faces_are_small_and_carry_what_captions_need(bold: bool) -> None:
    assert face(bold).path.stat().st_size < 290_000
    needed = "ÀÿĀſƀɏΑωЀџ–—‘’“”…·×÷−±½⅓⅔¼→↑↓≈≤≥°′″©®™€£★☆✓" + REPLACEMENT
    assert printable(needed, bold) == needed
    assert "public domain" in (FONTS / "LICENSE.txt").read_text(encoding="utf-8")


def test_missing_signs_are_replaced_and_told_once() -> None:
    assert printable("A写B") == f"A{REPLACEMENT}B"
    assert measure("写", 7) == measure(REPLACEMENT, 7)
    (told,) = notices_of(["A写B", "写"])
    assert "写" in told
    assert "'A写B'" in told
    assert notices_of(["Orchard, été, Сад"]) == []


def test_many_missing_signs_are_counted() -> None:
    told = notices_of(["".join(chr(0x4E00 + i) for i in range(40))])
    assert len(told) == 13
    assert told[-1].startswith("28 more signs")


def test_a_no_break_space_gives_way_only_where_nothing_else_helps() -> None:
    told = "clipped_white_0.4_% · skin_hue_+2°".replace("_", NO_BREAK_SPACE)
    room = measure("clipped white 0.4 %", 7, False) + 1
    assert wrapped(told, room, 4, measure, 7, False) == [part.strip() for part in told.split("·")]
    narrow = measure("clipped white", 7, False) + 1
    assert wrapped(told, narrow, 6, measure, 7, False) == ["clipped white", "0.4 %", told.split("· ")[1]]
