"""Barriers: axe-core's rules on every page and in every state, and what a screen reader hears.

Outside source: axe-core's rules for WCAG 2.2 A and AA (https://github.com/dequelabs/axe-core).
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from tests.pages import map_pages

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opener

WIDTHS = (1280, 390)
PRINTED = ("stretches", "deaths", "measures")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    here = tmp_path_factory.mktemp("access")
    for name, page in map_pages.pages(map_pages.edition()).items():
        (here / f"{name}.html").write_bytes(page)
    return here


def _search(page: Page) -> None:
    page.locator("#search").fill("lane")
    expect(page.locator("#search_results button").first).to_be_visible()


def _filter(page: Page) -> None:
    if page.locator("#filter_toggle").is_visible():
        page.locator("#filter_toggle").click()
    page.locator("#filter_state").select_option(label="dead")
    page.locator("#filter_year").select_option(label="2022")


def _sheet(page: Page) -> None:
    map_pages.unfold(page)
    page.locator("#list button").first.click()
    expect(page.locator("#sheet")).to_be_visible()


def _layers(page: Page) -> None:
    page.keyboard.press("Escape")
    page.locator(".leaflet-control-layers-toggle").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".leaflet-control-layers-overlays")).to_be_visible()


def _used(page: Page) -> None:
    """Filtered, while roads are found, unfolded, and so close that all points are drawn."""
    map_pages.unfold(page)
    _filter(page)
    page.evaluate("roads_map.setZoom(17, {animate: false}); 0")
    _search(page)


STATES = {"as opened": lambda page: None, "used": _used, "sheet": _sheet, "layers": _layers}


@pytest.mark.parametrize("width", WIDTHS)
def test_the_map_has_no_barrier_in_any_state(folder: Path, open_page: Opener, width: int) -> None:
    """One after the other on one page, as people leave it."""
    page = open_page(folder / "map.html", width, 844).page
    found = {}
    for name, bring in STATES.items():
        bring(page)
        if some := map_pages.barriers(page):
            found[name] = some
    assert found == {}


@pytest.mark.parametrize("name", PRINTED)
def test_pages_to_print_have_no_barrier(folder: Path, open_page: Opener, name: str) -> None:
    """At a phone's width, where tables are wider than the screen."""
    page = open_page(folder / f"{name}.html", 390, 844).page
    assert map_pages.barriers(page) == []
    _one_order(page)


def _one_order(page: Page) -> None:
    """One h1, and no level of heading is left out on the way down."""
    levels = page.evaluate(
        """() => [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")]
          .filter((e) => e.checkVisibility()).map((e) => Number(e.tagName[1]))"""
    )
    assert levels.count(1) == 1
    assert levels[0] == 1
    for one, other in pairwise(levels):
        assert other <= one + 1, levels


@pytest.mark.parametrize("width", WIDTHS)
def test_headings_are_in_order(folder: Path, open_page: Opener, width: int) -> None:
    """As opened, unfolded, and with a sheet."""
    page = open_page(folder / "map.html", width).page
    _one_order(page)
    map_pages.unfold(page)
    _one_order(page)
    _sheet(page)
    map_pages.unfold(page)
    _one_order(page)


def test_landmarks_have_names(folder: Path, open_page: Opener) -> None:
    """One banner, one main, a search; the findings and the map are named regions."""
    page = open_page(folder / "map.html").page
    expect(page.get_by_role("banner")).to_have_count(1)
    expect(page.get_by_role("main")).to_have_count(1)
    expect(page.get_by_role("search")).to_have_count(1)
    expect(page.get_by_role("complementary", name="Findings")).to_be_visible()
    expect(page.get_by_role("region", name=re.compile("^Map"))).to_be_visible()
    page.locator("#list button").first.click()
    expect(page.get_by_role("region", name=re.compile("Rank 1"))).to_be_visible()


def test_a_row_says_itself(folder: Path, open_page: Opener) -> None:
    """A button of the list: rank, road, place, number, pressed or not; a list counts its rows."""
    page = open_page(folder / "map.html").page
    ranks = page.get_by_role("list", name=re.compile("Ranked list"))
    expect(ranks.get_by_role("listitem")).to_have_count(7)
    first = ranks.get_by_role("button").first
    expect(first).to_have_accessible_name(re.compile(r"^Rank 1 .*Heron Road.*3\.14"))
    first.click()
    expect(first).to_have_attribute("aria-pressed", "true")


def test_what_a_filter_does_is_heard(folder: Path, open_page: Opener) -> None:
    """A status, not an alert; so is what a search finds."""
    page = open_page(folder / "map.html").page
    _filter(page)
    expect(page.get_by_role("status").filter(has_text="reports shown")).to_have_count(1)
    page.locator("#search").fill("lane")
    expect(page.get_by_role("status").filter(has_text="roads found")).to_have_count(1)
    page.locator("#search").fill("no such road")
    expect(page.get_by_role("status").filter(has_text="0 roads found")).to_have_count(1)


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_pressed_is_large_enough(folder: Path, open_page: Opener, width: int) -> None:
    """24 px at least (WCAG 2.2, criterion 2.5.8); on a phone 40 for what stands above the map."""
    page = open_page(folder / "map.html", width, 844).page
    _filter(page)
    least = 24 if width > 700 else 40
    for name in ("#search", "#filter_toggle", "#filter_state", "#filter_clear",
                 "#legend > summary", ".leaflet-control-layers-toggle"):  # fmt: skip
        element = page.locator(name)
        if element.is_visible():
            box = element.bounding_box()
            assert box is not None
            on_map = name.startswith(("#legend", ".leaflet"))
            assert box["height"] >= (24 if on_map else least), name
    _sheet(page)
    box = page.locator("#sheet_close").bounding_box()
    assert box is not None
    assert min(box["height"], box["width"]) >= 24
    row = page.locator("#list button").first
    map_pages.unfold(page)
    box = row.bounding_box()
    assert box is not None
    assert box["height"] >= 40


def test_larger_letters_do_not_break_the_page(folder: Path, open_page: Opener) -> None:
    """At 200 % as a browser zooms: half the pixels; all can still be reached (criterion 1.4.4)."""
    page = open_page(folder / "map.html", 640, 400).page
    map_pages.unfold(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    row = page.locator("#list button").first
    row.scroll_into_view_if_needed()
    box = row.bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 400
    area = page.locator("#roads_map").bounding_box()
    assert area is not None


def test_without_colour_and_motion(folder: Path, open_page: Opener) -> None:
    """Forced colours of a system: rows, letters and frames stay to be seen, nothing complains."""
    opened = open_page(folder / "map.html")
    page = opened.page
    page.emulate_media(forced_colors="active", reduced_motion="reduce")
    for name in ("#list button", "#roads_map .letter", "#roads_map .chip:visible", "#filter_state"):
        expect(page.locator(name).first).to_be_visible()
    assert opened.complaints == []
