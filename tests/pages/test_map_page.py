"""What a browser sees of the map: nothing leaves the file, text stays text, all can be reached."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pyproj
import pytest
from playwright.sync_api import Page, expect

from roadrisk.reporting.map import map_html
from roadrisk.reporting.stretch_page import stretches_html
from tests.reporting import made_up, made_up_deaths
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.conftest import Opener


@pytest.fixture(scope="module")
def made_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("map of é") / "map.html"
    path.write_bytes(map_html(confidential()))
    return path


def click_at(page: Page, longitude: float, latitude: float) -> None:
    """Bring a place to the middle of the map's free part and click it."""
    page.evaluate(f"roads_map.setView([{latitude}, {longitude}], 17, {{animate: false}}); 0")
    place = page.evaluate(f"roads_map.latLngToContainerPoint([{latitude}, {longitude}])")
    box = page.locator("#roads_map").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + place["x"], box["y"] + place["y"])


def layers(page: Page) -> dict[str, bool]:
    """Name of each layer in the control, and whether it is on."""
    boxes = page.locator(".leaflet-control-layers-overlays label")
    return {
        boxes.nth(i).inner_text().strip(): boxes.nth(i).locator("input").is_checked()
        for i in range(boxes.count())
    }


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_leaves_the_file(made_map: Path, open_page: Opener, width: int) -> None:
    """One request, for the file itself; not a word on the console, also after using the page."""
    opened = open_page(made_map, width)
    page = opened.page
    page.locator("#panel > summary").click()
    page.locator("#legend > summary").click()
    page.locator(".leaflet-control-layers").hover()
    for box in page.locator(".leaflet-control-layers-overlays input").all()[:-1]:
        box.click()
        box.click()
    page.locator(".leaflet-control-zoom-in").click()
    page.wait_for_timeout(200)
    assert opened.requests == [made_map.as_uri()]
    assert opened.complaints == []
    assert page.evaluate("window.__hacked === undefined")


def test_the_background_map_is_asked_for_only_when_switched_on(
    made_map: Path, open_page: Opener
) -> None:
    """Its label says whom it asks; once on, only that host is asked, and a note explains."""
    opened = open_page(made_map)
    page = opened.page
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label("Background map (asks openstreetmap.org)").check()
    page.wait_for_timeout(300)
    asked = opened.requests[1:]
    assert asked
    assert all(u.startswith("https://tile.openstreetmap.org/") for u in asked)
    expect(page.locator("#hint")).to_contain_text("fetched from openstreetmap.org only while")
    page.locator(".leaflet-control-layers").hover()
    page.get_by_label("Background map (asks openstreetmap.org)").uncheck()
    expect(page.locator("#hint")).to_be_hidden()


def test_legend_layers_and_scale_are_there(made_map: Path, open_page: Opener) -> None:
    """By hand, from the made-up findings."""
    page = open_page(made_map).page
    legend = page.locator("#legend_inside")
    for words in ("Expected road deaths", "per km of road and year", "1 and more", "0.3 to 1",
                  "less than 0.01", "not watched by a source that says how many",
                  "bridge or tunnel: passing below or above is no road crossing",
                  "not watched: no tagged animal within 200 m",
                  "stretch that stands out, with its letter", "alive", "dead",
                  "crossing"):  # fmt: skip
        expect(legend).to_contain_text(words)
    expect(page.locator(".leaflet-control-scale")).to_contain_text(re.compile(r"\d+ k?m"))
    expect(page.locator("#roads_map")).to_have_attribute("aria-label", re.compile("Map"))
    expect(page.locator(".leaflet-control-attribution")).to_have_text("Invented roads")
    page.locator(".leaflet-control-layers").hover()
    assert layers(page) == {
        "Roads": True, "Stretches that stand out": True, "Expected road deaths": True,
        "Crossings and reports, smoothed": False, "Tagged animals alone, smoothed": False,
        "Live reports alone, smoothed": False, "Dead reports alone, smoothed": False,
        "Ranked list": True, "Proposed measures": True, "Places for signs": True,
        "Steps between fixes across a road": False, "Public reports": True,
        "Background map (asks openstreetmap.org)": False,
    }  # fmt: skip


def test_layers_go_and_come_back(made_map: Path, open_page: Opener) -> None:
    """Each switch takes its layer off the map and puts it back, numbers included."""
    page = open_page(made_map).page
    names = {"Roads": "roads", "Stretches that stand out": "stretches", "Ranked list": "windows",
             "Crossings and reports, smoothed": "pieces", "Public reports": "reports",
             "Tagged animals alone, smoothed": "tracked", "Live reports alone, smoothed": "alive",
             "Steps between fixes across a road": "crossings"}  # fmt: skip
    for label, name in names.items():
        page.locator(".leaflet-control-layers").hover()
        before = page.evaluate(f"roads_map.hasLayer({name}_layer)")
        for expected in (not before, before):
            page.get_by_label(label, exact=True).click()
            assert page.evaluate(f"roads_map.hasLayer({name}_layer)") is expected
            if name == "windows":
                assert page.locator(".chip").count() == (7 if expected else 0)


def test_rank_intervals_stand_in_the_list(
    made_map: Path, tmp_path: Path, open_page: Opener
) -> None:
    """By hand: by deaths; by crossings and reports, and nothing where it can't be told."""
    rows = open_page(made_map).page.locator("#list li")
    expect(rows.nth(0)).to_contain_text("rank 1 to 7 (90 % interval)")
    path = tmp_path / "map.html"
    path.write_bytes(map_html(confidential(made_up_deaths.by_evidence(made_up.findings()))))
    rows = open_page(path).page.locator("#list li")
    expect(rows.nth(0)).to_contain_text("rank 1 to 7 in resamples")
    expect(rows.nth(3)).not_to_contain_text("in resamples")
    expect(rows.nth(0)).to_contain_text(
        "31.4 crossing-days and reports per km and year (14.1 to 56.5)"
    )


def test_a_row_says_what_is_counted_and_what_it_rests_on(made_map: Path, open_page: Opener) -> None:
    """By hand: the noun of the first row's number; the last rests on one report, not watched."""
    rows = open_page(made_map).page.locator("#list li")
    expect(rows.nth(0)).to_contain_text("3.14 road deaths per km and year (1.26 to 6.28)")
    expect(rows.nth(6)).to_contain_text("rests on a single report")
    expect(rows.nth(6)).to_contain_text("tagged animals: not watched here")


@pytest.mark.parametrize("width", [1280, 390])
def test_a_stretch_shows_its_years(made_map: Path, open_page: Opener, width: int) -> None:
    """Chosen from its list: the chart is drawn without a request and its words stand beside it."""
    opened = open_page(made_map, width)
    page = opened.page
    if width < 700:
        page.locator("#panel > summary").click()
    row = page.locator("#stretch_list button")
    expect(row).to_have_count(1)
    for words in ("Heron Road", "from 530 m east of the junction with Sedge Lane",
                  "about 6.1 times (4 to 8.8) as many animals and observers",
                  "p = 0.004 for all roads at once; found again in 97 of 100"):  # fmt: skip
        expect(row).to_contain_text(words)
    row.click()
    sheet = page.locator("#sheet")
    chart = sheet.locator("img")
    alt = chart.get_attribute("alt") or ""
    assert alt.startswith("Reports by year: 2021: 2 of 80; 2022: 1.8 of 75; 2023: 4 of 96")
    size = chart.evaluate("async (e) => { await e.decode(); return [e.naturalWidth, e.width]; }")
    assert min(size) > 200
    for words in ("2021 counts from 1 April 2021", "in 3 of 999 tries did chance gather as much",
                  "90 % interval: 30 m further out to 20 m further in",
                  "Crossings of tagged animals are not in the chart"):  # fmt: skip
        expect(sheet).to_contain_text(words)
    expect(page.locator("#stretch_list button[aria-pressed=true]")).to_have_count(1)
    page.keyboard.press("Escape")
    expect(page.locator("#stretch_list button[aria-pressed=true]")).to_have_count(0)
    pressed = [url for url in opened.requests if not url.startswith("data:")]
    assert pressed == [made_map.as_uri()]
    assert opened.complaints == []


def test_the_sheets_to_print_open_by_themselves(tmp_path: Path, open_page: Opener) -> None:
    """One request, nothing runs, names are text, a chart a stretch; it fits a phone."""
    path = tmp_path / "stretches.html"
    path.write_bytes(stretches_html(made_up.study(), made_up.findings()))
    for width in (1280, 390):
        opened = open_page(path, width)
        page = opened.page
        expect(page.locator("h1")).to_have_text(made_up.study().settings.study.name)
        expect(page.locator("article svg")).to_have_count(1)
        expect(page.locator("article svg")).to_have_attribute("role", "img")
        assert page.locator("script, img, header h1 b, article b").count() == 0
        expect(page.locator("header b")).to_have_text("A")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert opened.requests == [path.as_uri()]
        assert opened.complaints == []


def test_one_kind_of_evidence_at_a_time(made_map: Path, open_page: Opener) -> None:
    """Switching one on takes the others off and names it in the legend; the rank stays."""
    page = open_page(made_map).page
    for label, words in (
        ("Dead reports alone, smoothed", "Reports of dead animals"),
        ("Tagged animals alone, smoothed", "Crossing-days of tagged animals"),
        ("Crossings and reports, smoothed", "Crossing-days and reports"),
        ("Expected road deaths", "Expected road deaths"),
    ):
        page.locator(".leaflet-control-layers").hover()
        page.get_by_label(label, exact=True).click()
        kinds = [name for name in layers(page) if "smoothed" in name or "deaths" in name]
        assert [name for name in kinds if layers(page)[name]] == [label]
        expect(page.locator("#legend_title")).to_have_text(words)
        assert page.locator(".chip").count() == 7


def test_what_the_study_is(made_map: Path, open_page: Opener) -> None:
    """Title block, verdict, cautions; hostile names as the text that they are."""
    page = open_page(made_map).page
    name = made_up.study().settings.study.name
    assert page.title() == name
    assert page.locator("#study_name").text_content() == name
    expect(page.locator("#invented")).to_have_text("Invented demonstration data")
    expect(page.locator("#period")).to_have_text("1 April 2021 to 31 October 2023")
    banner = page.locator("#confidential")
    expect(banner).to_have_text(
        "Confidential edition. Shows exact places of protected animals: not for publication"
    )
    expect(banner).to_be_visible()
    expect(page.locator("#verdict")).to_have_text(made_up.findings().chance.words)
    expect(page.locator("#power")).to_have_text(
        "With these 23 animals and observers about 30 of 100 hot stretches of 500 m at five times "
        "the rest would be found: others may have been missed."
    )
    expect(page.locator("#basis")).to_contain_text("Ranked by expected road deaths per km and year")
    care = page.locator("#cautions")
    for words in ("Never stop or search on a road where it is unsafe", "permits",
                  "Contains places of protected animals: not for publication"):  # fmt: skip
        expect(care).to_contain_text(words)
    expect(page.locator("#read")).to_contain_text("No finding is no proof of safety")
    assert page.locator("html").get_attribute("lang") == "en"


def test_a_road_shows_its_sheet_with_text_as_text(made_map: Path, open_page: Opener) -> None:
    """Click on the lane whose name is a script: the name is shown and nothing runs."""
    opened = open_page(made_map)
    page = opened.page
    lane = made_up.findings().segments.geometry[5].interpolate(1100)
    click_at(page, *to_wgs84(lane.x, lane.y))
    expect(page.locator("#sheet_title")).to_have_text("Mill Lane " + made_up.SCRIPT)
    expect(page.locator("#sheet_lines")).to_contain_text("residential")
    assert page.evaluate("window.__hacked === undefined")
    assert opened.complaints == []


def test_a_bridge_says_that_below_is_no_crossing(made_map: Path, open_page: Opener) -> None:
    """Click on the made-up bridge."""
    page = open_page(made_map).page
    bridge = made_up.findings().segments.geometry[2].interpolate(80)
    page.evaluate("reports_layer.remove(); 0")
    click_at(page, *to_wgs84(bridge.x, bridge.y))
    expect(page.locator("#sheet_lines")).to_contain_text(
        "bridge or tunnel: passing below or above is no road crossing"
    )


def test_every_hostile_remark_is_text(made_map: Path, open_page: Opener) -> None:
    """Open the sheet of every report, crossing and window: nothing runs, remarks are shown."""
    opened = open_page(made_map)
    page = opened.page
    shown = page.evaluate(
        """() => [reports_layer, crossings_layer, windows_layer, stretches_layer, pieces_layer,
          tracked_layer, alive_layer, dead_layer]
        .flatMap((group) => group.getLayers().map((layer) => {
          layer.fire("click");
          return document.getElementById("sheet").textContent;
        }))"""
    )
    for text in (made_up.SCRIPT, made_up.PICTURE, made_up.TEMPLATE, made_up.FORMULA):
        assert any(text in sheet for sheet in shown), text
    page.wait_for_timeout(200)
    assert page.evaluate("window.__hacked === undefined")
    assert page.locator("img:not([src^='data:image/']), #sheet script, #list script").count() == 0
    assert opened.complaints == []
    assert len(opened.requests) == 1


def test_a_script_that_came_in_would_not_run(made_map: Path, open_page: Opener) -> None:
    """The page's own policy stops scripts, handlers and requests that it doesn't know."""
    opened = open_page(made_map)
    page = opened.page
    page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.__hacked = 4";
          document.body.appendChild(script);
          const box = document.createElement("div");
          document.body.appendChild(box);
          box.innerHTML = '<img src="data:," onerror="window.__hacked = 5">';
        }"""
    )
    page.wait_for_timeout(200)
    assert page.evaluate("window.__hacked === undefined")
    assert any("Content Security Policy" in text for text in opened.complaints)


@pytest.mark.parametrize("width", [1280, 390])
def test_the_list_is_reached_by_keyboard(made_map: Path, open_page: Opener, width: int) -> None:
    """Tab to the second row, Enter opens its sheet, Escape closes it."""
    page = open_page(made_map, width).page
    if width < 700:
        page.locator("#panel > summary").focus()
        page.keyboard.press("Enter")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('#list li:nth-child(2) button')"):
            break
    page.keyboard.press("Enter")
    expect(page.locator("#sheet_title")).to_have_text("Rank 2: Heron Road")
    expect(page.locator("#sheet_lines")).to_contain_text("22.2 (9.99 to 40)")
    pressed = page.locator("#list button[aria-pressed=true]")
    expect(pressed).to_have_count(1)
    page.keyboard.press("Escape")
    expect(page.locator("#sheet")).to_be_hidden()
    expect(pressed).to_have_count(0)


def test_a_row_brings_its_piece_of_road_into_view(made_map: Path, open_page: Opener) -> None:
    """The window's number stands in the map, clear of the legend and of the sheet."""
    page = open_page(made_map).page
    page.locator("#list button").nth(3).click()
    chip = page.locator(".chip.chosen")
    expect(chip).to_have_text("4")
    here = chip.bounding_box()
    assert here is not None
    for other in ("#legend", "#sheet"):
        box = page.locator(other).bounding_box()
        assert box is not None
        assert not overlap(here, box), other


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1024, 640), (390, 844), (390, 640)])
def test_panels_do_not_cover_each_other(
    made_map: Path, open_page: Opener, width: int, height: int
) -> None:
    """Zoom buttons, layer switch, legend, scale, sheet: none on top of another, none cut off."""
    page = open_page(made_map, width, height).page
    parts = [".leaflet-control-zoom", ".leaflet-control-layers", "#legend",
             ".leaflet-control-scale"]  # fmt: skip
    check_apart(page, parts, width, height)
    if width < 700:
        page.locator("#panel > summary").click()
    page.locator("#list button").first.click()
    parts = [".leaflet-control-zoom", ".leaflet-control-layers", "#sheet"]
    check_apart(page, parts + (["#legend"] if width > 700 else []), width, height)


def check_apart(page: Page, parts: list[str], width: int, height: int) -> None:
    boxes = {}
    for part in parts:
        box = page.locator(part).bounding_box()
        assert box is not None, part
        assert box["x"] >= 0, part
        assert box["y"] >= 0, part
        assert box["x"] + box["width"] <= width, part
        assert box["y"] + box["height"] <= height, part
        boxes[part] = box
    for i, one in enumerate(parts):
        for other in parts[i + 1 :]:
            assert not overlap(boxes[one], boxes[other]), (one, other)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_on_a_phone_the_list_is_folded(made_map: Path, open_page: Opener) -> None:
    """The map has the screen; a chosen row folds the list again."""
    page = open_page(made_map, 390, 844).page
    expect(page.locator("#list button").first).to_be_hidden()
    box = page.locator("#roads_map").bounding_box()
    assert box is not None
    assert box["height"] > 844 / 2
    page.locator("#panel > summary").click()
    page.locator("#list button").first.click()
    expect(page.locator("#list button").first).to_be_hidden()
    expect(page.locator("#sheet")).to_be_visible()


def test_numbers_on_the_map_do_not_cover_each_other(made_map: Path, open_page: Opener) -> None:
    """From afar the best of close ranks is shown; closer up all of them are."""
    page = open_page(made_map).page
    visible = page.locator(".chip:visible")
    boxes = [chip.bounding_box() for chip in visible.all()]
    assert 0 < len(boxes) < 7
    for i, one in enumerate(boxes):
        for other in boxes[i + 1 :]:
            assert one is not None
            assert other is not None
            assert not overlap(one, other)
    expect(visible.filter(has_text=re.compile("^1$"))).to_have_count(1)
    page.locator("#list button").first.click()
    for rank in ("1", "2", "3"):
        expect(visible.filter(has_text=re.compile(f"^{rank}$"))).to_have_count(1)


@pytest.mark.parametrize("width", [1280, 390])
def test_a_stretch_goes_by_a_letter_on_the_map(
    made_map: Path, open_page: Opener, width: int
) -> None:
    """The square's letter is that of the list; a click opens its sheet; no rank is under it."""
    page = open_page(made_map, width).page
    letter = page.locator("#roads_map .letter")
    expect(letter).to_have_text("A")
    box = letter.bounding_box()
    assert box is not None
    for chip in page.locator(".chip:visible").all():
        other = chip.bounding_box()
        assert other is not None
        assert not overlap(box, other)
    letter.click()
    expect(page.locator("#sheet_title")).to_have_text(
        "Stretch A: stands out from its neighbourhood"
    )
    assert page.locator("#stretch_list .tag").text_content() == "A"


def test_stretches_go_and_come_back_whole(made_map: Path, open_page: Opener) -> None:
    """Letter, end bars and rungs leave the map with their layer."""
    page = open_page(made_map).page
    for shown in (False, True):
        page.locator(".leaflet-control-layers").hover()
        page.get_by_label("Stretches that stand out", exact=True).click()
        expect(page.locator("#roads_map .letter")).to_have_count(int(shown))
        expect(page.locator("#roads_map .end_bar")).to_have_count(2 * shown)


def test_nothing_recorded_is_shown_as_such(tmp_path: Path, open_page: Opener) -> None:
    """A study without evidence opens too and says so; US customary units have their scale."""
    path = tmp_path / "map.html"
    path.write_bytes(map_html(confidential(made_up.without_evidence(), made_up.study(units="us"))))
    opened = open_page(path)
    expect(opened.page.locator("#list_empty")).to_be_visible()
    expect(opened.page.locator("#no_stretch")).to_have_text(
        "No stretch stands out, so there are no ends and no years to show."
    )
    expect(opened.page.locator("#to_print")).to_be_hidden()
    expect(opened.page.locator("#verdict")).to_contain_text("Too few animals and observers")
    expect(opened.page.locator("#legend_inside")).to_contain_text("nothing recorded")
    expect(opened.page.locator(".leaflet-control-scale")).to_contain_text(re.compile(r"\d (ft|mi)"))
    assert opened.complaints == []


def test_on_paper_the_map_fits_the_sheet(made_map: Path, open_page: Opener) -> None:
    """Printing unfolds legend and list, and puts everything back afterwards."""
    opened = open_page(made_map, 390, 844)
    page = opened.page
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    expect(page.locator("#list button").first).to_be_visible()
    expect(page.locator("#legend_inside")).to_be_visible()
    assert page.locator("#legend_inside").evaluate("e => e.scrollHeight <= e.clientHeight + 1")
    # Points are not drawn from afar, so that the key on paper has no line for them.
    expect(page.locator("#legend_inside")).to_contain_text("stretch that stands out")
    for key in ("#key_reports", "#key_crossings", "#key_signs", "#key_closer"):
        expect(page.locator(key)).to_be_hidden()
    assert "switch on under Layers" not in page.locator("#legend").inner_text()
    expect(page.locator("#roads_map .letter")).to_be_visible()
    expect(page.locator("#roads_map .end_bar")).to_have_count(2)
    width = page.evaluate("document.getElementById('roads_map').clientWidth")
    assert width == pytest.approx(182 / 25.4 * 96, abs=2)
    assert page.evaluate("roads_map.getSize().x") == width
    # All roads, as large as the paper takes them: less than twice as large would fit.
    assert page.evaluate(
        "(() => { const all = roads_layer.getBounds();"
        " return roads_map.getBounds().contains(all)"
        " && roads_map.getBoundsZoom(all) - roads_map.getZoom() < 1; })()"
    )
    page.emulate_media(media="screen")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.locator("#key_crossings").get_attribute("hidden") is None
    expect(page.locator("#list button").first).to_be_hidden()
    assert opened.complaints == []


def overlap(one: dict[str, float], other: dict[str, float]) -> bool:
    return (
        one["x"] < other["x"] + other["width"]
        and other["x"] < one["x"] + one["width"]
        and one["y"] < other["y"] + other["height"]
        and other["y"] < one["y"] + one["height"]
    )


def to_wgs84(x: float, y: float) -> tuple[float, float]:
    return pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True).transform(x, y)


def test_reports_are_drawn_closer_up_only(made_map: Path, open_page: Opener) -> None:
    """From afar a click on a report's place opens no report; closer up it does."""
    page = open_page(made_map).page
    place = page.evaluate("reports_layer.getLayers()[0].getLatLng()")
    for zoom, opens in ((14, False), (17, True)):
        page.evaluate(
            f"roads_map.setView([{place['lat']}, {place['lng']}], {zoom}, {{animate: false}}); 0"
        )
        box = page.locator("#roads_map").bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        title = page.locator("#sheet_title").text_content() or ""
        assert title.startswith("Report: alive") is opens
