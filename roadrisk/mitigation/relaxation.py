"""The limit on weight given a price: a proven bound, the two walks around it, arcs ruled out.

Lagrangian relaxation of the limit (Fisher 1981, Management Science 27:1-18): for any price
λ >= 0, no walk within the limit has more profit than max(profit − λ weight) + λ limit. The best
price is found between two walks, one within and one beyond the limit, as in the constrained
shortest path (Handler & Zang 1980, Networks 10:293-310); an arc whose best walk has a bound below
what is already had is ruled out. Both references from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.mitigation.walks import Walk, best_walk, rest_of, way_to

if TYPE_CHECKING:
    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.mitigation.candidates import Bools
    from roadrisk.roads.network import Floats

SAME = 1e-9
"""Two sums are the same below this share: 20,000 terms in double precision err by less than
1e-11, and a price of the relaxation can't be told more closely."""

_MOST_PRICES = 200


@dataclass(frozen=True, eq=False)
class Relaxed:
    """What the relaxation tells.

    Attributes
    ----------
    price : float
        The best price found: profit a unit of weight; 0 where the limit does not bind.
    bound : float
        No walk within the limit has more profit.
    within, beyond : Walk
        Best walks at that price on either side of the limit; the same where it doesn't bind.
    """

    price: float
    bound: float
    within: Walk
    beyond: Walk


def lightest(arcs: Arcs) -> Walk:
    """Return the walk of the least weight.

    Parameters
    ----------
    arcs : Arcs
        At least one.

    Returns
    -------
    Walk
    """
    return best_walk(arcs, 0.0, 1.0)


def unlimited(arcs: Arcs) -> tuple[Walk, float, float]:
    """Return the walk of most profit without a limit, of ties the lightest.

    Parameters
    ----------
    arcs : Arcs
        At least one.

    Returns
    -------
    walk : Walk
        Its profit is the most to within 1e-9.
    tie : float
        The price of weight that told ties apart: next to nothing.
    most : float
        The most profit.
    """
    most, light = best_walk(arcs, 1.0, 0.0), lightest(arcs)
    more = most.weight - light.weight
    tie = SAME * (most.profit - light.profit) / more if more > 0 else 0.0
    return best_walk(arcs, 1.0, tie), tie, most.profit


def relax(arcs: Arcs, limit: float, within: Walk) -> Relaxed:
    """Return the least bound of profit within the limit, and the walks around it.

    Parameters
    ----------
    arcs : Arcs
        At least one.
    limit : float
        Largest weight.
    within : Walk
        A walk within the limit.

    Returns
    -------
    Relaxed
    """
    beyond, tie, most = unlimited(arcs)
    if beyond.weight <= limit:
        return Relaxed(tie, most, beyond, beyond)
    least, price = np.inf, 0.0
    for _ in range(_MOST_PRICES):
        if beyond.weight <= within.weight:
            break
        trial = max(0.0, (beyond.profit - within.profit) / (beyond.weight - within.weight))
        middle = best_walk(arcs, 1.0, trial)
        reduced = middle.profit - trial * middle.weight
        bound = reduced + trial * limit
        if bound < least:
            least, price = bound, trial
        line = within.profit - trial * within.weight
        if reduced <= line + 1e-3 * SAME * max(abs(line), abs(within.profit)):
            break
        if middle.weight <= limit:
            within = middle
        else:
            beyond = middle
    return Relaxed(price, max(least, within.profit), within, beyond)


def prices_around(price: float) -> Floats:
    """Return the best price and some beside it, the best one first.

    Parameters
    ----------
    price : float
        Above 0.

    Returns
    -------
    ndarray, shape (prices,)
        Bounds at other prices are the sharper ones where much of the limit is used up early or
        late; the steps are plain choices.
    """
    steps = np.array([0.003, 0.01, 0.03, 0.1, 0.3, 1.0])
    return price * np.exp(np.concatenate([[0.0], -steps, steps]))


def not_ruled_out(arcs: Arcs, limit: float, prices: Floats, cut: float) -> tuple[Bools, float]:
    """Return the arcs that some walk within the limit with more profit than `cut` might take.

    Parameters
    ----------
    arcs : Arcs
        At least one.
    limit : float
        Largest weight.
    prices : ndarray
        Prices to try.
    cut : float
        Profit.

    Returns
    -------
    stays : ndarray of bool, shape (arcs,)
        False where every walk through the arc is proven to have at most `cut`, or to be too heavy.
    above : float
        The largest bound among arcs ruled out: no walk through one has more.
    """
    stays = np.ones(len(arcs.tail), np.bool_)
    _rule_out(arcs, way_to(arcs, 0.0, 1.0), rest_of(arcs, 0.0, 1.0)[0], 0.0, 1.0, limit, 0.0, stays)
    above = -np.inf
    for price in prices:
        had, best = way_to(arcs, 1.0, price), rest_of(arcs, 1.0, price)[0]
        above = max(above, _rule_out(arcs, had, best, 1.0, price, limit, cut, stays))
    return stays, above


@njit(cache=True)
def _rule_out(
    arcs: Arcs, had: Floats, best: Floats, per_profit: float, price: float, limit: float,
    cut: float, stays: Bools,
) -> float:  # fmt: skip
    """Drop arcs whose best walk has a bound at or below the cut; return the largest such bound.

    With no profit, the bound is the weight to spare: below 0 an arc is too heavy.
    """
    above = -np.inf
    for a in range(len(arcs.tail)):
        if not stays[a]:
            continue
        tail, head = arcs.tail[a], arcs.head[a]
        gain = per_profit * arcs.profit[a] - price * arcs.weight[a] + price * limit
        if arcs.barrier[a]:
            bound = had[tail, 0] + gain + best[head, 1]
        else:
            bound = max(had[tail, 0], had[tail, 1]) + gain + best[head, 0]
        if bound < cut or (bound == cut and per_profit > 0.0):
            stays[a] = False
            above = max(above, bound)
    return above
