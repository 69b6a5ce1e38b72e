"""The proof page as a client has it: driven in Chromium, on a wide screen and on a phone."""

import json
import threading
from collections.abc import Callable
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from PIL import Image

from finishing.batch.client.picking import bring_in
from finishing.batch.client.proofing import make_proof
from finishing.batch.delivery.run import run
from finishing.batch.work.assignment import assign
from finishing.proofs.model import ProofFrame, ProofGroup, ProofPage, ProofPicture, session_id
from finishing.proofs.page import proof_html

pytestmark = pytest.mark.slow

Open = Callable[..., Any]
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
SCREENS = pytest.mark.parametrize("screen", [{"width": 1440, "height": 900}, PHONE], ids=["1440", "360"])
HOSTILE = ["<img src=x onerror=alert(1)>", "'\"&lt;b&gt; ${data}", "\u202egnp.exe", "שלום-1", "__proto__", "x" * 180]


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of eight frames, some with names that were meant to do harm, and its proof page."""
    folder = tmp_path_factory.mktemp("shoot")
    (folder / "frames").mkdir()
    rng = np.random.default_rng(5)
    for number, name in enumerate(["A-0001", "A-0002", *HOSTILE]):
        small = rng.integers(40, 220, (12, 8, 3) if number == 1 else (8, 12, 3), np.uint8)
        size = (600, 900) if number == 1 else (900, 600)
        Image.fromarray(small).resize(size, Image.Resampling.BICUBIC).save(folder / f"frames/{name}.jpg", quality=85)
    (folder / "plan.yaml").write_text(
        'setups:\n  - {id: A, title: "By the <gate>", frames: A-*,'
        " exposure: {aperture: f/8, shutter: 1/125, iso: 100}}\n"
    )
    (folder / "session.yaml").write_text(
        "# kept\nsession: Orchard & <dusk>\nframes: [frames/*.jpg]\nplan: plan.yaml\n"
        "looks:\n  - {look: faded_print, frames: all}\n  - {look: white_edge, frames: all}\n"
        "per_frame:\n  A-0002: {rating: 2}  # the tall one\n"
        "deliverables:\n  web: {format: jpeg, long_edge: 200}\n"
    )
    make_proof(assign(folder), folder / "proof", jobs=2)
    return folder


def mount(page: Any, frame: int, look: int = 0) -> Any:
    return page.locator(f'.frame[data-frame="{frame}"] .cell[data-look="{look}"] .mount')


def choose(page: Any, frame: int, look: int = 0) -> Any:
    return page.locator(f'.frame[data-frame="{frame}"] .cell[data-look="{look}"] .choose')


def progress(page: Any) -> str:
    return str(page.locator("#progress").inner_text())


def pressed(locator: Any) -> bool:
    return locator.get_attribute("aria-pressed") == "true"


def saved(page: Any, path: Path) -> dict[str, Any]:
    with page.expect_download() as download:
        page.click("#save")
    assert download.value.suggested_filename == "answer.json"
    download.value.save_as(path)
    return json.loads(path.read_text("utf-8"))


def wait_for_picture(page: Any, frame: int, called: str) -> None:
    """Until the picture that is shown large is there, and is this one."""
    small = str(mount(page, frame).locator("img").get_attribute("src"))
    ending = f"{small.partition('-')[0]}-{called}.jpg"
    page.wait_for_function(
        """ending => { const image = document.querySelector("#stage figure:not([hidden]) img");
        return image && image.src.endsWith(ending) && image.complete && image.naturalWidth > 0; }""",
        arg=ending,
    )


@SCREENS
def test_from_choosing_to_the_finished_files(shoot: Path, tmp_path: Path, opened: Open, screen: dict[str, Any]) -> None:
    here = opened(shoot / "proof", **screen)
    page = here.page
    assert progress(page) == "Chosen 0 of 8"
    choose(page, 1).click()
    mount(page, 0, 1).click()
    page.click("#pick")
    page.fill("#note", 'Brighter, "please":\n<b>thank you</b> \u202e')
    page.click("#next")
    assert page.locator("#viewer-name").inner_text() == "A-0002"
    page.click("#close")
    assert progress(page) == "Chosen 2 of 8"
    page.reload()
    assert progress(page) == "Chosen 2 of 8"
    assert pressed(choose(page, 0, 1))
    assert not pressed(choose(page, 0, 0))
    assert page.locator('.frame[data-frame="0"] .note').inner_text() == 'Brighter, "please":\n<b>thank you</b>'
    again = opened(shoot / "proof", within=here)  # another window of the same browser
    assert progress(again.page) == "Chosen 2 of 8"
    answer = saved(page, tmp_path / "answer.json")
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


@SCREENS
def test_nothing_sticks_out_sideways(shoot: Path, opened: Open, screen: dict[str, Any]) -> None:
    page = opened(shoot / "proof", **screen).page
    wide = "document.scrollingElement.scrollWidth <= innerWidth"
    assert page.evaluate(wide)
    assert page.evaluate(
        """[...document.querySelectorAll(".mount")].every((mount) => {
        const [outer, inner] = [mount, mount.firstElementChild].map((one) => one.getBoundingClientRect());
        return inner.left > outer.left && inner.right < outer.right && inner.top > outer.top
            && inner.bottom < outer.bottom && inner.width > 100; })"""
    )
    page.select_option("#show-looks", "1")
    assert page.evaluate(wide)
    mount(page, 7, 1).click()  # the longest name
    assert page.evaluate(
        """[...document.querySelectorAll("#viewer button, #note, #stage")].every((one) => {
        const box = one.getBoundingClientRect();
        return box.left >= 0 && box.right <= innerWidth && box.bottom <= innerHeight + 1 && box.height >= 40; })"""
    )


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
    assert progress(page) == "Chosen 8 of 8"
    assert page.locator("img[src=x]").count() == 0
    answer = saved(page, tmp_path / "answer.json")
    assert [pick["frame"] for pick in answer["picks"]] == names
    before = (shoot / "session.yaml").read_bytes()
    try:
        bring_in(shoot, tmp_path / "answer.json")
        assert {work.frame.name for work in assign(shoot, frames=["picked"]).frames} == set(names)
    finally:
        (shoot / "session.yaml").write_bytes(before)


def test_keys_alone_do_everything(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof").page
    press = page.keyboard.press
    press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    press("Enter")
    press("Tab")
    focused = """(() => { const cell = document.activeElement.closest(".cell");
        return cell.closest(".frame").dataset.frame + "/" + cell.dataset.look; })()"""
    assert page.evaluate(focused) == "0/0"
    press("ArrowRight")
    assert page.evaluate(focused) == "0/1"
    press("1")
    press("Space")
    assert pressed(choose(page, 0, 0))
    press("ArrowDown")
    row = page.evaluate(focused)
    assert row != "0/0"
    press("ArrowUp")
    assert page.evaluate(focused) == "0/0"
    small = mount(page, 0).locator("img")
    page.keyboard.down("o")
    assert small.get_attribute("src").endswith("-original-small.jpg")
    page.keyboard.up("o")
    assert small.get_attribute("src").endswith("-look1-small.jpg")
    press("Enter")
    wait_for_picture(page, 0, "look1")
    assert page.evaluate("document.activeElement.id") == "stage"
    press("2")
    wait_for_picture(page, 0, "look2")
    press("Enter")
    assert pressed(page.locator("#pick"))
    page.keyboard.down("o")
    wait_for_picture(page, 0, "original")
    assert page.locator("#stage figcaption.is-original").inner_text() == "Original"
    page.keyboard.up("o")
    wait_for_picture(page, 0, "look2")
    press("ArrowUp")
    wait_for_picture(page, 0, "look1")
    press("Space")
    assert not pressed(page.locator("#pick"))
    press("s")
    assert page.locator("#stage figure:visible").count() == 2
    press("s")
    press("z")
    image = page.locator("#stage figure.current img")
    assert image.bounding_box()["width"] == 900  # one pixel of the proof to one of the page
    press("Escape")
    assert image.bounding_box()["width"] <= 900
    press("n")
    page.keyboard.type("s z o 2 n")  # in a note these are letters
    assert page.locator("#note").input_value() == "s z o 2 n"
    press("Escape")
    press("ArrowRight")
    wait_for_picture(page, 1, "look1")
    press("Escape")
    assert not page.locator("#viewer").is_visible()
    assert page.evaluate(focused) == "1/0"
    assert progress(page) == "Chosen 1 of 8"


def test_pointer_holds_for_the_original_and_drags_what_is_large(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof", width=900, height=600).page
    mount(page, 0, 1).click()
    wait_for_picture(page, 0, "look2")
    box = page.locator("#stage").bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    wait_for_picture(page, 0, "original")
    page.mouse.up()
    wait_for_picture(page, 0, "look2")
    page.locator("#original").hover()
    page.mouse.down()
    wait_for_picture(page, 0, "original")
    page.mouse.up()
    wait_for_picture(page, 0, "look2")
    page.focus("#original")
    page.keyboard.press("Enter")  # those who cannot hold switch it
    wait_for_picture(page, 0, "original")
    page.keyboard.press("Enter")
    wait_for_picture(page, 0, "look2")
    page.mouse.dblclick(*middle)
    assert pressed(page.locator("#zoom"))
    left = page.locator("#stage").evaluate("e => e.scrollLeft")
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] - 60, middle[1], steps=4)
    page.mouse.up()
    assert page.locator("#stage").evaluate("e => e.scrollLeft") == pytest.approx(left + 60, abs=2)
    page.click("#close")
    small = mount(page, 0, 1)
    small.hover()
    page.mouse.down()
    page.wait_for_selector(".mount img[src*=original-small]")
    page.mouse.up()
    assert small.locator("img").get_attribute("src").endswith("-look2-small.jpg")
    assert not page.locator("#viewer").is_visible()  # a hold is no tap


def test_a_swipe_goes_on(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof", **PHONE).page
    mount(page, 0).tap()
    wait_for_picture(page, 0, "look1")
    touch = page.context.new_cdp_session(page)

    def swipe(start: int, end: int) -> None:
        for kind, x in (("Start", start), *(("Move", start + (end - start) * i // 4) for i in range(1, 5))):
            touch.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": [{"x": x, "y": 180}]})
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    swipe(300, 80)
    wait_for_picture(page, 1, "look1")
    swipe(80, 300)
    wait_for_picture(page, 0, "look1")
    assert page.locator("#original").get_attribute("aria-pressed") == "false"


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
            assert progress(page) == "Chosen 1 of 8"
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


def test_a_browser_that_keeps_nothing_says_so(shoot: Path, opened: Open) -> None:
    page = opened(shoot / "proof").page
    page.evaluate("() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }")
    choose(page, 0).click()
    assert page.locator("#kept").inner_text().startswith("This browser does not keep what you choose.")
    assert progress(page) == "Chosen 1 of 8"


def test_what_was_kept_is_not_trusted(shoot: Path, opened: Open) -> None:
    here = opened(shoot / "proof")
    choose(here.page, 0).click()
    key = here.page.evaluate("Object.keys(localStorage)[0]")
    for kept in ("nonsense{", "null", '[{"frame": 1}]', '[{"frame": "A-0001", "looks": ["no_such_look"], "note": ""}]'):
        here.page.evaluate("([key, kept]) => localStorage.setItem(key, kept)", [key, kept])
        here.page.reload()
        assert progress(here.page) == "Chosen 0 of 8"


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


def test_the_copied_text_comes_in_as_well(shoot: Path, tmp_path: Path, opened: Open) -> None:
    here = opened(shoot / "proof", permissions=["clipboard-read", "clipboard-write"])
    page = here.page
    page.click("#copy")
    assert page.locator("#told").inner_text() == "Nothing is chosen or noted yet."
    choose(page, 0).click()
    choose(page, 0, 1).click()
    page.click("#copy")
    page.wait_for_selector("#told:not(:empty)")
    text = page.evaluate("navigator.clipboard.readText()")
    assert text.startswith("Orchard & <dusk>\nChosen 1 of 8\n\nA-0001: Faded print, White edge\n")
    (tmp_path / "message.txt").write_text(f"Hello!\n{text}\nBye {{}}", "utf-8")
    before = (shoot / "session.yaml").read_bytes()
    try:
        assert bring_in(shoot, tmp_path / "message.txt").chosen == 1
    finally:
        (shoot / "session.yaml").write_bytes(before)


WEAK_TEXTS = """() => {
    const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
    const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const share = [0.2126, 0.7152, 0.0722];
    const light = (colour) => share.reduce((sum, part, i) => sum + part * linear(parts(colour)[i] / 255), 0);
    const ground = (element) => {
        for (; element; element = element.parentElement) {
            const colour = getComputedStyle(element).backgroundColor;
            if ((parts(colour)[3] ?? 1) === 1) return colour;
        }
        return "rgb(255, 255, 255)";
    };
    const found = [];
    let seen = 0;
    for (const element of document.querySelectorAll("body *:not(script, style, noscript)")) {
        const text = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
        if (!text || !element.getClientRects().length || element.closest(":disabled")) continue;
        seen += 1;
        const [low, high] = [light(getComputedStyle(element).color), light(ground(element))].sort((a, b) => a - b);
        if ((high + 0.05) / (low + 0.05) < 4.5) found.push(element.outerHTML.slice(0, 90));
    }
    return seen > 30 ? found : ["too few texts were seen"]; }"""


def test_text_stands_out_and_everything_has_a_name(shoot: Path, opened: Open) -> None:
    """WCAG 2.2: 1.4.3 (contrast, measured on the drawn page), 4.1.2 (names), 2.5.8 (targets of 24 pixels)."""
    page = opened(shoot / "proof", reduced_motion="reduce").page
    choose(page, 0).click()
    mount(page, 0).click()
    page.keyboard.press("s")
    weak = page.evaluate(WEAK_TEXTS)
    assert weak == []
    assert page.evaluate("[...document.images].every((image) => image.alt !== '')")
    assert page.evaluate(
        """[...document.querySelectorAll("button")].every((button) =>
        (button.getAttribute("aria-label") || button.innerText || button.querySelector("img")?.alt || "").trim())"""
    )
    assert page.evaluate(
        """[...document.querySelectorAll("button, select, summary")].filter((one) => one.getClientRects().length)
        .every((one) => one.getBoundingClientRect().height >= 24)"""
    )
    assert page.evaluate("getComputedStyle(document.getElementById('save')).transitionDuration") == "0s"
    for control in ("#close", "#pick", "#original", "#beside", "#zoom", "#note", "#next"):
        page.focus(control)
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.id") == control[1:]
        assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"


@SCREENS
def test_six_hundred_frames_do_not_come_all_at_once(tmp_path: Path, opened: Open, screen: dict[str, Any]) -> None:
    (tmp_path / "pictures").mkdir()
    looks = {f"look_{i}": f"Look {i}" for i in range(4)}
    frames = []
    for number in range(600):
        small = f"pictures/{number}-small.jpg"
        one = ProofPicture(f"pictures/{number}.jpg", 48, 32, small, 48, 32)
        for file in (one.file, one.small):
            (tmp_path / file).symlink_to(tmp_path / "one.jpg")
        frames.append(ProofFrame(f"F-{number:04}", dict.fromkeys(looks, one), one))
    Image.new("RGB", (48, 32), (90, 120, 60)).save(tmp_path / "one.jpg")
    groups = tuple(ProofGroup(f"Set-up {i}", "f/8 · 1/125", tuple(frames[i * 60 : i * 60 + 60])) for i in range(10))
    page = ProofPage(session_id("Large", ""), "Large", "", "", looks, groups)
    (tmp_path / "index.html").write_text(proof_html(page), "utf-8")
    here = opened(tmp_path, **screen)
    here.page.wait_for_timeout(500)
    first = set(here.pictures)
    assert 2 < len(first) < 80
    assert "pictures/300-small.jpg" not in " ".join(first)
    here.page.evaluate("document.querySelector('[data-frame=\"599\"]').scrollIntoView()")
    here.page.wait_for_function("() => document.querySelector('[data-frame=\"599\"] img').complete")
    assert any(url.endswith("/599-small.jpg") for url in here.pictures)
    assert len(set(here.pictures)) < 200
    choose(here.page, 599, 3).click()
    assert progress(here.page) == "Chosen 1 of 600"
