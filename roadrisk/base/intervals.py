"""Intervals and Monte-Carlo p-values."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]


def poisson_exact(count: Floats | float, level: float = 0.90) -> tuple[Floats, Floats]:
    """Exact (Garwood) interval for the mean of a Poisson count.

    Parameters
    ----------
    count : array_like
        Observed counts, 0 or more; need not be whole (a report spread over two roads).
    level : float
        Coverage, two-sided.

    Returns
    -------
    low, high : ndarray
        Same shape as `count`. Where the count is 0, `low` is 0 and `high` is the two-sided
        upper limit.

    Notes
    -----
    Garwood (1936), as given in many handbooks: half the chi-square quantiles with 2x and
    2x + 2 degrees of freedom. It assumes independent events.
    """
    x = np.asarray(count, dtype=np.float64)
    tail = (1 - level) / 2
    low = np.where(x > 0, stats.chi2.ppf(tail, 2 * np.maximum(x, 1e-12)) / 2, 0.0)
    return low, np.asarray(stats.chi2.ppf(1 - tail, 2 * x + 2) / 2)


def resampled_ratio(
    numerators: Floats,
    denominators: Floats,
    rng: np.random.Generator,
    *,
    level: float = 0.90,
    draws: int = 2000,
) -> tuple[float, float]:
    """Percentile interval of sum(numerators) / sum(denominators), resampling the units.

    Parameters
    ----------
    numerators, denominators : ndarray, shape (units,)
        One entry a unit (an animal, an observer); the unit is what is resampled.
    rng : numpy.random.Generator
    level : float
        Coverage, two-sided.
    draws : int
        Number of resamples.

    Returns
    -------
    low, high : float
        NaN if there are fewer than 3 units or no unit has a numerator: resampling can then
        say nothing.

    Notes
    -----
    Percentile bootstrap over clusters (Efron & Tibshirani 1993, chapters 6 and 13, from memory).
    """
    units = len(numerators)
    if units < 3 or not numerators.any():
        return np.nan, np.nan
    counts = rng.multinomial(units, np.full(units, 1 / units), size=draws).astype(np.float64)
    below = counts @ denominators
    ratio = np.divide(counts @ numerators, below, out=np.zeros(draws), where=below > 0)
    low, high = np.quantile(ratio, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def p_from_draws(observed: Floats | float, draws: Floats) -> Floats:
    """Monte-Carlo p-value (r + 1) / (n + 1), r = draws at or above the observed value.

    Parameters
    ----------
    observed : array_like
    draws : ndarray, shape (n,)

    Returns
    -------
    ndarray
        Same shape as `observed`.
    """
    order = np.sort(np.asarray(draws))
    # A draw that equals the observed value up to rounding counts as reaching it.
    slack = 1e-9 * np.maximum(1.0, np.abs(observed))
    reached = len(order) - np.searchsorted(order, np.asarray(observed) - slack, side="left")
    return np.asarray((reached + 1) / (len(order) + 1), dtype=np.float64)
