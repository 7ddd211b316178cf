"""Hostile text stays text, whatever is clicked, and nothing is asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from roadrisk.reporting.editions.making import make_edition
from tests.pages import hostile_findings, map_pages
from tests.pages.hostile_findings import HOSTILE
from tests.reporting import made_up

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.reporting.editions.edition import EditionKind
    from tests.pages.conftest import Opened, Opener

KINDS: tuple[EditionKind, ...] = ("agency", "confidential")
BASEMAP = "Background map"
# What no page makes by itself: it would come from data.
STRANGE = (
    "iframe, object, embed, base, form, [onload], [onerror], [onclick], [onmouseover], "
    "img:not([src^='data:image/']), a[href*='invalid'], a[href^='javascript'], title ~ title"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages of the hostile findings, written once."""
    here = tmp_path_factory.mktemp("hostile")
    for kind in KINDS:
        edition = make_edition(made_up.study(), hostile_findings.findings(), kind)
        for name, page in map_pages.pages(edition).items():
            (here / f"{name}_{kind}.html").write_bytes(page)
    return here


@pytest.mark.parametrize(("width", "kind"), [(390, "agency"), (1280, "confidential")])
def test_everything_is_clicked(folder: Path, open_page: Opener, kind: str, width: int) -> None:
    """Rows, marks, roads, results of searches, entries of filters, layers, keys."""
    opened = open_page(folder / f"map_{kind}.html", width)
    said = _click_rows(opened, width) + _click_features(opened.page)
    map_pages.unfold(opened.page)
    said += _search(opened)
    _filter(opened.page)
    _switch(opened.page)
    for text in HOSTILE:
        assert text in said, text
    _unharmed(opened, folder / f"map_{kind}.html")


def _unharmed(opened: Opened, path: Path) -> None:
    page = opened.page
    page.wait_for_timeout(150)
    assert page.evaluate("window.__hacked === undefined")
    assert page.locator(STRANGE).count() == 0
    assert opened.complaints == []
    asked = [url for url in opened.requests if not url.startswith(("data:", "blob:"))]
    assert asked == [path.as_uri()]
    assert page.url == path.as_uri()


def _click_rows(opened: Opened, width: int) -> str:
    """Click every button of every list; on a phone the panel is unfolded again each time."""
    page, said = opened.page, ""
    for name in ("#list", "#stretch_list", "#measure_list"):
        buttons = page.locator(f"{name} button")
        assert buttons.count() > 0, name
        for k in range(buttons.count()):
            if width < 700:
                map_pages.unfold(page)
            buttons.nth(k).click()
            expect(page.locator("#sheet")).to_be_visible()
            said += page.locator("body").inner_text()
            page.keyboard.press("Escape")
    return said


def _click_features(page: Page) -> str:
    """Fire a click at every line and point of every layer."""
    return str(
        page.evaluate(
            """() => Object.keys(window).filter((n) => n.endsWith("_layer") && window[n].getLayers)
              .flatMap((name) => window[name].getLayers().map((layer) => {
                layer.fire("click");
                return document.getElementById("sheet").textContent;
              })).join("\\n")"""
        )
    )


def _search(opened: Opened) -> str:
    """Type what is hostile, and choose every road that is found for a common letter."""
    page, said = opened.page, ""
    for text in (*HOSTILE, "' onfocus='alert(1)"):
        page.locator("#search").fill(text)
        said += page.locator("#search_results").inner_text()
    page.locator("#search").fill("lane")
    found = page.locator("#search_results button")
    expect(found.first).to_be_visible()
    for k in range(found.count()):
        page.locator("#search").fill("lane")
        map_pages.unfold(page)
        said += found.nth(k).inner_text()
        found.nth(k).click()
        page.keyboard.press("Escape")
    map_pages.unfold(page)
    return said


def _filter(page: Page) -> None:
    if page.locator("#filter_toggle").is_visible():
        page.locator("#filter_toggle").click()
    for select in page.locator("#filters select").all():
        values = select.evaluate("(e) => [...e.options].map((o) => o.value)")
        assert len(values) > 1
        for value in [*values, values[0]]:
            select.select_option(value)


def _switch(page: Page) -> None:
    """Each layer twice, but for the one that asks the network."""
    if page.locator("#filter_toggle").is_visible():
        page.locator("#filter_toggle").click()
        page.evaluate(
            "for (const id of ['panel', 'legend']) document.getElementById(id).open = false"
        )
    page.locator(".leaflet-control-layers").hover()
    for label in page.locator(".leaflet-control-layers-overlays label").all():
        if BASEMAP not in label.inner_text():
            label.click()
            label.click()
    page.mouse.move(600, 5)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["stretches", "deaths", "measures"])
def test_pages_to_print_show_it_as_text(
    folder: Path, open_page: Opener, kind: str, name: str
) -> None:
    path = folder / f"{name}_{kind}.html"
    opened = open_page(path)
    page = opened.page
    assert page.locator("script").count() == 0
    said = page.locator("body").inner_text()
    assert sum(text in said for text in HOSTILE) >= 3
    for link in page.locator("a[href]").all():
        assert str(link.get_attribute("href")).startswith(("#", "map.html"))
    _unharmed(opened, path)
