"""How long the map of a large network takes in a browser, beside plain folium.

    python -m tests.benchmarks.map_speed [--segments 5000 50000] [--alone]

Makes findings of an invented network in the shape of the made-up study's, writes the agency
edition's map, opens it in Chromium without a graphics card and prints the file's size, the seconds
to write it, from opening until it is usable (all features added and drawn, ready to be clicked)
and of a pan, a filter and a search, each until the next picture is shown. Beside it, in the same
run, folium's usual way with the same features: a `GeoJson` with a `style_function` for each layer,
Leaflet inline so that it opens without a network.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import folium
from branca.element import Element
from playwright.sync_api import Browser, Page, sync_playwright
from xstatic.pkg import leaflet

from roadrisk.reporting import palette
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.map import map_html
from tests.benchmarks.large_findings import large_findings
from tests.pages.conftest import FLAGS, NAMES
from tests.reporting import made_up

if TYPE_CHECKING:
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.editions.edition import Edition

LIMIT_MS = 300_000
REPORTS_PER_SEGMENT = 0.2
# Set as soon as the picture after the page's scripts has been handed to the screen.
USABLE = """addEventListener("load", () => requestAnimationFrame(() => requestAnimationFrame(
  () => { window.usable_ms = performance.now(); })))"""
WAIT = """() => new Promise((done) => {
  const look = () => (window.usable_ms ? done() : setTimeout(look, 20));
  look();
})"""
SHOWN = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
ROUNDS = 3
NAMES_OF_LAYERS = """Object.keys(window).filter((n) => n.endsWith("_layer") && window[n].toGeoJSON
  && !window[n].feature)"""


def edition_of(segments: int) -> Edition:
    """Return what the agency edition draws of a large invented network."""
    findings = large_findings(segments, int(segments * REPORTS_PER_SEGMENT))
    return make_edition(made_up.study(), findings, "agency")


def plain_folium(layers: dict[str, Layer], shown: set[str]) -> bytes:
    """Return the same features as folium is usually used.

    Parameters
    ----------
    layers : dict
        GeoJSON FeatureCollections by name.
    shown : set of str
        Names of the layers that are on at first.
    """
    folder = Path(leaflet.BASE_DIR)

    class Inline(folium.Map):
        default_js = ()  # type: ignore[assignment]
        default_css = ()  # type: ignore[assignment]

    drawn = Inline(tiles=None)
    head = drawn.get_root().header  # type: ignore[attr-defined]
    css, script = ((folder / f"leaflet.{kind}").read_text("utf-8") for kind in ("css", "js"))
    head.add_child(Element(f"<style>{css}</style>"))
    head.add_child(Element(f"<script>{script}</script>"))
    for name, layer in layers.items():
        if layer["features"]:
            folium.GeoJson(
                layer, name=name, show=name in shown, style_function=_style, marker=_dot()
            ).add_to(drawn)
    folium.LayerControl().add_to(drawn)
    drawn.fit_bounds(drawn.get_bounds())  # type: ignore[arg-type]
    text: str = drawn.get_root().render()
    return text.encode()


def _dot() -> folium.CircleMarker:
    return folium.CircleMarker(radius=4)


def _style(feature: dict[str, Any]) -> dict[str, Any]:
    colour = feature["properties"].get("c")
    if not isinstance(colour, int):
        return {"color": palette.ROAD, "weight": palette.ROAD_PX}
    return {"color": palette.SCALE[colour], "weight": palette.WIDTHS_PX[colour]}


def until_usable(browser: Browser, path: Path) -> tuple[Page, float, float]:
    """Open a page; return it, seconds until it is usable, and the main thread's own of these.

    The latter hold on a busy machine too.
    """
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.set_default_timeout(LIMIT_MS)
    page.emulate_media(reduced_motion="reduce")
    page.add_init_script(USABLE)
    watch = page.context.new_cdp_session(page)
    watch.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(path.as_uri(), timeout=LIMIT_MS)
    page.evaluate(WAIT)
    metrics = watch.send("Performance.getMetrics")["metrics"]
    busy = next(float(m["value"]) for m in metrics if m["name"] == "TaskDuration")
    return page, float(page.evaluate("usable_ms")) / 1000, busy


def seconds(page: Page, act: str) -> float:
    """Return the median seconds from an act of the page's until the next picture is shown."""
    took = page.evaluate(
        f"""async (rounds) => {{
          const shown = {SHOWN};
          const took = [];
          for (let round = 0; round < rounds; round += 1) {{
            await shown();
            const begun = performance.now();
            ({act})(round);
            await shown();
            took.push(performance.now() - begun);
          }}
          return took;
        }}""",
        ROUNDS,
    )
    return median(took) / 1000


PAN = "(round) => {name}.panBy([round % 2 ? -300 : 300, 0], {{animate: false}})"
ZOOM = "(round) => {name}.setZoom({name}.getZoom() + (round % 2 ? -1 : 1), {{animate: false}})"
FILTER = """(round) => {
  const state = document.getElementById("filter_state");
  state.selectedIndex = (round + 1) % state.options.length;
  state.dispatchEvent(new Event("input", { bubbles: true }));
  state.dispatchEvent(new Event("change", { bubbles: true }));
}"""
SEARCH = """(round) => {
  const box = document.getElementById("search");
  box.value = ["east lane 1", "north", "lane 7"][round % 3];
  box.dispatchEvent(new Event("input", { bubbles: true }));
}"""


def ours(browser: Browser, edition: Edition, folder: Path) -> None:
    begun = time.perf_counter()
    path = folder / "map.html"
    path.write_bytes(map_html(edition))
    _row("roadrisk", browser, path, time.perf_counter() - begun, "roads_map", own=True)


def theirs(browser: Browser, path: Path, folder: Path) -> None:
    """The features are read out of our page, so that both draw the same."""
    page, *_ = until_usable(browser, path)
    shown = set(page.evaluate(f"({NAMES_OF_LAYERS}).filter((n) => roads_map.hasLayer(window[n]))"))
    # What is off at first is laid out when it is switched on.
    layers = page.evaluate(
        f"""() => Object.fromEntries(({NAMES_OF_LAYERS}).map((n) => {{
          window[n].addTo(roads_map);
          return [n, window[n].toGeoJSON()];
        }}))"""
    )
    # folium would run these as templates.
    layers = json.loads(json.dumps(layers).replace("{%", "(%").replace("{{", "(("))
    page.close()
    begun = time.perf_counter()
    other = folder / "folium.html"
    other.write_bytes(plain_folium(layers, shown))
    _row("folium", browser, other, time.perf_counter() - begun, "", own=False)


def _row(
    who: str, browser: Browser, path: Path, wrote: float, name: str, *, own: bool
) -> None:  # fmt: skip
    usable, busy = [], []
    for _ in range(ROUNDS if own else 1):
        page, at, own_time = until_usable(browser, path)
        usable.append(at)
        busy.append(own_time)
        if len(usable) < ROUNDS and own:
            page.close()
    name = name or page.evaluate(
        "Object.keys(window).find((n) => n.startsWith('map_') && window[n].panBy)"
    )
    took = [seconds(page, act.format(name=name)) for act in (PAN, ZOOM)]
    took += [seconds(page, act) if page.locator(part).count() else float("nan")
             for part, act in (("#filter_state", FILTER), ("#search", SEARCH)) if own]  # fmt: skip
    page.close()
    size = path.stat().st_size / 1e6
    cells = [f"{size:7.1f}", f"{wrote:7.1f}", f"{median(usable):7.2f}", f"{median(busy):7.2f}",
             *(f"{t:7.2f}" for t in took)]  # fmt: skip
    print(f"{who:>10} " + " ".join(cells), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--segments", type=int, nargs="+", default=[5_000, 50_000])
    parser.add_argument("--alone", action="store_true", help="without plain folium")
    asked = parser.parse_args()
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        raise SystemExit(f"no browser found; looked for {', '.join(NAMES)}")
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as name:
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        for segments in asked.segments:
            edition = edition_of(segments)
            print(f"{len(edition.findings.segments):,} segments, "
                  f"{len(edition.findings.lixels):,} lixels")  # fmt: skip
            print(f"{'':>10}      MB   wrote  usable  thread     pan    zoom  filter  search")
            ours(browser, edition, Path(name))
            if not asked.alone:
                theirs(browser, Path(name) / "map.html", Path(name))
        browser.close()


if __name__ == "__main__":
    sys.exit(main())
