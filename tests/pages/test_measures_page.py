"""What a browser sees of the page of proposed measures: one file, nothing runs, no barrier."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from roadrisk.reporting.measures_page import measures_html
from tests.reporting import made_up, made_up_measures

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opener

CASES = {
    "full": lambda measures: measures,
    "millions": made_up_measures.in_millions,
    "no prices": made_up_measures.without_prices,
    "shares": made_up_measures.by_share,
    "nothing": made_up_measures.nothing_proposed,
    "nothing at all": made_up_measures.nothing_at_all,
}


@pytest.fixture(params=list(CASES))
def made_page(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    findings = made_up.findings()
    measures = CASES[request.param](made_up_measures.measures(findings.segments))
    path = tmp_path / "measures.html"
    path.write_bytes(measures_html(made_up.study(), findings, measures))
    return path


@pytest.mark.parametrize("width", [1280, 390])
def test_it_opens_by_itself_without_barriers(
    made_page: Path, open_page: Opener, width: int
) -> None:
    """One request, nothing runs, it fits the window, and axe finds nothing serious."""
    opened = open_page(made_page, width)
    page = opened.page
    expect(page.locator("h1")).to_have_text(
        f"What to do where: {made_up.study().settings.study.name}"
    )
    assert page.locator("script, img, h1 b").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.evaluate("window.__hacked === undefined")
    assert opened.requests == [made_page.as_uri()]
    assert opened.complaints == []
    found = Axe().run(page).response["violations"]
    serious = [v for v in found if v["impact"] in ("serious", "critical")]
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in serious] == []


def test_on_paper_nothing_is_cut_off(made_page: Path, open_page: Opener) -> None:
    """At A4's width between margins every table and chart fits; charts say their numbers."""
    page = open_page(made_page, round((210 - 32) / 25.4 * 96)).page
    page.emulate_media(media="print")
    for name in (".wide table", "svg"):
        for one in page.locator(name).all():
            assert one.evaluate("e => e.getBoundingClientRect().right <= window.innerWidth + 1")
    for one in page.locator("svg").all():
        assert one.get_attribute("role") == "img"
        assert re.search(r"\d.*proposed", one.get_attribute("aria-label") or "")
