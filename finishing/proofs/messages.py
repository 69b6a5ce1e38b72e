"""Finds a client's answer in what came: the saved file, a mail with everything around it, or a text with the answer.

The proof page copies the answer as a block that mail programs cannot harm unseen:

    ANSWER BEGINS HERE
    eyJmaW5pc2hpbmdfYW5zd2VyIjoxLCJzZXNzaW9uIjp7ImlkIjoiOWY4NmQw
    ...
    ANSWER ENDS HERE 5d41402a

Between the two lines stands the answer's JSON in UTF-8 as base64 (RFC 4648), without the filling at its end, in short
lines; the last word is the JSON's CRC-32 (RFC 1952, section 8) in hexadecimal digits. All that is no sign of base64 is
passed over: quote marks, spaces of any kind, line ends. Pages made earlier copied the plain JSON; of that, quote marks,
broken lines and curly quotes are undone as far as nothing has to be guessed.
"""

import base64
import binascii
import email
import json
import re
import zlib
from collections.abc import Iterator
from email.message import Message
from html.parser import HTMLParser
from itertools import pairwise

from finishing.errors import Problem
from finishing.proofs.quoting import shown

ASK = "ask the client for the saved file (Save answer on the proof page), or for the answer to be copied once more"
_CHANGED = "a mail program changed or cut the answer on its way"
_BEGINS = re.compile(r"\bANSWER\W+BEGINS\W+HERE\b")
_ENDS = re.compile(r"\bANSWER\W+ENDS\W+HERE\W+([0-9a-f]{8})\b")
_NOT_BASE64 = re.compile(r"[^A-Za-z0-9+/]+")

# What a mail begins with: header lines (RFC 5322, section 2.2), some of which every mail has.
_HEADER = re.compile(rb"\A(?:From [^\n]*\n)?(?:[!-9;-~]+:[^\n]*\n(?:[ \t][^\n]*\n)*)+\r?\n")
_MAIL = re.compile(rb"^(?:from|date|subject|received|mime-version|content-type):", re.IGNORECASE | re.MULTILINE)

_KEY = '"finishing_answer"'
_QUOTE_MARKS = re.compile(r"^[^\S\n]*(?:[>|][^\S\n]?)+", re.MULTILINE)
_CURLY = str.maketrans(dict.fromkeys("“”„‟″«»", '"'))
_SPACES = re.compile(r"[^\S\n]")
_UNSEEN = str.maketrans(dict.fromkeys("\u200b\u2060\ufeff\u00ad"))
#: Find where the answer ends, with numbers as texts, however long; one of them also passes over line ends within texts.
_FINDER = json.JSONDecoder(parse_int=str, parse_float=str)
_BROKEN_FINDER = json.JSONDecoder(parse_int=str, parse_float=str, strict=False)


def answer_in(content: bytes) -> str:
    """The JSON of the answer in a file's bytes; what it says is not looked at. Raises Problem, told without a place."""
    if content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        return _plain(_decoded(content), whole=True)
    for text in _texts(content):
        found = _block(text)
        if found is None and (_KEY in text or _KEY in text.translate(_CURLY)):
            found = _plain(text, whole=text.lstrip().startswith("{"))
        if found is not None:
            return found
    _decoded(content)
    raise _unreadable("no answer in it", remedy="name the file that the proof page saved, or the client's message")


def _unreadable(got: str, expected: str = "the answer of a proof page", remedy: str = ASK) -> Problem:
    return Problem("this answer cannot be read", got=got, expected=expected, remedy=remedy)


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _unreadable("signs that are not UTF-8", remedy=ASK) from None


# Mails


def _texts(content: bytes) -> Iterator[str]:
    """The texts of a mail, saved answers that are attached first and pages last; or the content itself."""
    header = _HEADER.match(content)
    if header and _MAIL.search(header[0]):
        try:
            parts = [part for part in email.message_from_bytes(content).walk() if not part.is_multipart()]
        except RecursionError:
            raise _unreadable("a mail of endless parts") from None
        yield from sorted(filter(None, map(_text_of, parts)), key=_rank)
    text = content.decode("utf-8", "replace")
    yield _page_text(text) if _is_page(text) else text


def _text_of(part: Message) -> str:
    payload = part.get_payload(decode=True)  # undoes quoted-printable and base64
    if not isinstance(payload, bytes):
        return ""
    try:
        text = payload.decode(part.get_content_charset("utf-8"), "replace")
    except (LookupError, ValueError):  # a charset of no such name
        text = payload.decode("utf-8", "replace")
    return _page_text(text) if part.get_content_type() == "text/html" else text


def _rank(text: str) -> int:
    return 0 if text.lstrip("\ufeff \t\r\n").startswith("{") else 1


def _is_page(text: str) -> bool:
    return text.lstrip("\ufeff \t\r\n")[:200].lower().startswith(("<!doctype html", "<html"))


class _PageText(HTMLParser):
    """The text of an HTML mail; whatever is not within a line of text ends the line."""

    WITHIN = frozenset(("a", "b", "code", "em", "font", "i", "span", "strong", "tt", "u", "wbr"))

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in self.WITHIN:
            self.found.append("\n")

    def handle_endtag(self, tag: str) -> None:
        self.handle_starttag(tag, ())


def _page_text(text: str) -> str:
    reader = _PageText()
    reader.feed(text)
    reader.close()
    return "".join(reader.found)


# The block that the page copies


def _block(text: str) -> str | None:
    """The JSON of the marked block, or None where there is no such block."""
    begins = [found.end() for found in _BEGINS.finditer(text)]
    end = _ENDS.search(text)
    if end and not begins:
        told = f'line {_line(text, end.start())} ends an answer, and no line "ANSWER BEGINS HERE" stands before it'
        raise _unreadable(f"{_CHANGED}: {told}")
    found = dict.fromkeys(
        _opened(text[start:stop], _line(text, start)) for start, stop in pairwise([*begins, len(text)])
    )
    if len(found) > 1:
        raise Problem(
            "this message has several answers in it", got=f"{len(found)} that differ", expected="one",
            remedy="keep the one that counts and take the others out, or ask the client for the saved file",
        )  # fmt: skip
    return next(iter(found), None)


def _opened(text: str, line: int) -> str:
    end = _ENDS.search(text)
    if end is None:
        told = f'line {line} begins an answer, and no line "ANSWER ENDS HERE" with its check word follows'
        raise _unreadable(f"{_CHANGED}: {told}")
    packed = _NOT_BASE64.sub("", text[: end.start()])
    try:
        content = base64.b64decode(packed + "=" * (-len(packed) % 4))
        if zlib.crc32(content) == int(end[1], 16):
            return content.decode()
    except (binascii.Error, UnicodeDecodeError):
        pass
    last = line + text.count("\n", 0, end.start())
    raise _unreadable(f"{_CHANGED}: something between line {line} and line {last} is not as the page copied it")


def _line(text: str, at: int) -> int:
    return text.count("\n", 0, at) + 1


# Plain JSON


def _plain(text: str, *, whole: bool) -> str:
    """The JSON as it was saved, or in a message. whole: nothing stands around it."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    try:
        return _part(text, _FINDER, whole=whole)
    except RecursionError:
        raise _unreadable("lists in lists without end") from None
    except json.JSONDecodeError:
        pass
    try:
        found = _unbroken(_part(_mended(text), _BROKEN_FINDER, whole=whole))
        _FINDER.decode(found)
    except RecursionError:
        raise _unreadable("lists in lists without end") from None
    except json.JSONDecodeError as error:
        line = _line(error.doc, error.pos)
        told = error.doc.split("\n")[line - 1].strip()
        raise _unreadable(f"{_CHANGED}: line {line}, {shown(told)}") from None
    return found


def _part(text: str, finder: json.JSONDecoder, *, whole: bool) -> str:
    """The last answer in a text. Raises json.JSONDecodeError, RecursionError."""
    key = text.rfind(_KEY)
    start = 0 if whole else text.rfind("{", 0, max(key, 0))
    if start < 0:
        raise json.JSONDecodeError("nothing opens the answer", text, max(key, 0))
    start += len(text[start:]) - len(text[start:].lstrip())
    _, end = finder.raw_decode(text, start)
    if whole and text[end:].strip():
        raise json.JSONDecodeError("more behind it", text, end + len(text[end:]) - len(text[end:].lstrip()))
    return text[start:end]


def _mended(text: str) -> str:
    """Without quote marks before lines, with plain spaces and straight quotes; lines keep their numbers."""
    if _KEY not in text:
        text = text.translate(_CURLY)
    head = text[: max(text.rfind(_KEY), 0)].rpartition("\n")[2]
    if _QUOTE_MARKS.match(head):
        text = _QUOTE_MARKS.sub("", text)
    return _SPACES.sub(" ", text.translate(_UNSEEN))


def _unbroken(text: str) -> str:
    """JSON whose texts are on one line again: a mail program breaks lines at spaces."""
    return re.sub(r'"(?:[^"\\]|\\.)*"', lambda found: re.sub(r" *\n *", " ", found[0]), text, flags=re.DOTALL)
