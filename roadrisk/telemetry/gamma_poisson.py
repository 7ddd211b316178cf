"""Animals differ: each has a rate of its own, gamma distributed, and its counts are Poisson.

The marginal law of a count is then negative binomial. Mean and shape of the gamma law are on a
grid; nothing is sampled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import gammaln

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# Prior of the shape: log-normal about 1 (an exponential law of rates). The deviation puts 95 %
# between 0.05 (a few animals make nearly all crossings) and 19 (all are much alike).
_SHAPE_SD = 1.5
_SHAPES = 13
# Prior of the mean: density like its power -0.65, between what Jeffreys has for a Poisson mean
# (-0.5) and even on the logarithm (-1). Of these it held its level best for 2 to 20 simulated
# animals, and it was chosen for that.
_MEAN_POWER = -0.65
_STEP = 0.1
# The grid of means begins at so many crossing-days in all the years watched.
_LEAST = 1e-5
_FINER = 8
_LEAST_CHANCE = 1e-200


@dataclass(frozen=True, eq=False)
class RateGrid:
    """Grid of means and shapes, and what the animals' years make of it.

    Attributes
    ----------
    mean : ndarray, shape (m,)
        Population means [per animal-year], even in the logarithm.
    shape : ndarray, shape (s,)
    log_prior : ndarray, shape (m, s)
        For the grid's points; up to a constant.
    log_none : ndarray, shape (m, s)
        Log likelihood of no count of any animal: sum of shape · ln(shape / (shape + mean · years)).
    log_each : ndarray, shape (animals, m, s)
        What each count adds: ln(mean · years / (shape + mean · years)).
    power : ndarray, shape (animals,)
        Powers of the animals' likelihoods.
    """

    mean: Floats
    shape: Floats
    log_prior: Floats
    log_none: Floats
    log_each: Floats
    power: Floats


def rate_grid(years: Floats, *, most: float, power: Floats | None = None) -> RateGrid:
    """Lay the grid.

    Parameters
    ----------
    years : ndarray, shape (animals,)
        All above 0.
    most : float
        Largest mean that is possible [per animal-year].
    power : ndarray, shape (animals,), optional
        Power of each animal's likelihood; 1 unless given.

    Returns
    -------
    RateGrid
    """
    first = np.log(_LEAST / years.sum())
    log_mean = np.log(most) - _STEP * np.arange(int((np.log(most) - first) / _STEP) + 1)[::-1]
    log_shape = _SHAPE_SD * np.linspace(-3.0, 3.0, _SHAPES)
    mean, shape = np.exp(log_mean), np.exp(log_shape)
    prior = (1 + _MEAN_POWER) * log_mean[:, None] - 0.5 * (log_shape / _SHAPE_SD) ** 2
    expected = mean[None, :, None] * years[:, None, None]
    none = -shape * np.log1p(expected / shape)
    each = np.log(expected / (shape + expected))
    given = np.ones(len(years)) if power is None else np.asarray(power, dtype=np.float64)
    return RateGrid(mean, shape, prior, np.tensordot(given, none, axes=1), each, given)


def log_likelihood(counts: Floats, grid: RateGrid, animals: Ints | None = None) -> Floats:
    """Log likelihood of counts on the grid, animals together.

    Parameters
    ----------
    counts : ndarray, shape (sets, k)
        Sets of counts of k animals; need not be whole.
    grid : RateGrid
    animals : ndarray of int64, shape (k,), optional
        Rows of the grid's animals that these counts belong to; all others have none. All in
        order unless given.

    Returns
    -------
    ndarray, shape (sets, m, s)

    Notes
    -----
    ln G(x + s) - ln G(s) - ln G(x + 1) + s ln(s / (s + m y)) + x ln(m y / (s + m y)), the
    negative binomial law with G the gamma function. For counts that are not whole G continues
    the factorials: a quasi-likelihood. The variance at a mean stays m y + (m y)²/s, which is
    more than parts of a count have, so the interval is rather too wide.
    """
    rows = np.arange(len(grid.power)) if animals is None else animals
    power = grid.power[rows]
    x, s = counts[:, :, None], grid.shape
    ways = gammaln(x + s) - gammaln(s) - gammaln(x + 1.0)
    each = np.tensordot(counts * power, grid.log_each[rows], axes=1)
    return np.asarray(grid.log_none + each + np.einsum("dks,k->ds", ways, power)[:, None, :])


def posterior_of_mean(
    counts: Floats, repeats: Floats, grid: RateGrid, animals: Ints | None = None
) -> Floats:
    """Posterior of the population's mean, mixed over sets of counts.

    Each set is one draw of all animals' counts; the population's law is fitted to each, and
    the posteriors are mixed. The population is not let tell which draws are likely.

    Parameters
    ----------
    counts : ndarray, shape (sets, k)
    repeats : ndarray, shape (sets,)
        How often each set was drawn.
    grid : RateGrid
    animals : ndarray of int64, shape (k,), optional
        As for `log_likelihood`.

    Returns
    -------
    ndarray, shape (m,)
        Chance of each mean of the grid; sums to 1.
    """
    log_post = log_likelihood(counts, grid, animals) + grid.log_prior
    log_post -= log_post.max(axis=(1, 2), keepdims=True)
    chance = np.exp(log_post).sum(axis=2)
    chance /= chance.sum(axis=1, keepdims=True)
    return np.asarray(repeats @ chance / repeats.sum())


def quantiles(chance: Floats, grid: RateGrid, at: Floats) -> Floats:
    """Quantiles of the mean from its chances on the grid.

    Parameters
    ----------
    chance : ndarray, shape (m,)
    grid : RateGrid
    at : ndarray
        Probabilities.

    Returns
    -------
    ndarray
        Same shape as `at`.
    """
    log_mean = np.log(grid.mean)
    fine = np.linspace(log_mean[0], log_mean[-1], _FINER * (len(log_mean) - 1) + 1)
    # A narrow posterior lies between few points, and its logarithm is smooth.
    finer = np.exp(CubicSpline(log_mean, np.log(np.maximum(chance, _LEAST_CHANCE)))(fine))
    below = np.cumsum(finer) - finer / 2
    return np.asarray(np.exp(np.interp(at, below / finer.sum(), fine)))
