"""Candidates as arcs over the places of all lines: every choice is one walk from end to end.

A node is the border between two places of a line where a candidate begins or ends; all lines
follow each other in one row of nodes. A walk steps from a node to the next (nothing is built) or
takes an arc (the candidate is built) to the node where its run ends. At a node where a barrier
has just ended (state 1) no barrier may begin; otherwise (state 0) anything may.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mitigation.candidates import Bools, Candidates
    from roadrisk.roads.network import Floats, Ints


class Arcs(NamedTuple):
    """Arcs sorted by the node they leave, then the node they reach.

    Attributes
    ----------
    start : ndarray of int, shape (nodes + 1,)
        Arcs start[v] to start[v + 1] leave node v.
    tail, head : ndarray of int32, shape (arcs,)
        Nodes it leaves and reaches.
    barrier : ndarray of bool, shape (arcs,)
        Whether it is a barrier.
    profit, weight : ndarray of float, shape (arcs,)
        What is to be large in sum, and what must not exceed a limit in sum; either sign.
    row : ndarray of int, shape (arcs,)
        Row of the candidate.
    opens : ndarray of bool, shape (nodes,)
        Whether the node is the first of its line.
    """

    start: Ints
    tail: NDArray[np.int32]
    head: NDArray[np.int32]
    barrier: Bools
    profit: Floats
    weight: Floats
    row: Ints
    opens: Bools

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.opens)


def lay_arcs(candidates: Candidates, profit: Floats, weight: Floats, rows: Ints) -> Arcs:
    """Return candidates as arcs, without those that another on the same run replaces.

    Parameters
    ----------
    candidates : Candidates
        All of them.
    profit, weight : ndarray, shape (n,)
        What each adds to the sum that is to be large, and to the one that is limited.
    rows : ndarray of int, shape (k,)
        Candidates to take, ascending.

    Returns
    -------
    Arcs
        Of arcs on one run, those stay that no other equals or beats in profit, weight and in
        what it excludes; of equals the one of the lowest row.
    """
    line, first, last = candidates.line[rows], candidates.first[rows], candidates.last[rows]
    stride = int(last.max(initial=0)) + 1
    leaves, reaches = line * stride + first, line * stride + last
    keys, at = np.unique(np.concatenate([leaves, reaches]), return_inverse=True)
    tail, head = at[: len(rows)], at[len(rows) :]
    barrier = candidates.barrier[rows].astype(np.bool_)
    longest = int((head - tail).max(initial=0)) + 1
    order = np.argsort((tail * longest + head - tail) * 2 + barrier, kind="stable")
    tail, head, barrier, rows = tail[order], head[order], barrier[order], rows[order]
    opens = np.diff(keys // stride, prepend=-1) != 0
    stays = _unreplaced(tail, head, barrier, profit[rows], weight[rows])
    return _arcs(
        tail[stays], head[stays], barrier[stays], profit[rows[stays]], weight[rows[stays]],
        rows[stays], opens,
    )  # fmt: skip


def fewer_arcs(arcs: Arcs, stays: Bools) -> Arcs:
    """Return the arcs that stay, on the nodes they need.

    Parameters
    ----------
    arcs : Arcs
        To choose from.
    stays : ndarray of bool, shape (arcs,)
        Which stay.

    Returns
    -------
    Arcs
        Nodes that no arc leaves or reaches are gone; `row` still names the candidate.
    """
    tail, head = arcs.tail[stays], arcs.head[stays]
    used = np.zeros(arcs.nodes, np.bool_)
    used[tail] = True
    used[head] = True
    new = np.cumsum(used) - 1
    line = np.cumsum(arcs.opens)[used]
    return _arcs(
        new[tail], new[head], arcs.barrier[stays], arcs.profit[stays], arcs.weight[stays],
        arcs.row[stays], np.diff(line, prepend=-1) != 0,
    )  # fmt: skip


def _arcs(
    tail: Ints, head: Ints, barrier: Bools, profit: Floats, weight: Floats, row: Ints, opens: Bools
) -> Arcs:
    start = np.searchsorted(tail, np.arange(len(opens) + 1))
    return Arcs(
        start.astype(np.int64), tail.astype(np.int32), head.astype(np.int32), barrier,
        np.ascontiguousarray(profit, np.float64), np.ascontiguousarray(weight, np.float64),
        row.astype(np.int64), opens,
    )  # fmt: skip


@njit(cache=True)
def _unreplaced(tail: Ints, head: Ints, barrier: Bools, profit: Floats, weight: Floats) -> Bools:
    """Which arcs no other on the same run replaces; arcs of a run follow each other."""
    stays = np.ones(len(tail), np.bool_)
    begin = 0
    for end in range(1, len(tail) + 1):
        if end < len(tail) and tail[end] == tail[begin] and head[end] == head[begin]:
            continue
        for a in range(begin, end):
            for b in range(begin, end):
                if b == a or not stays[b] or (barrier[b] and not barrier[a]):
                    continue
                if weight[b] > weight[a] or profit[b] < profit[a]:
                    continue
                # A true twin goes only for the sake of one that stands before it.
                same = weight[b] == weight[a] and profit[b] == profit[a]
                if not (same and barrier[b] == barrier[a] and b > a):
                    stays[a] = False
                    break
        begin = end
    return stays
