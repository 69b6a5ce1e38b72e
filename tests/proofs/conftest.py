"""A browser for the tests of this folder: Debian's Chromium, started once, let at nothing but the page's own folder."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if not Path(CHROMIUM).exists():
        pytest.skip("chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@dataclass
class Opened:
    """A page with everything that it asked for and complained of."""

    page: Any
    asked: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    @property
    def pictures(self) -> list[str]:
        return [url for url in self.asked if "/pictures/" in url]


@pytest.fixture
def opened(chromium: Any) -> Iterator[Callable[..., Opened]]:
    """Opens a folder's page in a new context (nothing kept from before), or again in the one that is open, from the
    disk or from a host.

    When the test ends, no request may have left the folder and nothing may have been complained of.
    """
    contexts: list[Any] = []
    all_opened: list[Opened] = []

    def open_page(
        folder: Path,
        *,
        host: str | None = None,
        width: int = 1440,
        height: int = 900,
        within: Opened | None = None,
        **how: Any,
    ) -> Opened:
        own = host or folder.as_uri().rstrip("/") + "/"
        if within is None:
            contexts.append(chromium.new_context(viewport={"width": width, "height": height}, **how))
        context = contexts[-1]
        page = context.new_page()
        page.set_default_timeout(10_000)
        result = Opened(page)
        all_opened.append(result)

        def route(asked: Any) -> None:
            url = asked.request.url
            result.asked.append(url)
            if url.startswith((own, "data:,", "blob:")):
                asked.continue_()
            else:
                result.left.append(url)
                asked.abort()

        page.route("**/*", route)
        page.on("console", lambda said: result.complaints.append(f"{said.type}: {said.text}"))
        page.on("pageerror", lambda error: result.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (result.complaints.append("dialog: " + dialog.message), dialog.dismiss()))
        page.goto(own + "index.html")
        return result

    yield open_page
    for one in all_opened:
        assert one.left == []
        assert one.complaints == []
    for context in contexts:
        context.close()
