"""Chance that a comparison before and after would show a halving, before it is made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Totals beyond which so little of a Poisson distribution lies are not summed over.
_BEYOND = 1e-4
_MOST_NODES = 14
_MANY = 300  # counts so many that the logarithm of the ratio is as good as normal
_MOST_YEARS = 64


@dataclass(frozen=True)
class Expected:
    """Counts that are expected where nothing changes.

    Attributes
    ----------
    before, after : float
        At the works, > 0.
    control_before, control_after : float
        At the controls; 0 for no control.
    """

    before: float
    after: float
    control_before: float = 0.0
    control_after: float = 0.0

    @property
    def controlled(self) -> bool:
        """Whether there is a control."""
        return self.control_before > 0 and self.control_after > 0


def power(
    expected: Expected,
    *,
    ratio: float = 0.5,
    null_ratio: float = 1.0,
    level: float = 0.95,
    dispersion: float = 1.0,
) -> float:
    """Return the chance that the exact comparison finds fewer.

    Parameters
    ----------
    expected : Expected
    ratio : float
        True ratio.
    null_ratio : float
        The interval must lie below this ratio.
    level : float
        Coverage of the interval, two-sided.
    dispersion : float
        Variance over mean of counts of different years, taken as known: counts weigh as much
        as this many times fewer.

    Returns
    -------
    float

    Notes
    -----
    Summed over what may be counted: Poisson totals, and given these the conditional test of
    `before_after.compared`. Where totals spread widely, evenly spaced ones stand for the others;
    with a control and more than 300 counts, the normal formula for the log ratio.
    """
    scale = 1 / dispersion
    before, after = expected.before * scale, expected.after * scale
    odds = after / before
    tail = (1 - level) / 2
    totals, weights = _nodes(before + after * ratio)
    if not expected.controlled:
        each = [_power_alone(n, odds, ratio, null_ratio, tail) for n in totals]
        return float(np.dot(each, weights))
    theirs = expected.control_before * scale, expected.control_after * scale
    if before + after * ratio + sum(theirs) > _MANY:
        return _power_by_formula(before, after, theirs, ratio, null_ratio, tail)
    others, other_weights = _nodes(sum(theirs))
    share = theirs[1] / sum(theirs)
    out = 0.0
    for n, weight in zip(totals, weights, strict=True):
        for m, other in zip(others, other_weights, strict=True):
            out += weight * other * _power_controlled(n, m, odds, share, ratio, null_ratio, tail)
    return float(out)


def years_needed(
    a_year: float,
    control_a_year: float = 0.0,
    *,
    years_before: int | None = None,
    ratio: float = 0.5,
    level: float = 0.95,
    chance: float = 0.8,
    dispersion: float = 1.0,
) -> int | None:
    """Return the whole years after the works that give a chance of finding fewer.

    Parameters
    ----------
    a_year, control_a_year : float
        Expected counts a year where nothing changes; 0 for no control.
    years_before : int, optional
        As many before as after if left out.
    ratio, level : float
        As `power` takes them.
    chance : float
    dispersion : float

    Returns
    -------
    int or None
        None if 64 years are not enough.
    """

    def enough(years: int) -> bool:
        back = years if years_before is None else years_before
        some = Expected(a_year * back, a_year * years, control_a_year * back,
                        control_a_year * years)  # fmt: skip
        return power(some, ratio=ratio, level=level, dispersion=dispersion) >= chance

    if a_year <= 0 or (years_before is not None and years_before < 1):
        return None
    low, high = 0, 1
    while not enough(high):
        low, high = high, 2 * high
        if high > _MOST_YEARS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def years_by_formula(
    a_year: float, ratio: float, *, level: float = 0.95, chance: float = 0.8,
    dispersion: float = 1.0,
) -> float:  # fmt: skip
    """Return years before, and as many after, without a control, by the usual formula.

    Parameters
    ----------
    a_year : float
        Expected count a year before.
    ratio : float
    level, chance, dispersion : float

    Returns
    -------
    float
        φ (z₁ + z₂)² (1/λ + 1/(λ·ratio)) / ln² ratio, for large counts; formula from memory.
    """
    z = float(stats.norm.ppf((1 + level) / 2) + stats.norm.ppf(chance))
    return dispersion * z**2 * (1 / a_year + 1 / (a_year * ratio)) / float(np.log(ratio)) ** 2


def _nodes(mean: float) -> tuple[list[int], Floats]:
    """Totals to sum over and their chances."""
    low, high = (int(stats.poisson.ppf(q, mean)) for q in (_BEYOND / 2, 1 - _BEYOND / 2))
    step = max(1, -(-(high - low + 1) // _MOST_NODES))
    every = np.arange(low, high + 1)
    chance = stats.poisson.pmf(every, mean)
    cell = (every - low) // step
    weights = np.bincount(cell, chance)
    middle = np.bincount(cell, every * chance) / weights
    return np.rint(middle).astype(int).tolist(), np.asarray(weights / weights.sum())


def _power_alone(n: int, odds: float, ratio: float, null_ratio: float, tail: float) -> float:
    x = np.arange(n + 1)
    null, true = (odds * r / (1 + odds * r) for r in (null_ratio, ratio))
    rejected = stats.binom.cdf(x, n, null) <= tail
    return float(stats.binom.pmf(x, n, true)[rejected].sum())


def _power_by_formula(
    before: float, after: float, theirs: tuple[float, float], ratio: float, null_ratio: float,
    tail: float,
) -> float:  # fmt: skip
    """Power by the normal distribution of the log ratio, variance the sum of 1 / count."""
    sd = np.sqrt(1 / before + 1 / (after * ratio) + 1 / theirs[0] + 1 / theirs[1])
    return float(stats.norm.cdf(np.log(null_ratio / ratio) / sd + stats.norm.ppf(tail)))


def _power_controlled(
    n: int, m: int, odds: float, share: float, ratio: float, null_ratio: float, tail: float
) -> float:
    """Power given the totals of both: for every total after, values below the tail's end."""
    null, true = (odds * r / (1 + odds * r) for r in (null_ratio, ratio))
    x, y = np.arange(n + 1), np.arange(m + 1)
    # Rows: total after; columns: of these at the works.
    other = np.arange(n + m + 1)[:, None] - x
    inside = (other >= 0) & (other <= m)
    control = stats.binom.pmf(y, m, share)[np.where(inside, other, 0)] * inside
    by_null, by_true = (control * stats.binom.pmf(x, n, p) for p in (null, true))
    below = np.cumsum(by_null, axis=1)
    rejected = inside & (below <= tail * below[:, -1:])
    return float(by_true[rejected].sum())
