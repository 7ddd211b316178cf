"""Deaths averted against money: the whole curve, and its knee."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.arcs import lay_arcs
from roadrisk.mitigation.candidates import check
from roadrisk.mitigation.choice import choose_for_budget
from roadrisk.mitigation.relaxation import SAME, unlimited
from roadrisk.mitigation.walks import Walk, best_walk

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.mitigation.candidates import Candidates

COLUMNS = ("cost", "value", "chosen", "supported", "knee", "gap")


def curve(
    candidates: Candidates, *, budgets: Sequence[float] = (), gap: float = 0.0,
    seconds: float = np.inf, most_points: int = 200,
) -> pd.DataFrame:  # fmt: skip
    """Return deaths averted against cost, from nothing to the most that can be averted.

    The points are the corners of the upper hull of all choices ("supported"): each is the best
    choice at its cost, and no choice at any cost lies above the straight lines between them. They
    are found by halving between two corners at the price of money on the line through them (Aneja
    & Nair 1979, Management Science 25:73-78, from memory). The knee is the corner that lies
    farthest above the straight line from nothing to the most, both axes scaled to 1: up to there
    the next unit of money averts more than an average one, beyond it less.

    Parameters
    ----------
    candidates : Candidates
        What could be built.
    budgets : sequence of float
        Budgets whose best choice is added, also where it lies below the hull.
    gap, seconds : float
        As for `choose_for_budget`, for each of the budgets.
    most_points : int
        Most corners; those that matter most come first.

    Returns
    -------
    pandas.DataFrame
        By cost, then value: cost, value, chosen (rows of the candidates), supported, knee, gap.
        The first row is to do nothing. `attrs["missed"]`: no choice lies farther than this above
        the lines between the rows that are supported; 0 where all corners were found.

    Raises
    ------
    CandidateError
        If candidates or a budget make no sense.
    """
    check(candidates)
    rows = np.flatnonzero(candidates.value > 0)
    corners, missed, knee, arcs_row = [Walk(rows[:0], 0.0, 0.0)], 0.0, -1.0, rows
    if len(rows):
        arcs = lay_arcs(candidates, candidates.value, candidates.cost, rows)
        corners, missed, knee = _corners(arcs, most_points)
        arcs_row = arcs.row
    records = []
    for corner in corners:
        chosen = np.sort(arcs_row[corner.arcs])
        value, cost = candidates.value[chosen].sum(), candidates.cost[chosen].sum()
        records.append((float(cost), float(value), chosen, True, corner.weight == knee, 0.0))
    for budget in sorted(set(budgets)):
        choice = choose_for_budget(candidates, budget, gap=gap, seconds=seconds)
        if not any(_same(choice.value, r[1]) and _same(choice.cost, r[0]) for r in records):
            records.append((choice.cost, choice.value, choice.chosen, False, False, choice.gap))
    table = pd.DataFrame(records, columns=list(COLUMNS))
    table = table.sort_values(["cost", "value"], kind="stable", ignore_index=True)
    table.attrs["missed"] = missed
    return table


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= 10 * SAME * max(abs(one), abs(other))


def _corners(arcs: Arcs, most_points: int) -> tuple[list[Walk], float, float]:
    """Corners by weight; how far the hull may lie above them; the weight of the knee, or −1."""
    nothing = Walk(np.empty(0, np.int64), 0.0, 0.0)
    most = unlimited(arcs)[0]
    corners = [nothing, most]
    # Stretches between two corners, by how far above them a corner may still lie.
    open_, number, knee = [(-np.inf, 0, nothing, most)], 0, -1.0
    while open_ and len(corners) < most_points:
        _, _, left, right = heapq.heappop(open_)
        if right.weight <= left.weight:
            continue
        price = (right.profit - left.profit) / (right.weight - left.weight)
        corner = best_walk(arcs, 1.0, price)
        above = corner.profit - left.profit - price * (corner.weight - left.weight)
        if above <= SAME * most.profit:
            continue
        if number == 0:
            knee = corner.weight
        corners.append(corner)
        for ends in ((left, corner), (corner, right)):
            number += 1
            heapq.heappush(open_, (-above, number, *ends))
    missed = max((-stretch[0] for stretch in open_), default=0.0)
    return sorted(corners, key=lambda c: (c.weight, c.profit)), float(missed), knee
