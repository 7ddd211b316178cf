"""Negative binomial safety functions against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.discrete.discrete_model import NegativeBinomial

from roadrisk.mortality.empirical_bayes import safety_function


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
