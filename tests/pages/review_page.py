"""A review page that runs in a process of its own, and a browser's page in front of it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from playwright.sync_api import expect

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

# Other tests run beside these and may keep the machine busy.
expect.set_options(timeout=20_000)
ROOT = Path(__file__).resolve().parents[2]
ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/enter\?once=\S+")


class Served:
    """The server's process; stopped as a person would (Ctrl-C) or as a power cut would."""

    running: ClassVar[list[Served]] = []

    def __init__(self, arguments: list[str | Path], log: Path) -> None:
        self._log = log
        self.running.append(self)
        with log.open("w") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", *map(str, arguments)], cwd=ROOT, stdout=out,
                stderr=subprocess.STDOUT, env=os.environ | {"PYTHONUTF8": "1"},
            )  # fmt: skip
        until = time.monotonic() + 400  # compiling takes its time on a busy machine
        while (found := ADDRESS.search(self.said())) is None:
            assert self.process.poll() is None, self.said()
            assert time.monotonic() < until, self.said()
            time.sleep(0.05)
        self.address, self.port = found[0], int(found[1])

    @classmethod
    def end_all(cls) -> None:
        """Cut off what a test that failed left behind."""
        while cls.running:
            cls.running.pop().cut_off()

    def said(self) -> str:
        return self._log.read_text(encoding="utf-8")

    def cut_off(self) -> None:
        """kill -9."""
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        """Ctrl-C; returns the exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        return self.process.wait(20)


def serve_made(folder: Path, *, more: int = 0, port: int = 0, reviewer: str = "") -> Served:
    log = folder.parent / "server.txt"
    return Served(["tests.pages.serve_made", folder, str(port), str(more), reviewer], log)


def serve_study(folder: Path, *more: str) -> Served:
    log = folder.parent / "server.txt"
    return Served(["roadrisk", "review", folder, "--no-open", *more], log)


@dataclass
class Opened:
    """A page, what it asked for and what it complained about."""

    context: BrowserContext
    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def watch(self, page: Page) -> None:
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("console", lambda m: self.complaints.append(f"{m.type}: {m.text}"))
        page.on("pageerror", lambda e: self.complaints.append(f"error: {e}"))
        page.on("dialog", lambda d: (self.complaints.append("dialog"), d.dismiss()))

    def said(self, words: str) -> None:
        """Wait until the page says so and takes the next key."""
        expect(self.page.locator("#said")).to_contain_text(words)
        expect(self.page.locator("body")).not_to_have_class(re.compile("busy"))

    def at(self, position: str | re.Pattern[str]) -> None:
        expect(self.page.locator("#position")).to_have_text(position)
        expect(self.page.locator("body")).not_to_have_class(re.compile("busy"))


def open_review(
    browser: Browser, served: Served, *, width: int = 1280, height: int = 800,
    reviewer: str = "Ann Reed",
) -> Opened:  # fmt: skip
    """Open the address of the terminal, and say who is reviewing where it is asked."""
    context = browser.new_context(viewport={"width": width, "height": height})
    context.set_default_timeout(20_000)
    page = context.new_page()
    page.emulate_media(reduced_motion="reduce")
    opened = Opened(context, page)
    opened.watch(page)
    page.goto(served.address)
    expect(page.locator("#position")).not_to_be_empty()
    expect(page.locator("body")).not_to_have_class(re.compile("busy"))
    if reviewer:
        page.locator("#who_name").fill(reviewer)
        page.keyboard.press("Enter")
        expect(page.locator("#who")).to_be_hidden()
    return opened
