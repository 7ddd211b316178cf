"""Weighted paths from every end of every edge: what all network kernels share."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import TYPE_CHECKING, Any, Literal

import numba as nb
import numpy as np
from numpy.typing import NDArray

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.path_wave import share_of, wave_from, wave_room
from roadrisk.hotspots.reach import edge_ends

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network

Bools = NDArray[np.bool_]
Split = Literal["continuous", "discontinuous"]

# Two arrivals closer than this at the same edge end are one [m].
SAME_M = 1e-6
# An edge end with more arrivals than this is left to `path_wave`, whose error is bounded.
MOST_STATES = 300
LEAST_WEIGHT = 1e-14
EXITS_AT_ONCE = 4_000
_NO_PATHS = (np.zeros(1, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0))


@dataclass(frozen=True, eq=False)
class PathTable:
    """For each way of leaving an edge: which edges are entered, how far on, with what weight.

    An *exit* is numbered ``2 * edge + side``: leaving `edge` at its node u (side 0) or v
    (side 1). An *entry* has the same numbering: entering `edge` from u (0) or v (1).

    Attributes
    ----------
    first : ndarray of int64, shape (2 * edges + 1,)
        Exit x has rows ``first[x]:first[x + 1]``, rising with distance.
    entry : ndarray of int64
        Entry reached.
    distance_m : ndarray
        From the exit's node to the entered end [m], below `reach_m`.
    weight : ndarray
        Share of the kernel that takes this path; negative for reflections of the continuous
        kernel.
    reach_m : float
        Longest distance followed [m].
    """

    first: Ints
    entry: Ints
    distance_m: Floats
    weight: Floats
    reach_m: float


def path_table(
    network: Network,
    reach_m: float,
    *,
    split: Split = "continuous",
    reflect: bool = True,
    open_nodes: Bools | None = None,
) -> PathTable:
    """Follow the paths of an equal-split kernel from every edge end.

    Parameters
    ----------
    network : Network
    reach_m : float
        Kernel half-width [m]; nothing farther than this from an edge's end is followed.
    split : {"continuous", "discontinuous"}
        At a node with n arms the continuous kernel gives 2/n to each arm and takes 1 back
        from the arm it came by; the discontinuous one gives 1/(n - 1) to each other arm.
    reflect : bool
        Whether the discontinuous kernel is thrown back at dead ends (mass kept). The
        continuous one always is: 2/1 - 1 = 1.
    open_nodes : ndarray of bool, shape (nodes,), optional
        Dead ends where nothing is thrown back.

    Returns
    -------
    PathTable

    Notes
    -----
    Okabe, Satoh & Sugihara 2009, Int. J. Geogr. Inf. Sci. 23:7-32, equal-split kernels.
    Arrivals at the same edge end after the same distance are merged, in order of distance,
    so that back-and-forth paths over the same edges are counted once with their summed weight.
    From an edge end with more than `MOST_STATES` arrivals (knots of very short edges, or a
    half-width of many edges) paths are followed on a grid of distances instead:
    `path_wave.wave_from`, which also says how exact that is.
    """
    roads = junctions(network, open_nodes)
    rule = (float(reach_m), split == "continuous", reflect)
    exits = 2 * network.edges
    starts = range(0, exits, EXITS_AT_ONCE)
    with ThreadPoolExecutor(cpu_count()) as pool:
        parts = list(
            pool.map(lambda a: _paths_of(a, min(a + EXITS_AT_ONCE, exits), roads, rule), starts)
        )
    count, entry, distance, weight = (
        np.concatenate([p[k] for p in [_NO_PATHS, *parts]]) for k in range(4)
    )
    return PathTable(np.cumsum(count), entry, distance, weight, float(reach_m))


def junctions(network: Network, open_nodes: Bools | None = None) -> tuple[Any, ...]:
    """Return what paths are followed on, as one tuple.

    Parameters
    ----------
    network : Network
    open_nodes : ndarray of bool, shape (nodes,), optional
        As in `path_table`.

    Returns
    -------
    tuple of ndarray
        Node u and v of the edges, their lengths, edge ends at nodes (`reach.edge_ends`), open
        nodes.
    """
    is_open = np.zeros(len(network.node_xy), np.bool_) if open_nodes is None else open_nodes
    return (
        network.edge_u, network.edge_v, network.edge_length_m, *edge_ends(network), is_open
    )  # fmt: skip


@nb.njit(cache=True, nogil=True)
def room_for_paths(edges: int, nodes: int) -> Any:
    """Arrays that `paths_from` works in, made once and used for many exits.

    Parameters
    ----------
    edges, nodes : int
        Of the network.

    Returns
    -------
    tuple
    """
    return wave_room(edges, nodes)


@nb.njit(cache=True, nogil=True)
def paths_from(start: int, roads: Any, rule: Any, room: Any) -> tuple[Ints, Floats, Floats]:
    """Follow all paths from one exit.

    Parameters
    ----------
    start : int
        Exit, 2 * edge + side.
    roads : tuple
        Of `junctions`.
    rule : tuple of (float, bool, bool)
        Reach [m], whether the kernel is the continuous one, whether dead ends throw back.
    room : tuple
        Of `room_for_paths`.

    Returns
    -------
    entry, distance_m, weight : ndarray
        Rising with distance; as in `PathTable`.
    """
    entry, at, share, whole = _exact_from(start, roads, rule)
    if not whole:
        entry, at, share = wave_from(start, roads, rule, room)
    return entry, at, share


@nb.njit(cache=True, nogil=True)
def _paths_of(begin: int, end: int, roads: Any, rule: Any) -> tuple[Ints, Ints, Floats, Floats]:
    """Paths from the exits in a range: how many each has, then all of them."""
    count = np.zeros(end - begin, np.int64)
    entry = np.empty(16 * (end - begin), np.int64)
    at = np.empty(len(entry), np.float64)
    share = np.empty(len(entry), np.float64)
    room = room_for_paths(len(roads[0]), len(roads[3]) - 1)
    used = 0
    for x in range(begin, end):
        e, a, s = paths_from(x, roads, rule, room)
        entry, at, share = (
            grown(entry, used + len(e)), grown(at, used + len(e)), grown(share, used + len(e))
        )  # fmt: skip
        entry[used : used + len(e)] = e
        at[used : used + len(e)] = a
        share[used : used + len(e)] = s
        used += len(e)
        count[x - begin] = len(e)
    return count, entry[:used].copy(), at[:used].copy(), share[:used].copy()


@nb.njit(cache=True, nogil=True)
def _exact_from(start: int, roads: Any, rule: Any) -> tuple[Ints, Floats, Floats, bool]:
    """Paths from one exit; the last item is False if more than `MOST_STATES` states arose."""
    eu, ev, length, arm_first, arms, is_open = roads
    reach, continuous, reflect = rule
    key = np.empty(64, np.int64)
    exit_ = np.empty(64, np.int64)
    dist = np.empty(64, np.float64)
    wt = np.empty(64, np.float64)
    entry = np.empty(64, np.int64)
    at = np.empty(64, np.float64)
    share = np.empty(64, np.float64)
    size, found, states = 1, 0, 0
    key[0], exit_[0], dist[0], wt[0] = 0, start, 0.0, 1.0
    while size > 0:
        k, x, d = key[0], exit_[0], dist[0]
        w = 0.0
        while size > 0 and key[0] == k and exit_[0] == x:
            w += wt[0]
            size -= 1
            if size > 0:
                _swap(key, exit_, dist, wt, 0, size)
                _sift_down(key, exit_, dist, wt, size)
        if abs(w) < LEAST_WEIGHT:
            continue
        states += 1
        if states > MOST_STATES:
            return entry[:found], at[:found], share[:found], False
        node = eu[x // 2] if x % 2 == 0 else ev[x // 2]
        arms_here = arm_first[node + 1] - arm_first[node]
        for i in range(arm_first[node], arm_first[node + 1]):
            arm = arms[i]
            out = w * share_of(arms_here, arm == x, continuous, reflect, is_open[node])
            if out == 0.0:
                continue
            entry = grown(entry, found + 1)
            at = grown(at, found + 1)
            share = grown(share, found + 1)
            entry[found], at[found], share[found] = arm, d, out
            found += 1
            far = d + length[arm // 2]
            if far < reach:
                key = grown(key, size + 1)
                exit_ = grown(exit_, size + 1)
                dist = grown(dist, size + 1)
                wt = grown(wt, size + 1)
                # Entering from u leaves at v, and the other way round.
                key[size], exit_[size] = np.int64(far / SAME_M + 0.5), arm ^ 1
                dist[size], wt[size] = far, out
                size += 1
                _sift_up(key, exit_, dist, wt, size - 1)
    return entry[:found], at[:found], share[:found], True


@nb.njit(cache=True, nogil=True)
def _before(key: Ints, exit_: Ints, i: int, j: int) -> bool:
    return bool(key[i] < key[j] or (key[i] == key[j] and exit_[i] < exit_[j]))


@nb.njit(cache=True, nogil=True)
def _swap(key: Ints, exit_: Ints, dist: Floats, wt: Floats, i: int, j: int) -> None:
    key[i], key[j] = key[j], key[i]
    exit_[i], exit_[j] = exit_[j], exit_[i]
    dist[i], dist[j] = dist[j], dist[i]
    wt[i], wt[j] = wt[j], wt[i]


@nb.njit(cache=True, nogil=True)
def _sift_up(key: Ints, exit_: Ints, dist: Floats, wt: Floats, i: int) -> None:
    while i > 0:
        up = (i - 1) // 2
        if not _before(key, exit_, i, up):
            return
        _swap(key, exit_, dist, wt, i, up)
        i = up


@nb.njit(cache=True, nogil=True)
def _sift_down(key: Ints, exit_: Ints, dist: Floats, wt: Floats, size: int) -> None:
    i = 0
    while True:
        child = 2 * i + 1
        if child >= size:
            return
        if child + 1 < size and _before(key, exit_, child + 1, child):
            child += 1
        if not _before(key, exit_, child, i):
            return
        _swap(key, exit_, dist, wt, i, child)
        i = child
