"""What a browser sees of deaths on the map: how many and where, without a click."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from roadrisk.reporting.map import map_html
from tests.reporting import made_up, made_up_deaths
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from roadrisk.findings import Findings
    from tests.pages.conftest import Opener

KNOWN = "Expected road deaths"
RELATIVE = "Road deaths beside the mean of all roads"
EVIDENCE = "Crossings and reports, smoothed"


def opened(findings: Findings, folder: Path, open_page: Opener, width: int = 1280) -> Page:
    """Open the map of findings of the made-up study; nothing may be complained of."""
    path = folder / "map.html"
    path.write_bytes(map_html(confidential(findings)))
    seen = open_page(path, width)
    assert seen.complaints == []
    assert seen.requests == [path.as_uri()]
    return seen.page


def on(page: Page) -> list[str]:
    """Names of the kinds of colour that are on."""
    page.locator(".leaflet-control-layers").hover()
    boxes = page.locator(".leaflet-control-layers-overlays label").all()
    shown = [b.inner_text().strip() for b in boxes if b.locator("input").is_checked()]
    return [name for name in shown if name in (KNOWN, RELATIVE, EVIDENCE)]


@pytest.mark.parametrize("width", [1280, 390])
def test_the_first_view_says_how_many(tmp_path: Path, open_page: Opener, width: int) -> None:
    """Without a click, on a phone too, and first of all that the panel says."""
    findings = made_up.findings()
    page = opened(findings, tmp_path, open_page, width)
    said = page.locator("#deaths")
    expect(said).to_be_visible()
    expect(said).to_have_text(findings.deaths.words)
    first = page.locator("#panel").evaluate("e => e.textContent.replace(/\\s+/g, ' ').trim()")
    assert first.startswith(f"What was found {findings.deaths.words}")
    box = said.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 800
    expect(page.locator("#deaths_link")).to_have_attribute("href", "deaths.html")


@pytest.mark.parametrize(
    ("poorer", "kind", "unit"),
    [
        (None, KNOWN, "per km of road and year"),
        (made_up_deaths.not_known, RELATIVE, "as a multiple"),
        (made_up_deaths.only_a_bound, RELATIVE, "as a multiple"),
        (made_up_deaths.by_evidence, EVIDENCE, "per km of road and year"),
    ],
)
def test_the_kind_shown_first_is_what_is_known(
    tmp_path: Path, open_page: Opener, poorer: object, kind: str, unit: str
) -> None:
    """Deaths, else where more die, else crossings and reports; the legend explains that one."""
    findings = poorer(made_up.findings()) if callable(poorer) else made_up.findings()
    page = opened(findings, tmp_path, open_page)
    assert on(page) == [kind]
    title = "Crossing-days and reports" if kind == EVIDENCE else kind
    expect(page.locator("#legend_title")).to_have_text(title)
    expect(page.locator("#legend .legend_unit").first).to_have_text(unit)


def test_the_legend_follows_the_layer(tmp_path: Path, open_page: Opener) -> None:
    """By hand: deaths reach 2.08 (class 1 and more), crossings and reports 21 (10 and more)."""
    page = opened(made_up.findings(), tmp_path, open_page)
    legend = page.locator("#legend_inside")
    expect(legend).to_contain_text("0.01 to 0.03")
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label(EVIDENCE, exact=True).click()
    expect(legend).to_contain_text("10 and more")
    expect(legend).not_to_contain_text("0.01 to 0.03")
    expect(legend).not_to_contain_text("judged from roads like it")
    page.get_by_label(EVIDENCE, exact=True).click()
    expect(page.locator("#legend_title")).to_have_count(0)
    assert on(page) == []


def test_a_piece_says_its_deaths_and_whether_it_was_watched(
    tmp_path: Path, open_page: Opener
) -> None:
    """Every line of the layer has a sheet with an interval; watched ones are those of two roads."""
    page = opened(made_up.findings(), tmp_path, open_page)
    sheets = page.evaluate(
        """() => deaths_layer.getLayers().map((layer) => {
          layer.fire("click");
          const said = document.getElementById("sheet_lines").innerText;
          return [layer.feature.properties.u === 1, said];
        })"""
    )
    assert len(sheets) > 10
    for judged, text in sheets:
        assert "per km and year" in text
        assert " to " in text.splitlines()[1]
        assert ("no: judged from" in text) == judged
    assert {judged for judged, _ in sheets} == {True, False}


def test_what_nobody_watched_is_thin_and_broken(tmp_path: Path, open_page: Opener) -> None:
    """Known without colour, close up and from afar, and never thinner than a plain road."""
    page = opened(made_up.findings(), tmp_path, open_page)
    for zoom in (13, 14.5, 17):
        page.evaluate(f"roads_map.setZoom({zoom}, {{animate: false}}); 0")
        drawn = page.evaluate(
            """() => deaths_layer.getLayers().map((l) => [l.feature.properties.c,
              l.feature.properties.u === 1, l.options.weight, l.options.dashArray,
              l.feature.properties.o === 1])"""
        )
        watched = {c: w for c, judged, w, _, _ in drawn if not judged}
        for colour, judged, weight, dash, bridge in drawn:
            assert weight > 1.8
            if not bridge:
                assert bool(dash) == judged
            if judged and colour in watched:
                assert weight < watched[colour]


def test_nothing_tells_of_deaths_then_there_is_no_such_layer(
    tmp_path: Path, open_page: Opener
) -> None:
    """An empty layer would look like roads on which none dies."""
    page = opened(made_up_deaths.by_evidence(made_up.findings()), tmp_path, open_page)
    page.locator(".leaflet-control-layers").hover()
    expect(page.locator(".leaflet-control-layers")).not_to_contain_text("deaths")
    expect(page.locator("#deaths")).to_contain_text("isn't known")


@pytest.mark.parametrize("width", [1280, 390])
def test_the_map_has_no_barriers(tmp_path: Path, open_page: Opener, width: int) -> None:
    """axe-core finds nothing serious, with the list open too."""
    page = opened(made_up.findings(), tmp_path, open_page, width)
    page.locator("#panel").evaluate("e => { e.open = true; }")
    found = Axe().run(page).response["violations"]
    serious = [v for v in found if v["impact"] in ("serious", "critical")]
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in serious] == []
