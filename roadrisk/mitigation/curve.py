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

    from numpy.typing import NDArray

    from roadrisk.mitigation.arcs import Arcs
    from roadrisk.mitigation.candidates import Candidates

_PROPORTION = 0.5
COLUMNS = ("cost", "value", "chosen", "supported", "knee", "gap")


def curve(
    candidates: Candidates, *, budgets: Sequence[float] = (), gap: float = 0.0,
    seconds: float = np.inf, most_points: int = 200,
) -> pd.DataFrame:  # fmt: skip
    """Return deaths averted against cost, from nothing to the most that can be averted.

    The points are the corners of the upper hull of all choices ("supported"): each is the best
    choice at its cost, and no choice at any cost lies above the straight lines between them. They
    are found by halving between two corners at the price of money on the line through them (Aneja
    & Nair 1979, Management Science 25:73-78, from memory). The knee is the last corner before a
    step on which one percent more money averts less than half a percent more deaths (the project's
    own choice). Unlike the corner farthest from the line to the curve's end it doesn't hang on
    where the curve ends.

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
    corners, missed, arcs_row = [Walk(rows[:0], 0.0, 0.0)], 0.0, rows
    if len(rows):
        arcs = lay_arcs(candidates, candidates.value, candidates.cost, rows)
        corners, missed = _corners(arcs, most_points)
        arcs_row = arcs.row
    records = []
    for corner in corners:
        chosen = np.sort(arcs_row[corner.arcs])
        value, cost = candidates.value[chosen].sum(), candidates.cost[chosen].sum()
        records.append((float(cost), float(value), chosen, True, False, 0.0))
    for budget in sorted(set(budgets)):
        choice = choose_for_budget(candidates, budget, gap=gap, seconds=seconds)
        if not any(_same(choice.value, r[1]) and _same(choice.cost, r[0]) for r in records):
            records.append((choice.cost, choice.value, choice.chosen, False, False, choice.gap))
    table = pd.DataFrame(records, columns=list(COLUMNS))
    table = table.sort_values(["cost", "value"], kind="stable", ignore_index=True)
    table["knee"] = _knee(table)
    table.attrs["missed"] = missed
    return table


def _knee(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Mark the last corner before money averts proportionally less than half as much."""
    at = np.flatnonzero(table["supported"] & (table["cost"] > 0) & (table["value"] > 0))
    marked = np.zeros(len(table), dtype=bool)
    if len(at):
        cost, value = (np.log(table[name].to_numpy()[at]) for name in ("cost", "value"))
        poor = np.flatnonzero(np.diff(value) < _PROPORTION * np.diff(cost))
        marked[at[poor[0] if len(poor) else -1]] = True
    return marked


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= 10 * SAME * max(abs(one), abs(other))


def _corners(arcs: Arcs, most_points: int) -> tuple[list[Walk], float]:
    """Corners by weight, and how far the hull may lie above them."""
    nothing = Walk(np.empty(0, np.int64), 0.0, 0.0)
    most = unlimited(arcs)[0]
    corners = [nothing, most]
    # Stretches between two corners, by how far above them a corner may still lie.
    open_, number = [(-np.inf, 0, nothing, most)], 0
    while open_ and len(corners) < most_points:
        _, _, left, right = heapq.heappop(open_)
        if right.weight <= left.weight:
            continue
        price = (right.profit - left.profit) / (right.weight - left.weight)
        corner = best_walk(arcs, 1.0, price)
        above = corner.profit - left.profit - price * (corner.weight - left.weight)
        if above <= SAME * most.profit:
            continue
        corners.append(corner)
        for ends in ((left, corner), (corner, right)):
            number += 1
            heapq.heappush(open_, (-above, number, *ends))
    missed = max((-stretch[0] for stretch in open_), default=0.0)
    return sorted(corners, key=lambda c: (c.weight, c.profit)), float(missed)
