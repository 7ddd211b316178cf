"""A headless browser that can reach nothing, and pages opened as files."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.pages.review_page import Served

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]  # fmt: skip


@dataclass
class Opened:
    """A page and all that it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


class Opener:
    """Opens files in pages of the size asked for."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._opened: list[Opened] = []

    def __call__(self, path: Path, width: int = 1280, height: int = 800) -> Opened:
        page = self._browser.new_page(viewport={"width": width, "height": height})
        page.emulate_media(reduced_motion="reduce")
        opened = Opened(page)
        page.on("request", lambda r: opened.requests.append(r.url))
        page.on("console", lambda m: opened.complaints.append(f"{m.type}: {m.text}"))
        page.on("pageerror", lambda e: opened.complaints.append(f"error: {e}"))
        page.on("dialog", lambda d: (opened.complaints.append("dialog"), d.dismiss()))
        page.goto(path.as_uri())
        self._opened.append(opened)
        return opened

    def close(self) -> None:
        """Close every page."""
        for opened in self._opened:
            opened.page.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        reason = f"no browser found; looked for {', '.join(NAMES)}"
        if os.environ.get("ROADRISK_REQUIRE_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(autouse=True)
def _no_server_is_left() -> Iterator[None]:
    yield
    Served.end_all()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Opener]:
    opener = Opener(browser)
    yield opener
    opener.close()
