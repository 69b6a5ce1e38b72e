"""A copied answer comes through mail, quoted, wrapped, encoded or changed; what was lost is told with its line."""

import base64
import contextlib
import json
import textwrap
import zlib
from collections.abc import Callable
from email import policy
from email.message import EmailMessage
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.errors import ProblemSet
from finishing.proofs.answers import Answer, read_answer

GIVEN: dict[str, Any] = {
    "finishing_answer": 1,
    "session": {"id": "0123456789abcdef", "title": "Orchard at dusk"},
    "picks": [
        {"frame": "A 1", "looks": ["faded_print", "white_edge"], "note": ""},
        {
            "frame": "A-2",
            "looks": [],
            "note": 'A little "brighter", please: ten words more make this line long > 72.\nü',
        },
    ],
}


def block(given: Any = GIVEN) -> str:
    """As the page copies it, written from the published definitions (RFC 4648, RFC 1952)."""
    content = json.dumps(given, ensure_ascii=False).encode()
    lines = textwrap.wrap(base64.b64encode(content).decode().rstrip("="), 60)
    return "\n".join(["ANSWER BEGINS HERE", *lines, f"ANSWER ENDS HERE {zlib.crc32(content):08x}"])


NEW = f"Hello,\nhere “they” are – at last.\n\nA 1: Faded print, White edge\n\n{block()}\n\nGrüße\n-- \nK.\n"
#: What pages copied before: the plain JSON.
EARLIER = f"Hello,\nhere they are.\n\n{json.dumps(GIVEN, indent=1)}\n\nBest, K.\n"
ANSWER = read_answer(json.dumps(GIVEN).encode(), "answer.json")


def read(content: str | bytes) -> Answer:
    return read_answer(content if isinstance(content, bytes) else content.encode(), "mail.txt")


def quoted(text: str) -> str:
    return "".join(f"> {line}\n" for line in text.splitlines())


def wrapped(text: str) -> str:
    lines = [textwrap.wrap(line, 72, drop_whitespace=False) or [""] for line in text.splitlines()]
    return "\n".join(part.rstrip() for parts in lines for part in parts)


def mail(encoding: str, text: str, charset: str = "utf-8") -> bytes:
    message = EmailMessage(policy=policy.SMTP)
    message["From"], message["Subject"] = "k@example.org", "Our picks for the orchard, at last: " + "thank you, " * 9
    message.set_content(text, charset=charset, cte=encoding)
    return message.as_bytes()


WAYS: dict[str, Callable[[str], str | bytes]] = {
    "as it is": lambda text: text,
    "quoted": quoted,
    "quoted twice": lambda text: quoted(quoted(text)),
    "quoted with bars": lambda text: "".join(f"| {line}\n" for line in text.splitlines()),
    "wrapped": wrapped,
    "wrapped, then quoted": lambda text: quoted(wrapped(text)),
    "other line ends": lambda text: text.replace("\n", "\r\n"),
    "no-break spaces": lambda text: text.replace(" ", "\u00a0"),
    "signs without a width": lambda text: text.replace("\n", "\n\u200b"),
    "quoted-printable": lambda text: mail("quoted-printable", text),
    "base64": lambda text: mail("base64", text),
    "eight bits": lambda text: mail("8bit", text),
    "quoted, wrapped and encoded": lambda text: mail("quoted-printable", quoted(wrapped(text))),
    "a header pasted": lambda text: f"From: k@example.org\nSubject: picks\n\n{text}",
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("text", [NEW, EARLIER], ids=["block", "plain"])
def test_an_answer_comes_through(way: str, text: str) -> None:
    answer = read(WAYS[way](text))
    assert answer == ANSWER


def test_curly_quotes_are_straightened() -> None:
    plain = json.loads(json.dumps(GIVEN))
    plain["picks"][1]["note"] = "brighter"
    text = EARLIER.replace(json.dumps(GIVEN, indent=1), json.dumps(plain, indent=1))
    for left, right in ("””", "“”", "„“"):
        parts = text.split('"')
        curly = "".join(part + (left, right)[i % 2] for i, part in enumerate(parts[:-1])) + parts[-1]
        assert read(curly).picks[1].note == "brighter"
        assert read(NEW.replace('"', left)) == ANSWER


@pytest.mark.parametrize("name", ["answer.json", "answer.txt"])
def test_the_saved_file_attached_to_a_mail(name: str) -> None:
    message = EmailMessage()
    message["Subject"] = "picks"
    message.set_content("The file is attached.")
    message.add_attachment(json.dumps(GIVEN).encode(), maintype="application", subtype="octet-stream", filename=name)
    assert read(message.as_bytes()) == ANSWER


def test_a_mail_that_is_a_page_or_forwards_another() -> None:
    page = "<html><body><p>Hello,</p><pre>" + block().replace("\n", "<br>") + "</pre></body></html>"
    assert read(page) == ANSWER
    message = EmailMessage()
    message["Subject"] = "picks"
    message.set_content(page, subtype="html")
    assert read(message.as_bytes()) == ANSWER
    outer = EmailMessage()
    outer["Subject"] = "forwarded"
    outer.set_content("See below.")
    outer.add_attachment(message)
    assert read(outer.as_bytes()) == ANSWER


def test_the_same_answer_twice_is_one_and_two_that_differ_are_none() -> None:
    assert read(NEW + quoted(NEW)) == ANSWER
    other = block(GIVEN | {"picks": GIVEN["picks"][:1]})
    with pytest.raises(ProblemSet, match="several answers") as refused:
        read(f"This counts:\n{other}\n{quoted(NEW)}")
    assert "saved file" in str(refused.value)


LOST: dict[str, tuple[str | bytes, str]] = {
    "the end": (NEW[: NEW.index("ANSWER ENDS")], 'line 6 begins an answer, and no line "ANSWER ENDS HERE"'),
    "the beginning": (NEW[NEW.index("BEGINS HERE") :], 'and no line "ANSWER BEGINS HERE" stands before it'),
    "a line": (NEW.replace(block().splitlines()[2] + "\n", ""), "something between line 6 and line"),
    "a sign": (NEW.replace(block().splitlines()[1], "f" + block().splitlines()[1][1:]), "between line 6 and line"),
    "the check word": (NEW.replace("ENDS HERE ", "ENDS HERE 0"), "line 6 begins an answer"),
    "a quote of the plain form": (EARLIER.replace('"looks": [],', 'looks": [],'), 'line 21, "looks'),
    "the end of the plain form": (EARLIER[: EARLIER.index('"A-2"') + 5], "line 20"),
    "the plain form of a mail": (mail("quoted-printable", EARLIER[:200]), "line 1"),
}


@pytest.mark.parametrize("case", LOST)
def test_what_was_lost_on_the_way_is_told_in_plain_words(case: str) -> None:
    content, told = LOST[case]
    with pytest.raises(ProblemSet) as refused:
        read(content)
    said = str(refused.value)
    assert told in said
    assert "ask the client for the saved file" in said
    assert "Expecting" not in said
    assert "delimiter" not in said


def test_a_block_is_read_as_strictly_as_a_file() -> None:
    for wrong, reason in (
        (GIVEN | {"run": "x"}, "a key that no answer has"),
        (GIVEN | {"picks": [{"frame": "A", "looks": [], "note": "a\u202eb"}]}, "signs that no note needs"),
        ([], "not of the form"),
    ):
        with pytest.raises(ProblemSet, match=reason):
            read(block(wrong))
    with pytest.raises(ProblemSet, match="cannot be read"):
        read(
            b"Content-Type: multipart/mixed; boundary=a\n\n"
            + b"--a\nContent-Type: multipart/mixed; boundary=a\n\n" * 5000
        )


@given(st.text(), st.lists(st.text(max_size=200), max_size=4))
def test_any_note_comes_through_all_ways(title: str, notes: list[str]) -> None:
    picks = [{"frame": str(n), "looks": ["a"], "note": note} for n, note in enumerate(notes)]
    given_ = GIVEN | {"session": {"id": "0", "title": title}, "picks": picks}
    try:
        answer = read(json.dumps(given_))
    except ProblemSet:
        return
    for way in WAYS.values():
        assert read(way(f"Hello\n{block(given_)}\nBye")) == answer


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode), st.integers(0, 900), st.integers(0, 900))
def test_whatever_happens_to_a_mail_only_the_answer_or_a_problem_comes_out(junk: bytes, at: int, gone: int) -> None:
    content = mail("quoted-printable", NEW)
    with contextlib.suppress(ProblemSet):
        assert read(content[:at] + junk + content[at + gone :]) == ANSWER
