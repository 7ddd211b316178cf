"""The best walk over the arcs at a given price of weight: exact, each arc looked at once.

Weighted interval scheduling by dynamic programming (textbook method), with one more state for
barriers that must not touch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.roads.network import Floats, Ints


class Walk(NamedTuple):
    """A walk from end to end: a set of measures that don't exclude each other.

    Attributes
    ----------
    arcs : ndarray of int
        Arcs taken, in order.
    profit, weight : float
        Their sums.
    """

    arcs: Ints
    profit: float
    weight: float


def best_walk(arcs: Arcs, per_profit: float, price: float) -> Walk:
    """Return the walk of the largest per_profit · profit − price · weight.

    Parameters
    ----------
    arcs : Arcs
        At least one.
    per_profit, price : float
        Multipliers, 0 or more.

    Returns
    -------
    Walk
    """
    taken = follow(arcs, rest_of(arcs, per_profit, price)[1], 0, 0)
    return Walk(taken, float(arcs.profit[taken].sum()), float(arcs.weight[taken].sum()))


@njit(cache=True)
def rest_of(arcs: Arcs, per_profit: float, price: float) -> tuple[Floats, Ints]:
    """Return the most that can be had from each node and state to the end, and the next arc.

    Parameters
    ----------
    arcs : Arcs
        The arcs.
    per_profit, price : float
        Multipliers of profit and weight.

    Returns
    -------
    best : ndarray, shape (nodes, 2)
        Largest per_profit · profit − price · weight from here on; column 1 where a barrier has
        just ended.
    pick : ndarray of int, shape (nodes, 2)
        Arc to take; −1 to step to the next node.
    """
    nodes = len(arcs.opens)
    best = np.zeros((nodes, 2))
    pick = np.full((nodes, 2), -1, np.int64)
    for v in range(nodes - 2, -1, -1):
        any_, local = best[v + 1, 0], best[v + 1, 0]
        pick_any, pick_local = -1, -1
        for a in range(arcs.start[v], arcs.start[v + 1]):
            gain = per_profit * arcs.profit[a] - price * arcs.weight[a]
            if arcs.barrier[a]:
                gain += best[arcs.head[a], 1]
            else:
                gain += best[arcs.head[a], 0]
                if gain > local:
                    local, pick_local = gain, a
            if gain > any_:
                any_, pick_any = gain, a
        best[v, 0], best[v, 1] = any_, local
        pick[v, 0], pick[v, 1] = pick_any, pick_local
    return best, pick


@njit(cache=True)
def way_to(arcs: Arcs, per_profit: float, price: float) -> Floats:
    """Return the most that can be had from the beginning to each node and state.

    Parameters
    ----------
    arcs : Arcs
        The arcs.
    per_profit, price : float
        Multipliers of profit and weight.

    Returns
    -------
    ndarray, shape (nodes, 2)
        Column 1 where a barrier has just ended; minus infinity where there is no way.
    """
    nodes = len(arcs.opens)
    had = np.full((nodes, 2), -np.inf)
    had[0, 0] = 0.0
    for v in range(nodes):
        most = max(had[v, 0], had[v, 1])
        if v + 1 < nodes and most > had[v + 1, 0]:
            had[v + 1, 0] = most
        for a in range(arcs.start[v], arcs.start[v + 1]):
            gain = per_profit * arcs.profit[a] - price * arcs.weight[a]
            if arcs.barrier[a]:
                had[arcs.head[a], 1] = max(had[arcs.head[a], 1], had[v, 0] + gain)
            else:
                had[arcs.head[a], 0] = max(had[arcs.head[a], 0], most + gain)
    return had


@njit(cache=True)
def rest_sums(arcs: Arcs, pick: Ints) -> tuple[Floats, Floats]:
    """Return profit and weight of the picked walk from each node and state to the end.

    Parameters
    ----------
    arcs : Arcs
        The arcs.
    pick : ndarray of int, shape (nodes, 2)
        Of `rest_of`.

    Returns
    -------
    profit, weight : ndarray, shape (nodes, 2)
    """
    nodes = len(arcs.opens)
    profit, weight = np.zeros((nodes, 2)), np.zeros((nodes, 2))
    for v in range(nodes - 2, -1, -1):
        for state in range(2):
            a = pick[v, state]
            if a < 0:
                profit[v, state], weight[v, state] = profit[v + 1, 0], weight[v + 1, 0]
            else:
                then = 1 if arcs.barrier[a] else 0
                profit[v, state] = arcs.profit[a] + profit[arcs.head[a], then]
                weight[v, state] = arcs.weight[a] + weight[arcs.head[a], then]
    return profit, weight


@njit(cache=True)
def follow(arcs: Arcs, pick: Ints, node: int, state: int) -> Ints:
    """Return the arcs of the picked walk from one node and state to the end.

    Parameters
    ----------
    arcs : Arcs
        The arcs.
    pick : ndarray of int, shape (nodes, 2)
        Of `rest_of`.
    node, state : int
        Where it begins.

    Returns
    -------
    ndarray of int
    """
    taken = np.empty(len(arcs.opens), np.int64)
    count = 0
    while node < len(arcs.opens) - 1:
        a = pick[node, state]
        if a < 0:
            node, state = node + 1, 0
        else:
            taken[count] = a
            count += 1
            node, state = arcs.head[a], (1 if arcs.barrier[a] else 0)
    return taken[:count].copy()
