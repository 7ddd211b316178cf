"""From lines with attributes to the network: nodes, edges between junctions, segments."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from roadrisk.errors import RoadSourceError
from roadrisk.roads.along import vertex_offsets
from roadrisk.roads.chains import (
    Chains,
    chains_between_junctions,
    laid_out,
    sorted_chains,
    turned,
)
from roadrisk.roads.columns import with_defaults
from roadrisk.roads.lines import (
    OF_LINES,
    RoadLines,
    cut_at_vertices,
    road_lines,
    without_repeats,
)
from roadrisk.roads.middles import lengths_of, shares_along
from roadrisk.roads.network import Floats, Ints, Network
from roadrisk.roads.runs import runs_along, segment_table

if TYPE_CHECKING:
    import geopandas as gpd

SNAP_M = 1e-3


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
    return network_of_lines(road_lines(segments, ends))


def network_of_lines(lines: RoadLines) -> Network:
    """Build the network from lines in columns, as `network_from_segments` does.

    Parameters
    ----------
    lines : RoadLines

    Returns
    -------
    Network

    Raises
    ------
    RoadSourceError
        If no line has a length.
    """
    attributes = with_defaults(lines.attributes).drop(columns=list(OF_LINES))
    lines = replace(without_repeats(lines), attributes=attributes)
    while True:
        if not len(lines):
            raise RoadSourceError("no road is left: none of the lines has a length")
        start, end, node_xy = _nodes(lines.xy, lines.first, lines.ends)
        xy, first = lines.xy.copy(), lines.first
        xy[first[:-1]], xy[first[1:] - 1] = node_xy[start], node_xy[end]
        lines = replace(lines, xy=xy, ends=np.column_stack([start, end]))
        long_enough = (start != end) | (np.diff(first) > 2)
        if not long_enough.all():
            lines = without_repeats(lines.take(np.flatnonzero(long_enough)))
            continue
        rank = np.empty(len(node_xy), dtype=np.int64)
        rank[np.lexsort((node_xy[:, 1], node_xy[:, 0]))] = np.arange(len(node_xy))
        chains = chains_between_junctions(start, end, len(node_xy), rank)
        line, vertex = _ring_cuts(chains, first, xy)
        if not len(line):
            return _assemble(lines, _canonical(chains, first, xy), (start, end), node_xy)
        lines = without_repeats(cut_at_vertices(lines, line, vertex))


def _nodes(xy: Floats, first: Ints, ends: Ints | None) -> tuple[Ints, Ints, Floats]:
    """Node of each line end and the place of each node."""
    places = np.concatenate([xy[first[:-1]], xy[first[1:] - 1]])
    if ends is not None:
        label = _counted_up(np.concatenate([ends[:, 0], ends[:, 1]]))
    else:
        unique, label = np.unique(places, axis=0, return_inverse=True)
        near = cKDTree(unique).query_pairs(SNAP_M, output_type="ndarray")
        if len(near):
            links = coo_array((np.ones(len(near)), near.T), shape=(len(unique), len(unique)))
            label = connected_components(links, directed=False)[1].astype(np.int64)[label]
    label = label.reshape(-1).astype(np.int64)
    # The lowest place stands for the node, whatever the order of the lines.
    node_xy = np.empty((int(label.max()) + 1, 2))
    node_xy[label] = places
    apart = np.zeros(len(node_xy), dtype=bool)
    apart[label[(node_xy[label] != places).any(axis=1)]] = True
    rows = np.flatnonzero(apart[label])
    order = rows[np.lexsort((places[rows, 1], places[rows, 0], label[rows]))]
    lowest = order[np.diff(label[order], prepend=-1) > 0]
    node_xy[label[lowest]] = places[lowest]
    half = len(places) // 2
    return label[:half], label[half:], node_xy


def _counted_up(numbers: Ints) -> Ints:
    """Give equal numbers the same place in their order, 0, 1, 2, ... without gaps."""
    if not len(numbers) or numbers.min() < 0 or numbers.max() > 4 * len(numbers):
        return np.unique(numbers, return_inverse=True)[1].astype(np.int64)
    known = np.zeros(int(numbers.max()) + 1, dtype=np.int64)
    known[numbers] = 1
    return np.asarray(np.cumsum(known)[numbers] - 1)


def _ring_cuts(chains: Chains, first: Ints, xy: Floats) -> tuple[Ints, Ints]:
    """Lines and the vertices in them at which a ring is to begin, where that is inside a line.

    A ring without junction begins at its lowest vertex, so that cutting it elsewhere
    changes nothing.
    """
    lines, vertices = [], []
    for c in np.flatnonzero(chains.ring):
        own = chains.line[chains.first[c] : chains.first[c + 1]]
        rows = np.concatenate([np.arange(first[i], first[i + 1]) for i in own])
        of = np.repeat(own, [first[i + 1] - first[i] for i in own])
        best = np.lexsort((xy[rows, 1], xy[rows, 0]))[0]
        line, vertex = int(of[best]), int(rows[best] - first[of[best]])
        if 0 < vertex < first[line + 1] - first[line] - 1:
            lines.append(line)
            vertices.append(vertex)
    return np.array(lines, dtype=np.int64), np.array(vertices, dtype=np.int64)


def _canonical(chains: Chains, first: Ints, xy: Floats) -> Chains:
    """Turn and sort the chains by their geometry alone."""
    chain_xy, chain_first, _ = laid_out(chains, first, xy)
    a, b = chain_xy[chain_first[:-1]], chain_xy[chain_first[1:] - 1]
    # Places along a chain don't depend on where it is cut; millimetres absorb rounding.
    middle = np.round(shares_along(chain_xy, chain_first, 0.5), 3)
    low, high = a.copy(), b.copy()
    closed = np.flatnonzero((a == b).all(axis=1))
    for c in closed.tolist():
        own = chain_xy[chain_first[c] : chain_first[c + 1]]
        whole = np.array([0, len(own)])
        low[c], high[c] = (np.round(shares_along(own, whole, s)[0], 3) for s in (0.25, 0.75))
    turn = (high[:, 0] < low[:, 0]) | ((high[:, 0] == low[:, 0]) & (high[:, 1] < low[:, 1]))
    u, v = np.where(turn[:, None], b, a), np.where(turn[:, None], a, b)
    length = np.round(lengths_of(chain_xy, chain_first), 3)
    keys = (length, middle[:, 1], middle[:, 0], v[:, 1], v[:, 0], u[:, 1], u[:, 0])
    return sorted_chains(turned(chains, turn), np.lexsort(keys).astype(np.int64))


def _assemble(
    lines: RoadLines, chains: Chains, ends: tuple[Ints, Ints], node_xy: Floats
) -> Network:
    edge_xy, edge_first, line_from = laid_out(chains, lines.first, lines.xy)
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
    runs = runs_along(lines, chains, edge, line_from, line_to, offset)
    return Network(
        crs=lines.crs,
        node_xy=node_xy[kept],
        edge_u=renumbered[u],
        edge_v=renumbered[v],
        edge_length_m=edge_length,
        edge_xy=edge_xy,
        edge_first=edge_first,
        segments=segment_table(lines, runs, edge_xy, offset),
    )
