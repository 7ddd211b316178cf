"""How much counts of different years differ beyond chance, once effort is allowed for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# With fewer degrees of freedom years' differences can't be told.
LEAST_DF = 4
_STEPS = 200


@dataclass(frozen=True)
class YearsDiffer:
    """Dispersion of counts between years.

    Attributes
    ----------
    dispersion : float
        Pearson's chi-square over its degrees of freedom, at least 1; NaN without any.
    df : int
    p : float
        Chance of as much from counts that vary by chance alone; NaN without any.
    year_effects : bool
        Whether good and bad years common to all sites were taken out first.
    mean : float
        Mean count of a cell.
    """

    dispersion: float
    df: int
    p: float
    year_effects: bool
    mean: float = np.nan

    @property
    def known(self) -> bool:
        """Whether there are years enough to tell."""
        return self.df >= LEAST_DF

    def at(self, counts: Sequence[float], means: Sequence[float]) -> float:
        """Return the dispersion of a comparison of some sums of counts.

        Parameters
        ----------
        counts : sequence of float
            The sums that are compared.
        means : sequence of float
            Mean count of a cell in each.

        Returns
        -------
        float
            At least `dispersion`. Where years differ by a factor, the variance of a count grows
            with the square of its mean (negative binomial): sites with more counted vary more
            than the mean of all cells tells. Sums weigh as in the variance of the log ratio.
        """
        if not self.dispersion > 1 or not self.mean > 0:
            return self.dispersion
        k = (self.dispersion - 1) / self.mean
        weight = 1 / (np.asarray(counts, np.float64) + 0.5)
        each = 1 + k * np.asarray(means, np.float64)
        return max(self.dispersion, float((weight * each).sum() / weight.sum()))


def years_differ(count: Floats, effort: Floats, row: Ints, year: Ints) -> YearsDiffer:
    """Estimate the dispersion of counts between years.

    Parameters
    ----------
    count, effort : ndarray, shape (cells,)
    row : ndarray of int64, shape (cells,)
        Site and period (before or after) of each cell, numbered; rates are alike within.
    year : ndarray of int64, shape (cells,)
        Year and period, numbered: effects that all sites share.

    Returns
    -------
    YearsDiffer

    Notes
    -----
    Pearson's chi-square over its degrees of freedom, of a Poisson model with a level for each row
    and, where enough degrees of freedom remain, an effect for each year (McCullagh & Nelder 1989,
    from memory). Rows and years without a single count say nothing and are left out.
    """
    both = _dispersion(count, effort, row, year, year_effects=True)
    if both.known:
        return both
    rows = _dispersion(count, effort, row, year, year_effects=False)
    return rows if rows.known or rows.df > both.df else both


def _dispersion(
    count: Floats, effort: Floats, row: Ints, year: Ints, *, year_effects: bool
) -> YearsDiffer:
    keep = np.ones(len(count), dtype=bool)
    groups = (row, year) if year_effects else (row,)
    for _ in range(len(count)):
        empty = np.zeros(len(count), dtype=bool)
        for group in groups:
            sums = np.bincount(group[keep], count[keep], minlength=int(group.max()) + 1)
            empty |= keep & (sums[group] <= 0)
        if not empty.any():
            break
        keep &= ~empty
    if not keep.any():
        return YearsDiffer(np.nan, 0, np.nan, year_effects)
    x, e, r, y = count[keep], effort[keep], row[keep], year[keep]
    r, y = (np.unique(v, return_inverse=True)[1].astype(np.int64) for v in (r, y))
    mean = _fitted(x, e, r, y, year_effects=year_effects)
    rank = int(r.max()) + 1
    if year_effects:
        design = np.concatenate([np.eye(int(r.max()) + 1)[r], np.eye(int(y.max()) + 1)[y]], axis=1)
        rank = int(np.linalg.matrix_rank(design))
    df = len(x) - rank
    if df < 1:
        return YearsDiffer(np.nan, 0, np.nan, year_effects)
    chi = float(((x - mean) ** 2 / mean).sum())
    p = float(stats.chi2.sf(chi, df))
    return YearsDiffer(max(1.0, chi / df), df, p, year_effects, float(x.mean()))


def _fitted(x: Floats, e: Floats, r: Ints, y: Ints, *, year_effects: bool) -> Floats:
    """Means of the Poisson model, by proportional fitting."""
    mean = e.astype(np.float64)
    for _ in range(_STEPS if year_effects else 1):
        before = mean
        for group in (r, y) if year_effects else (r,):
            mean = mean * (np.bincount(group, x) / np.bincount(group, mean))[group]
        if np.abs(mean - before).max() < 1e-9 * mean.max():
            break
    return mean
