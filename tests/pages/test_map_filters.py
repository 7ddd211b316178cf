"""Filters of the map: what is counted and drawn follows the choice, without a server."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from roadrisk.reporting.map import map_html
from tests.pages import map_pages

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from tests.pages.conftest import Opened, Opener

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip
# Words of an entry, and the value of the counts' column of the filter's name.
ENTRIES: dict[str, dict[str, object]] = {
    "state": {"alive": "alive", "dead": "dead", "not said": ""},
    "sex": {"female": "female", "male": "male", "not said": ""},
    "year": {"2021": 2021, "2022": 2022, "2023": 2023},
}
FILTERS = ("season", "sex", "state", "year")


@pytest.fixture(scope="module")
def made_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("filters") / "map.html"
    path.write_bytes(map_html(map_pages.edition()))
    return path


@pytest.fixture(scope="module")
def whole_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("filters") / "confidential.html"
    path.write_bytes(map_html(map_pages.edition("confidential")))
    return path


@pytest.fixture(scope="module")
def counts() -> pd.DataFrame:
    return map_pages.edition().counts.filtered


def opened(path: Path, open_page: Opener, width: int = 1280) -> Opened:
    seen = open_page(path, width)
    toggle = seen.page.locator("#filter_toggle")
    if toggle.is_visible():
        toggle.click()
    return seen


def options(page: Page, name: str) -> list[tuple[str, str]]:
    """Value and words of each entry."""
    found = page.locator(f"#filter_{name}").evaluate(
        "(e) => [...e.options].map((o) => [o.value, o.textContent])"
    )
    return [(value, words) for value, words in found]


def said(page: Page) -> tuple[int, int]:
    """How many of how many reports the page says that it shows."""
    text = page.locator("#filter_count").inner_text()
    found = re.fullmatch(r"([\d,]+) of ([\d,]+) reports shown", text)
    assert found is not None, text
    return int(found[1].replace(",", "")), int(found[2].replace(",", ""))


def drawn(page: Page) -> int:
    """How many reports stand on the map, as a piece of road's number or one by one."""
    return int(
        page.evaluate(
            """() => {
              const group = typeof counts_layer === "undefined" ? reports_layer : counts_layer;
              return group.getLayers().reduce((n, l) => n + (l.many || 1), 0);
            }"""
        )
    )


def choose(page: Page, **asked: str) -> None:
    """Choose an entry of each filter named by its words."""
    for name, words in asked.items():
        page.locator(f"#filter_{name}").select_option(label=words)


def test_all_are_shown_at_first(made_map: Path, open_page: Opener, counts: pd.DataFrame) -> None:
    seen = opened(made_map, open_page)
    page, total = seen.page, int(counts["count"].sum())
    assert total == 60
    assert said(page) == (total, total)
    assert drawn(page) == total
    expect(page.locator("#filter_count")).to_have_attribute("role", "status")
    for name in FILTERS:
        assert options(page, name)[0] == ("", "all"), name
    assert seen.complaints == []


@pytest.mark.parametrize("kind", ["made_map", "whole_map"])
def test_each_entry_shows_its_own(
    request: pytest.FixtureRequest, open_page: Opener, counts: pd.DataFrame, kind: str
) -> None:
    """As counted by pandas beside the page; what is said is what is drawn; all come back."""
    page = opened(request.getfixturevalue(kind), open_page).page
    total = int(counts["count"].sum())
    for name, known in ENTRIES.items():
        assert [words for _, words in options(page, name)][1:] == list(known)
        for words, value in known.items():
            choose(page, **{name: words})
            own = int(counts.loc[counts[name] == value, "count"].sum())
            assert 0 < own < total
            assert said(page) == (own, total), words
            assert drawn(page) == own, words
        choose(page, **{name: "all"})
        assert said(page) == (total, total)
        assert drawn(page) == total


def test_seasons_say_their_months(made_map: Path, open_page: Opener, counts: pd.DataFrame) -> None:
    """Each is counted by the months that its words name; together they part the year."""
    page = opened(made_map, open_page).page
    total, seen = int(counts["count"].sum()), []
    for value, words in options(page, "season")[1:]:
        page.locator("#filter_season").select_option(value)
        months = months_of(words)
        own = int(counts.loc[counts["month"].isin(months), "count"].sum())
        assert 0 < own < total
        assert said(page) == (own, total), words
        assert drawn(page) == own
        # A season may lie over quarters.
        seen += months if ":" not in words else []
    assert sorted(seen) == list(range(1, 13))


def months_of(words: str) -> list[int]:
    """Return the months that the words of a season name: "active season: April to October"."""
    named = re.match(r"(?:[\w ]+: )?(\w+) to (\w+)", words)
    assert named is not None, words
    first, last = (MONTHS.index(month) for month in named.groups())
    return [k % 12 + 1 for k in range(first, last + 1 if last >= first else last + 13)]


def test_filters_work_together(made_map: Path, open_page: Opener, counts: pd.DataFrame) -> None:
    """Dead females of 2022; then what doesn't occur; one button shows all again."""
    page = opened(made_map, open_page).page
    total = int(counts["count"].sum())
    choose(page, state="dead", sex="female", year="2022")
    own = counts.query("state == 'dead' and sex == 'female' and year == 2022")
    assert 0 < len(own) < len(counts)
    assert said(page) == (own["count"].sum(), total)
    assert drawn(page) == own["count"].sum()
    quarters = [words for _, words in options(page, "season")[1:] if ":" not in words]
    none = [(year, words) for year in (2021, 2022, 2023) for words in quarters
            if counts.query("state == 'dead' and sex == 'female' and year == @year and "
                            "month in @months_of(@words)").empty]  # fmt: skip
    choose(page, year=str(none[0][0]), season=none[0][1])
    assert said(page) == (0, total)
    assert drawn(page) == 0
    page.locator("#filter_clear").click()
    assert said(page) == (total, total)
    assert drawn(page) == total
    for name in FILTERS:
        assert page.locator(f"#filter_{name}").input_value() == ""


def test_a_layer_switched_off_stays_off(made_map: Path, open_page: Opener) -> None:
    """A filter changes what a layer holds, and not whether it is on; ranks stay."""
    page = opened(made_map, open_page).page
    label = page.locator(".leaflet-control-layers-overlays label", has_text="eports")
    names = label.all_inner_texts()
    name = next(n.strip() for n in names if "smoothed" not in n)
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label(name, exact=True).uncheck()
    choose(page, state="dead")
    assert not page.evaluate("roads_map.hasLayer(counts_layer)")
    assert page.evaluate("counts_layer.getLayers().every((l) => !roads_map.hasLayer(l))")
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label(name, exact=True).check()
    assert page.evaluate("counts_layer.getLayers().every((l) => roads_map.hasLayer(l))")
    assert page.locator(".chip").count() == 7


@pytest.mark.parametrize("width", [1280, 390])
def test_each_filter_has_its_name(made_map: Path, open_page: Opener, width: int) -> None:
    """By label, as a screen reader finds them; on a phone they unfold from one button."""
    seen = open_page(made_map, width)
    page = seen.page
    if width < 700:
        toggle = page.get_by_role("button", name="Filter reports")
        expect(toggle).to_have_attribute("aria-expanded", "false")
        expect(page.locator("#filter_state")).to_be_hidden()
        toggle.click()
        expect(toggle).to_have_attribute("aria-expanded", "true")
    for name in ("Season", "Sex", "Alive or dead", "Year"):
        box = page.get_by_role("combobox", name=name, exact=True)
        expect(box).to_be_visible()
        where = box.bounding_box()
        assert where is not None
        assert where["x"] >= 0
        assert where["x"] + where["width"] <= width
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_nothing_is_asked_of_a_server(made_map: Path, open_page: Opener) -> None:
    seen = opened(made_map, open_page)
    for name in FILTERS:
        for value, _ in options(seen.page, name):
            seen.page.locator(f"#filter_{name}").select_option(value)
    assert seen.requests == [made_map.as_uri()]
    assert seen.complaints == []
