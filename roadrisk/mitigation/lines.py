"""Roads as lines of pieces, each as far as one fence may run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numba import njit
from numpy.typing import NDArray

from roadrisk.roads.along import places_xy
from roadrisk.roads.chains import chains_between_junctions

if TYPE_CHECKING:
    from collections.abc import Collection

    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces

Bools = NDArray[np.bool_]
# So far from a junction the direction of an arm is taken [m].
_LOOK_M = 15.0


@dataclass(frozen=True, eq=False)
class RoadLines:
    """Pieces of road in order along roads. A *place* is one piece on a line.

    Attributes
    ----------
    piece : ndarray of int64, shape (places,)
        Line after line; every piece once.
    backward : ndarray of bool, shape (places,)
        Whether the piece is walked against its edge's direction.
    first : ndarray of int64, shape (lines + 1,)
        Line k holds places ``first[k]`` to ``first[k + 1]``.
    start_m, length_m : ndarray, shape (places,)
        Where along the line the place begins, and how long it is [m].
    road : ndarray of object, shape (lines,)
        Label to show.
    """

    piece: Ints
    backward: Bools
    first: Ints
    start_m: Floats
    length_m: Floats
    road: NDArray[np.object_]

    def __len__(self) -> int:
        return len(self.first) - 1

    @property
    def line(self) -> Ints:
        """Line of each place, shape (places,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.first))

    @property
    def place_of_piece(self) -> Ints:
        """Place of each piece, shape (pieces,)."""
        place = np.empty(len(self.piece), dtype=np.int64)
        place[self.piece] = np.arange(len(self.piece))
        return place


def road_lines(
    network: Network, lixels: Lixels, pieces: Pieces, *, stops_at: Collection[str] = ()
) -> RoadLines:
    """Lay pieces one after another along roads.

    A line goes on through a junction where two arms bear the same road, the straightest two
    first. It is cut where another arm is of a class that no fence can cross; the other carriageway
    of the road itself, where it divides, is no such arm.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    stops_at : collection of str
        Road classes.

    Returns
    -------
    RoadLines
    """
    count = len(pieces)
    met = _through_junctions(network, lixels, pieces, frozenset(stops_at))
    pairs = np.concatenate([_along_edges(pieces), met])
    # Two joined ends of pieces share a node of their own, which makes pieces chains of lines.
    node = np.arange(2 * count, dtype=np.int64)
    node[pairs[:, 1]] = pairs[:, 0]
    chains = chains_between_junctions(node[0::2], node[1::2], 2 * count, np.arange(2 * count))
    length = pieces.length_m[chains.line]
    total = np.concatenate([[0.0], np.cumsum(length)])
    size = np.diff(chains.first)
    start = total[:-1] - np.repeat(total[chains.first[:-1]], size)
    label = network.segments["road"].to_numpy(object)[lixels.segment[pieces.middle]]
    return RoadLines(
        chains.line, chains.backward, chains.first, start, length,
        label[chains.line[chains.first[:-1]]],
    )  # fmt: skip


def _along_edges(pieces: Pieces) -> Ints:
    """Pairs of ends that meet within an edge; end 2p begins piece p, end 2p + 1 ends it."""
    meets = np.flatnonzero(
        (pieces.edge[1:] == pieces.edge[:-1]) & (pieces.first[1:] == pieces.last[:-1] + 1)
    )
    return np.column_stack([2 * meets + 1, 2 * (meets + 1)]).astype(np.int64)


def _through_junctions(
    network: Network, lixels: Lixels, pieces: Pieces, stops_at: frozenset[str]
) -> Ints:
    edges = network.edges
    begin, end = lixels.first[:-1], lixels.first[1:] - 1
    node = np.concatenate([network.edge_u, network.edge_v])
    lixel = np.concatenate([begin, end])
    edge = np.tile(np.arange(edges), 2)
    reach = np.minimum(_LOOK_M, network.edge_length_m)
    near = np.concatenate([reach, network.edge_length_m - reach])
    away = places_xy(network, edge, near) - network.node_xy[node]
    heading = np.arctan2(away[:, 1], away[:, 0])
    segment = lixels.segment[lixel]
    road = network.segments["road"].to_numpy(object)[segment]
    kind = network.segments["road_class"].to_numpy(object)[segment]
    of = pieces.of_lixel[lixel]
    # A following carriageway has no piece of its own; its ends belong to no line.
    own = np.where(np.arange(2 * edges) < edges, pieces.first[of], pieces.last[of]) == lixel
    half = 2 * of + (np.arange(2 * edges) >= edges)
    order = np.argsort(node, kind="stable")
    starts = np.flatnonzero(np.concatenate([[True], np.diff(node[order]) > 0, [True]]))
    pairs = _paired(
        order,
        starts,
        own,
        heading,
        pd.factorize(road)[0],
        pd.Series(kind).isin(stops_at).to_numpy(),
    )
    return np.asarray(half[pairs])


@njit(cache=True)
def _paired(
    order: Ints, starts: Ints, own: Bools, heading: Floats, road: Ints, stops: Bools
) -> Ints:
    """Pair arms of one road at every junction, the straightest first; every arm once."""
    found = np.empty((len(order) // 2, 2), np.int64)
    count = 0
    for j in range(len(starts) - 1):
        arms = order[starts[j] : starts[j + 1]]
        free = own[arms].copy()
        while True:
            best, at, to = np.inf, -1, -1
            for p in range(len(arms)):
                for q in range(p + 1, len(arms)):
                    if not (free[p] and free[q]) or road[arms[p]] != road[arms[q]]:
                        continue
                    bend = abs(abs(_turn(heading[arms[p]] - heading[arms[q]])) - np.pi)
                    if bend < best:
                        best, at, to = bend, p, q
            if at < 0:
                break
            free[at] = free[to] = False
            met = False
            for c in range(len(arms)):
                other = own[arms[c]] or road[arms[c]] != road[arms[at]]
                met |= c not in (at, to) and stops[arms[c]] and other
            if not met:
                found[count, 0], found[count, 1] = arms[at], arms[to]
                count += 1
    return found[:count]


@njit(cache=True)
def _turn(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)
