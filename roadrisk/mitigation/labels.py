"""Walks grown node by node: exact where none that might be the best had to be let go.

Label setting for a path under one limit (dynamic programming over the non-dominated pairs of
weight and profit; e.g. Dumitrescu & Boland 2003, Networks 42:135-153, from memory), each label
with a bound from the relaxed rest of its way. Where a node has more labels than the width, half of
those that stay have the largest bounds and half are spread over the weights; the largest bound
let go is what remains unproven.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

from roadrisk.mitigation.label_steps import (
    Found,
    Frame,
    Pool,
    arrive,
    joined,
    keep,
    new_scratch,
    room,
    store,
)
from roadrisk.mitigation.walks import follow, rest_of, rest_sums

if TYPE_CHECKING:
    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.roads.network import Floats, Ints


_ROOM = 8_000_000
"""Labels kept at most, 24 bytes each."""


class Grown(NamedTuple):
    """What a pass found.

    Attributes
    ----------
    arcs : ndarray of int or None
        Arcs of the best walk; None where none beats the one handed in.
    above : float
        No walk that was let go has more profit.
    let_go : bool
        Whether labels above the cut had to be let go for want of width or room.
    full : bool
        Whether the room ran out, so that nothing is proven.
    looked_at : int
        Labels looked at.
    """

    arcs: Ints | None
    above: float
    let_go: bool
    full: bool
    looked_at: int


def grow(
    arcs: Arcs, limit: float, *, prices: Floats, had: float, per_best: float, slack: float,
    dominance: float, width: int, most_labels: int,
) -> Grown:  # fmt: skip
    """Return the best walk within the limit that a pass of labels finds.

    Parameters
    ----------
    arcs : Arcs
        At least one.
    limit : float
        Largest weight.
    prices : ndarray
        Prices whose bounds are asked.
    had : float
        Profit of the best walk known; only better ones are looked for.
    per_best, slack : float
        A label is let go where its bound is at most per_best · (best profit so far) + slack.
    dominance : float
        A label must have so much more profit than a lighter one to stay.
    width : int
        Most labels at a node and state.
    most_labels : int
        Most labels to look at.

    Returns
    -------
    Grown
    """
    nodes = arcs.nodes
    best = np.empty((len(prices), nodes, 2))
    pick = np.empty((len(prices), nodes, 2), np.int64)
    rest_profit, rest_weight = np.empty_like(best), np.empty_like(best)
    for j, price in enumerate(prices):
        best[j], pick[j] = rest_of(arcs, 1.0, price)
        rest_profit[j], rest_weight[j] = rest_sums(arcs, pick[j])
    frame = Frame(
        float(limit), float(per_best), float(slack), float(dominance), prices, best, rest_profit,
        rest_weight, rest_of(arcs, 0.0, 1.0)[0],
    )  # fmt: skip
    by_head = np.argsort(arcs.head, kind="stable")
    start = np.searchsorted(arcs.head[by_head], np.arange(nodes + 1))
    size = min(most_labels, _ROOM) + 1
    pool = Pool(np.empty(size), np.empty(size), np.empty(size, np.int32), np.empty(size, np.int32))
    looked_at, found, above, let_go, full = _grow(
        arcs, by_head, start, frame, pool, float(had), width, most_labels
    )
    taken = _arcs_of(arcs, pool, pick, found) if found.label >= 0 else None
    return Grown(taken, float(above), bool(let_go), bool(full), int(looked_at))


@njit(cache=True)
def _grow(
    arcs: Arcs,
    by_head: Ints,
    in_start: Ints,
    frame: Frame,
    pool: Pool,
    had: float,
    width: int,
    most_looked_at: int,
) -> tuple[int, Found, float, bool, bool]:
    """Labels looked at, the best walk, the largest bound let go, whether by want, whether full."""
    nodes = len(arcs.opens)
    # Of each node: where its labels stand in `front`, and how many: state 0, state 1, both.
    begin, count = np.zeros((nodes, 3), np.int64), np.zeros((nodes, 3), np.int64)
    front = np.zeros(1 << 16, np.int32)
    scratch = new_scratch(1 << 12)
    pool.profit[0], pool.weight[0], pool.before[0], pool.arc[0] = 0.0, 0.0, -1, -1
    count[0, 0], count[0, 2] = 1, 1
    labels, filled, looked_at = 1, 1, 0
    found = Found(-1, 0, 0, 0, had)
    above, let_go = -np.inf, False
    for v in range(1, nodes):
        arriving = by_head[in_start[v] : in_start[v + 1]]
        if len(arriving) == 0 and not arcs.opens[v]:
            begin[v], count[v] = begin[v - 1, 2], (count[v - 1, 2], 0, count[v - 1, 2])
            continue
        # No arc reaches into a line from before it, so what stands in `front` is done with.
        first = 0 if arcs.opens[v] else filled
        filled = first
        for state in range(2):
            scratch, made, seen, most = arrive(
                arcs, arriving, v, state, frame, pool, front, begin, count, found.profit, scratch
            )
            above, looked_at = max(above, most), looked_at + seen
            freer = front[first : first + count[v, 0]]
            kept, most = keep(scratch, made, frame.dominance, pool, freer, state, width)
            above, let_go = max(above, most), let_go or most > -np.inf
            if labels + len(kept) > len(pool.profit) or looked_at > most_looked_at:
                return looked_at, found, above, True, True
            front = room(front, filled + len(kept))
            begin[v, state], count[v, state] = filled, len(kept)
            labels, found = store(
                scratch, kept, front[filled : filled + len(kept)], pool, labels, v, state, frame,
                found,
            )  # fmt: skip
            filled += len(kept)
        begin[v, 2], count[v, 2] = first, count[v, 0]
        if count[v, 1] > 0:
            middle = first + count[v, 0]
            both = joined(pool, front[first:middle], front[middle:filled], frame.dominance)
            front = room(front, filled + len(both))
            front[filled : filled + len(both)] = both
            begin[v, 2], count[v, 2] = filled, len(both)
            filled += len(both)
    return looked_at, found, above, let_go, False


def _arcs_of(arcs: Arcs, pool: Pool, pick: Ints, found: Found) -> Ints:
    """Arcs of a label and of the walk that completes it."""
    taken, label = [], found.label
    while label > 0:
        taken.append(int(pool.arc[label]))
        label = int(pool.before[label])
    rest = follow(arcs, pick[found.price], found.node, found.state)
    return np.concatenate([np.array(taken[::-1], dtype=np.int64), rest])
