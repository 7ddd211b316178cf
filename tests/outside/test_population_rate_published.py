"""The population's rate against scipy: negative binomial law and bootstrap."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadrisk.base.seeds import generator
from roadrisk.telemetry.gamma_poisson import (
    log_likelihood,
    posterior_of_mean,
    quantiles,
    rate_grid,
)
from roadrisk.telemetry.population_rate import population_rate


def test_marginal_likelihood_equals_scipy_nbinom() -> None:
    """scipy.stats.nbinom with n = shape and p = shape / (shape + mean·years)."""
    years, counts = np.array([0.3, 1.0, 2.5]), np.array([[4.0, 0.0, 17.0], [0.0, 0.0, 1.0]])
    grid = rate_grid(years, most=366.0)
    ours = log_likelihood(counts, grid)
    p = grid.shape / (grid.shape + grid.mean[:, None] * years[:, None, None])
    theirs = stats.nbinom.logpmf(counts[:, :, None, None], grid.shape, p).sum(axis=1)
    assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9)


def test_animals_left_out_of_the_counts_have_none() -> None:
    """The same likelihood with zeros written out, again from scipy.stats.nbinom."""
    years = np.array([0.3, 1.0, 2.5, 0.8])
    grid = rate_grid(years, most=366.0)
    ours = log_likelihood(np.array([[3.0]]), grid, np.array([2]))
    p = grid.shape / (grid.shape + grid.mean[:, None] * years[:, None, None])
    counts = np.array([0, 0, 3, 0])[:, None, None]
    assert ours[0] == pytest.approx(stats.nbinom.logpmf(counts, grid.shape, p).sum(axis=0))


def test_posterior_equals_a_fine_grid_of_scipy_laws() -> None:
    """Priors and likelihood written anew with scipy.stats, on a grid ten times as fine."""
    years, counts = np.array([0.6, 1.0, 0.9, 0.5]), np.array([2, 11, 0, 5])
    grid = rate_grid(years, most=366.0)
    ours = quantiles(
        posterior_of_mean(counts[None, :].astype(float), np.ones(1), grid), grid,
        np.array([0.05, 0.5, 0.95]),
    )  # fmt: skip
    log_mean, log_shape = np.linspace(np.log(1e-5), np.log(366), 2000), np.linspace(-4.5, 4.5, 181)
    mean, shape = np.exp(log_mean)[:, None], np.exp(log_shape)
    log_post = stats.norm.logpdf(log_shape, 0, 1.5) + (1 - 0.65) * log_mean[:, None]
    for count, y in zip(counts, years, strict=True):
        log_post = log_post + stats.nbinom.logpmf(count, shape, shape / (shape + mean * y))
    below = np.cumsum(np.exp(log_post - log_post.max()).sum(axis=1))
    theirs = np.exp(np.interp([0.05, 0.5, 0.95], below / below[-1], log_mean))
    # The step of the grid of shapes is 0.75 on the logarithm.
    assert ours == pytest.approx(theirs, rel=0.03)


def test_alike_animals_approach_the_poisson_limits() -> None:
    """200 animals with Poisson counts: scipy's gamma quantiles of an exact Poisson posterior."""
    counts = generator(1, "tests.alike").poisson(4.0, 200)
    grid = rate_grid(np.ones(200), most=366.0)
    ours = quantiles(
        posterior_of_mean(counts[None, :].astype(float), np.ones(1), grid), grid,
        np.array([0.05, 0.95]),
    )  # fmt: skip
    theirs = stats.gamma.ppf([0.05, 0.95], counts.sum() + 0.35) / 200
    assert ours == pytest.approx(theirs, rel=0.03)


def test_resampled_limits_equal_those_from_scipy_bootstrap() -> None:
    """scipy.stats.bootstrap draws the studentised ratio; its quantiles give the same limits."""
    draw = generator(4, "tests.bootstrap")
    years = draw.uniform(0.5, 1.2, 15)
    count = draw.poisson(draw.gamma(1.0, 9.0, 15) * years).astype(float)
    rate = count.sum() / years.sum()

    def error(x: np.ndarray, y: np.ndarray, axis: int) -> np.ndarray:
        r = x.sum(axis=axis, keepdims=True) / y.sum(axis=axis, keepdims=True)
        return np.sqrt(((x - r * y) ** 2).sum(axis=axis)) / y.sum(axis=axis)

    def studentised(x: np.ndarray, y: np.ndarray, axis: int = -1) -> np.ndarray:
        return (x.sum(axis=axis) / y.sum(axis=axis) - rate) / error(x, y, axis)

    theirs = stats.bootstrap(
        (count, years), studentised, paired=True, vectorized=True, n_resamples=20_000,
        method="percentile", confidence_level=0.90, random_state=1,
    )  # fmt: skip
    high, low = np.quantile(theirs.bootstrap_distribution, [0.05, 0.95])
    own = error(count, years, -1)
    days = np.repeat(count[:, None], 10, axis=1)
    ours = population_rate(days, years, generator(5, "tests.ours"), replicates=20_000)
    assert ours.low == pytest.approx(rate - low * own, rel=0.02)
    assert ours.high == pytest.approx(rate - high * own, rel=0.02)
