"""The best walk within a limit, with a bound that proves how good it is."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from roadrisk.mitigation.arcs import fewer_arcs
from roadrisk.mitigation.labels import grow
from roadrisk.mitigation.relaxation import SAME, lightest, not_ruled_out, prices_around, relax

if TYPE_CHECKING:
    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.mitigation.walks import Walk
    from roadrisk.roads.network import Ints

_ROUNDING = 1e-11
"""Share of the profit by which sums of the same walk differ in another order."""

_FIRST_WIDTH = 64
_WIDER = 4
_MOST_PASSES = 12


class Effort(NamedTuple):
    """How far to look.

    Attributes
    ----------
    gap : float
        Share of the profit that may stay unproven, 0 to below 1.
    seconds : float
        No further pass begins that would likely end later [s].
    most_labels : int
        Most labels to look at, in all passes.
    """

    gap: float
    seconds: float
    most_labels: int


class Found(NamedTuple):
    """The best walk known.

    Attributes
    ----------
    rows : ndarray of int
        Candidates taken, ascending.
    bound : float
        No walk within the limit has more profit.
    """

    rows: Ints
    bound: float


@dataclass
class _State:
    """Best walk and bound so far, profits with ties told apart by weight."""

    rows: Ints
    profit: float
    bound: float
    above: float = -np.inf

    def lower(self, bound: float) -> None:
        self.bound = min(self.bound, max(bound, self.profit, self.above))


def search(arcs: Arcs, limit: float, effort: Effort) -> Found | None:
    """Return the walk of most profit within a limit of weight.

    The relaxation gives a bound and a first walk; arcs that can't be in a better one are ruled
    out; labels are grown with more and more width until nothing had to be let go, the wanted gap
    is proven, or the effort is spent. Of walks of the same profit (to 1e-9 of it) the lightest
    is taken.

    Parameters
    ----------
    arcs : Arcs
        At least one.
    limit : float
        Largest weight.
    effort : Effort
        When to stop.

    Returns
    -------
    Found or None
        None where even the lightest walk is beyond the limit.
    """
    began = time.monotonic()
    light = lightest(arcs)
    if light.weight > limit:
        return None
    relaxed = relax(arcs, limit, light)
    first = relaxed.within
    scale = max(abs(relaxed.bound), abs(first.profit))
    tie = SAME * relaxed.price
    state = _State(arcs.row[first.arcs], first.profit - tie * first.weight, relaxed.bound)
    state.bound -= tie * limit
    per_best = 1.0 / (1.0 - effort.gap) if relaxed.bound > 0 else 1.0 - effort.gap
    arcs = arcs._replace(profit=arcs.profit - tie * arcs.weight)
    width, took, last, left = _FIRST_WIDTH, 0.0, 0, effort.most_labels
    for _ in range(_MOST_PASSES):
        cut = per_best * state.profit + _ROUNDING * scale
        late = took > 0 and time.monotonic() - began + _WIDER * took > effort.seconds
        if state.bound <= cut or late or _WIDER * last > left:
            break
        arcs, proven = _narrow(arcs, limit, relaxed.price, state, cut)
        if proven or state.bound <= cut:
            break
        start = time.monotonic()
        last, done = _pass(
            arcs, limit, state, width=width, per_best=per_best, slack=_ROUNDING * scale,
            price=relaxed.price, most_labels=left,
        )  # fmt: skip
        took, width, left = time.monotonic() - start, width * _WIDER, left - last
        if done:
            break
    bound = state.bound + tie * limit
    return Found(np.sort(state.rows), bound)


def _narrow(arcs: Arcs, limit: float, price: float, state: _State, cut: float) -> tuple[Arcs, bool]:
    """Rule arcs out and lower the bound; True where nothing is left to look at."""
    stays, above = not_ruled_out(arcs, limit, prices_around(price), cut)
    state.above = max(state.above, above)
    arcs = fewer_arcs(arcs, stays)
    if not stays.any():
        # No walk with an arc is better; one without any is the lightest of all only if it fits.
        state.lower(0.0 if limit >= 0 else -np.inf)
        return arcs, True
    light = lightest(arcs)
    if light.weight > limit:
        state.lower(-np.inf)
        return arcs, True
    again = relax(arcs, limit, light)
    _better(state, arcs, again.within)
    state.lower(again.bound)
    return arcs, False


def _better(state: _State, arcs: Arcs, walk: Walk) -> None:
    if walk.profit > state.profit:
        state.rows, state.profit = arcs.row[walk.arcs], walk.profit


def _pass(
    arcs: Arcs, limit: float, state: _State, *, width: int, per_best: float, slack: float,
    price: float, most_labels: int,
) -> tuple[int, bool]:  # fmt: skip
    """Grow labels once; how many were looked at, and whether no wider pass would tell more."""
    grown = grow(
        arcs, limit, prices=prices_around(price), had=state.profit, per_best=per_best,
        slack=slack, dominance=1e-3 * slack, width=width, most_labels=most_labels,
    )  # fmt: skip
    if grown.arcs is not None:
        state.rows = arcs.row[grown.arcs]
        state.profit = float(arcs.profit[grown.arcs].sum())
    if grown.full:
        return grown.looked_at, True
    state.lower(grown.above)
    # A bound let go on the way stays above all later passes only if they let it go as well.
    state.above = max(state.above, grown.above) if not grown.let_go else state.above
    return grown.looked_at, not grown.let_go
