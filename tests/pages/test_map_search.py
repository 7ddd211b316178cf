"""Search by road name: found as people type it, chosen by mouse or keyboard."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from roadrisk.reporting.map import map_html
from tests.pages import map_pages

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opened, Opener


@pytest.fixture(scope="module")
def made_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("search") / "map.html"
    path.write_bytes(map_html(map_pages.edition()))
    return path


def opened(made_map: Path, open_page: Opener, width: int = 1280) -> Opened:
    seen = open_page(made_map, width)
    map_pages.unfold(seen.page)
    return seen


def found(page: Page, text: str) -> list[str]:
    """First lines of the results of a search."""
    page.locator("#search").fill(text)
    return [
        line.strip().splitlines()[0]
        for line in page.locator("#search_results button").all_inner_texts()
    ]


def test_the_box_says_what_it_is(made_map: Path, open_page: Opener) -> None:
    page = opened(made_map, open_page).page
    expect(page.get_by_label("Find a road", exact=True)).to_have_attribute("id", "search")
    expect(page.locator("#search_results button")).to_have_count(0)


def test_found_as_people_type(made_map: Path, open_page: Opener) -> None:
    """Any case, any part, without marks on letters, by route number; each road once."""
    page = opened(made_map, open_page).page
    for typed, name in (("heron", "Heron Road"), ("HERON R", "Heron Road"), ("sr 12", "Heron Road"),
                        ("  sedge ", "Sedge Lane"), ("end", "Fen End"), ("öster", "Öster Lane"),
                        ("oster", "Öster Lane")):  # fmt: skip
        names = found(page, typed)
        assert len(names) == 1, typed
        assert name in names[0], typed


def test_nothing_found_is_said(made_map: Path, open_page: Opener) -> None:
    """In words that a screen reader hears; an empty box shows nothing."""
    page = opened(made_map, open_page).page
    status = page.locator("#search_box").get_by_role("status")
    assert found(page, "no such road") == []
    expect(status).to_have_text("0 roads found")
    expect(page.locator("#search_results")).to_contain_text(re.compile("no road", re.IGNORECASE))
    assert found(page, "") == []
    expect(status).to_have_text("")
    expect(page.locator("#search_results")).to_be_hidden()


@pytest.mark.parametrize("width", [1280, 390])
def test_a_result_shows_the_road(made_map: Path, open_page: Opener, width: int) -> None:
    """All of the road is in view, its sheet is open, and what was found closes."""
    seen = opened(made_map, open_page, width)
    page = seen.page
    assert found(page, "sedge") == ["Sedge Lane"]
    page.locator("#search_results button").click()
    expect(page.locator("#sheet_title")).to_contain_text("Sedge Lane")
    inside = page.evaluate(
        """() => {
          const mine = roads_layer.getLayers()
            .filter((l) => l.feature.properties.t === "Sedge Lane");
          const all = L.featureGroup(mine).getBounds();
          return mine.length === 1 && roads_map.getBounds().contains(all);
        }"""
    )
    assert inside
    box = page.locator("#sheet").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 800
    assert seen.complaints == []


def test_by_keyboard_alone(made_map: Path, open_page: Opener) -> None:
    """Type, Tab to the result, Enter; Escape goes back to the box's result or the box."""
    page = opened(made_map, open_page).page
    page.locator("#search").focus()
    page.keyboard.type("öster")
    page.keyboard.press("Tab")
    assert "Öster Lane" in map_pages.focused(page)
    page.keyboard.press("Enter")
    expect(page.locator("#sheet_title")).to_contain_text("Öster Lane")
    page.keyboard.press("Escape")
    expect(page.locator("#sheet")).to_be_hidden()
    back = map_pages.focused(page)
    assert "Öster Lane" in back or "#search" in back, back


def test_enter_in_the_box_chooses_the_only_result(made_map: Path, open_page: Opener) -> None:
    """As people expect of a search; without a result nothing happens."""
    page = opened(made_map, open_page).page
    page.locator("#search").fill("nothing like it")
    page.keyboard.press("Enter")
    expect(page.locator("#sheet")).to_be_hidden()
    page.locator("#search").fill("fen end")
    page.keyboard.press("Enter")
    expect(page.locator("#sheet_title")).to_contain_text("Fen End")
