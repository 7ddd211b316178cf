"""Negative binomial safety functions against statsmodels; Empirical Bayes worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.discrete.discrete_model import NegativeBinomial

from roadrisk.mortality.empirical_bayes import SafetyFunction, safety_function, screened


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_equals_statsmodels(seed: int) -> None:
    """Against statsmodels 0.14 or later (discrete.NegativeBinomial, nb2), to 1e-4."""
    rng = np.random.default_rng(seed)
    covariates = rng.standard_normal((300, 2))
    exposure = rng.uniform(0.2, 3.0, 300)
    mean = exposure * np.exp(0.4 + covariates @ [0.5, -0.3])
    y = rng.poisson(mean * rng.gamma(1.5, 1 / 1.5, 300)).astype(float)
    ours = safety_function(y, exposure, covariates)
    design = np.column_stack([np.ones(300), covariates])
    model = NegativeBinomial(y, design, offset=np.log(exposure))
    theirs = model.fit(disp=0, method="bfgs", maxiter=1000, gtol=1e-8)
    assert ours.coefficients == pytest.approx(theirs.params[:3], abs=1e-4)
    assert ours.overdispersion == pytest.approx(theirs.params[3], abs=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-4)
    assert ours.predicted == pytest.approx(theirs.predict(), rel=1e-4)


def test_worked_example_of_empirical_bayes() -> None:
    """Hauer, Harwood, Council & Griffith 2002, TRR 1784:126-131, first example (from memory).

    1.8 km of road with 4,000 vehicles a day and 12 accidents in a year; expected
    0.0224 * 4000^0.564 a km and year (2.41, so 4.34), overdispersion 2.05 a km, which is 1 / (k km)
    in the manual's terms: weight 0.460, expected 8.48, standard deviation 2.14.
    """
    km = 1.8
    predicted = np.array([0.0224 * 4000**0.564 * km])
    assert predicted / km == pytest.approx([2.41], abs=0.005)
    found = screened(SafetyFunction(np.zeros(1), 1 / (2.05 * km), predicted, 0.0), np.array([12.0]))
    assert found.weight == pytest.approx([0.460], abs=5e-4)
    assert found.expected == pytest.approx([8.48], abs=5e-3)
    assert np.sqrt(found.variance) == pytest.approx([2.14], abs=5e-3)
    assert found.excess == pytest.approx([8.48 - 4.34], abs=0.01)


@pytest.mark.parametrize("seed", [1, 2])
def test_empirical_bayes_is_the_gamma_posterior(seed: int) -> None:
    """Against scipy: a Poisson count whose mean is gamma, its posterior mean and variance."""
    rng = np.random.default_rng(seed)
    k, predicted = 0.7, rng.uniform(0.1, 8.0, 6)
    counted = rng.poisson(2 * predicted).astype(float)
    found = screened(SafetyFunction(np.zeros(1), k, predicted, 0.0), counted)
    for n, y, mean, variance in zip(
        predicted, counted, found.expected, found.variance, strict=True
    ):
        prior, likely = stats.gamma(1 / k, scale=k * n), stats.poisson
        places = np.linspace(1e-9, prior.ppf(1 - 1e-12) + 5 * y, 200_001)
        mass = prior.pdf(places) * likely.pmf(y, places)
        mass /= mass.sum()
        assert mean == pytest.approx(mass @ places, rel=1e-4)
        assert variance == pytest.approx(mass @ places**2 - (mass @ places) ** 2, rel=1e-3)
