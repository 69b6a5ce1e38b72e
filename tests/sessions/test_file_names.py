"""Which names some disk takes for one."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.sessions.file_names import as_disks_compare


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("A-0001.JPG", "a-0001.jpg"),
        ("Straße", "STRASSE"),
        ("straße", "STRAẞE"),
        ("Ren\u00e9e", "Rene\u0301e"),
        ("REN\u00c9E", "rene\u0301e"),
        ("\u212b", "a\u030a"),  # the ångström sign
        ("ΣΑΣ", "σας"),
        ("o\u0323\u0302", "\u1ed9"),
        ("ﬁlm", "FILM"),
    ],
)
def test_names_of_one_file(one: str, other: str) -> None:
    assert as_disks_compare(one) == as_disks_compare(other)


@pytest.mark.parametrize(("one", "other"), [("e", "é"), ("A-1", "A-01"), ("I", "ı"), ("a_b", "a-b"), ("²", "2")])
def test_names_of_two_files(one: str, other: str) -> None:
    assert as_disks_compare(one) != as_disks_compare(other)


@given(st.text(max_size=12))
def test_the_form_and_the_case_of_a_name_do_not_count(name: str) -> None:
    """Canonical caseless matching, Unicode Standard 15.0, D145."""
    wanted = as_disks_compare(name)
    for form in ("NFC", "NFD"):
        assert as_disks_compare(unicodedata.normalize(form, name)) == wanted
    assert as_disks_compare(name.casefold()) == wanted
    assert as_disks_compare(wanted) == wanted
