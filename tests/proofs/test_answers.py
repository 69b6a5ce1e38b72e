"""An answer file may come from anyone: what is not one is refused, with reasons."""

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.errors import ProblemSet
from finishing.proofs.answers import BYTES_LIMIT, NOTE_LIMIT, Pick, read_answer
from finishing.proofs.quoting import shown

GOOD: dict[str, Any] = {
    "finishing_answer": 1,
    "session": {"id": "0123456789abcdef", "title": "Orchard"},
    "picks": [{"frame": "A-1", "looks": ["faded_print"], "note": " two\nlines "}],
}


def with_pick(**changes: Any) -> bytes:
    return json.dumps(GOOD | {"picks": [GOOD["picks"][0] | changes]}).encode()


def test_a_good_answer() -> None:
    answer = read_answer(json.dumps(GOOD).encode(), "answer.json")
    assert (answer.session, answer.title) == ("0123456789abcdef", "Orchard")
    assert answer.picks == (Pick("A-1", ("faded_print",), "two\nlines"),)


def test_the_copied_text_in_a_message() -> None:
    note = {"picks": [GOOD["picks"][0] | {"note": '{"finishing_answer": 1, "x": "}"}'}]}
    message = f"Dear all,\n{{here}} it is:\n\n{json.dumps(GOOD | note, indent=1)}\n\nBest wishes {{:\n"
    assert read_answer(message.encode(), "m.txt").picks[0].frame == "A-1"
    assert read_answer(("\ufeff" + json.dumps(GOOD)).encode(), "m.txt").picks[0].frame == "A-1"


WRONG: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "cannot be read"),
    "not text": (b"\xff\xfe\x00{", "not UTF-8"),
    "no answer": (b"hello", "no answer in it"),
    "a list": (b"{}[]", "cannot be read"),
    "cut off": (json.dumps(GOOD).encode()[:-3], "cannot be read"),
    "something behind it": (json.dumps(GOOD).encode() + b"{}", "cannot be read"),
    "nested without end": (b'{"a":' + b"[" * 100_000, "cannot be read"),
    "too large": (b" " * (BYTES_LIMIT + 1), "at most"),
    "a key twice": (b'{"finishing_answer": 1, "finishing_answer": 1}', "says something twice"),
    "not a number": (with_pick().replace(b'" two', b"NaN, "), "cannot be read"),
    "a key missing": (b'{"finishing_answer": 1, "picks": []}', 'lacks "session"'),
    "a key too many": (json.dumps(GOOD | {"run": "x"}).encode(), "a key that no answer has"),
    "true for 1": (json.dumps(GOOD | {"finishing_answer": True}).encode(), "does not know"),
    "1.0 for 1": (json.dumps(GOOD | {"finishing_answer": 1.0}).encode(), "does not know"),
    "a huge number": (json.dumps(GOOD).replace("1", "1" * 5000, 1).encode(), "does not know"),
    "session a text": (json.dumps(GOOD | {"session": "x"}).encode(), "not of the form"),
    "picks a mapping": (json.dumps(GOOD | {"picks": {}}).encode(), "no list"),
    "a pick a text": (json.dumps(GOOD | {"picks": ["A-1"]}).encode(), "not of the form"),
    "frame a number": (with_pick(frame=1), "no text"),
    "looks a text": (with_pick(looks="faded_print"), "no list"),
    "a look twice": (with_pick(looks=["a", "a"]), "a look twice"),
    "a look a list": (with_pick(looks=[["a"]]), "no text"),
    "note too long": (with_pick(note="x" * (NOTE_LIMIT + 1)), "too long"),
    "note with a bell": (with_pick(note="\x07"), "signs that no note needs"),
    "note with half a pair": (with_pick(note="\ud800"), "signs that no note needs"),
    "note turned round": (with_pick(note="a\u202eb"), "signs that no note needs"),
    "nothing said": (with_pick(looks=[], note=" "), "says nothing"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_no_answer_is_refused_with_its_reason(case: str) -> None:
    content, reason = WRONG[case]
    with pytest.raises(ProblemSet) as refused:
        read_answer(content, "answer.json")
    assert reason in str(refused.value)
    assert all(problem.where == "answer.json" and problem.remedy for problem in refused.value.problems)


def test_all_that_is_wrong_is_told_at_once() -> None:
    picks = [{"frame": 1, "looks": 2, "note": 3}, {"frame": "A"}]
    with pytest.raises(ProblemSet) as refused:
        read_answer(json.dumps(GOOD | {"picks": picks}).encode(), "answer.json")
    assert len(refused.value.problems) == 5


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["frame", "looks", "note", "id", "x"]), inner)
    ),
    max_leaves=8,
)


@given(st.fixed_dictionaries({"finishing_answer": st.just(1) | JSON, "session": JSON, "picks": JSON}))
def test_whatever_stands_in_it_only_a_problem_comes_out(data: dict[str, Any]) -> None:
    with contextlib.suppress(ProblemSet):
        read_answer(json.dumps(data).encode(), "answer.json")


@given(st.text())
def test_what_is_shown_can_be_printed(text: str) -> None:
    assert shown(text).isprintable()
