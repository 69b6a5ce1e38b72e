"""What the browser's tests of the proof page have in common: screens, and how a client finds things on the page."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Open = Callable[..., Any]
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
SCREENS = pytest.mark.parametrize("screen", [{"width": 1440, "height": 900}, PHONE], ids=["1440", "360"])
HOSTILE = ["<img src=x onerror=alert(1)>", "'\"&lt;b&gt; ${data}", "\u202egnp.exe", "שלום-1", "__proto__", "x" * 180]


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
