"""Rate ratios, ratios of ratios and power against published numbers, scipy and statsmodels.

Sources: statsmodels' own tests (test_rates_poisson.py) for the tests and the power; the two rates
(2 in 17,877 and 9 in 16,660) are an example of the R package rateratio.test; the rest is computed
with scipy and statsmodels here. Years by the formula: values computed apart from it.
"""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats import rates
from statsmodels.stats.contingency_tables import Table2x2

from roadrisk.base.intervals import poisson_exact
from roadrisk.mitigation.before_after import compared, log_ratio, rate_ratio
from roadrisk.mitigation.given_margins import Counted, Stratum, conditional
from roadrisk.mitigation.power_of_comparison import Expected, power, years_by_formula


def _one(before: int, after: int, effort_before: float = 1.0, effort_after: float = 1.0) -> Counted:
    return Counted(np.array([before]), np.array([after]), np.array([effort_before]),
                   np.array([effort_after]))  # fmt: skip


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(0, 0, 3.68888), (1, 0.025318, 5.571643), (5, 1.623486, 11.668332),
     (10, 4.795389, 18.390356), (30, 20.240874, 42.826865)],
)  # fmt: skip
def test_one_count(count: int, low: float, high: float) -> None:
    """Garwood's interval; and statsmodels' exact one for 15 in 400."""
    assert np.allclose(poisson_exact(count, 0.95), (low, high), atol=5e-6)
    ends = np.array(poisson_exact(15, 0.95)) / 400
    assert np.allclose(ends, (0.0209884653319583, 0.0618505471787146), rtol=1e-9)
    assert np.allclose(ends, rates.confint_poisson(15, 400, method="exact-c"), rtol=1e-9)
    two_sided = min(1.0, 2 * min(stats.poisson.cdf(15, 20), stats.poisson.sf(14, 20)))
    told = rates.test_poisson(15, 400, value=0.05, method="exact-c").pvalue
    assert told == pytest.approx(0.313026269279486, rel=1e-9)
    assert two_sided == pytest.approx(told, rel=1e-9)


def test_two_rates() -> None:
    """Ratio, exact conditional interval and central p of two rates, by both ways to them."""
    assert np.allclose(rate_ratio(2, 17877, 9, 16660), (0.207094, 0.021774, 1.000549), atol=5e-7)
    found = compared([Stratum(_one(9, 2, 16660, 17877))])
    assert np.allclose((found.ratio, found.low, found.high), (0.207094, 0.021774, 1.000549),
                       atol=5e-7)  # fmt: skip
    assert found.p == pytest.approx(0.0501065, abs=5e-8)
    found = compared([Stratum(_one(30, 60, 54308.7, 51477.5))])
    assert np.allclose((found.ratio, found.low, found.high), (2.1099976, 1.339736, 3.388366),
                       atol=5e-7)  # fmt: skip


def test_p_of_two_rates() -> None:
    """One-sided p: the exact conditional one is statsmodels', near its large-sample ones."""
    given = conditional([Stratum(_one(30, 60, 54308.7, 51477.5))])
    at = int(given.observed - given.support[0])
    ours = float(given.chances(0.0)[at:].sum())
    told = {
        method: float(
            rates.test_poisson_2indep(
                60, 51477.5, 30, 54308.7, method=method, alternative="larger"
            ).pvalue
        )
        for method in ("wald", "score", "sqrt", "exact-cond", "cond-midp")
    }
    published = {"wald": 0.000356, "score": 0.000316, "sqrt": 0.000285, "exact-cond": 0.000428,
                 "cond-midp": 0.000310}  # fmt: skip
    assert told == pytest.approx(published, abs=6e-7)
    assert ours == pytest.approx(told["exact-cond"], rel=1e-9)
    midp = ours - float(given.chances(0.0)[at]) / 2
    assert midp == pytest.approx(told["cond-midp"], rel=1e-6)


def test_ratio_of_ratios() -> None:
    """The large-sample interval, and statsmodels' log odds ratio of the same table."""
    found = log_ratio([27, 30, 20, 22])
    assert np.allclose(found, (0.990, 0.44566, 2.19920), atol=2e-5)
    told = Table2x2(np.array([[27, 30], [20, 22]]))
    assert np.allclose(found, (told.oddsratio, *told.oddsratio_confint(0.05)), rtol=1e-9)


def test_exact_ratio_of_ratios() -> None:
    """The conditional estimate and interval are those of scipy's conditional odds ratio."""
    from scipy.stats.contingency import odds_ratio

    told = odds_ratio([[27, 30], [20, 22]], kind="conditional")
    ends = told.confidence_interval(0.95)
    found = compared([Stratum(_one(30, 27), _one(22, 20))])
    assert np.allclose((found.ratio, found.low, found.high), (told.statistic, ends.low, ends.high),
                       rtol=1e-6)  # fmt: skip


@pytest.mark.parametrize("ratio", [0.4, 1.0, 2.2])
def test_noncentral_hypergeometric(ratio: float) -> None:
    """With effort, chances are Fisher's noncentral hypergeometric of scipy, weights from effort."""
    works, control = _one(12, 5, 10.0, 15.0), _one(9, 14, 8.0, 20.0)
    given = conditional([Stratum(works, control)])
    odds = ratio * (15.0 / 10.0) / (20.0 / 8.0)
    law = stats.nchypergeom_fisher(12 + 5 + 9 + 14, 12 + 5, 5 + 14, odds)
    assert np.allclose(given.chances(np.log(ratio)), law.pmf(given.support), atol=1e-10)


def test_power() -> None:
    """Of the exact test, near the published one of the large-sample score test; years too."""
    told = rates.power_poisson_ratio_2indep(
        1.8, 2.2, nobs1=29, nobs_ratio=1, exposure=2.5, value=1.2, alpha=0.025, dispersion=1,
        alternative="smaller", method_var="alt", return_results=False,
    )  # fmt: skip
    assert told == pytest.approx(0.90056, abs=5e-6)
    mean = 2.2 * 29 * 2.5
    ours = power(Expected(mean, mean), ratio=1.8 / 2.2, null_ratio=1.2)
    # The exact test holds its level and gives away a little of the power.
    assert told - 0.015 < ours < told
    years = [years_by_formula(a, r) for r in (0.5, 0.7) for a in (5, 12, 30)]
    assert np.allclose(years, (9.80, 4.08, 1.63, 29.97, 12.49, 4.99), atol=6e-3)
