"""What a browser sees of the page of deaths: one file, nothing runs, no barrier, paper."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from roadrisk.reporting.deaths_page import deaths_html
from tests.reporting import made_up, made_up_deaths

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.pages.conftest import Opener

CASES = {
    "known": lambda findings: findings,
    "only where": made_up_deaths.not_known,
    "only a bound": made_up_deaths.only_a_bound,
    "nothing": made_up_deaths.by_evidence,
}


@pytest.fixture(params=list(CASES))
def made_page(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / "deaths.html"
    path.write_bytes(deaths_html(made_up.study(), CASES[request.param](made_up.findings())))
    return path


@pytest.mark.parametrize("width", [1280, 390])
def test_it_opens_by_itself_without_barriers(
    made_page: Path, open_page: Opener, width: int
) -> None:
    """One request, nothing runs, it fits the window, and axe finds nothing serious."""
    opened = open_page(made_page, width)
    page = opened.page
    expect(page.locator("h1")).to_have_text(f"Road deaths: {made_up.study().settings.study.name}")
    assert page.locator("script, img, h1 b").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.evaluate("window.__hacked === undefined")
    assert opened.requests == [made_page.as_uri()]
    assert opened.complaints == []
    assert barriers(page) == []


def test_every_chart_says_its_numbers(made_page: Path, open_page: Opener) -> None:
    """A picture by role with words that hold numbers, or why there are none."""
    page = open_page(made_page).page
    charts = page.locator("svg").all()
    assert len(charts) >= 16
    for one in charts:
        assert one.get_attribute("role") == "img"
        words = one.get_attribute("aria-label") or ""
        assert re.search(r"\d|not known|not counted", words), words
        inside = one.evaluate(
            "e => { const b = e.getBoundingClientRect();"
            " return [...e.querySelectorAll('text')].every((t) => {"
            " const r = t.getBoundingClientRect();"
            " return r.left >= b.left - 1 && r.right <= b.right + 1 && r.bottom <= b.bottom + 2;"
            " }); }"
        )
        assert inside, words


def test_wide_tables_scroll_by_keyboard(made_page: Path, open_page: Opener) -> None:
    """On a phone the page itself doesn't scroll sideways; a table's box does, and has a name."""
    page = open_page(made_page, 390).page
    boxes = page.locator(".wide").all()
    assert any(box.evaluate("e => e.scrollWidth > e.clientWidth") for box in boxes)
    for box in boxes:
        assert box.get_attribute("tabindex") == "0"
        assert box.get_attribute("aria-label")


def test_on_paper_nothing_is_cut_off(made_page: Path, open_page: Opener) -> None:
    """At A4's width between margins every table and chart fits; headings stay with what follows."""
    page = open_page(made_page, round((210 - 32) / 25.4 * 96)).page
    page.emulate_media(media="print")
    for name in (".wide table", "svg"):
        for one in page.locator(name).all():
            assert one.evaluate("e => e.getBoundingClientRect().right <= window.innerWidth + 1")
    assert page.locator("h2").first.evaluate("e => getComputedStyle(e).breakAfter") == "avoid"


def barriers(page: Page) -> list[str]:
    report = Axe().run(page).response
    return [
        f"{v['impact']}: {v['id']}: {v['nodes'][0]['html'][:120]}"
        for v in report["violations"]
        if v["impact"] in ("serious", "critical")
    ]
