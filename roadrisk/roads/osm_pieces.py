"""From the OpenStreetMap graph to straight pieces of road with attributes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from roadrisk.base.crs import WGS84
from roadrisk.roads.lines import RoadLines
from roadrisk.roads.osm_tags import class_rank, lanes_of, level_of, speed_kmh

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.osm_graph import OsmGraph
    from roadrisk.roads.network import Ints


def osm_pieces(graph: OsmGraph, crs: pyproj.CRS) -> tuple[RoadLines, int]:
    """Return every straight piece between two neighbouring nodes once.

    To an animal both directions of travel are one road. Of ways drawn twice over the same two
    nodes the higher class stays.

    Parameters
    ----------
    graph : OsmGraph
    crs : pyproj.CRS
        To project to.

    Returns
    -------
    pieces : RoadLines
        2-point lines from the lower to the higher node, sorted by both; nodes are counted in
        order of their id. Roads that cross without sharing a node stay apart.
    doubled : int
        Pieces that were dropped because another way runs over the same two nodes.
    """
    to_metric = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    xy = np.column_stack(to_metric.transform(graph.lon, graph.lat))
    attributes = _attributes(graph)
    begin, end, way = graph.pieces
    ends = np.column_stack([np.minimum(begin, end), np.maximum(begin, end)])
    oneway = graph.travel[way].astype(np.int64) * np.where(begin < end, 1, -1)
    best, doubled = _drawn_once(graph, ends, way, oneway, attributes)
    ends = ends[best]
    unknown = np.full(len(best), np.nan)
    pieces = RoadLines(
        crs=crs,
        xy=xy[ends].reshape(-1, 2),
        first=np.arange(0, 2 * len(best) + 1, 2, dtype=np.int64),
        ends=ends,
        attributes=attributes,
        source=way[best],
        oneway=oneway[best],
        begin_measure=unknown,
        end_measure=unknown,
    )
    return pieces, doubled


def _drawn_once(
    graph: OsmGraph, ends: Ints, way: Ints, oneway: Ints, attributes: pd.DataFrame
) -> tuple[Ints, int]:
    """Rows of the pieces that stay, in order of their ends, and how many are of other ways."""
    pair = ends[:, 0] * len(graph.node_id) + ends[:, 1]
    order = np.argsort(pair, kind="stable")
    again = np.zeros(len(order), dtype=bool)
    again[1:] = pair[order[1:]] == pair[order[:-1]]
    several = again.copy()
    several[:-1] |= again[1:]
    rows = order[several]
    level = np.abs(attributes["level"].to_numpy(np.int64))[way[rows]]
    rank = np.array(_each(class_rank, graph.tags["highway"]))[way[rows]]
    number = graph.way_id[way[rows]]
    within = np.lexsort((oneway[rows], number, rank, level, pair[rows]))
    order[several] = rows[within]
    first = ~again
    others = np.unique(np.stack([pair[rows], number]), axis=1).shape[1]
    return order[first], others - int(first[several].sum())


def _attributes(graph: OsmGraph) -> pd.DataFrame:
    """One row a way, columns of the segment table."""
    tags = graph.tags
    said = list(zip(tags["bridge"], tags["tunnel"], tags["layer"], strict=True))
    levels = {
        words: level_of(dict(zip(("bridge", "tunnel", "layer"), words, strict=True)))
        for words in set(said)
    }
    level, bridge, tunnel = zip(*(levels[words] for words in said), strict=True)
    return pd.DataFrame({
        "name": tags["name"],
        "ref": tags["ref"],
        "road_class": tags["highway"],
        "level": level,
        "bridge": bridge,
        "tunnel": tunnel,
        "lanes": _each(lanes_of, tags["lanes"]),
        "speed_limit_kmh": _each(speed_kmh, tags["maxspeed"]),
        "osm_ids": graph.way_id.astype(str),
    })  # fmt: skip


def _each(rule: Callable[[str], Any], texts: np.ndarray) -> list[Any]:
    """Apply a rule to every text, once to each different one."""
    known = {text: rule(text) for text in set(texts.tolist())}
    return [known[text] for text in texts.tolist()]
