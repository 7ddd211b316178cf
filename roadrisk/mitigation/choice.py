"""Which measures to build: the most deaths averted for a budget, or the cheapest for a target.

The choice is exact, or comes with a proven gap. Candidates of a line exclude each other where
they overlap (weighted interval scheduling), which a dynamic programme along the line settles;
lines are joined over the budget. What both questions share stands in `search.py`: profit is to
be large (deaths averted; or minus the cost) within a limit of weight (the cost; or minus the
deaths averted).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.arcs import lay_arcs
from roadrisk.mitigation.candidates import CandidateError, check
from roadrisk.mitigation.search import Effort, search

if TYPE_CHECKING:
    from roadrisk.mitigation.candidates import Candidates
    from roadrisk.roads.network import Ints

MOST_LABELS = 100_000_000
"""Partial choices looked at (5 to 20 s, at most 0.2 GB); where more were needed, a gap remains."""

EXACT = 5e-9
"""A gap below this share is rounding, and told as 0."""

_SUMS_ERR = 1e-12
"""Share by which a sum may be over a limit by rounding alone."""


@dataclass(frozen=True, eq=False)
class Choice:
    """Measures chosen, and how sure it is that nothing better exists.

    Attributes
    ----------
    chosen : ndarray of int
        Rows of the candidates, ascending.
    value : float
        Deaths averted a year.
    cost : float
        Their cost.
    bound : float
        For a budget: no choice averts more. For a target: none costs less.
    gap : float
        (bound − value) / bound, or (cost − bound) / cost; 0.0 where the choice is proven best,
        to within 5e-9.
    """

    chosen: Ints
    value: float
    cost: float
    bound: float
    gap: float


class OutOfReachError(CandidateError):
    """A target that all measures together don't reach.

    Parameters
    ----------
    target : float
        Deaths averted a year that were asked for.
    most : Choice
        The most that can be reached, and its least cost.
    """

    def __init__(self, target: float, most: Choice) -> None:
        self.target, self.most = target, most
        super().__init__(
            f"A target of {target:g} deaths averted a year is out of reach: the measures "
            f"considered avert at most {most.value:.4g} a year together, at a cost of "
            f"{most.cost:,.0f}. Mend: ask for less, or allow more measures or longer runs."
        )


def choose_for_budget(
    candidates: Candidates, budget: float, *, gap: float = 0.0, seconds: float = np.inf,
    most_labels: int = MOST_LABELS,
) -> Choice:  # fmt: skip
    """Return the measures that avert most deaths a year within a budget.

    Candidates that avert nothing are never chosen. Of choices that avert the same, the cheapest
    is taken; of twins on the same run, the one of the lower row.

    Parameters
    ----------
    candidates : Candidates
        What could be built.
    budget : float
        Largest cost in sum; 0 or more.
    gap : float
        Stop where so much at most remains unproven, 0 to below 1.
    seconds : float
        Stop looking after about so long [s]. A result then depends on the machine's speed.
    most_labels : int
        Most partial choices to look at; what then remains unproven is told as the gap.

    Returns
    -------
    Choice

    Raises
    ------
    CandidateError
        If candidates or the budget make no sense.
    """
    check(candidates)
    if not budget >= 0:
        raise CandidateError(f"A budget of {budget:g} makes no sense. Mend: give 0 or more.")
    limit = min(float(budget), float(candidates.cost.sum()))
    rows = _useful(candidates, limit)
    if not len(rows):
        return _choice(candidates, rows, 0.0)
    arcs = lay_arcs(candidates, candidates.value, candidates.cost, rows)
    found = search(arcs, limit * (1 + _SUMS_ERR), _effort(gap, seconds, most_labels))
    if found is None:  # pragma: no cover - building nothing is always within a budget
        raise CandidateError("Nothing fits the budget.")
    return _choice(candidates, found.rows, found.bound)


def choose_for_target(
    candidates: Candidates, target: float, *, gap: float = 0.0, seconds: float = np.inf,
    most_labels: int = MOST_LABELS,
) -> Choice:  # fmt: skip
    """Return the cheapest measures that avert at least so many deaths a year.

    Parameters
    ----------
    candidates : Candidates
        What could be built.
    target : float
        Deaths averted a year; at or below 0 nothing is chosen.
    gap, seconds : float
        As for `choose_for_budget`.
    most_labels : int
        As for `choose_for_budget`.

    Returns
    -------
    Choice
        Of choices of the same cost, the one that averts most.

    Raises
    ------
    OutOfReachError
        If all measures together avert less; its `most` holds what can be reached.
    CandidateError
        If candidates or the target make no sense.
    """
    check(candidates)
    if not np.isfinite(target):
        raise CandidateError(f"A target of {target:g} makes no sense. Mend: give a number.")
    rows = _useful(candidates, np.inf)
    if target <= 0:
        return _choice(candidates, rows[:0], 0.0)
    found = None
    if len(rows):
        arcs = lay_arcs(candidates, -candidates.cost, -candidates.value, rows)
        found = search(arcs, -target * (1 - _SUMS_ERR), _effort(gap, seconds, most_labels))
    if found is None:
        raise OutOfReachError(target, choose_for_budget(candidates, np.inf))
    return _choice(candidates, found.rows, -found.bound, least=True)


def _useful(candidates: Candidates, limit: float) -> Ints:
    return np.flatnonzero((candidates.value > 0) & (candidates.cost <= limit))


def _effort(gap: float, seconds: float, most_labels: int) -> Effort:
    if not 0 <= gap < 1:
        raise CandidateError(f"A gap of {gap:g} makes no sense. Mend: give 0 to below 1.")
    return Effort(gap, seconds, most_labels)


def _choice(candidates: Candidates, rows: Ints, bound: float, *, least: bool = False) -> Choice:
    value, cost = float(candidates.value[rows].sum()), float(candidates.cost[rows].sum())
    found = cost if least else value
    missing = found - bound if least else bound - found
    whole = found if least else bound
    gap = missing / whole if whole > 0 else 0.0
    if gap <= EXACT:
        return Choice(rows, value, cost, found, 0.0)
    return Choice(rows, value, cost, bound, gap)
