"""How the proof page stands on a wide screen and on a phone: sizes, contrast, names, hundreds of frames."""

from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from finishing.proofs.model import ProofFrame, ProofGroup, ProofPage, ProofPicture, session_id
from finishing.proofs.page import proof_html
from tests.proofs.driving import SCREENS, Open, choose, mount, progress

pytestmark = pytest.mark.slow


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


@pytest.mark.parametrize(("width", "least"), [(360, 120), (1024, 208), (1440, 208), (1920, 256), (2560, 256)])
def test_the_small_pictures_use_the_width(shoot: Path, opened: Open, width: int, least: float) -> None:
    """A full line of frames ends where the line above its set-up ends, and all mounts are equally wide."""
    page = opened(shoot / "proof", width=width, height=1000).page
    told = page.evaluate(
        """() => {
        const group = [...document.querySelectorAll(".group")].at(-1);
        const box = (one) => one.getBoundingClientRect();
        const mounts = [...group.querySelectorAll(".mount")].map(box);
        const { left, right } = box(group.querySelector("header"));
        return { left, right, ends: Math.max(...mounts.map((one) => one.right)),
            begins: Math.min(...mounts.map((one) => one.left)), widths: mounts.map((one) => one.width) }; }"""
    )
    assert told["begins"] == pytest.approx(told["left"], abs=1)
    assert told["ends"] == pytest.approx(told["right"], abs=1)
    assert len(told["widths"]) == 12
    assert max(told["widths"]) == pytest.approx(min(told["widths"]), abs=1)
    assert min(told["widths"]) >= least


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
    groups = tuple(ProofGroup(f"Set-up {i}", tuple(frames[i * 60 : i * 60 + 60])) for i in range(10))
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
    assert progress(here.page) == "1 of 600 frames chosen"
