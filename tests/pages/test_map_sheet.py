"""Sheets of places: numbers with intervals, charts with words, what is proposed, evidence."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Locator, Page, expect

from roadrisk.reporting.map import map_html
from tests.pages import map_pages

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opened, Opener

LISTS = ("#list", "#stretch_list", "#measure_list")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip


@pytest.fixture(scope="module")
def made_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "map.html"
    path.write_bytes(map_html(map_pages.edition()))
    return path


def chosen(made_map: Path, open_page: Opener, row: str, width: int = 1280) -> Opened:
    """Open the page and choose a row of a list."""
    seen = open_page(made_map, width)
    map_pages.unfold(seen.page)
    seen.page.locator(row).first.click()
    expect(seen.page.locator("#sheet")).to_be_visible()
    return seen


def charts(page: Page) -> dict[str, Locator]:
    """Charts of the open sheet by what they are counted by."""
    found: dict[str, Locator] = {}
    for chart in page.locator("#sheet_charts").get_by_role("img").all():
        words = chart.get_attribute("aria-label") or chart.get_attribute("alt") or ""
        found[words.split(":")[0].split(" of ")[0]] = chart
    return found


def words_of(chart: Locator) -> str:
    return chart.get_attribute("aria-label") or chart.get_attribute("alt") or ""


def test_every_row_has_charts_with_words(made_map: Path, open_page: Opener) -> None:
    """By month, hour and year, drawn as wide as the sheet and said in words."""
    seen = chosen(made_map, open_page, "#list button")
    page = seen.page
    for row in page.locator(", ".join(f"{name} button" for name in LISTS)).all():
        row.click()
        drawn = charts(page)
        assert set(drawn) == {"By month", "By hour", "By year"}
        for kind, chart in drawn.items():
            box = chart.bounding_box()
            assert box is not None
            assert box["width"] > 200, kind
            assert box["height"] > 30, kind
            assert len(words_of(chart)) > len(kind) + 10
    assert seen.complaints == []


@pytest.mark.parametrize(("counted_by", "names"), [
    ("month", dict(enumerate(MONTHS, 1))), ("year", {y: str(y) for y in (2021, 2022, 2023)}),
])  # fmt: skip
def test_a_chart_says_what_was_counted(
    made_map: Path, open_page: Opener, counted_by: str, names: dict[int, str]
) -> None:
    """Numbers in the words are those of the counts, and no more; a bar stands for each."""
    page = chosen(made_map, open_page, "#list button").page
    chart = charts(page)[f"By {counted_by}"]
    told = words_of(chart)
    counts = map_pages.edition().counts.marginal.query(
        "place_kind == 'window' and place == 1 and counted_by == @counted_by"
    )
    bars = 0
    for column, kind in (("alive", "live"), ("dead", "dead")):
        found = re.search(rf"Reports of {kind} animals: ([^;]*); otherwise none\.", told)
        assert found is not None, told
        said = dict(re.findall(r"(\w+) ([\d.]+)", found[1]))
        many = {names[v]: k for v, k in zip(counts["value"], counts[column], strict=True) if k > 0}
        assert {name: float(text) for name, text in said.items()} == pytest.approx(many, abs=0.051)
        bars += len(many)
    assert chart.locator("rect").count() >= bars > 0


def test_numbers_have_intervals(made_map: Path, open_page: Opener) -> None:
    """By hand, of the first row: deaths a km and year, crossing-days; the rank's interval."""
    page = chosen(made_map, open_page, "#list button").page
    sheet = page.locator("#sheet")
    for words in ("3.14 (1.26 to 6.28)", "1 to 7", "5 (4 to 6)"):
        expect(sheet).to_contain_text(words)


def test_a_window_leads_to_what_is_proposed_there(made_map: Path, open_page: Opener) -> None:
    """The sheet of rank 1 names site 1 and leads to its sheet; Escape goes back to the row."""
    page = chosen(made_map, open_page, "#list button").page
    expect(page.locator("#sheet")).to_contain_text("fence with passages")
    link = page.locator("#sheet_links button", has_text=re.compile("S1|[Ss]ite 1"))
    link.click()
    expect(page.locator("#sheet_title")).to_contain_text(re.compile("S1|[Ss]ite 1"))
    expect(page.locator("#sheet")).to_contain_text("0.9 (0.36 to 1.8)")
    page.keyboard.press("Escape")
    expect(page.locator("#list button").first).to_be_focused()


def test_evidence_is_said(made_map: Path, open_page: Opener) -> None:
    """What a rank rests on, how many animals and observers, how often it was kept."""
    sheet = chosen(made_map, open_page, "#list button").page.locator("#sheet")
    for words in ("1 tagged animals", "91 of 100", "water on both sides"):
        expect(sheet).to_contain_text(words)


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1024, 640), (390, 844), (390, 640)])
def test_a_sheet_fits_and_can_be_read_to_its_end(
    made_map: Path, open_page: Opener, width: int, height: int
) -> None:
    """On a phone part of the map stays in view; nothing runs out sideways."""
    seen = open_page(made_map, width, height)
    page = seen.page
    map_pages.unfold(page)
    page.locator("#list button").first.click()
    sheet, area = page.locator("#sheet").bounding_box(), page.locator("#roads_map").bounding_box()
    assert sheet is not None
    assert area is not None
    assert sheet["x"] >= 0
    assert sheet["x"] + sheet["width"] <= width
    assert sheet["y"] + sheet["height"] <= height
    if width < 700:
        assert sheet["y"] - area["y"] > 0.2 * area["height"]
    assert page.locator("#sheet").evaluate("e => e.scrollWidth <= e.clientWidth")
    last = page.locator("#sheet dd:visible").last
    last.scroll_into_view_if_needed()
    box = last.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= height
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_the_agency_edition_holds_no_single_record(made_map: Path, open_page: Opener) -> None:
    """Neither layer nor words of a single report or step; pieces of road tell how many."""
    page = open_page(made_map).page
    assert not page.evaluate("[typeof reports_layer, typeof crossings_layer].includes('object')")
    said = page.evaluate(
        """() => counts_layer.getLayers().map((layer) => {
          layer.fire("click");
          return document.getElementById("sheet").innerText;
        })"""
    )
    assert len(said) > 20
    for text in said:
        assert not re.search(r"S-\d|A0\d|observer \d|20\d\d-\d\d-\d\d|\d [A-Z]\w+ 20\d\d", text)
        assert "Years" in text
