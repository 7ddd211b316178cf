"""Downloading open road data by osmnx, saved as an .osm file in the study folder."""

from __future__ import annotations

import socket
import threading
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import XMLGenerator
from xml.sax.xmlreader import AttributesImpl

import numpy as np

from roadrisk.base.disk_words import disk_words
from roadrisk.base.folder_lock import held
from roadrisk.base.synced import synced, synced_folder
from roadrisk.base.units import M_PER_MILE
from roadrisk.errors import OutputError, RoadSourceError
from roadrisk.records.point_tables import read_point_table
from roadrisk.records.raw_table import Notes
from roadrisk.records.settings_file import NAME
from roadrisk.records.study_files import find_file
from roadrisk.records.study_folder import read_settings
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.settings import OsmRoads

if TYPE_CHECKING:
    from collections.abc import Iterator

    import networkx as nx

    from roadrisk.settings import Settings

MARGIN_M = M_PER_MILE
_BY_HAND = (
    "Without internet here: on another computer download an extract of the area in .osm or "
    ".osm.pbf form from an OpenStreetMap mirror, put it into the study folder and name it in "
    "study.toml under [roads.osm] file."
)
# Tags that are kept; osmnx keeps only tags that it is told of.
WAY_TAGS = (
    "access", "area", "bridge", "highway", "junction", "lanes", "layer", "maxspeed", "name",
    "oneway", "ref", "service", "tunnel", "width",
)  # fmt: skip
# osmnx keeps its settings for the whole process.
SETTINGS_LOCK = threading.Lock()
# How long the server may stay silent before the attempt is given up [s].
_TIMEOUT_S = 60
_PROBE_S = 10


def fetch_roads(folder: Path, *, place: str | None, around_data: bool) -> Path:
    """Download the roads of a place, or around the study's points, and save them.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder; study.toml is read where there is one.
    place : str or None
        Name of a place that OpenStreetMap knows as an area.
    around_data : bool
        Take the box around the study's points instead, a mile wider. The box leaves out the
        outermost 2 % of points on each side, so that one stray point does not ask for a whole
        country.

    Returns
    -------
    pathlib.Path
        The file, ready for `osm_extract.read_osm_graph`; it carries the attribution.

    Raises
    ------
    RoadSourceError
        If there is no internet, the place is unknown, or nothing was asked for.
    OutputError
        If the file is already there, the disk is full, or the like; nothing was changed.
    InputError
        If study.toml or the points can't be read.
    """
    folder = Path(folder)
    if (place is None) == (not around_data):
        raise RoadSourceError('give one of --place "…" and --around-data')
    settings = read_settings(folder) if around_data or (folder / NAME).is_file() else None
    osm = settings.roads.osm if settings else None
    name = osm.file if osm and osm.file.endswith(".osm") else "roads.osm"
    target = folder / name
    if target.exists():
        raise OutputError(f"{name} is already there: rename it or move it away first")
    box = _box(folder, settings) if settings is not None and around_data else None
    leave_out = osm.leave_out if osm else OsmRoads(file=name).leave_out
    graph = _download(place, box, leave_out)
    with held(folder, words="roadrisk roads"):
        if target.exists():
            raise OutputError(f"{name} was made meanwhile: rename it or move it away first")
        part = target.with_name(target.name + ".part")
        try:
            _write(graph, part)
            synced(part)
            part.replace(target)
        except OSError as error:
            with suppress(OSError):
                part.unlink()
            raise OutputError(disk_words(target, error)) from error
        synced_folder(target.parent)
    return target


def _box(folder: Path, settings: Settings) -> tuple[float, float, float, float]:
    """West, south, east, north of the study's points [degrees]."""
    lon, lat = [], []
    for kind, section in (("fixes", settings.fixes), ("sightings", settings.sightings)):
        for name in section.file if section else ():
            path = find_file(folder, name, f"{kind}.file", NAME)
            if section is None or not isinstance(path, Path):
                continue
            notes = Notes(name)
            raw = read_raw(path, name, section, notes)
            if raw is None:
                continue
            where = Whereabouts(settings.study.zone)
            table = read_point_table(
                "fixes" if kind == "fixes" else "sightings",
                raw,
                section,
                settings.study,
                where,
                notes,
            )
            if table is not None:
                lon.append(table["lon"].to_numpy(np.float64))
                lat.append(table["lat"].to_numpy(np.float64))
    x, y = (np.concatenate([*part, np.empty(0)]) for part in (lon, lat))
    x, y = x[np.isfinite(x)], y[np.isfinite(y)]
    if not len(x):
        raise RoadSourceError(
            "the study's tables give no coordinates to draw a box around: run "
            f'"roadrisk check {folder}", or name a place with --place'
        )
    (west, east), (south, north) = (np.quantile(v, [0.02, 0.98]) for v in (x, y))
    up = MARGIN_M / 111_000
    aside = up / max(0.05, float(np.cos(np.radians((south + north) / 2))))
    return float(west - aside), float(south - up), float(east + aside), float(north + up)


def _download(
    place: str | None,
    box: tuple[float, float, float, float] | None,
    leave_out: tuple[str, ...],
) -> nx.MultiDiGraph[Any]:
    import osmnx
    import requests  # type: ignore[import-untyped]

    # The values stand in an anchored pattern, so that "no" does not hide "northbound".
    wanted = f'["highway"]["area"!~"yes"]["highway"!~"^({"|".join(leave_out)})$"]'
    options: dict[str, Any] = {
        "simplify": False, "retain_all": True, "truncate_by_edge": True, "custom_filter": wanted,
    }  # fmt: skip
    try:
        with _own_settings():
            host = osmnx.settings.nominatim_url if place else osmnx.settings.overpass_url
            requests.head(host, timeout=_PROBE_S)
            if box is not None:
                return osmnx.graph_from_bbox(box, **options)
            return osmnx.graph_from_place(str(place), **options)
    except requests.exceptions.RequestException as error:
        reason = type(error).__name__
        raise RoadSourceError(
            f"the road data server can't be reached ({reason}). {_BY_HAND}"
        ) from error
    except osmnx._errors.ResponseStatusCodeError as error:  # noqa: SLF001
        raise RoadSourceError(f"the road data server refused the request. {_BY_HAND}") from error
    except (osmnx._errors.InsufficientResponseError, TypeError) as error:  # noqa: SLF001
        meant = f"the place {place!r}" if place else "the box around the data"
        raise RoadSourceError(
            f"OpenStreetMap has no area with roads for {meant}: try another spelling, a larger "
            "place, or --around-data"
        ) from error


@contextmanager
def _own_settings() -> Iterator[None]:
    """Set osmnx up for one download without traces, and put everything back afterwards."""
    import osmnx

    own = {
        "use_cache": False,  # a cache folder would appear where the command is run
        "overpass_rate_limit": False,  # its status query waits a minute where there is no net
        "requests_timeout": _TIMEOUT_S,
        "useful_tags_way": list(WAY_TAGS),
        "all_oneway": False,
    }
    with SETTINGS_LOCK:
        before = {key: getattr(osmnx.settings, key) for key in own}
        resolver = socket.getaddrinfo  # osmnx replaces it while it downloads
        for key, value in own.items():
            setattr(osmnx.settings, key, value)
        try:
            yield
        finally:
            socket.getaddrinfo = resolver
            for key, value in before.items():
                setattr(osmnx.settings, key, value)


def _write(graph: nx.MultiDiGraph[Any], path: Path) -> None:
    """Write an unsimplified graph as OSM XML.

    osmnx's own writer sorts the nodes of a way into one line, which draws a straight road
    across the gap where the box cut a way in two; here such a way becomes two.
    """
    with path.open("w", encoding="utf-8") as file:
        xml = XMLGenerator(file, encoding="utf-8", short_empty_elements=True)
        xml.startDocument()
        root = {
            "version": "0.6",
            "generator": "roadrisk",
            "copyright": "OpenStreetMap and contributors",
            "attribution": "https://www.openstreetmap.org/copyright",
            "license": "https://opendatacommons.org/licenses/odbl/1-0/",
        }
        xml.startElement("osm", AttributesImpl(root))
        for node in sorted(graph.nodes):
            place = graph.nodes[node]
            at = {"id": str(node), "lat": f"{place['y']:.7f}", "lon": f"{place['x']:.7f}"}
            _element(xml, "node", {**at, "version": "1"})
        for number, nodes, tags in _runs(graph):
            xml.startElement("way", AttributesImpl({"id": str(number), "version": "1"}))
            for node in nodes:
                _element(xml, "nd", {"ref": str(node)})
            for key, value in sorted(tags.items()):
                _element(xml, "tag", {"k": key, "v": value})
            xml.endElement("way")
        xml.endElement("osm")
        xml.endDocument()


def _element(xml: XMLGenerator, name: str, attributes: dict[str, str]) -> None:
    xml.startElement(name, AttributesImpl(attributes))
    xml.endElement(name)


def _runs(graph: nx.MultiDiGraph[Any]) -> Iterator[tuple[int, list[int], dict[str, str]]]:
    """Way number, nodes and tags of every unbroken run of a way's edges."""
    ways: dict[int, dict[int, list[int]]] = {}
    tags: dict[int, dict[str, str]] = {}
    for u, v, data in graph.edges(data=True):
        if data.get("reversed"):
            continue
        way = data["osmid"]
        ways.setdefault(way, {}).setdefault(u, []).append(v)
        tags[way] = {key: str(data[key]) for key in WAY_TAGS if data.get(key) is not None}
        tags[way]["oneway"] = "yes" if data.get("oneway") else "no"
    spare = max(ways, default=0)
    for way in sorted(ways):
        after = ways[way]
        arrived = {v for targets in after.values() for v in targets}
        # Begin where nothing arrives, then anywhere on what is left (a closed way).
        starts = sorted(set(after) - arrived) + sorted(set(after) & arrived)
        first = True
        for start in starts:
            while after.get(start):
                nodes = [start]
                while after.get(nodes[-1]):
                    nodes.append(after[nodes[-1]].pop())
                if first:
                    number = way
                else:
                    spare += 1
                    number = spare
                first = False
                yield number, nodes, tags[way]
