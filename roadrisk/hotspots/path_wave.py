"""Paths on a grid of distances: bounded work where exact paths multiply without bound."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.hotspots.growing import grown

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Steps of the grid within the kernel's half-width.
SLOTS = 100
# What is left of a step's weight after so many rounds among edges shorter than a step goes on
# to the next step.
ROUNDS = 40
LEAST = 1e-9


@nb.njit(cache=True, nogil=True)
def share_of(arms: int, back: bool, continuous: bool, reflect: bool, is_open: bool) -> float:
    """Share of the kernel that an arm of a node gets.

    Parameters
    ----------
    arms : int
        Of the node.
    back : bool
        Whether it is the arm by which the kernel came.
    continuous : bool
        Which equal-split kernel.
    reflect : bool
        Whether the discontinuous kernel is thrown back at dead ends.
    is_open : bool
        Whether nothing is thrown back at this node if it is a dead end.

    Returns
    -------
    float
    """
    if arms == 1 and is_open:
        return 0.0
    if continuous:
        return 2.0 / arms - (1.0 if back else 0.0)
    if arms == 1:
        return 1.0 if reflect else 0.0
    return 0.0 if back else 1.0 / (arms - 1)


@nb.njit(cache=True, nogil=True)
def wave_room(edges: int, nodes: int) -> Any:
    """Arrays that `wave_from` works in, made once and used for many exits.

    Parameters
    ----------
    edges, nodes : int
        Of the network.

    Returns
    -------
    tuple of ndarray
    """
    return np.full(nodes, np.inf), np.full(2 * edges, -1, np.int64)


@nb.njit(cache=True, nogil=True)
def wave_from(start: int, roads: Any, rule: Any, room: Any) -> tuple[Ints, Floats, Floats]:
    """Follow the kernel from one exit step by step, all paths at once.

    Parameters
    ----------
    start : int
    roads, rule : tuple
        As in `paths.paths_from`.
    room : tuple
        Of `wave_room`.

    Returns
    -------
    entry, distance_m, weight : ndarray
        As `paths.paths_from`, distances being multiples of 1/100 of the reach.

    Notes
    -----
    An arrival between two steps is shared among them so that weight and mean distance stay
    right. Each edge passed adds at most a quarter of the step's square to the variance of the
    distance, so that a kernel value at t half-widths is off by about K''(t) / 2 times that: for
    20 edges passed 1 in 1,000 of the quartic's peak. Work is bounded by steps times edge ends in
    reach, whatever the number of paths.
    """
    nodes, known, first, to, far, on, back = _near(start, roads, rule, room)
    step = rule[0] / SLOTS
    far /= step
    weight, into = np.zeros((SLOTS + 1, len(known))), np.zeros(len(known))
    entry, at, share = np.empty(256, np.int64), np.empty(256), np.empty(256)
    found = 0
    weight[0, room[1][start]] = 1.0
    for slot in range(SLOTS):
        into[:] = 0.0
        for turn in range(ROUNDS + 1):
            if not _passed_on(slot, turn, weight, into, first, to, far, on, back):
                break
        more = found + len(known)
        entry, at, share = grown(entry, more), grown(at, more), grown(share, more)
        for k in range(len(known)):
            if into[k] != 0.0:
                entry[found], at[found], share[found] = known[k], slot * step, into[k]
                found += 1
    for node in nodes:
        room[0][node] = np.inf
    for arm in known:
        room[1][arm] = -1
    return entry[:found].copy(), at[:found].copy(), share[:found].copy()


@nb.njit(cache=True, nogil=True)
def _passed_on(
    slot: int,
    turn: int,
    weight: Floats,
    into: Floats,
    first: Ints,
    to: Ints,
    far: Floats,
    on: Floats,
    back: Floats,
) -> bool:
    """Pass on what arrives at the nodes in one step; whether any arrives in the same step again."""
    again = False
    for m in range(len(first) - 1):
        total = size = 0.0
        for k in range(first[m], first[m + 1]):
            total += weight[slot, k]
            size += abs(weight[slot, k])
        if size == 0.0:
            continue
        late = turn == ROUNDS or (turn > 0 and size < LEAST)
        for k in range(first[m], first[m + 1]):
            own = weight[slot, k]
            weight[slot, k] = 0.0
            if late:
                weight[slot + 1, k] += own
                continue
            out = on[m] * (total - own) + back[m] * own
            into[k] += out
            whole = int(far[k])
            if to[k] >= 0 and slot + whole < SLOTS and out != 0.0:
                weight[slot + whole, to[k]] += out * (whole + 1 - far[k])
                weight[slot + whole + 1, to[k]] += out * (far[k] - whole)
                again |= whole == 0
    return again


@nb.njit(cache=True, nogil=True)
def _near(start: int, roads: Any, rule: Any, room: Any) -> Any:
    """Nodes that can be reached, and their edge ends, those of one node side by side.

    Of each end: where its edge's other end stands in the list, -1 if out of reach, and how far on
    that is; of each node: the first of its ends and the shares of its arms.
    """
    eu, ev, length, arm_first, arms, is_open = roads
    reach, continuous, reflect = rule
    best, arm_at = room
    nodes = np.empty(64, np.int64)
    nodes[0] = eu[start // 2] if start % 2 == 0 else ev[start // 2]
    best[nodes[0]] = 0.0
    heap = [(0.0, nodes[0])]
    met = 1
    while len(heap) > 0:
        d, node = heapq.heappop(heap)
        if d > best[node]:
            continue
        for i in range(arm_first[node], arm_first[node + 1]):
            arm = arms[i]
            other = ev[arm // 2] if arm % 2 == 0 else eu[arm // 2]
            far = d + length[arm // 2]
            if far < reach and far < best[other]:
                if best[other] == np.inf:
                    nodes = grown(nodes, met + 1)
                    nodes[met] = other
                    met += 1
                best[other] = far
                heapq.heappush(heap, (far, other))
    first = np.zeros(met + 1, np.int64)
    on, back = np.empty(met), np.empty(met)
    for m in range(met):
        node = nodes[m]
        count = arm_first[node + 1] - arm_first[node]
        first[m + 1] = first[m] + count
        on[m] = share_of(count, False, continuous, reflect, is_open[node])
        back[m] = share_of(count, True, continuous, reflect, is_open[node])
        for i in range(count):
            arm_at[arms[arm_first[node] + i]] = first[m] + i
    known, to = np.empty(first[met], np.int64), np.empty(first[met], np.int64)
    ahead = np.empty(first[met])
    for m in range(met):
        for i in range(arm_first[nodes[m]], arm_first[nodes[m] + 1]):
            k = arm_at[arms[i]]
            known[k], to[k], ahead[k] = arms[i], arm_at[arms[i] ^ 1], length[arms[i] // 2]
    return nodes[:met].copy(), known, first, to, ahead, on, back
