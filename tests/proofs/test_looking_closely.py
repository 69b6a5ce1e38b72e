"""One frame large on the proof page: by keys, by mouse, by touch."""

from pathlib import Path

import pytest

from tests.proofs.driving import PHONE, Open, choose, mount, pressed, progress, wait_for_picture

pytestmark = pytest.mark.slow

#: Both ends of a press in one task, so that no load on this machine makes it a long one.
SHORT_PRESS = """button => { for (const kind of ["pointerdown", "pointerup", "click"])
    button.dispatchEvent(new PointerEvent(kind, { bubbles: true, pointerType: "mouse", isPrimary: true })); }"""


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
    assert progress(page) == "1 of 8 frames chosen"


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
    pressed_at = page.evaluate("performance.now()")
    page.wait_for_function("pressed => performance.now() - pressed > 300", arg=pressed_at)
    page.mouse.up()
    wait_for_picture(page, 0, "look2")  # a long press lasts as long as it lasts
    for called in ("original", "look2"):  # a short one switches
        page.locator("#original").evaluate(SHORT_PRESS)
        wait_for_picture(page, 0, called)
    page.focus("#original")
    page.keyboard.press("Enter")  # and so does a key
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
    page.clock.install(time=0)
    page.clock.pause_at(1000)  # however slow this machine is, no swipe lasts so long that it becomes a hold
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
