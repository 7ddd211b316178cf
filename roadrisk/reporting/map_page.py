"""The map's page: folium's layers in our own frame, in one file that asks for nothing.

folium renders what it is given as a Jinja template, twice; text from data handed to it could
therefore run in Python as well as in the browser. So folium sees constants only, and all data
stands in the page as JSON that is parsed and never run.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from importlib import resources
from pathlib import Path
from typing import Any

import folium
from branca.element import Figure
from folium.template import Template
from folium.utilities import JsCode
from xstatic.pkg import leaflet

from roadrisk.reporting.line_packing import packed
from roadrisk.reporting.wording import OSM_CREDIT, TILE_LAYER

TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
TILE_HOST = "https://tile.openstreetmap.org"
# What the layer of deaths is called, by `wording.ranked_by`.
DEATHS = {
    "deaths": "Expected road deaths",
    "relative": "Road deaths beside the mean of all roads",
    "bound": "Road deaths beside the mean of all roads",
}
# Names as the layer control shows them, and whether a layer is on at first; bottom first.
LAYERS = {
    "roads": ("Roads", True),
    "stretches": ("Stretches that stand out", True),
    "deaths": ("", True),
    "pieces": ("Crossings and reports, smoothed", True),
    "tracked": ("Tagged animals alone, smoothed", False),
    "alive": ("Live reports alone, smoothed", False),
    "dead": ("Dead reports alone, smoothed", False),
    "windows": ("Ranked list", True),
    "measures": ("Proposed measures", True),
    "crossings": ("Steps between fixes across a road", False),
    "reports": ("Public reports", True),
    "counts": ("Reports, counted by piece of road", True),
    "signs": ("Places for signs", True),
}
_POINTS = ("crossings", "reports", "counts", "signs")
# The page's script, one idea a file, in this order.
_SCRIPTS = (
    "base", "style", "lines", "sheet", "charts", "places", "filters", "search", "legend", "texts",
    "map", "print",
)  # fmt: skip
# What folium's layers call.
_CALLED = "return { tight, start, finish, style, each, point };"


def page_html(
    title: str, page: dict[str, Any], layers: dict[str, dict[str, Any]], by: str = "evidence"
) -> bytes:
    """Return the map as one HTML page.

    Parameters
    ----------
    title : str
        Of the browser's window; may be any text.
    page : dict
        Texts, colours and breaks that ``templates/page_*.js`` show.
    layers : dict
        GeoJSON FeatureCollections by the names of `LAYERS`. With ``deaths``, these are shown at
        first in place of ``pieces``.
    by : str
        What ranks go by: `wording.ranked_by`.

    Returns
    -------
    bytes
        UTF-8. The same arguments give the same bytes. Scripts are allowed by their hash, so
        no script can come in with data; pictures may come from the tile server, on request.
    """
    frame = _Frame(title=html.escape(title), page=page, layers=layers)
    roads_map = _RoadsMap()
    frame.add_child(roads_map, name="map")
    for name, (label, shown) in LAYERS.items():
        if name in layers:
            first = shown and not (name == "pieces" and "deaths" in layers)
            told = DEATHS[by] if name == "deaths" else label
            _FeatureLayer(name, told, shown=first).add_to(roads_map, name=name)
    _Tiles().add_to(roads_map, name="tiles")
    _Switches().add_to(roads_map, name="switches")
    text: str = frame.render()
    return _with_policy(text).encode("utf-8")


class _Frame(Figure):
    """The page around the map; its template is the only one that sees data."""

    _template = Template(
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="POLICY">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="strict-origin-when-cross-origin">\n'
        "<title>{{ this.title }}</title>\n"
        "<style>{{ this.leaflet_css }}</style>\n<style>{{ this.page_css }}</style>\n"
        "</head>\n<body>\n{{ this.body }}\n"
        '<script type="application/json" id="page_data">{{ this.page }}</script>\n'
        '<script type="application/json" id="layer_data">{{ this.layers }}</script>\n'
        "<script>{{ this.leaflet_js }}</script>\n<script>{{ this.page_js }}</script>\n"
        "<script>{{ this.script.render(**kwargs) }}\nview.finish();\n</script>\n"
        "</body>\n</html>\n"
    )

    def __init__(self, title: str, page: dict[str, Any], layers: dict[str, Any]) -> None:
        super().__init__(title=title)
        folder = Path(leaflet.BASE_DIR)
        self.leaflet_css = _inline_pictures((folder / "leaflet.css").read_text("utf-8"), folder)
        script = (folder / "leaflet.js").read_text("utf-8")
        self.leaflet_js = re.sub(r"//# sourceMappingURL=\S*", "", script)
        self.page_css = _own("page.css")
        self.page_js = _script()
        self.body = _own("page.html")
        self.page = _json(page)
        self.layers = _json({name: packed(name, layer) for name, layer in layers.items()})


class _RoadsMap(folium.Map):
    """folium's map without the scripts and styles it would fetch."""

    default_js = ()  # type: ignore[assignment]
    default_css = ()  # type: ignore[assignment]
    _template = Template(
        "{% macro script(this, kwargs) %}var roads_map = view.start();{% endmacro %}"
    )

    def __init__(self) -> None:
        super().__init__(location=(0, 0), tiles=None)

    def get_name(self) -> str:
        return "roads_map"


class _FeatureLayer(folium.GeoJson):
    """A layer that is empty until ``view.finish`` adds its features."""

    def __init__(self, name: str, label: str, *, shown: bool) -> None:
        self._variable = f"{name}_layer"
        options: dict[str, Any] = {
            "style": JsCode(f"view.style.{name}"),
            "on_each_feature": JsCode(f"view.each.{name}"),
        }
        if name in _POINTS:
            options["point_to_layer"] = JsCode(f"view.point.{name}")
        empty = {"type": "FeatureCollection", "features": []}
        super().__init__(empty, name=label, show=shown, smooth_factor=0.7, **options)

    def get_name(self) -> str:
        return self._variable


class _Tiles(folium.TileLayer):
    """An online background that nobody asks for until a person switches it on."""

    def __init__(self) -> None:
        super().__init__(
            TILES,
            attr=OSM_CREDIT,
            name=TILE_LAYER,
            overlay=True,
            show=False,
            max_zoom=20,
            max_native_zoom=19,
            opacity=0.6,
            referrer_policy="strict-origin-when-cross-origin",
        )

    def get_name(self) -> str:
        return "tile_layer"


class _Switches(folium.LayerControl):
    """The layer control, folded on a small screen."""

    def __init__(self) -> None:
        super().__init__(autoZIndex=False)
        self.options["collapsed"] = JsCode("view.tight()")  # type: ignore[assignment]

    def get_name(self) -> str:
        return "layer_switches"


def _script() -> str:
    parts = "\n".join(_own(f"page_{name}.js") for name in _SCRIPTS)
    return f'const view = (() => {{\n"use strict";\n{parts}\n{_CALLED}\n}})();\n'


def _own(name: str) -> str:
    return (resources.files("roadrisk.reporting") / "templates" / name).read_text("utf-8")


def _inline_pictures(css: str, folder: Path) -> str:
    def as_data(match: re.Match[str]) -> str:
        content = base64.b64encode((folder / match[1]).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{content})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", as_data, css.replace("\r\n", "\n"))


def _json(value: object) -> str:
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _with_policy(page: str) -> str:
    scripts = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    hashes = (hashlib.sha256(script.encode("utf-8")).digest() for script in scripts)
    allowed = " ".join(f"'sha256-{base64.b64encode(h).decode('ascii')}'" for h in hashes)
    policy = (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        f"img-src data: {TILE_HOST}; base-uri 'none'; form-action 'none'"
    )
    return page.replace("POLICY", policy, 1)
