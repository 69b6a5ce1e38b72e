"""For the tests of this folder: Debian's Chromium, started once, let at nothing but a page's own folder; a session with
its proof page."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from finishing.batch.client.proofing import make_proof
from finishing.batch.work.assignment import assign
from tests.proofs.driving import HOSTILE

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


@pytest.fixture(scope="session")
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
