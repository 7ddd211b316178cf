"""Carcasses to deaths, against published formulas, values and the library lifelines.

Rows marked (computed) come from the formula named, worked out independently of this project;
formulas marked (from memory) could not be read at their source.
"""

from __future__ import annotations

import warnings

import lifelines
import numpy as np
import pytest
from scipy import integrate

from roadrisk.mortality.counted_chance import chance_counted, huso_chance, shoenfeld_chance
from roadrisk.mortality.persistence import fit_persistence
from roadrisk.mortality.persistence_curves import Curves, log_remaining

ALL_YEAR = range(1, 13)
LOW, HIGH = np.array([0, 0, 1, 2, 5.0]), np.array([1, 1, 2, 5, np.inf])


def one(family, location, sigma):
    return Curves(np.array([family]), np.array([location]), np.array([sigma]))


def exponential(mean_days):
    return one(0, np.log(mean_days), 1.0)


@pytest.mark.parametrize(
    ("interval", "mean", "p", "huso", "shoenfeld", "ten_huso", "ten_shoenfeld"),
    [
        (7, 5, 0.5, 0.2690725, 0.3069146, 37.1647, 32.5824),
        (7, 5, 1.0, 0.5381450, 0.5381450, 18.5824, 18.5824),
        (3, 10, 0.25, 0.2159848, 0.4860294, 46.2996, 20.5749),
    ],
)
def test_rows_of_huso_and_shoenfeld(
    interval, mean, p, huso, shoenfeld, ten_huso, ten_shoenfeld
):  # fmt: skip
    # Outside: Huso 2011, Environmetrics 22:318-329, and Erickson and others 2004 after Shoenfeld
    # (formulas from memory, rows computed). p = 1 makes both equal.
    assert huso_chance(interval, mean, p) == pytest.approx(huso, abs=5e-8)
    assert shoenfeld_chance(interval, mean, p) == pytest.approx(shoenfeld, abs=5e-8)
    assert 10 / huso_chance(interval, mean, p) == pytest.approx(ten_huso, abs=5e-5)
    assert 10 / shoenfeld_chance(interval, mean, p) == pytest.approx(ten_shoenfeld, abs=5e-5)
    # The chance for real dates comes to the same where searches are evenly spaced; what dies
    # before the last ones has fewer searches left, which the closed form doesn't know.
    looks = 19_000.0 + interval * np.arange(600)
    found = chance_counted(
        looks, np.full((600, 1), p), np.array([0.3]), exponential(mean), months=ALL_YEAR,
        before_first_days=interval,
    )  # fmt: skip
    assert found.days == pytest.approx(600 * interval)
    assert found.huso[0] == pytest.approx(huso, rel=1e-6)
    assert found.shoenfeld[0] == pytest.approx(shoenfeld, rel=0.003)
    assert found.huso[0] <= found.chance[0] * (1 + 1e-9) <= found.shoenfeld[0] * (1 + 2e-9)


def test_husos_effective_interval():
    # Outside: Huso 2011 (from memory): beyond −ln(0.01)·τ carcasses stand for nothing, so a search
    # every 30 days with τ = 5 is g = p·r·v with r over 23.03 days, v = 23.03 / 30.
    looks = 19_000.0 + 30.0 * np.arange(50)
    found = chance_counted(
        looks, np.full((50, 1), 0.6), np.zeros(1), exponential(5.0), months=ALL_YEAR,
        before_first_days=30.0,
    )  # fmt: skip
    assert found.huso[0] == pytest.approx(huso_chance(30, 5, 0.6), rel=1e-6)
    assert found.huso[0] == pytest.approx(0.6 * 5 * 0.99 / 30, rel=1e-6)
    assert found.chance[0] == pytest.approx(0.6 * 5 * -np.expm1(-6) / 30, rel=1e-5)


def test_exponential_from_interval_data():
    # Outside: maximum of sum ln[S(L) − S(R)] (computed): τ = 2.657434, ll = −6.879935.
    row = fit_persistence(LOW, HIGH, seed=1).table.iloc[0]
    assert np.exp(row["location"]) == pytest.approx(2.657434, abs=2e-6)
    assert row["log_likelihood"] == pytest.approx(-6.879935, abs=1e-6)
    assert row["aicc"] == pytest.approx(2 + 2 * 6.879935 + 4 / 3, abs=1e-5)


def test_share_left_over_a_week():
    # Outside (computed): r over 7 days with a median of 2 days; exponential .375765, log-normal
    # σ = 1 .387678, log-logistic β = 1.5 .396271; Weibull through Winton's two points below.
    week = np.array([7.0])
    for curve, r in (
        (one(0, np.log(2 / np.log(2)), 1.0), 0.375765),
        (one(2, np.log(2), 1.0), 0.387678),
        (one(3, np.log(2), 1 / 1.5), 0.396271),
        (one(1, np.log(3.454787), 1 / 0.565826), 0.41438),
    ):
        assert curve.days_there(week)[0, 0] / 7 == pytest.approx(r, abs=6e-6)


def test_weibull_through_the_spike_and_the_tail():
    # Outside: Winton et al. 2018, Global Ecology and Conservation 16:e00476: 52 % gone in 2 days,
    # 11 % left after 14; k = .565826, λ = 3.454787 d, r over 1 and 2 days .73418 and .63647
    # (computed).
    curve = one(1, np.log(3.454787), 1 / 0.565826)
    left = curve.remaining(np.array([2.0, 14.0]))[:, 0]
    assert left == pytest.approx([0.48, 0.11], abs=1e-6)
    r = curve.days_there(np.array([1.0, 2.0]))[:, 0] / [1, 2]
    assert r == pytest.approx([0.73418, 0.63647], abs=6e-6)
    assert curve.quantile(0.5) == pytest.approx([1.808], abs=5e-4)
    # An exponential through the first point would leave .0059 after 14 days, not .11 (computed).
    mean_days = -2 / np.log(0.48)
    assert mean_days == pytest.approx(2.725, abs=5e-4)
    assert exponential(mean_days).remaining(np.array([14.0]))[0, 0] == pytest.approx(
        0.0059, abs=5e-5
    )


def test_weibull_of_carcasses_gone_within_a_day():
    # Outside: Ratton et al. 2014: 66 % gone in 12 hours, 89 % in 24; the Weibull through both has
    # k = 1.03 and λ = .465 d (computed). As 100 carcasses looked after twice, the fit finds it.
    low, high = (
        np.repeat([0.0, 0.5, 1.0], [66, 23, 11]),
        np.repeat([0.5, 1.0, np.inf], [66, 23, 11]),
    )
    found = fit_persistence(low, high, seed=1).table.set_index("family").loc["weibull"]
    assert 1 / found["sigma"] == pytest.approx(1.03, abs=0.005)
    assert np.exp(found["location"]) == pytest.approx(0.465, abs=5e-4)
    assert found["gone_after_1_day"] == pytest.approx(0.89, abs=1e-4)


def test_spike_and_tail_is_no_exponential():
    # Outside: Winton's shares, as 100 carcasses looked after on days 2 and 14: 52 gone by day 2,
    # 37 between, 11 still there. The best exponential misses both ends; the choice is another.
    low = np.repeat([0.0, 2.0, 14.0], [52, 37, 11])
    high = np.repeat([2.0, 14.0, np.inf], [52, 37, 11])
    found = fit_persistence(low, high, seed=1)
    table = found.table.set_index("family")
    assert table["weight"].idxmax() != "exponential"
    assert table["weight"]["exponential"] < 0.01
    weibull = table.loc["weibull"]
    assert 1 / weibull["sigma"] == pytest.approx(0.565826, abs=1e-4)
    assert np.exp(weibull["location"]) == pytest.approx(3.454787, abs=1e-3)
    assert found.curves.remaining(np.array([2.0, 14.0])).mean(axis=1) == pytest.approx(
        [0.48, 0.11], abs=0.02
    )


def _trial(seed, n=40):
    rng = np.random.default_rng(seed)
    stay = 3.0 * rng.weibull(0.7, n)
    checks = np.array([0, 1, 2, 4, 7, 11, 16, 23.0])
    at = np.searchsorted(checks, stay)
    high = np.append(checks, np.inf)[np.minimum(at, len(checks))]
    return checks[at - 1], high


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fits_equal_lifelines(seed):
    # Outside: lifelines, the same interval-censored data: its maxima and parameters to 1e-4.
    low, high = _trial(seed)
    table = fit_persistence(low, high, seed=1).table.set_index("family")
    fitters = {
        "exponential": (lifelines.ExponentialFitter, lambda f: (np.log(f.lambda_), 1.0)),
        "weibull": (lifelines.WeibullFitter, lambda f: (np.log(f.lambda_), 1 / f.rho_)),
        "lognormal": (lifelines.LogNormalFitter, lambda f: (f.mu_, f.sigma_)),
        "loglogistic": (lifelines.LogLogisticFitter, lambda f: (np.log(f.alpha_), 1 / f.beta_)),
    }
    for family, (fitter, values) in fitters.items():
        with warnings.catch_warnings():
            # Its own derivatives warn on the way to the maximum.
            warnings.simplefilter("ignore")
            theirs = fitter().fit_interval_censoring(low, high)
        location, sigma = values(theirs)
        ours = table.loc[family]
        # A logarithm's error is a relative error of the days.
        assert ours["location"] == pytest.approx(location, abs=1e-4)
        assert ours["sigma"] == pytest.approx(sigma, rel=1e-4)
        assert ours["log_likelihood"] == pytest.approx(theirs.log_likelihood_, abs=1e-6)
        assert ours["median_days"] == pytest.approx(theirs.median_survival_time_, rel=1e-4)


def test_integrals_of_the_curves():
    # Outside: scipy's adaptive quadrature over log time.
    rng = np.random.default_rng(0)
    family = np.repeat(np.arange(4), 6)
    sigma = np.where(family == 0, 1.0, np.exp(rng.normal(0, 0.7, 24)))
    # Steep ones, as trials leave open in which all went at once.
    sigma[[6, 12, 18, 19]] = [0.08, 0.08, 0.08, 0.3]
    curves = Curves(family, rng.normal(1, 1.5, 24), sigma)
    days = np.array([0.003, 0.7, 7.0, 33.0, 400.0])
    got = curves.days_there(days)
    for j in range(24):
        for i, end in enumerate(days):
            want, _ = integrate.quad(
                lambda u, j=j: np.exp(
                    u + log_remaining(int(family[j]), curves.location[j], sigma[j], np.exp(u))
                ),
                np.log(1e-9), np.log(end), limit=400, epsrel=1e-9,
                points=[curves.location[j]] if curves.location[j] < np.log(end) else None,
            )  # fmt: skip
            assert got[i, j] == pytest.approx(want, rel=1e-5)


def test_horvitz_and_thompson():
    # Outside: Horvitz and Thompson's sum 1/g and its variance sum (1 − g)/g² (textbook; computed):
    # 6 carcasses, g = .2690725 give 22.2988 and 60.574.
    g = huso_chance(7, 5, 0.5)
    assert 6 / g == pytest.approx(22.2988, abs=1e-4)
    assert 6 * (1 - g) / g**2 == pytest.approx(60.574, abs=1e-3)
