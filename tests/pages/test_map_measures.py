"""What a browser sees of proposed measures on the map."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from roadrisk.reporting.map import map_html
from tests.reporting import made_up, made_up_measures
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from roadrisk.measure_findings import MeasureTables
    from tests.pages.conftest import Opener


def opened(
    folder: Path,
    open_page: Opener,
    width: int = 1280,
    poorer: Callable[[MeasureTables], MeasureTables] = lambda measures: measures,
) -> Page:
    """Open the map of findings of the made-up study; nothing may be complained of."""
    path = folder / "map.html"
    findings = made_up.findings()
    path.write_bytes(map_html(confidential(replace(findings, measures=poorer(findings.measures)))))
    seen = open_page(path, width)
    assert seen.complaints == []
    assert seen.requests == [path.as_uri()]
    assert seen.page.evaluate("window.__hacked === undefined")
    return seen.page


def test_what_is_proposed_is_on_at_first(tmp_path: Path, open_page: Opener) -> None:
    """Words, rows and tags without a click; deaths still come first."""
    page = opened(tmp_path, open_page)
    expect(page.locator("#measures")).to_have_text(made_up.findings().measures.words)
    expect(page.locator("#measures_link")).to_have_attribute("href", "measures.html")
    assert page.locator("#measure_list button").count() == 3
    assert page.locator(".chip_box > .site").all_inner_texts() == ["S1", "S2", "S3"]
    assert page.locator(".site_end").count() == 6
    expect(page.locator("#legend_inside")).to_contain_text("proposed measure; S1 is site 1")
    boxes = [page.locator(name).bounding_box() for name in ("#deaths", "#measures")]
    assert boxes[0] is not None
    assert boxes[1] is not None
    assert boxes[0]["y"] < boxes[1]["y"]


def test_a_click_opens_the_site(tmp_path: Path, open_page: Opener) -> None:
    """From the list and on the map: the same sheet, its row marked."""
    page = opened(tmp_path, open_page)
    page.locator("#measure_list button").nth(1).click()
    expect(page.locator("#sheet_title")).to_have_text("Proposed, site 2: fence led to culverts")
    expect(page.locator("#sheet_lines")).to_contain_text("48,000 (32,000 to 70,000) EUR")
    rows = page.locator("#measure_list button")
    assert [r.get_attribute("aria-pressed") for r in rows.all()] == ["false", "true", "false"]
    page.evaluate("measures_layer.getLayers()[0].fire('click'); 0")
    expect(page.locator("#sheet_title")).to_have_text("Proposed, site 1: fence with passages")
    assert [r.get_attribute("aria-pressed") for r in rows.all()] == ["true", "false", "false"]


def test_a_window_of_the_list_says_what_is_proposed(tmp_path: Path, open_page: Opener) -> None:
    """By hand: the first window lies within site 1, the fourth in none."""
    page = opened(tmp_path, open_page)
    row = page.locator("#list button")
    expect(row.first).to_contain_text("proposed here: fence with passages (S1)")
    expect(row.nth(3)).not_to_contain_text("proposed here")
    row.first.click()
    expect(page.locator("#sheet_lines")).to_contain_text("Proposed here")


def test_signs_have_a_shape_and_a_sheet(tmp_path: Path, open_page: Opener) -> None:
    """Diamonds; hostile names in their sheets stay text."""
    page = opened(tmp_path, open_page)
    assert page.evaluate("signs_layer.getLayers().map((l) => l.options.shape)") == ["sign"] * 3
    expect(page.locator("#key_signs")).to_contain_text("place for a warning sign")
    page.evaluate("signs_layer.getLayers()[2].fire('click'); 0")
    expect(page.locator("#sheet_title")).to_have_text("Place for sign 3")
    expect(page.locator("#sheet_lines")).to_contain_text(made_up_measures.HOSTILE)
    assert page.locator("#sheet_lines img").count() == 0


def test_the_layer_can_be_switched_off(tmp_path: Path, open_page: Opener) -> None:
    """Line, dashes and tags go together; the road's own sheet is reached again."""
    page = opened(tmp_path, open_page)
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label("Proposed measures", exact=True).click()
    assert page.locator(".chip_box > .site, .site_end").count() == 0
    assert page.evaluate("measures_layer.getLayers().every((l) => !roads_map.hasLayer(l))")


def test_nothing_proposed_says_why(tmp_path: Path, open_page: Opener) -> None:
    """No layer, no row, no key; the words stand."""
    page = opened(tmp_path, open_page, poorer=made_up_measures.nothing_proposed)
    expect(page.locator("#measures")).to_contain_text("No measure is proposed")
    assert page.locator("#measure_list button").count() == 0
    page.locator(".leaflet-control-layers").hover()
    expect(page.locator(".leaflet-control-layers")).not_to_contain_text("Proposed")
    expect(page.locator("#legend_inside")).not_to_contain_text("proposed")


@pytest.mark.parametrize("width", [1280, 390])
def test_no_barriers(tmp_path: Path, open_page: Opener, width: int) -> None:
    """axe-core finds nothing serious with the list and a site's sheet open."""
    page = opened(tmp_path, open_page, width)
    page.locator("#panel").evaluate("e => { e.open = true; }")
    page.locator("#measure_list button").first.click()
    found = Axe().run(page).response["violations"]
    serious = [v for v in found if v["impact"] in ("serious", "critical")]
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in serious] == []
