"""The page as text: whole in itself, and nothing that comes from outside becomes markup."""

import base64
import hashlib
import json
import re
import string
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing import proofs
from finishing.proofs.model import ProofFrame, ProofGroup, ProofPage, ProofPicture, session_id
from finishing.proofs.page import MARK, SCRIPTS, proof_html
from finishing.proofs.texts import TEXTS

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; alert(1); '",
    "</title></script><!--",
    "\u202egnp.exe",
    "${data} $$ {frame} {}",
    "&lt;b&gt; &amp;",
    "مرحبا",
]


def picture(number: int, called: str) -> ProofPicture:
    name = f"pictures/{number:04}-{called}"
    return ProofPicture(f"{name}.jpg", 300, 200, f"{name}-small.jpg", 90, 60)


def page_of(names: list[str], *, title: str = "Orchard", looks: dict[str, str] | None = None) -> ProofPage:
    looks = looks or {"faded_print": "Faded print", "white_edge": "White edge"}
    frames = tuple(
        ProofFrame(name, {look: picture(n, look) for look in looks}, picture(n, "original"))
        for n, name in enumerate(names, 1)
    )
    groups = (ProofGroup(f"A · {title}", frames), ProofGroup("", ()))
    return ProofPage(session_id(title, ""), title, f"place {title}", f"© {title}", looks, groups)


class Reader(HTMLParser):
    """Elements with their attributes, and the texts between them by their element."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append((self.tags[-1][0] if self.tags else "", data))


@pytest.mark.parametrize("text", HOSTILE)
def test_names_titles_and_looks_are_texts(text: str) -> None:
    tame = Reader(proof_html(page_of(["A-1"])))
    wild = Reader(proof_html(page_of([text], title=text, looks={text: text, "white_edge": "White edge"})))
    keep = {"class", "id", "type", "src", "for", "hidden"}
    shape = [[(tag, {k: v for k, v in attrs.items() if k in keep}) for tag, attrs in one.tags] for one in (tame, wild)]
    assert [tag for tag, _ in shape[0]] == [tag for tag, _ in shape[1]]
    assert not any(key.startswith("on") or key == "style" for _, attrs in wild.tags for key in attrs)
    assert {data for tag, data in wild.texts if tag == "bdi"} >= {text, f"A · {text}", f"© {text}"}
    data = json.loads(next(data for tag, data in wild.texts if tag == "script" and data.startswith('{"id"')))
    assert data["frames"][0]["name"] == data["title"] == data["looks"][0]["name"] == text


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_the_data_never_end_their_element(text: str) -> None:
    found = re.search(r'id="proof">(.*?)</script>', proof_html(page_of([text], title=text)), re.DOTALL)
    assert found
    assert not set("<>&") & set(found.group(1))
    assert json.loads(found.group(1))["frames"][0]["name"] == text


def test_one_file_that_asks_for_nothing_but_its_pictures() -> None:
    html = proof_html(page_of(["A-1", "A-2"]))
    reader = Reader(html)
    for tag, attrs in reader.tags:
        for key in ("src", "href", "action", "data", "srcset"):
            value = attrs.get(key)
            assert value is None or value.startswith(("pictures/", "#", "data:,")), (tag, value)
    assert "http:" not in html
    assert "https:" not in html
    assert "@import" not in html
    assert MARK in html[:4096]
    assert html == proof_html(page_of(["A-1", "A-2"]))


def test_the_policy_allows_this_style_and_this_script_only() -> None:
    """Hashes as in Content Security Policy Level 3, 6.7.3.3: of the text between the tags, base64 of SHA-256."""
    html = proof_html(page_of(["A-1"]))
    policy = next(a["content"] for t, a in Reader(html).tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert directives["default-src"] == "'none'"
    assert directives["img-src"] == "'self' file: data:"
    for element, directive in (("style", "style-src"), ("script", "script-src")):
        inside = re.findall(rf"<{element}>(.*?)</{element}>", html, re.DOTALL)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert directives[directive] == f"'sha256-{digest}'"
    assert re.search(r"<style>.*</style>", html[: html.index("<body>")], re.DOTALL)


def test_pictures_are_fetched_when_they_come_near() -> None:
    images = [attrs for tag, attrs in Reader(proof_html(page_of(["A-1", "A-2"]))).tags if tag == "img"]
    assert len(images) == 4
    for image in images:
        assert image["loading"] == "lazy"
        assert (image["width"], image["height"]) == ("90", "60")
        assert image["src"].endswith("-small.jpg")
    assert images[0]["alt"] == "A-1, Faded print"


def test_texts_can_be_translated() -> None:
    other = {key: f"«{text}»" for key, text in TEXTS.items()}
    html = proof_html(page_of(["A-1"]), other, language="x-other", direction="rtl")
    assert '<html lang="x-other" dir="rtl">' in html
    seen = Reader(html)
    plain = [data.strip() for tag, data in seen.texts if data.strip() and tag not in ("style", "script")]
    given_texts = {
        "Orchard",
        "A · Orchard",
        "place Orchard",
        "© Orchard",
        "A-1",
        "Faded print",
        "White edge",
    }
    assert [text for text in plain if "«" not in text and text not in given_texts] == []


def test_the_client_is_told_where_the_answer_goes() -> None:
    without = proof_html(page_of(["A-1"]))
    assert "then send us the saved file." in without
    told = proof_html(replace(page_of(["A-1"]), contact="<b>@example.org"))
    assert "then send the saved file to <bdi>&lt;b&gt;@example.org</bdi>." in told
    data = next(data for tag, data in Reader(told).texts if tag == "script" and data.startswith('{"id"'))
    assert json.loads(data)["contact"] == "<b>@example.org"


def test_every_text_is_used_and_keeps_its_fields() -> None:
    room = Path(proofs.__file__).parent
    code = "".join((room / name).read_text("utf-8") for name in ("page.html", "page.py", *SCRIPTS))
    for key, text in TEXTS.items():
        assert re.search(rf'\$\{{text_{key}}}|"{key}"|\btext\.{key}\b', code), key
        assert all(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)


def _luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance, of #rgb or #rrggbb."""
    digits = colour[1:] if len(colour) == 7 else "".join(d * 2 for d in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_colours_are_neutral_and_stand_out() -> None:
    """WCAG 2.2, 1.4.3 and 1.4.11: 4.5 for text, 3 for the outlines of controls."""
    style = (Path(proofs.__file__).parent / "style.css").read_text("utf-8")
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", style))

    def contrast(a: str, b: str) -> float:
        low, high = sorted((_luminance(named.get(a, a)), _luminance(named.get(b, b))))
        return (high + 0.05) / (low + 0.05)

    for ground in ("paper", "sheet"):
        assert contrast("ink", ground) >= 4.5
        assert contrast("quiet", ground) >= 4.5
        assert contrast("edge", ground) >= 3
    assert contrast("ink", "#ffffff") >= 4.5  # white on chosen
    for colour in re.findall(r"#[0-9a-f]{3,8}\b", style):
        digits = colour[1:]
        size = 2 if len(digits) >= 6 else 1
        assert digits[:size] == digits[size : 2 * size] == digits[2 * size : 3 * size], colour


def test_the_id_of_a_session() -> None:
    assert session_id("Orchard", "2026-09-19") == session_id("Orchard", "2026-09-19")
    assert len({session_id(*one) for one in (("a", ""), ("b", ""), ("a", "2026-09-19"))}) == 3
