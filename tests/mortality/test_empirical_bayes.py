"""Empirical Bayes of network screening: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.mortality.empirical_bayes import empirical_bayes, safety_function


def test_weight_and_expected() -> None:
    """By hand, with the manual's formulas (from memory): w = 1/(1 + k N), w N + (1 - w) y."""
    rng = np.random.default_rng(3)
    exposure = np.repeat([0.5, 1.0, 2.0], 40)
    y = rng.poisson(3.0 * exposure * rng.gamma(1.0, 1.0, 120)).astype(float)
    found = empirical_bayes(y, exposure, np.zeros((120, 0)))
    k, n = found.function.overdispersion, found.function.predicted
    assert 0.5 < k < 2.0
    at = 100
    weight = 1 / (1 + k * n[at])
    assert found.weight[at] == pytest.approx(weight)
    assert found.expected[at] == pytest.approx(weight * n[at] + (1 - weight) * y[at])
    assert found.excess[at] == pytest.approx((1 - weight) * (y[at] - n[at]))
    assert found.variance[at] == pytest.approx((1 - weight) * found.expected[at])
    # The level's likelihood equation of the negative binomial: sum of w (y - N) is 0.
    assert (found.weight * (y - n)).sum() == pytest.approx(0.0, abs=1e-3)


def test_counts_that_vary_no_more_than_chance() -> None:
    """By hand: equal counts have no overdispersion; the prediction then has all the weight."""
    found = empirical_bayes(np.full(50, 4.0), np.ones(50), np.zeros((50, 0)))
    assert found.function.overdispersion == 0.0
    assert found.expected == pytest.approx(4.0, abs=1e-3)
    assert found.weight == pytest.approx(1.0)


def test_refused() -> None:
    """By hand: nothing counted, or a road nobody watched."""
    with pytest.raises(InputError, match="Nothing was counted"):
        safety_function(np.zeros(5), np.ones(5), np.zeros((5, 0)))
    with pytest.raises(InputError, match="no exposure"):
        safety_function(np.ones(5), np.array([1, 1, 0, 1, 1.0]), np.zeros((5, 0)))
