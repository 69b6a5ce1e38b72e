"""The proof page as a client answers on it: driven in Chromium, on a wide screen and on a phone."""

import textwrap
import threading
from collections.abc import Callable
from email.message import EmailMessage
from email.policy import SMTP
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
import yaml

from finishing.batch.client.picking import bring_in
from finishing.batch.delivery.run import run
from finishing.batch.work.assignment import assign
from finishing.proofs.answers import Pick
from tests.proofs.driving import HOSTILE, SCREENS, Open, choose, mount, pressed, progress, saved, wait_for_picture

pytestmark = pytest.mark.slow


@SCREENS
def test_from_choosing_to_the_finished_files(shoot: Path, tmp_path: Path, opened: Open, screen: dict[str, Any]) -> None:
    here = opened(shoot / "proof", **screen)
    page = here.page
    assert progress(page) == "0 of 8 frames chosen"
    choose(page, 1).click()
    mount(page, 0, 1).click()
    page.click("#pick")
    page.fill("#note", 'Brighter, "please":\n<b>thank you</b> \u202e')
    page.click("#next")
    assert page.locator("#viewer-name").inner_text() == "A-0002"
    page.click("#close")
    assert progress(page) == "2 of 8 frames chosen"
    page.reload()
    assert progress(page) == "2 of 8 frames chosen"
    assert pressed(choose(page, 0, 1))
    assert not pressed(choose(page, 0, 0))
    assert page.locator('.frame[data-frame="0"] .note').inner_text() == 'Brighter, "please":\n<b>thank you</b>'
    again = opened(shoot / "proof", within=here)  # another window of the same browser
    assert progress(again.page) == "2 of 8 frames chosen"
    answer = saved(page, tmp_path / "answer.json")
    assert page.locator("#told").inner_text() == "Saved as answer.json, among your downloads. Now send us that file."
    assert answer["picks"] == [
        {"frame": "A-0001", "looks": ["white_edge"], "note": 'Brighter, "please":\n<b>thank you</b>'},
        {"frame": "A-0002", "looks": ["faded_print"], "note": ""},
    ]

    before = (shoot / "session.yaml").read_bytes()
    try:
        assert bring_in(shoot, tmp_path / "answer.json").chosen == 2
        text = (shoot / "session.yaml").read_text()
        assert text.startswith("# kept\nsession: Orchard & <dusk>\n")
        assert "A-0002: {rating: 5, picked: [faded_print]} # the tall one\n" in text
        assert yaml.safe_load(text)["per_frame"]["A-0001"]["note"] == 'Brighter, "please":\n<b>thank you</b>'
        report = run(assign(shoot, frames=["picked"]), tmp_path / "finished", jobs=2)
        assert sorted(report.made) == ["web/faded_print/A-0002.jpg", "web/white_edge/A-0001.jpg"]
    finally:
        (shoot / "session.yaml").write_bytes(before)


def test_hostile_names_are_shown_as_texts(shoot: Path, tmp_path: Path, opened: Open) -> None:
    page = opened(shoot / "proof").page
    names = page.locator(".frame h3").all_inner_texts()
    assert sorted(names) == sorted(["A-0001", "A-0002", *HOSTILE])
    assert page.locator("h1").inner_text() == "Orchard & <dusk>"
    assert page.locator("h2").first.inner_text() == "A · By the <gate>"
    for frame, name in enumerate(names):
        assert (
            page.locator(f'.frame[data-frame="{frame}"] h3 bdi').evaluate("e => getComputedStyle(e).unicodeBidi")
            == "isolate"
        )
        choose(page, frame).click()
        page.locator(f'.frame[data-frame="{frame}"] .write').click()
        assert page.locator("#viewer-name").inner_text() == name
        page.fill("#note", name)
        page.keyboard.press("Escape")
        page.keyboard.press("Escape")
    assert progress(page) == "8 of 8 frames chosen"
    assert page.locator("img[src=x]").count() == 0
    answer = saved(page, tmp_path / "answer.json")
    assert [pick["frame"] for pick in answer["picks"]] == names
    before = (shoot / "session.yaml").read_bytes()
    try:
        bring_in(shoot, tmp_path / "answer.json")
        assert {work.frame.name for work in assign(shoot, frames=["picked"]).frames} == set(names)
    finally:
        (shoot / "session.yaml").write_bytes(before)


def test_a_browser_that_keeps_nothing_says_so(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof").page
    page.evaluate("() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }")
    choose(page, 0).click()
    assert page.locator("#kept").inner_text().startswith("This browser does not keep what you choose.")
    assert progress(page) == "1 of 8 frames chosen"


def test_what_was_kept_is_not_trusted(shoot: Path, opened: Open) -> None:
    here = opened(shoot / "proof")
    choose(here.page, 0).click()
    key = here.page.evaluate("Object.keys(localStorage)[0]")
    for kept in ("nonsense{", "null", '[{"frame": 1}]', '[{"frame": "A-0001", "looks": ["no_such_look"], "note": ""}]'):
        here.page.evaluate("([key, kept]) => localStorage.setItem(key, kept)", [key, kept])
        here.page.reload()
        assert progress(here.page) == "0 of 8 frames chosen"


def test_what_is_shown_can_be_narrowed(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof").page
    choose(page, 3, 1).click()
    page.select_option("#show-frames", "chosen")
    assert page.locator(".frame:visible").count() == 1
    assert page.locator(".group:visible").count() == 1
    page.select_option("#show-looks", "0")
    assert page.locator(".cell:visible").count() == 1
    page.select_option("#show-frames", "open")
    assert page.locator(".frame:visible").count() == 7
    page.select_option("#show-frames", "noted")
    assert page.locator("#nothing").is_visible()


def as_pasted(text: str) -> bytes:
    return f"Hello!\n{text}\nBye {{}}".encode()


def as_a_quoted_mail(text: str) -> bytes:
    """Wrapped at 72, quoted, and sent on as quoted-printable with the line ends of mails."""
    lines = [textwrap.wrap(line, 70) or [""] for line in f"Hello!\n{text}\nBye".splitlines()]
    message = EmailMessage(policy=SMTP)
    message["Subject"] = "Our picks"
    message.set_content(
        "They wrote:\n\n" + "".join(f"> {part}\n" for line in lines for part in line), cte="quoted-printable"
    )
    return message.as_bytes()


@pytest.mark.parametrize("way", [as_pasted, as_a_quoted_mail])
def test_the_copied_text_comes_in_as_well(
    shoot: Path, tmp_path: Path, opened: Open, way: Callable[[str], bytes]
) -> None:
    here = opened(shoot / "proof", permissions=["clipboard-read", "clipboard-write"])
    page = here.page
    page.click("#copy")
    assert page.locator("#told").inner_text() == "Nothing is chosen or noted yet."
    choose(page, 0).click()
    choose(page, 0, 1).click()
    note = (
        'A “little” brighter – please, and the sky a bit more blue than it is now: "thanks" \U0001f33b\n> second line'
    )
    page.locator('.frame[data-frame="0"] .write').click()
    page.fill("#note", note)
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    page.click("#copy")
    page.wait_for_selector("#told:not(:empty)")
    text = page.evaluate("navigator.clipboard.readText()")
    assert text.startswith("Orchard & <dusk>\n1 of 8 frames chosen\n\nA-0001: Faded print, White edge\n")
    block = text[text.index("ANSWER BEGINS HERE") :].splitlines()
    assert len(block) > 4
    assert max(map(len, block)) <= 60
    (tmp_path / "message.eml").write_bytes(way(text))
    before = (shoot / "session.yaml").read_bytes()
    try:
        report = bring_in(shoot, tmp_path / "message.eml")
        assert report.picks == (Pick("A-0001", ("faded_print", "white_edge"), note),)
    finally:
        (shoot / "session.yaml").write_bytes(before)


def test_from_a_web_host(shoot: Path, opened: Open) -> None:
    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=shoot / "proof")) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            page = opened(shoot / "proof", host=f"http://127.0.0.1:{server.server_port}/").page
            mount(page, 0).click()
            wait_for_picture(page, 0, "look1")
            page.keyboard.press("Enter")
            page.reload()
            assert progress(page) == "1 of 8 frames chosen"
        finally:
            server.shutdown()


def test_the_policy_lets_nothing_in_or_out(shoot: Path, opened: Open) -> None:
    here = opened(shoot / "proof")
    here.page.evaluate(
        """() => { document.body.insertAdjacentHTML("beforeend",
        '<img src="http://example.org/x.png" onerror="window.hit = 1"><b style="color: red" id="b">b</b>');
        const script = document.createElement("script");
        script.textContent = "window.hit = 2";
        document.body.append(script);
        return fetch("http://example.org/").catch(() => 0); }"""
    )
    here.page.wait_for_timeout(200)
    assert here.page.evaluate("window.hit") is None
    assert here.page.evaluate("getComputedStyle(document.getElementById('b')).color") != "rgb(255, 0, 0)"
    assert here.left == []
    assert sum("Content Security Policy" in said for said in here.complaints) >= 4
    here.complaints.clear()
