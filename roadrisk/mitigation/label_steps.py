"""The compiled steps of growing labels: arrive at a node, keep the best, store, join.

Used by `labels.py` alone, which says what a label is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.roads.network import Floats, Ints


class Frame(NamedTuple):
    """What holds for all labels of a pass."""

    limit: float
    per_best: float
    slack: float
    dominance: float
    prices: Floats
    best: Floats
    """(prices, nodes, 2): of the rest at each price, profit less priced weight."""
    rest_profit: Floats
    rest_weight: Floats
    lightest: Floats
    """(nodes, 2): minus the least weight of the rest."""


class Pool(NamedTuple):
    """Labels kept: sums so far, the label before, the arc taken."""

    profit: Floats
    weight: Floats
    before: NDArray[np.int32]
    arc: NDArray[np.int32]


class Found(NamedTuple):
    """The best walk so far: a label, and the price whose rest completes it from its node."""

    label: int
    price: int
    node: int
    state: int
    profit: float


class Scratch(NamedTuple):
    """Labels on arrival at one node and state: sums, bound, the label before, the arc taken."""

    weight: Floats
    profit: Floats
    bound: Floats
    label: NDArray[np.int32]
    arc: NDArray[np.int32]


@njit(cache=True)
def new_scratch(size: int) -> Scratch:
    """Return room for so many arrivals."""
    return Scratch(
        np.empty(size), np.empty(size), np.empty(size), np.empty(size, np.int32),
        np.empty(size, np.int32),
    )  # fmt: skip


@njit(cache=True)
def arrive(
    arcs: Arcs, arriving: Ints, v: int, state: int, frame: Frame, pool: Pool,
    front: NDArray[np.int32], begin: Ints, count: Ints, had: float, scratch: Scratch,
) -> tuple[Scratch, int, int, float]:  # fmt: skip
    """Write all labels that reach a node and may beat the cut.

    Returns how many are written, how many were looked at, and the largest bound let go.
    """
    cut = frame.per_best * had + frame.slack
    column = 0 if state == 1 else 2
    size = count[v - 1, 2]
    for a in arriving:
        size += count[arcs.tail[a], column]
    if size > len(scratch.weight):
        scratch = new_scratch(2 * size)
    made, looked_at, above = 0, 0, -np.inf
    # First, in state 0, the step from the node before, then the arcs.
    for i in range(-1 if state == 0 else 0, len(arriving)):
        a = arriving[i] if i >= 0 else -1
        tail, profit, weight = v - 1, 0.0, 0.0
        if a >= 0:
            if arcs.barrier[a] != (state == 1):
                continue
            tail, profit, weight = arcs.tail[a], arcs.profit[a], arcs.weight[a]
        for k in range(begin[tail, column], begin[tail, column] + count[tail, column]):
            looked_at += 1
            label = front[k]
            p, w = pool.profit[label] + profit, pool.weight[label] + weight
            if w - frame.lightest[v, state] > frame.limit:
                continue
            bound = _bound(p, w, v, state, frame, cut)
            if bound <= cut:
                above = max(above, bound)
                continue
            scratch.weight[made], scratch.profit[made], scratch.bound[made] = w, p, bound
            scratch.label[made], scratch.arc[made] = label, a
            made += 1
    return scratch, made, looked_at, above


@njit(cache=True)
def keep(
    scratch: Scratch, made: int, dominance: float, pool: Pool, freer: NDArray[np.int32],
    state: int, width: int,
) -> tuple[Ints, float]:  # fmt: skip
    """Return labels that no lighter one equals in profit, by weight, at most `width`.

    In state 1 also against the labels of state 0 at the same node, which are freer. Where there
    are more, some stay (`_narrowed`); the second value is the largest bound let go.
    """
    order = np.argsort(scratch.weight[:made], kind="mergesort")
    kept = np.empty(made, np.int64)
    size, most, other = 0, -np.inf, 0
    for k in order:
        w, p = scratch.weight[k], scratch.profit[k]
        while state == 1 and other < len(freer) and pool.weight[freer[other]] <= w:
            most = max(most, pool.profit[freer[other]])
            other += 1
        if p <= most + dominance:
            continue
        if size > 0 and scratch.weight[kept[size - 1]] == w:
            size -= 1
        kept[size] = k
        size += 1
        most = p
    kept = kept[:size]
    if size <= width:
        return kept, -np.inf
    return _narrowed(scratch.bound[kept], kept, width)


@njit(cache=True)
def store(
    scratch: Scratch, kept: Ints, front: NDArray[np.int32], pool: Pool, labels: int, v: int,
    state: int, frame: Frame, found: Found,
) -> tuple[int, Found]:  # fmt: skip
    """Put labels into the pool and the node's front; see whether one completes the best walk."""
    ends = v == frame.best.shape[1] - 1
    for i, k in enumerate(kept):
        label = scratch.label[k]
        if scratch.arc[k] >= 0:
            label = labels
            pool.weight[label], pool.profit[label] = scratch.weight[k], scratch.profit[k]
            pool.before[label], pool.arc[label] = scratch.label[k], scratch.arc[k]
            labels += 1
        front[i] = label
        # A label that only stepped on was looked at where it was made, but for the end.
        if ends or scratch.arc[k] >= 0:
            j = _completed(scratch.profit[k], scratch.weight[k], v, state, frame, found.profit)
            if j >= 0:
                whole = scratch.profit[k] + frame.rest_profit[j, v, state]
                found = Found(label, j, v, state, whole)
    return labels, found


@njit(cache=True)
def joined(
    pool: Pool, one: NDArray[np.int32], other: NDArray[np.int32], dominance: float
) -> NDArray[np.int32]:
    """Return labels of two fronts that none dominates, by weight."""
    out = np.empty(len(one) + len(other), np.int32)
    i, j, size, most = 0, 0, 0, -np.inf
    while i < len(one) or j < len(other):
        if j == len(other) or (i < len(one) and pool.weight[one[i]] <= pool.weight[other[j]]):
            label = one[i]
            i += 1
        else:
            label = other[j]
            j += 1
        if pool.profit[label] > most + dominance:
            out[size] = label
            size += 1
            most = pool.profit[label]
    return out[:size]


@njit(cache=True)
def room(front: NDArray[np.int32], size: int) -> NDArray[np.int32]:
    """Return `front`, larger where `size` asks for it."""
    if size <= len(front):
        return front
    larger = np.empty(2 * size, np.int32)
    larger[: len(front)] = front
    return larger


@njit(cache=True)
def _bound(p: float, w: float, v: int, state: int, frame: Frame, cut: float) -> float:
    """Return a bound of the profit of all walks that go on from a label; rough below the cut."""
    least = np.inf
    for j in range(len(frame.prices)):
        bound = p + frame.best[j, v, state] + frame.prices[j] * (frame.limit - w)
        least = min(least, bound)
        if least <= cut:
            break
    return least


@njit(cache=True)
def _completed(p: float, w: float, v: int, state: int, frame: Frame, had: float) -> int:
    """Return the price whose walk to the end makes the best walk within the limit; -1 if none."""
    found = -1
    for j in range(len(frame.prices)):
        whole = p + frame.rest_profit[j, v, state]
        if whole > had and w + frame.rest_weight[j, v, state] <= frame.limit:
            had, found = whole, j
    return found


@njit(cache=True)
def _narrowed(bounds: Floats, kept: Ints, width: int) -> tuple[Ints, float]:
    """Return `width` of the labels in their order, and the largest bound of the others.

    Half are those of the largest bounds, which proves most; half are spread over the weights,
    which finds walks that fill the limit.
    """
    order = np.argsort(-bounds, kind="mergesort")
    stays = np.zeros(len(kept), np.bool_)
    stays[order[: width - width // 2]] = True
    others = np.flatnonzero(~stays)
    for i in range(width // 2):
        stays[others[i * len(others) // (width // 2)]] = True
    return kept[stays], bounds[~stays].max()
