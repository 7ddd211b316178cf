"""Chances of counts before and after, given their sums: what a ratio of rates is read from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import stats

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NOTHING = 1e-250  # a weight so small beside the largest is left out


@dataclass(frozen=True, eq=False)
class Counted:
    """What was counted at some sites before and after.

    Attributes
    ----------
    before, after : ndarray of int64, shape (sites,)
        Whole counts.
    effort_before, effort_after : ndarray, shape (sites,)
        What a count is in proportion to, > 0: expected count per unit of the death rate, or
        searched km times visits, or animal-days.
    """

    before: Ints
    after: Ints
    effort_before: Floats
    effort_after: Floats


@dataclass(frozen=True, eq=False)
class Stratum:
    """Sites of works and controls that share their dates.

    Attributes
    ----------
    works : Counted
    controls : Counted or None
        None: no control; then a change of the years can't be told from the works.
    """

    works: Counted
    controls: Counted | None = None


@dataclass(frozen=True, eq=False)
class Conditional:
    """Distribution of the counts after the works, given the margins, up to the ratio.

    Attributes
    ----------
    support : ndarray, shape (values,)
        Sum over the works sites after.
    log_weight : ndarray, shape (values,)
        P(x) is in proportion to ratio^x · exp(log_weight).
    observed : int
    """

    support: Floats
    log_weight: Floats
    observed: int

    def chances(self, log_ratio: float) -> Floats:
        """Return the chance of each value, shape (values,)."""
        terms = self.log_weight + log_ratio * self.support
        chance = np.exp(terms - terms.max())
        return np.asarray(chance / chance.sum())


def conditional(strata: Sequence[Stratum]) -> Conditional:
    """Return the distribution of the sum over works sites after, given the margins.

    Parameters
    ----------
    strata : sequence of Stratum

    Returns
    -------
    Conditional
    """
    parts = [_given_margins(stratum) for stratum in strata]
    # All tilted alike, so that what may well be seen has weights of size.
    tilt = float(np.mean([log_tilt for *_, log_tilt in parts]))
    weight, first = np.ones(1), 0
    for start, logs, _ in parts:
        tilted = logs + tilt * np.arange(len(logs))
        weight = np.convolve(weight, np.exp(tilted - tilted.max()))
        first += start
    observed = sum(int(stratum.works.after.sum()) for stratum in strata)
    support = first + np.arange(len(weight), dtype=np.float64)
    kept = (weight > _NOTHING * weight.max()) | (support == observed)
    with np.errstate(divide="ignore"):
        logs = np.log(weight / weight.max())
    low, high = np.flatnonzero(kept)[[0, -1]]
    inside = slice(int(low), int(high) + 1)
    return Conditional(support[inside], (logs - tilt * (support - first))[inside], observed)


def _given_margins(stratum: Stratum) -> tuple[int, Floats, float]:
    """Least value, log weights and the logarithm of a tilt that centres them on what was seen."""
    works, controls = stratum.works, stratum.controls
    ours, own = _after(works)
    if controls is None:
        return 0, ours, own
    theirs, their = _after(controls)
    whole = int(works.after.sum() + controls.after.sum())
    some = np.arange(max(0, whole - len(theirs) + 1), min(len(ours) - 1, whole) + 1)
    return int(some[0]), ours[some] + theirs[whole - some], own - their


def _after(sites: Counted) -> tuple[Floats, float]:
    """Log weights of all sites' sum after, and the log of their rate after over that before."""
    rates = [(float(x.sum()) + 0.5) / float(e.sum()) for x, e in
             ((sites.before, sites.effort_before), (sites.after, sites.effort_after))]  # fmt: skip
    change = rates[1] / rates[0]
    weight = np.ones(1)
    totals = (sites.before + sites.after).tolist()
    odds = (sites.effort_after / sites.effort_before * change).tolist()
    for n, odd in zip(totals, odds, strict=True):
        weight = np.convolve(weight, stats.binom.pmf(np.arange(n + 1), n, odd / (1 + odd)))
    with np.errstate(divide="ignore"):
        logs = np.log(weight / weight.max())
    return logs - np.log(change) * np.arange(len(logs)), float(np.log(change))
