"""Weighted paths from every end of every edge: what all network kernels share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numba as nb
import numpy as np
from numpy.typing import NDArray

from roadrisk.hotspots.reach import edge_ends

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network

AnyArray = Any
Bools = NDArray[np.bool_]
Split = Literal["continuous", "discontinuous"]

# Two arrivals closer than this on the same edge end are one. The coarser steps are used only
# where very short edges would multiply the paths without bound (knots of junctions in a town's
# middle): there a kernel's row is off by 1 or 2 % of its mass, from an edge end with no more
# than MOST_STATES arrivals it is exact.
MERGE_STEPS_M = (1e-6, 0.5, 2.0)
MOST_STATES = 2_000
LEAST_WEIGHT = (1e-14, 1e-4, 1e-3)


@dataclass(frozen=True, eq=False)
class PathTable:
    """For each way of leaving an edge: which edges are entered, how far on, with what weight.

    An *exit* is numbered ``2 * edge + side``: leaving `edge` at its node u (side 0) or v
    (side 1). An *entry* has the same numbering: entering `edge` from u (0) or v (1).

    Attributes
    ----------
    first : ndarray of int64, shape (2 * edges + 1,)
        Exit x has rows ``first[x]:first[x + 1]``.
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

    Returns
    -------
    PathTable

    Notes
    -----
    Okabe, Satoh & Sugihara 2009, Int. J. Geogr. Inf. Sci. 23:7-32, equal-split kernels.
    Arrivals at the same edge end after the same distance are merged, in order of distance,
    so that back-and-forth paths over the same edges are counted once with their summed weight.
    """
    arm_first, arms = edge_ends(network)
    is_open = np.zeros(len(network.node_xy), np.bool_) if open_nodes is None else open_nodes
    first, entry, distance, weight = _all_paths(
        network.edge_u,
        network.edge_v,
        network.edge_length_m,
        arm_first,
        arms,
        float(reach_m),
        split == "continuous",
        reflect,
        is_open,
        np.array(MERGE_STEPS_M),
        np.array(LEAST_WEIGHT),
        MOST_STATES,
    )
    return PathTable(first, entry, distance, weight, float(reach_m))


@nb.njit(cache=True)
def _grow(a: AnyArray, needed: int) -> AnyArray:
    if needed <= len(a):
        return a
    bigger = np.empty(max(needed, 2 * len(a)), a.dtype)
    bigger[: len(a)] = a
    return bigger


@nb.njit(cache=True)
def _before(key: Ints, exit_: Ints, i: int, j: int) -> bool:
    return bool(key[i] < key[j] or (key[i] == key[j] and exit_[i] < exit_[j]))


@nb.njit(cache=True)
def _swap(key: Ints, exit_: Ints, dist: Floats, wt: Floats, i: int, j: int) -> None:
    key[i], key[j] = key[j], key[i]
    exit_[i], exit_[j] = exit_[j], exit_[i]
    dist[i], dist[j] = dist[j], dist[i]
    wt[i], wt[j] = wt[j], wt[i]


@nb.njit(cache=True)
def _sift_up(key: Ints, exit_: Ints, dist: Floats, wt: Floats, i: int) -> None:
    while i > 0:
        up = (i - 1) // 2
        if not _before(key, exit_, i, up):
            return
        _swap(key, exit_, dist, wt, i, up)
        i = up


@nb.njit(cache=True)
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


@nb.njit(cache=True)
def _share(arms: int, back: bool, continuous: bool, reflect: bool, is_open: bool) -> float:
    """Share that an arm of a node gets; `back` is the arm by which the kernel came."""
    if arms == 1 and is_open:
        return 0.0
    if continuous:
        return 2.0 / arms - (1.0 if back else 0.0)
    if arms == 1:
        return 1.0 if reflect else 0.0
    return 0.0 if back else 1.0 / (arms - 1)


@nb.njit(cache=True)
def _paths_from(
    start: int,
    eu: Ints,
    ev: Ints,
    length: Floats,
    arm_first: Ints,
    arms: Ints,
    reach: float,
    continuous: bool,
    reflect: bool,
    is_open: Bools,
    step: float,
    least: float,
    most: int,
) -> tuple[Ints, Floats, Floats, bool]:
    """Paths from one exit; the last item returned is False if more than `most` states arose."""
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
        total = 0.0
        while size > 0 and key[0] == k and exit_[0] == x:
            total += wt[0]
            size -= 1
            if size > 0:
                _swap(key, exit_, dist, wt, 0, size)
                _sift_down(key, exit_, dist, wt, size)
        w = total
        if abs(w) < least:
            continue
        states += 1
        if states > most:
            return entry[:found], at[:found], share[:found], False
        e, side = x // 2, x % 2
        node = eu[e] if side == 0 else ev[e]
        arms_here = arm_first[node + 1] - arm_first[node]
        for i in range(arm_first[node], arm_first[node + 1]):
            arm = arms[i]
            out = w * _share(arms_here, arm == x, continuous, reflect, is_open[node])
            if out == 0.0:
                continue
            entry = _grow(entry, found + 1)
            at = _grow(at, found + 1)
            share = _grow(share, found + 1)
            entry[found], at[found], share[found] = arm, d, out
            found += 1
            f = arm // 2
            far = d + length[f]
            if far < reach:
                key = _grow(key, size + 1)
                exit_ = _grow(exit_, size + 1)
                dist = _grow(dist, size + 1)
                wt = _grow(wt, size + 1)
                # Entering from u leaves at v, and the other way round.
                key[size], exit_[size] = np.int64(far / step + 0.5), 2 * f + 1 - arm % 2
                if step > 1e-5:  # a coarse step: the middle of its range is right on average
                    far = max(key[size] * step, d)
                dist[size], wt[size] = far, out
                size += 1
                _sift_up(key, exit_, dist, wt, size - 1)
    return entry[:found], at[:found], share[:found], True


@nb.njit(cache=True)
def _all_paths(
    eu: Ints,
    ev: Ints,
    length: Floats,
    arm_first: Ints,
    arms: Ints,
    reach: float,
    continuous: bool,
    reflect: bool,
    is_open: Bools,
    steps: Floats,
    least: Floats,
    most: int,
) -> tuple[Ints, Ints, Floats, Floats]:
    exits = 2 * len(eu)
    first = np.zeros(exits + 1, np.int64)
    entry = np.empty(8 * exits + 8, np.int64)
    at = np.empty(8 * exits + 8, np.float64)
    share = np.empty(8 * exits + 8, np.float64)
    used = 0
    for x in range(exits):
        for i in range(len(steps)):
            limit = (most, 5 * most, 2**62)[i]
            e, a, s, whole = _paths_from(
                x,
                eu,
                ev,
                length,
                arm_first,
                arms,
                reach,
                continuous,
                reflect,
                is_open,
                steps[i],
                least[i],
                limit,
            )
            if whole:
                break
        entry = _grow(entry, used + len(e))
        at = _grow(at, used + len(e))
        share = _grow(share, used + len(e))
        entry[used : used + len(e)] = e
        at[used : used + len(e)] = a
        share[used : used + len(e)] = s
        used += len(e)
        first[x + 1] = used
    return first, entry[:used].copy(), at[:used].copy(), share[:used].copy()
