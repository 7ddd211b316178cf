"""Everything on the map is reached and left by keyboard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from roadrisk.reporting.map import map_html
from tests.pages import map_pages

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opener

# As a person counts that presses Tab: list, stretch and sites, links, controls.
MOST_STOPS = 120


@pytest.fixture(scope="module")
def made_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("keyboard") / "map.html"
    path.write_bytes(map_html(map_pages.edition()))
    return path


def stops(page: Page) -> list[str]:
    """Press Tab until it comes round; what had the focus, in order."""
    found: list[str] = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        here = map_pages.focused(page)
        if here in found[:1]:
            return found
        found.append(here)
    raise AssertionError(f"a trap: {found[-5:]}")


@pytest.mark.parametrize("width", [1280, 390])
def test_tab_reaches_everything(made_map: Path, open_page: Opener, width: int) -> None:
    """Every button, link, entry, fold and the map itself, once each, and then comes round."""
    page = open_page(made_map, width).page
    map_pages.unfold(page)
    if page.locator("#filter_toggle").is_visible():
        # Not by mouse: the next Tab would go on from there.
        page.locator("#filter_toggle").evaluate("e => e.click()")
    named = stops(page)
    wanted = page.evaluate(
        f"""() => [...document.querySelectorAll("a[href], button, input, select, summary")]
          .filter((e) => !e.disabled && e.tabIndex >= 0
            && e.checkVisibility({{ visibilityProperty: true }})
            && !e.closest(".leaflet-control-layers")).map({map_pages.SAID})"""
    )
    assert [one for one in wanted if one not in named] == []
    assert any("#roads_map" in one for one in named)
    assert any("leaflet-control-layers" in one for one in named)


def test_focus_is_seen_everywhere(made_map: Path, open_page: Opener) -> None:
    """Each stop has an outline or a box of its own (WCAG 2.2, criteria 2.4.7 and 2.4.11)."""
    page = open_page(made_map).page
    map_pages.unfold(page)
    bare = []
    for _ in range(40):
        page.keyboard.press("Tab")
        if map_pages.focused(page).startswith("body"):
            break
        look = page.evaluate(
            """() => {
              const e = document.activeElement, s = getComputedStyle(e);
              const b = e.getBoundingClientRect();
              const seen = parseFloat(s.outlineWidth) >= 2 && s.outlineStyle !== "none"
                || s.boxShadow !== "none";
              const inside = b.width > 0 && b.right > 0 && b.bottom > 0
                && b.left < innerWidth && b.top < innerHeight;
              return seen && inside;
            }"""
        )
        if not look:
            bare.append(map_pages.focused(page))
    assert bare == []


def test_the_first_stop_skips_to_the_list(made_map: Path, open_page: Opener) -> None:
    """One Tab shows a link, and Enter goes to rank 1."""
    page = open_page(made_map).page
    page.keyboard.press("Tab")
    link = page.locator("a:focus")
    expect(link).to_be_visible()
    expect(link).to_contain_text("list")
    page.keyboard.press("Enter")
    expect(page.locator("#list button").first).to_be_focused()


def test_on_a_phone_the_skip_link_unfolds_the_list(made_map: Path, open_page: Opener) -> None:
    page = open_page(made_map, 390, 844).page
    expect(page.locator("#list button").first).to_be_hidden()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#list button").first).to_be_visible()
    expect(page.locator("#list button").first).to_be_focused()


@pytest.mark.parametrize("width", [1280, 390])
def test_escape_goes_back_to_what_opened_it(made_map: Path, open_page: Opener, width: int) -> None:
    """Enter opens and moves the focus into the sheet, Escape closes and brings it back."""
    page = open_page(made_map, width).page
    map_pages.unfold(page)
    for name in ("#list", "#stretch_list", "#measure_list"):
        row = page.locator(f"{name} button").last
        row.focus()
        page.keyboard.press("Enter")
        expect(page.locator("#sheet")).to_be_visible()
        assert page.evaluate("document.getElementById('sheet').contains(document.activeElement)")
        page.keyboard.press("Escape")
        expect(page.locator("#sheet")).to_be_hidden()
        expect(row).to_be_focused()
        expect(row).to_be_visible()


def test_the_cross_closes_too(made_map: Path, open_page: Opener) -> None:
    page = open_page(made_map).page
    row = page.locator("#list button").nth(1)
    row.focus()
    page.keyboard.press("Space")
    page.locator("#sheet_close").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#sheet")).to_be_hidden()
    expect(row).to_be_focused()


def test_a_long_sheet_is_scrolled_by_keyboard(made_map: Path, open_page: Opener) -> None:
    """Page Down moves it while the focus is in it."""
    page = open_page(made_map, 1024, 640).page
    page.locator("#list button").first.focus()
    page.keyboard.press("Enter")
    sheet = page.locator("#sheet")
    assert sheet.evaluate("e => e.scrollHeight > e.clientHeight")
    page.keyboard.press("PageDown")
    page.wait_for_timeout(300)
    assert sheet.evaluate("e => e.scrollTop") > 50


def test_arrows_move_the_map_and_plus_brings_it_closer(made_map: Path, open_page: Opener) -> None:
    page = open_page(made_map).page
    page.locator("#roads_map").focus()
    before = page.evaluate("[roads_map.getCenter().lng, roads_map.getZoom()]")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(400)
    page.keyboard.press("+")
    page.wait_for_timeout(400)
    after = page.evaluate("[roads_map.getCenter().lng, roads_map.getZoom()]")
    assert after[0] > before[0]
    assert after[1] > before[1]


def test_layers_are_switched_by_keyboard(made_map: Path, open_page: Opener) -> None:
    """The folded switch opens on Enter, its boxes are reached by Tab and worked by Space."""
    page = open_page(made_map).page
    page.locator(".leaflet-control-layers-toggle").focus()
    page.keyboard.press("Enter")
    for _ in range(12):
        page.keyboard.press("Tab")
        label = page.evaluate(
            "(document.activeElement.closest('label') || {innerText: ''}).innerText.trim()"
        )
        if label == "Ranked list":
            break
    assert label == "Ranked list"
    assert page.evaluate("roads_map.hasLayer(windows_layer)")
    page.keyboard.press("Space")
    assert not page.evaluate("roads_map.hasLayer(windows_layer)")


def test_filters_by_keyboard(made_map: Path, open_page: Opener) -> None:
    """An arrow key chooses the next entry, as in any list of a form."""
    page = open_page(made_map).page
    page.locator("#filter_state").focus()
    page.keyboard.press("ArrowDown")
    expect(page.locator("#filter_state")).not_to_have_value("")
    expect(page.locator("#filter_count")).not_to_contain_text("60 of 60")


def test_the_switch_of_layers_takes_the_keyboard_in_and_gives_it_back(
    made_map: Path, open_page: Opener
) -> None:
    """It vanishes when it unfolds: the focus goes to its first box, and Escape folds it again."""
    page = open_page(made_map, 390, 844).page
    toggle = page.locator(".leaflet-control-layers-toggle")
    toggle.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".leaflet-control-layers-overlays input").first).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator(".leaflet-control-layers-overlays")).to_be_hidden()
    expect(toggle).to_be_focused()


def test_filters_have_room_on_a_phone(made_map: Path, open_page: Opener) -> None:
    """Unfolding them folds the list, which would lie over them."""
    page = open_page(made_map, 390, 844).page
    page.locator("#panel > summary").click()
    page.locator("#filter_toggle").click()
    expect(page.locator("#list button").first).to_be_hidden()
    page.locator("#filter_clear").scroll_into_view_if_needed()
    box, panel = page.locator("#filter_clear").bounding_box(), page.locator("#panel").bounding_box()
    assert box is not None
    assert panel is not None
    assert box["y"] + box["height"] <= panel["y"]
