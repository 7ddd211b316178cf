"""From the OpenStreetMap graph to straight pieces of road with attributes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.roads.osm_tags import class_rank, lanes_of, level_of, speed_kmh

if TYPE_CHECKING:
    import networkx as nx

    from roadrisk.roads.network import Ints


def osm_pieces(graph: nx.MultiDiGraph[Any], crs: pyproj.CRS) -> tuple[gpd.GeoDataFrame, Ints, int]:
    """Return every straight piece between two neighbouring nodes once.

    To an animal both directions of travel are one road, so reciprocal edges are merged; so
    are ways drawn twice over the same two nodes (the higher class stays).

    Parameters
    ----------
    graph : networkx.MultiDiGraph
        As `osmnx.graph_from_xml(simplify=False)` returns it: WGS 84, one edge a piece.
    crs : pyproj.CRS
        To project to.

    Returns
    -------
    pieces : geopandas.GeoDataFrame
        Attributes of the segment table and 2-point lines in `crs`.
    ends : ndarray of int64, shape (n, 2)
        Row of the node, in order of node id, at both ends of each piece. Roads that cross
        without sharing a node stay apart.
    doubled : int
        Pieces that were dropped because another way runs over the same two nodes.
    """
    nodes = np.array(sorted(graph.nodes), dtype=np.int64)
    lon_lat = np.array([[graph.nodes[n]["x"], graph.nodes[n]["y"]] for n in nodes.tolist()])
    to_metric = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    xy = np.column_stack(to_metric.transform(lon_lat[:, 0], lon_lat[:, 1]))

    ways: dict[int, dict[str, object]] = {}
    rows = []
    for u, v, data in graph.edges(data=True):
        way = data["osmid"]
        if way not in ways:
            ways[way] = _attributes(data)
        if u != v:
            rows.append((u, v, way, bool(data.get("oneway", False))))
    table = pd.DataFrame(rows, columns=["u", "v", "way", "oneway"])
    low, high = table[["u", "v"]].min(axis=1), table[["u", "v"]].max(axis=1)
    # A reciprocal pair says "both ways"; a single directed edge says which way.
    table["travel"] = np.where(~table["oneway"], 0, np.where(table["u"] == low, 1, -1))
    table["low"], table["high"] = low, high
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
    ends = np.searchsorted(nodes, table[["low", "high"]].to_numpy(np.int64)).astype(np.int64)
    lines = shapely.linestrings(xy[ends])
    return gpd.GeoDataFrame(pieces, geometry=lines, crs=crs), ends, doubled - len(table)


def _attributes(tags: dict[str, Any]) -> dict[str, object]:
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
