"""Intervals against scipy and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.rates import confint_poisson

from roadrisk.base.intervals import p_from_draws, poisson_exact, resampled_ratio
from roadrisk.base.seeds import generator


@pytest.mark.parametrize("count", [1, 5, 15, 60, 400])
@pytest.mark.parametrize("level", [0.90, 0.95])
def test_poisson_interval_equals_statsmodels(count: int, level: float) -> None:
    """statsmodels confint_poisson, method exact-c (Garwood)."""
    low, high = poisson_exact(count, level)
    expected = confint_poisson(count, 1.0, method="exact-c", alpha=1 - level)
    assert (float(low), float(high)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("count", "low", "high"), [
    (0, 0.0, 3.68888), (1, 0.025318, 5.571643), (5, 1.623486, 11.668332),
    (10, 4.795389, 18.390356), (30, 20.240874, 42.826865),
])  # fmt: skip
def test_poisson_interval_equals_table(count: int, low: float, high: float) -> None:
    """Garwood's 95 % limits, values computed from the chi-square formula."""
    assert poisson_exact(count, 0.95) == pytest.approx((low, high), abs=1e-5)


def test_poisson_interval_published() -> None:
    """15 in 400, the exact interval in statsmodels' test_rates_poisson.py."""
    got = [float(v) / 400 for v in poisson_exact(15, 0.95)]
    assert got == pytest.approx([0.0209884653319583, 0.0618505471787146], rel=1e-9)


def test_resampled_ratio_equals_scipy() -> None:
    """scipy.stats.bootstrap, percentile method, paired: the same quantity by other draws."""
    rng = np.random.default_rng(3)
    days = rng.uniform(50, 300, 25)
    crossings = rng.poisson(rng.gamma(0.6, 0.05, 25) * days).astype(float)
    got = resampled_ratio(crossings, days, generator(1, "x"), level=0.90, draws=20_000)
    expected = stats.bootstrap(
        (crossings, days), lambda c, d: c.sum() / d.sum(), paired=True, vectorized=False,
        confidence_level=0.90, method="percentile", n_resamples=20_000, rng=rng,
    ).confidence_interval  # fmt: skip
    assert got == pytest.approx(tuple(expected), rel=0.03)


def test_monte_carlo_p_value() -> None:
    """(r + 1)/(n + 1) as in pysal/esda significance.py, "(M + 1) / (R + 1)"."""
    draws = np.arange(1.0, 100.0)
    assert p_from_draws(np.array([0.0, 95.0, 95.5, 1000.0]), draws) == pytest.approx(
        [1.0, 6 / 100, 5 / 100, 1 / 100]
    )
