"""Segments: runs of an edge's lines along which all attributes agree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from roadrisk.roads.columns import SEGMENT_COLUMNS
from roadrisk.roads.ids import segment_ids
from roadrisk.roads.lines import shapes_of

if TYPE_CHECKING:
    from roadrisk.roads.chains import Chains
    from roadrisk.roads.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of lines in edge order, as seen along the edge; each array one value a run.

    Attributes
    ----------
    source : ndarray of int64
        Row of the lines' attributes.
    osm_ids : ndarray of str objects
        Of all lines of the run.
    edge, oneway : ndarray of int64
    begin_measure, end_measure : ndarray
    from_vertex, to_vertex : ndarray of int64
        Rows of the edges' vertices.
    """

    source: Ints
    osm_ids: np.ndarray
    edge: Ints
    oneway: Ints
    begin_measure: Floats
    end_measure: Floats
    from_vertex: Ints
    to_vertex: Ints


def runs_along(
    lines: RoadLines, chains: Chains, edge: Ints, line_from: Ints, line_to: Ints, offset: Floats
) -> Runs:
    """Join consecutive lines of an edge whose attributes agree and whose measures run on.

    Parameters
    ----------
    lines : RoadLines
        With all attribute columns.
    chains : Chains
        One an edge.
    edge : ndarray of int64, shape (lines,)
        Edge of each line of `chains.line`.
    line_from, line_to : ndarray of int64, shape (lines,)
        Vertex of the edges at which each line of `chains.line` begins and ends.
    offset : ndarray, shape (vertices,)
        Of each vertex along its edge [m].

    Returns
    -------
    Runs
    """
    line, back = chains.line, chains.backward
    source = lines.source[line]
    oneway = np.where(back, -lines.oneway[line], lines.oneway[line])
    begin = np.where(back, lines.end_measure[line], lines.begin_measure[line])
    end = np.where(back, lines.begin_measure[line], lines.end_measure[line])
    same = [c for c in lines.attributes.columns if c != "osm_ids"]
    kind = lines.attributes.groupby(same, dropna=False, sort=False).ngroup().to_numpy()[source]
    rate = (end - begin) / (offset[line_to] - offset[line_from])
    with np.errstate(invalid="ignore"):
        on = np.abs(end[:-1] - begin[1:]) <= 1e-6 * np.maximum(1.0, np.abs(end[:-1]))
        on &= np.abs(rate[1:] - rate[:-1]) <= 0.01 * np.abs(rate[:-1])
    on |= np.isnan(begin[1:]) & np.isnan(end[:-1])
    on &= (kind[1:] == kind[:-1]) & (oneway[1:] == oneway[:-1]) & (edge[1:] == edge[:-1])
    head = np.flatnonzero(np.concatenate([[True], ~on]))
    tail = np.append(head[1:], len(line)) - 1
    return Runs(
        source=source[head],
        osm_ids=_joined_ids(lines.attributes["osm_ids"].to_numpy(object), source, head, tail),
        edge=edge[head],
        oneway=oneway[head],
        begin_measure=begin[head],
        end_measure=end[tail],
        from_vertex=line_from[head],
        to_vertex=line_to[tail],
    )


def _joined_ids(texts: np.ndarray, source: Ints, head: Ints, tail: Ints) -> np.ndarray:
    """Ids of all lines of each run, each once, in order of their numbers."""
    joined = texts[source[head]].copy()
    several = np.minimum.reduceat(source, head) < np.maximum.reduceat(source, head)
    for run in np.flatnonzero(several).tolist():
        own = set(texts[source[head[run] : tail[run] + 1]].tolist())
        words = {word for text in own for word in text.split(" ") if word}
        joined[run] = " ".join(sorted(words, key=lambda word: (len(word), word)))
    return np.asarray(joined)


def segment_table(
    lines: RoadLines, runs: Runs, edge_xy: Floats, offset: Floats
) -> gpd.GeoDataFrame:
    """Return the segments of a network.

    Parameters
    ----------
    lines : RoadLines
    runs : Runs
    edge_xy : ndarray, shape (vertices, 2)
        Vertices of all edges [m].
    offset : ndarray, shape (vertices,)
        Of each vertex along its edge [m].

    Returns
    -------
    geopandas.GeoDataFrame
        As `Network.segments`.
    """
    low, high = runs.from_vertex, runs.to_vertex
    count = high - low + 1
    first = np.concatenate([[0], np.cumsum(count)])
    rows = np.repeat(low - first[:-1], count) + np.arange(first[-1])
    xy = edge_xy[rows]
    shapes = shapes_of(xy, first)
    out = lines.attributes.iloc[runs.source].reset_index(drop=True)
    out["osm_ids"] = runs.osm_ids
    for column in ("oneway", "begin_measure", "end_measure", "edge"):
        out[column] = getattr(runs, column)
    # Several segments of an edge: all but the first begin where the one before ends.
    out["edge_from_m"], out["edge_to_m"] = offset[low], offset[high]
    out["length_m"] = out["edge_to_m"] - out["edge_from_m"]
    out["segment_id"] = segment_ids(xy, first, lines.crs)
    table = gpd.GeoDataFrame(out, geometry=shapes, crs=lines.crs)
    return table[list(SEGMENT_COLUMNS)]
