"""Limits of rates by resampling the animals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Places in one go.
_TOGETHER = 400


@dataclass(frozen=True, eq=False)
class Sample:
    """The animals of a sample and what is asked of it.

    Attributes
    ----------
    years, weight : ndarray, shape (animals,)
        All above 0.
    draws : int
        Paths of each animal.
    level : float
        Coverage, two-sided.
    replicates : int
        Draws of each rate.
    most : float
        Largest rate that is possible.
    """

    years: Floats
    weight: Floats
    draws: int
    level: float
    replicates: int
    most: float

    @property
    def total(self) -> float:
        """Weighted years of all animals."""
        return float(self.weight @ self.years)

    @property
    def tails(self) -> Floats:
        """Probabilities of the interval's ends."""
        return np.array([(1 - self.level) / 2, (1 + self.level) / 2])


def resampled_limits(
    x: sparse.csr_array,
    mean: Floats,
    sample: Sample,
    rng: np.random.Generator,
    *,
    keep_draws: bool,
) -> tuple[Floats, Floats, Floats]:
    """Resample the animals, each with one of its paths at random.

    Parameters
    ----------
    x : scipy.sparse.csr_array, shape (places, animals * draws)
        Amounts; column animal * draws + draw.
    mean : ndarray, shape (places,)
        Rates.
    sample : Sample
    rng : numpy.random.Generator
    keep_draws : bool
        Whether to return the draws of the first place.

    Returns
    -------
    low, high : ndarray, shape (places,)
        NaN where no resample shows a spread.
    found : ndarray
        Rates of which the first place's limits are quantiles.

    Notes
    -----
    Bootstrap-t over clusters (Efron & Tibshirani 1993, chapter 12, from memory): the resampled
    rate's distance from the rate is divided by the resample's own standard error (that of a
    ratio, from the animals' residuals), and its quantiles are laid off from the rate by the
    sample's own. The percentile bootstrap of a few animals whose rates are as skewed as a
    gamma law's is too narrow at its upper end, this one hardly.
    """
    animals, times = len(sample.years), sample.replicates
    animal = rng.integers(animals, size=(times, animals))
    path = animal * sample.draws + rng.integers(sample.draws, size=animal.shape)
    replicate = np.repeat(np.arange(times), animals)
    w, y = sample.weight, sample.years

    def drawn(value: Floats) -> sparse.csr_array:
        shape = (animals * sample.draws, times)
        cells = (value[animal].ravel(), (path.ravel(), replicate))
        return sparse.coo_array(cells, shape=shape).tocsr()

    first, second, crossed = drawn(w), drawn(w**2), drawn(w**2 * y)
    below, square = (w * y)[animal].sum(axis=1), ((w * y) ** 2)[animal].sum(axis=1)
    every = [np.repeat(v, sample.draws) / sample.draws for v in (w**2, w**2 * y)]
    low, high = np.empty(len(mean)), np.empty(len(mean))
    found = np.empty(0)
    for start in range(0, len(mean), _TOGETHER):
        rows = slice(start, start + _TOGETHER)
        some, at = x[rows], mean[rows]
        twice = some.power(2)
        rate = (some @ first).toarray() / below
        spread = (twice @ second).toarray() - 2 * rate * (some @ crossed).toarray()
        error = np.sqrt(np.maximum(spread + rate**2 * square, 0.0)) / below
        own = twice @ every[0] - 2 * at * (some @ every[1]) + at**2 * ((w * y) ** 2).sum()
        own_error = np.sqrt(np.maximum(own, 0.0)) / sample.total
        away = rate - at[:, None]
        # A resample without spread (of no crossing animal, say) tells nothing and is left out.
        t = np.divide(away, error, out=np.full_like(away, np.nan), where=error > 1e-9 * rate)
        drawn_rate = np.clip(at[:, None] - t * own_error[:, None], 0.0, sample.most)
        low[rows], high[rows] = _known_quantiles(drawn_rate, sample.tails)
        if keep_draws:
            found = drawn_rate[0][np.isfinite(drawn_rate[0])]
    return np.minimum(low, mean), np.maximum(high, mean), found


def _known_quantiles(values: Floats, at: Floats) -> Floats:
    """Quantiles along the last axis, NaN left out, shape (at, rows)."""
    ordered = np.sort(values, axis=1)
    count = np.isfinite(ordered).sum(axis=1)
    out = np.full((len(at), len(values)), np.nan)
    some = np.flatnonzero(count > 1)
    for k, q in enumerate(at):
        place = q * (count[some] - 1)
        below = np.floor(place).astype(np.int64)
        above = np.minimum(below + 1, count[some] - 1)
        first, second = ordered[some, below], ordered[some, above]
        out[k, some] = first + (place - below) * (second - first)
    return out
