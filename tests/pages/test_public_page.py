"""What a browser sees of the public's page: one file, nothing runs, no barrier."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from roadrisk.reporting.editions.public_page import public_html
from tests.pages.map_pages import barriers
from tests.reporting import made_up_release

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opener

CASES = ("full", "hostile", "empty")


@pytest.fixture(params=CASES)
def made_page(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    kind = request.param
    entries = ("report_to", "license", "rights_holder")
    said = dict.fromkeys(entries, made_up_release.HOSTILE) if kind == "hostile" else {}
    if kind == "full":
        said = {"report_to": "https://reports.example.org/" + "long/" * 30}
    release = made_up_release.release(hostile=kind == "hostile", empty=kind == "empty")
    path = tmp_path / "public.html"
    path.write_bytes(public_html(made_up_release.edition(**said), release))
    return path


@pytest.mark.parametrize("width", [1280, 390])
def test_it_opens_by_itself_without_barriers(
    made_page: Path, open_page: Opener, width: int
) -> None:
    """One request, nothing runs, it fits the window, and axe finds nothing serious."""
    opened = open_page(made_page, width)
    page = opened.page
    assert page.locator("script, img, h1 b, iframe, link, form").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for one in page.locator("table, svg").all():
        one.click()
    assert page.evaluate("window.__hacked === undefined")
    assert opened.requests == [made_page.as_uri()]
    assert opened.complaints == []
    assert barriers(page) == []


def test_on_paper_nothing_is_cut_off(made_page: Path, open_page: Opener) -> None:
    """At A4's width between margins the picture and the table fit."""
    page = open_page(made_page, round((210 - 32) / 25.4 * 96)).page
    page.emulate_media(media="print")
    for one in page.locator(".wide table, svg").all():
        assert one.evaluate("e => e.getBoundingClientRect().right <= window.innerWidth + 1")
