"""From lines with attributes to the network: nodes, edges between junctions, segments."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from roadrisk.base.crs import require_metric
from roadrisk.errors import RoadSourceError
from roadrisk.roads.along import vertex_offsets
from roadrisk.roads.chains import (
    Chains,
    chains_between_junctions,
    laid_out,
    sorted_chains,
    turned,
)
from roadrisk.roads.columns import SEGMENT_COLUMNS, with_defaults
from roadrisk.roads.ids import segment_ids
from roadrisk.roads.network import Floats, Ints, Network

if TYPE_CHECKING:
    import pyproj

SNAP_M = 1e-3
_FREE = {
    "osm_ids", "begin_measure", "end_measure", "from_vertex", "to_vertex", "line_length_m",
}  # fmt: skip


def network_from_segments(segments: gpd.GeoDataFrame, ends: Ints | None = None) -> Network:
    """Build the network from lines that already meet at their ends.

    Nodes of degree 2 are dissolved, so where a source happened to cut a road changes
    nothing; consecutive lines of one edge whose attributes agree become one segment. The
    result does not depend on the order of the rows or on the direction of the lines.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        LineStrings in a projected CRS in metres, with any of the attribute columns of
        `Network.segments` (missing ones are unknown; `road` is made from name, ref and class).
        `oneway` is 1 along the line, -1 against it, 0 both ways; `begin_measure` belongs to
        the line's first vertex.
    ends : ndarray of int64, shape (n, 2), optional
        Node at the first and at the last vertex of each line, where the source knows them.
        Otherwise ends within 1 mm of each other are one node. Lines are never joined
        anywhere else than at ends.

    Returns
    -------
    Network

    Raises
    ------
    RoadSourceError
        If no line has a length.
    CoordinateSystemError
        If the lines are not in a projected system in metres.
    """
    crs = require_metric(segments.crs)
    attributes = with_defaults(pd.DataFrame(segments.drop(columns=segments.geometry.name)))
    xy, first, kept = _vertices(np.asarray(segments.geometry.array))
    if not len(kept):
        raise RoadSourceError("no road is left: none of the lines has a length")
    attributes = attributes.iloc[kept].reset_index(drop=True)
    start, end, node_xy = _nodes(xy, first, None if ends is None else ends[kept])
    xy = xy.copy()
    xy[first[:-1]], xy[first[1:] - 1] = node_xy[start], node_xy[end]
    long_enough = (start != end) | (np.diff(first) > 2)
    if not long_enough.all():
        shorter = attributes.assign(geometry=_lines(xy, first))[long_enough]
        pairs = np.column_stack([start, end])[long_enough]
        return network_from_segments(gpd.GeoDataFrame(shorter, crs=crs), pairs)

    rank = np.empty(len(node_xy), dtype=np.int64)
    rank[np.lexsort((node_xy[:, 1], node_xy[:, 0]))] = np.arange(len(node_xy))
    chains = chains_between_junctions(start, end, len(node_xy), rank)
    cuts = _ring_cuts(chains, first, xy)
    if cuts:
        return network_from_segments(
            *_cut_rings(attributes, xy, first, np.column_stack([start, end]), cuts, crs)
        )
    chains = _canonical(chains, first, xy)
    return _assemble(crs, attributes, chains, (start, end), node_xy, first, xy)


def _vertices(lines: np.ndarray) -> tuple[Floats, Ints, Ints]:
    """Vertices of the lines without repeats, and the rows that have at least two."""
    if (shapely.get_type_id(lines) != 1).any():
        raise RoadSourceError("a road is no LineString: split multi-part lines first")
    xy, of = shapely.get_coordinates(shapely.force_2d(lines), return_index=True)
    new = np.ones(len(xy), dtype=bool)
    new[1:] = (of[1:] != of[:-1]) | (xy[1:] != xy[:-1]).any(axis=1)
    xy, of = xy[new], of[new]
    count = np.bincount(of, minlength=len(lines))
    kept = np.flatnonzero(count >= 2)
    xy = xy[count[of] >= 2]
    return xy, np.concatenate([[0], np.cumsum(count[kept])]).astype(np.int64), kept


def _nodes(xy: Floats, first: Ints, ends: Ints | None) -> tuple[Ints, Ints, Floats]:
    """Node of each line end and the place of each node."""
    places = np.concatenate([xy[first[:-1]], xy[first[1:] - 1]])
    if ends is not None:
        label = np.unique(np.concatenate([ends[:, 0], ends[:, 1]]), return_inverse=True)[1]
    else:
        unique, label = np.unique(places, axis=0, return_inverse=True)
        near = cKDTree(unique).query_pairs(SNAP_M, output_type="ndarray")
        if len(near):
            links = coo_array((np.ones(len(near)), near.T), shape=(len(unique), len(unique)))
            label = connected_components(links, directed=False)[1].astype(np.int64)[label]
    label = label.reshape(-1).astype(np.int64)
    # The lowest place stands for the node, whatever the order of the lines.
    order = np.lexsort((places[:, 1], places[:, 0], label))
    lowest = order[np.concatenate([[True], np.diff(label[order]) > 0])]
    half = len(places) // 2
    return label[:half], label[half:], places[lowest]


def _lines(xy: Floats, first: Ints) -> np.ndarray:
    of = np.repeat(np.arange(len(first) - 1), np.diff(first))
    return np.asarray(shapely.linestrings(xy, indices=of), dtype=object)


def _ring_cuts(chains: Chains, first: Ints, xy: Floats) -> dict[int, int]:
    """Line -> vertex at which a ring is to begin, where that is inside a line.

    A ring without junction begins at its lowest vertex, so that cutting it elsewhere
    changes nothing.
    """
    cuts: dict[int, int] = {}
    for c in np.flatnonzero(chains.ring):
        lines = chains.line[chains.first[c] : chains.first[c + 1]]
        rows = np.concatenate([np.arange(first[i], first[i + 1]) for i in lines])
        of = np.repeat(lines, [first[i + 1] - first[i] for i in lines])
        best = np.lexsort((xy[rows, 1], xy[rows, 0]))[0]
        line, vertex = int(of[best]), int(rows[best] - first[of[best]])
        if 0 < vertex < first[line + 1] - first[line] - 1:
            cuts[line] = vertex
    return cuts


def _cut_rings(
    attributes: pd.DataFrame,
    xy: Floats,
    first: Ints,
    ends: Ints,
    cuts: dict[int, int],
    crs: pyproj.CRS,
) -> tuple[gpd.GeoDataFrame, Ints]:
    pieces, geometry = attributes.copy(), _lines(xy, first)
    added, added_lines, added_ends = [], [], []
    ends = ends.copy()
    new_node = int(ends.max()) + 1
    for line, vertex in cuts.items():
        own = xy[first[line] : first[line + 1]]
        row = pieces.iloc[line].copy()
        # The measure at the cut, by length along the line.
        share = _length(own[: vertex + 1]) / _length(own)
        middle = row["begin_measure"] + share * (row["end_measure"] - row["begin_measure"])
        tail = row.copy()
        tail["begin_measure"] = middle
        added_lines.append(shapely.LineString(own[vertex:]))
        geometry[line] = shapely.LineString(own[: vertex + 1])
        pieces.loc[line, "end_measure"] = middle
        added.append(tail)
        added_ends.append([new_node, ends[line, 1]])
        ends[line, 1] = new_node
        new_node += 1
    both = pd.concat([pieces, pd.DataFrame(added).astype(pieces.dtypes)], ignore_index=True)
    lines = [*geometry, *added_lines]
    return gpd.GeoDataFrame(both, geometry=lines, crs=crs), np.concatenate(
        [ends, added_ends]
    ).astype(np.int64)


def _length(xy: Floats) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def _canonical(chains: Chains, first: Ints, xy: Floats) -> Chains:
    """Turn and sort the chains by their geometry alone."""
    chain_xy, chain_first, _ = laid_out(chains, first, xy)
    a, b = chain_xy[chain_first[:-1]], chain_xy[chain_first[1:] - 1]
    lines = _lines(chain_xy, chain_first)
    # Places along a chain don't depend on where it is cut; millimetres absorb rounding.
    quarter, middle, three = (
        np.round(
            shapely.get_coordinates(shapely.line_interpolate_point(lines, s, normalized=True)), 3
        )
        for s in (0.25, 0.5, 0.75)
    )
    closed = (a == b).all(axis=1)
    low = np.where(closed[:, None], quarter, a)
    high = np.where(closed[:, None], three, b)
    turn = (high[:, 0] < low[:, 0]) | ((high[:, 0] == low[:, 0]) & (high[:, 1] < low[:, 1]))
    u, v = np.where(turn[:, None], b, a), np.where(turn[:, None], a, b)
    length = np.round(shapely.length(lines), 3)
    keys = (length, middle[:, 1], middle[:, 0], v[:, 1], v[:, 0], u[:, 1], u[:, 0])
    return sorted_chains(turned(chains, turn), np.lexsort(keys).astype(np.int64))


def _assemble(
    crs: pyproj.CRS,
    attributes: pd.DataFrame,
    chains: Chains,
    ends: tuple[Ints, Ints],
    node_xy: Floats,
    first: Ints,
    xy: Floats,
) -> Network:
    edge_xy, edge_first, line_from = laid_out(chains, first, xy)
    offset = vertex_offsets(edge_xy, edge_first)
    count = np.diff(chains.first)
    edge_length = offset[edge_first[1:] - 1]

    begin, finish = chains.first[:-1], chains.first[1:] - 1
    u = np.where(chains.backward[begin], ends[1][chains.line[begin]], ends[0][chains.line[begin]])
    v = np.where(
        chains.backward[finish], ends[0][chains.line[finish]], ends[1][chains.line[finish]]
    )
    kept = np.unique(np.concatenate([u, v]))
    kept = kept[np.lexsort((node_xy[kept, 1], node_xy[kept, 0]))]
    renumbered = np.full(len(node_xy), -1, dtype=np.int64)
    renumbered[kept] = np.arange(len(kept))

    edge = np.repeat(np.arange(len(count)), count)
    line_to = np.append(line_from[1:], 0)
    line_to[finish] = edge_first[1:] - 1
    runs = _along_edges(attributes, chains, edge, offset[line_to] - offset[line_from])
    runs["from_vertex"], runs["to_vertex"] = line_from, line_to
    segments = _segments(_merged(runs), edge_xy, offset)
    table = gpd.GeoDataFrame(segments, geometry="geometry", crs=crs)
    table["segment_id"] = segment_ids(table.geometry.array, crs)
    return Network(
        crs=crs,
        node_xy=node_xy[kept],
        edge_u=renumbered[u],
        edge_v=renumbered[v],
        edge_length_m=edge_length,
        edge_xy=edge_xy,
        edge_first=edge_first,
        segments=table[list(SEGMENT_COLUMNS)],
    )


def _along_edges(
    attributes: pd.DataFrame, chains: Chains, edge: Ints, length: Floats
) -> pd.DataFrame:
    """Attributes of the lines in edge order, as seen along the edge."""
    runs = attributes.iloc[chains.line].reset_index(drop=True)
    back = chains.backward
    runs["oneway"] = np.where(back, -runs["oneway"], runs["oneway"])
    begin, end = runs["begin_measure"].to_numpy(), runs["end_measure"].to_numpy()
    runs["begin_measure"] = np.where(back, end, begin)
    runs["end_measure"] = np.where(back, begin, end)
    runs["edge"], runs["line_length_m"] = edge, length
    return runs


def _merged(runs: pd.DataFrame) -> pd.DataFrame:
    """Join consecutive lines of an edge whose attributes agree and whose measures run on."""
    same = [c for c in runs.columns if c not in _FREE]
    code = runs.groupby(same, dropna=False, sort=False).ngroup().to_numpy()
    begin, end = runs["begin_measure"].to_numpy(), runs["end_measure"].to_numpy()
    rate = (end - begin) / runs["line_length_m"].to_numpy()
    with np.errstate(invalid="ignore"):
        on = np.abs(end[:-1] - begin[1:]) <= 1e-6 * np.maximum(1.0, np.abs(end[:-1]))
        on &= np.abs(rate[1:] - rate[:-1]) <= 0.01 * np.abs(rate[:-1])
    on |= np.isnan(begin[1:]) & np.isnan(end[:-1])
    new = np.concatenate([[True], (code[1:] != code[:-1]) | ~on])
    head = np.flatnonzero(new)
    tail = np.append(head[1:], len(runs)) - 1
    out = runs.iloc[head].reset_index(drop=True)
    out["end_measure"] = end[tail]
    out["to_vertex"] = runs["to_vertex"].to_numpy()[tail]
    ids = runs["osm_ids"].to_numpy(object)
    many = np.flatnonzero(tail > head)
    joined = out["osm_ids"].to_numpy(object).copy()
    for k in many:
        joined[k] = _joined_ids(ids[head[k] : tail[k] + 1])
    out["osm_ids"] = joined
    return out


def _joined_ids(texts: np.ndarray) -> str:
    found = {word for text in set(texts) for word in text.split(" ") if word}
    return " ".join(sorted(found, key=lambda word: (len(word), word)))


def _segments(runs: pd.DataFrame, edge_xy: Floats, offset: Floats) -> pd.DataFrame:
    low, high = runs["from_vertex"].to_numpy(), runs["to_vertex"].to_numpy()
    count = high - low + 1
    first = np.concatenate([[0], np.cumsum(count)])
    rows = np.repeat(low - first[:-1], count) + np.arange(first[-1])
    out = runs.drop(columns=["from_vertex", "to_vertex", "line_length_m"])
    # Several segments of an edge: all but the first begin where the one before ends.
    out["edge_from_m"], out["edge_to_m"] = offset[low], offset[high]
    out["length_m"] = out["edge_to_m"] - out["edge_from_m"]
    out["geometry"] = _lines(edge_xy[rows], first)
    return out
