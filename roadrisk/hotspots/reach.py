"""Shortest ways from places along the network, up to a set distance, on flat arrays."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.hotspots.growing import grown

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network


@dataclass(frozen=True, eq=False)
class Reach:
    """Nodes within reach of every node, and the edges at every node.

    Attributes
    ----------
    first : ndarray of int64, shape (nodes + 1,)
        Node k reaches ``node[first[k]:first[k + 1]]``, itself among them.
    node : ndarray of int64
    distance_m : ndarray
        Shortest way along the network [m], below `reach_m`.
    arm_first, arms : ndarray of int64
        Edge ends at every node, in the same layout: 2e is the end of edge e at its node u,
        2e + 1 the one at v.
    reach_m : float
        [m].
    """

    first: Ints
    node: Ints
    distance_m: Floats
    arm_first: Ints
    arms: Ints
    reach_m: float

    def arrays(self, network: Network) -> tuple[Any, ...]:
        """Return what `pieces_from` searches in, as one tuple.

        Parameters
        ----------
        network : Network
            The one the reach was found on.

        Returns
        -------
        tuple of ndarray
        """
        return (
            network.edge_u, network.edge_v, network.edge_length_m, self.arm_first, self.arms,
            self.first, self.node, self.distance_m,
        )  # fmt: skip


def find_reach(network: Network, reach_m: float) -> Reach:
    """Find the nodes within reach of every node.

    Parameters
    ----------
    network : Network
    reach_m : float
        Nothing this far or farther is looked for [m]. Memory grows with the number of nodes
        times the number of nodes in reach of each (16 bytes a pair).

    Returns
    -------
    Reach
    """
    arm_first, arms = edge_ends(network)
    first, node, distance = _reach(
        network.edge_u, network.edge_v, network.edge_length_m, arm_first, arms, float(reach_m)
    )
    return Reach(first, node, distance, arm_first, arms, float(reach_m))


def pairs_within(
    network: Network, edge: Ints, offset_m: Floats, distance_m: float
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Distances along the network between places that lie near each other.

    Parameters
    ----------
    network : Network
    edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m].
    distance_m : float
        Pairs at most this far apart are kept [m].

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        Distances [m]; a place and itself, and places at the same spot, are kept as stored
        zeros.
    """
    reach_m = float(distance_m) + 1e-9 * max(1.0, float(distance_m))
    reach = find_reach(network, reach_m)
    first, order = by_edge(np.asarray(edge, np.int64), network.edges)
    offset = np.asarray(offset_m, np.float64)
    indptr, indices, data = _pairs(
        reach.arrays(network), np.asarray(edge, np.int64), offset, first, order, reach_m
    )
    found = sparse.csr_array((data, indices, indptr), shape=(len(offset), len(offset)))
    found.sort_indices()
    return found


def by_edge(edge: Ints, edges: int) -> tuple[Ints, Ints]:
    """Places sorted by their edge.

    Parameters
    ----------
    edge : ndarray of int64, shape (n,)
    edges : int
        Number of edges of the network.

    Returns
    -------
    first : ndarray of int64, shape (edges + 1,)
        Edge e holds the places ``order[first[e]:first[e + 1]]``.
    order : ndarray of int64, shape (n,)
    """
    order = np.argsort(edge, kind="stable").astype(np.int64)
    first = np.searchsorted(edge[order], np.arange(edges + 1)).astype(np.int64)
    return first, order


def edge_ends(network: Network) -> tuple[Ints, Ints]:
    """Edge ends at every node: 2e for the end of edge e at u, 2e + 1 for the one at v.

    Parameters
    ----------
    network : Network

    Returns
    -------
    first : ndarray of int64, shape (nodes + 1,)
        Node k has the ends ``order[first[k]:first[k + 1]]``.
    order : ndarray of int64, shape (2 * edges,)
    """
    ends = np.column_stack([network.edge_u, network.edge_v]).ravel()
    order = np.argsort(ends, kind="stable").astype(np.int64)
    first = np.searchsorted(ends[order], np.arange(len(network.node_xy) + 1)).astype(np.int64)
    return first, order


@nb.njit(cache=True)
def _reach(
    eu: Ints, ev: Ints, length: Floats, arm_first: Ints, arms: Ints, reach: float
) -> tuple[Ints, Ints, Floats]:
    nodes = len(arm_first) - 1
    first = np.zeros(nodes + 1, np.int64)
    found = np.empty(16 * nodes + 16, np.int64)
    far = np.empty(16 * nodes + 16, np.float64)
    best = np.full(nodes, np.inf)
    touched = np.empty(nodes, np.int64)
    used = 0
    for origin in range(nodes):
        heap = [(0.0, np.int64(origin))]
        best[origin] = 0.0
        touched[0] = origin
        seen = 1
        while len(heap) > 0:
            d, k = heapq.heappop(heap)
            if d > best[k]:
                continue
            found, far = grown(found, used + 1), grown(far, used + 1)
            found[used], far[used] = k, d
            used += 1
            for i in range(arm_first[k], arm_first[k + 1]):
                e = arms[i] // 2
                other = ev[e] if arms[i] % 2 == 0 else eu[e]
                on = d + length[e]
                if on < reach and on < best[other]:
                    if best[other] == np.inf:
                        touched[seen] = other
                        seen += 1
                    best[other] = on
                    heapq.heappush(heap, (on, np.int64(other)))
        for i in range(seen):
            best[touched[i]] = np.inf
        first[origin + 1] = used
    return first, found[:used].copy(), far[:used].copy()


@nb.njit(cache=True)
def room_for_pieces(nodes: int, edges: int) -> Any:
    """Arrays that `pieces_from` works in, made once and used for many places.

    Parameters
    ----------
    nodes, edges : int
        Of the network.

    Returns
    -------
    tuple of ndarray
        Of the pieces: edge, from, to [m], distance at either end [m]; then scratch.
    """
    return (
        np.empty(edges + 2, np.int64), np.empty(edges + 2), np.empty(edges + 2),
        np.empty(edges + 2), np.empty(edges + 2),
        np.full(nodes, np.inf), np.empty(nodes, np.int64), np.zeros(edges, np.bool_),
    )  # fmt: skip


@nb.njit(cache=True)
def pieces_from(e: int, s: float, reach: float, arrays: Any, room: Any) -> int:
    """Pieces of road within reach of a place, with the distances of their ends.

    Parameters
    ----------
    e : int
        Edge of the place.
    s : float
        Offset along it [m].
    reach : float
        [m].
    arrays : tuple
        Of `Reach.arrays`.
    room : tuple
        Of `room_for_pieces`; filled.

    Returns
    -------
    int
        Number of pieces. The first two are the place's own edge up to it and from it on, the
        others whole edges. At x of a piece the distance is the smaller of (distance at the
        start) + x - start and (distance at the end) + end - x; infinite distances at an end
        are farther than `reach`.
    """
    eu, ev, length, arm_first, arms, first, node, distance = arrays
    edge, lo, hi, at_lo, at_hi, far, touched, met = room
    seen = 0
    for side in range(2):
        start = eu[e] if side == 0 else ev[e]
        gone = s if side == 0 else length[e] - s
        if gone >= reach:
            continue
        for i in range(first[start], first[start + 1]):
            d = gone + distance[i]
            if d >= reach:
                break  # sorted by distance
            k = node[i]
            if far[k] == np.inf:
                touched[seen] = k
                seen += 1
            far[k] = min(far[k], d)
    edge[0], lo[0], hi[0], at_lo[0], at_hi[0] = e, 0.0, s, far[eu[e]], 0.0
    edge[1], lo[1], hi[1], at_lo[1], at_hi[1] = e, s, length[e], 0.0, far[ev[e]]
    count = 2
    met[e] = True
    for n in range(seen):
        k = touched[n]
        for i in range(arm_first[k], arm_first[k + 1]):
            f = arms[i] // 2
            if not met[f]:
                met[f] = True
                edge[count], lo[count], hi[count] = f, 0.0, length[f]
                at_lo[count], at_hi[count] = far[eu[f]], far[ev[f]]
                count += 1
    for n in range(seen):
        far[touched[n]] = np.inf
    for n in range(count):
        met[edge[n]] = False
    return count


@nb.njit(cache=True)
def distance_on(n: int, x: float, room: Any) -> float:
    """Shortest distance to a place on a piece.

    Parameters
    ----------
    n : int
        Which piece.
    x : float
        Offset along its edge [m].
    room : tuple
        As filled by `pieces_from`.

    Returns
    -------
    float
        [m].
    """
    return min(room[3][n] + x - room[1][n], room[4][n] + room[2][n] - x)


@nb.njit(cache=True)
def lies_on(n: int, x: float, room: Any) -> bool:
    """Whether a place on the edge of a piece lies on the piece.

    Parameters
    ----------
    n : int
        Which piece.
    x : float
        Offset along its edge [m].
    room : tuple
        As filled by `pieces_from`.

    Returns
    -------
    bool
        The place searched from belongs to the second piece only.
    """
    if n == 0:
        return x < room[2][0]
    return n > 1 or x >= room[1][1]


@nb.njit(cache=True)
def _pairs(
    arrays: Any, edge: Ints, offset: Floats, first: Ints, order: Ints, reach: float
) -> tuple[Ints, Ints, Floats]:
    count = len(edge)
    room = room_for_pieces(len(arrays[3]) - 1, len(arrays[0]))
    indptr = np.zeros(count + 1, np.int64)
    indices = np.empty(16 * count + 16, np.int64)
    data = np.empty(16 * count + 16, np.float64)
    used = 0
    for i in range(count):
        pieces = pieces_from(edge[i], offset[i], reach, arrays, room)
        for n in range(pieces):
            f = room[0][n]
            for p in range(first[f], first[f + 1]):
                j = order[p]
                if not lies_on(n, offset[j], room):
                    continue
                d = distance_on(n, offset[j], room)
                if d < reach:
                    indices, data = grown(indices, used + 1), grown(data, used + 1)
                    indices[used], data[used] = j, d
                    used += 1
        indptr[i + 1] = used
    return indptr, indices[:used].copy(), data[:used].copy()
