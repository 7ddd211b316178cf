"""The way through osmnx: an extract to its graph, and the graph to pieces. A reference for tests.

pyosmium filters the extract as the project's reader does and writes it as XML, which
`osmnx.graph_from_xml(simplify=False, retain_all=True)` reads (osmnx 2); pieces are merged by
pandas, one object an edge.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import networkx as nx
import numpy as np
import osmium
import osmnx
import pandas as pd
import pyproj
import shapely
from osmium.osm import mutable

from roadrisk.records.fetch_roads import SETTINGS_LOCK, WAY_TAGS
from roadrisk.roads.osm_tags import class_rank, lanes_of, level_of, speed_kmh

Way = tuple[int, dict[str, str], list[int]]


def osmnx_graph(path: Path, leave_out: tuple[str, ...]) -> nx.MultiDiGraph:
    """Return osmnx's graph of an extract's roads, one edge a piece and direction."""
    ways = list(_ways(path, leave_out))
    wanted = {node for _, _, nodes in ways for node in nodes}
    places = {
        node.id: (node.location.lon, node.location.lat)
        for node in osmium.FileProcessor(path, osmium.osm.NODE)
        if node.id in wanted and node.location.valid()
    }
    pieces = [piece for way in ways for piece in _inside(way, places)]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "roads.osm"
        with osmium.SimpleWriter(file) as writer:
            for node in sorted({n for *_, nodes in pieces for n in nodes}):
                writer.add_node(mutable.Node(id=node, location=places[node], version=1))
            # osmnx tells ways apart by their id: pieces of one way are numbered here.
            for number, (_, tags, nodes) in enumerate(pieces, start=1):
                writer.add_way(mutable.Way(id=number, nodes=nodes, tags=tags, version=1))
        with _our_tags():
            graph = osmnx.graph_from_xml(file, simplify=False, retain_all=True)
    for _, _, data in graph.edges(data=True):
        data["osmid"] = pieces[data["osmid"] - 1][0]
    return graph


def _ways(path: Path, leave_out: tuple[str, ...]) -> Iterator[Way]:
    for way in osmium.FileProcessor(path, osmium.osm.WAY):
        tags = {tag: way.tags[tag] for tag in WAY_TAGS if tag in way.tags}
        if tags.get("highway", leave_out[0]) not in leave_out and tags.get("area") != "yes":
            yield way.id, tags, [node.ref for node in way.nodes]


def _inside(way: Way, places: dict[int, tuple[float, float]]) -> Iterator[Way]:
    number, tags, nodes = way
    runs: list[list[int]] = [[]]
    for node in nodes:
        if node in places:
            runs[-1].append(node)
        else:
            runs.append([])
    for run in runs:
        if len(set(run)) >= 2:
            yield number, tags, run


@contextmanager
def _our_tags() -> Iterator[None]:
    with SETTINGS_LOCK:
        before = osmnx.settings.useful_tags_way, osmnx.settings.all_oneway
        osmnx.settings.useful_tags_way, osmnx.settings.all_oneway = list(WAY_TAGS), False
        try:
            yield
        finally:
            osmnx.settings.useful_tags_way, osmnx.settings.all_oneway = before


def pieces_of(graph: nx.MultiDiGraph, crs: pyproj.CRS) -> tuple[gpd.GeoDataFrame, np.ndarray, int]:
    """Return each straight piece once: attributes and lines, rows of its nodes, how many doubled.

    Reciprocal edges are merged, and so are ways over the same two nodes (the higher class stays).
    """
    nodes = np.array(sorted(graph.nodes), dtype=np.int64)
    lon_lat = np.array([[graph.nodes[n]["x"], graph.nodes[n]["y"]] for n in nodes.tolist()])
    to_metric = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    xy = np.column_stack(to_metric.transform(lon_lat[:, 0], lon_lat[:, 1]))
    ways, rows = {}, []
    for u, v, data in graph.edges(data=True):
        ways.setdefault(data["osmid"], _attributes(data))
        if u != v:
            low, high = min(u, v), max(u, v)
            # A reciprocal pair says "both ways"; a single directed edge says which way.
            travel = (1 if u == low else -1) if data.get("oneway") else 0
            rows.append((low, high, data["osmid"], travel))
    table = pd.DataFrame(rows, columns=["low", "high", "way", "travel"])
    attributes = pd.DataFrame.from_dict(ways, orient="index")
    table["level"] = attributes["level"].reindex(table["way"]).abs().to_numpy()
    ranks = attributes["road_class"].map(class_rank)
    table["rank"] = ranks.reindex(table["way"]).to_numpy()
    table = table.sort_values(["low", "high", "level", "rank", "way", "travel"])
    doubled = len(table.drop_duplicates(["low", "high", "way"]))
    table = table.drop_duplicates(["low", "high"])
    pieces = attributes.reindex(table["way"]).reset_index(drop=True)
    pieces["oneway"] = table["travel"].to_numpy()
    pieces["osm_ids"] = table["way"].astype(str).to_numpy()
    ends = np.searchsorted(nodes, table[["low", "high"]].to_numpy(np.int64))
    lines = shapely.linestrings(xy[ends])
    return gpd.GeoDataFrame(pieces, geometry=lines, crs=crs), ends, doubled - len(table)


def _attributes(tags: dict[str, str]) -> dict[str, object]:
    level, bridge, tunnel = level_of(tags)
    return {
        "name": tags.get("name", ""),
        "ref": tags.get("ref", ""),
        "road_class": tags.get("highway", ""),
        "level": level,
        "bridge": bridge,
        "tunnel": tunnel,
        "lanes": lanes_of(tags.get("lanes", "")),
        "speed_limit_kmh": speed_kmh(tags.get("maxspeed", "")),
    }
