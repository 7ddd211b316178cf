"""Triangulation against a published example's computed rows, scipy and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats
from scipy.optimize import minimize

from roadrisk.base.seeds import generator
from roadrisk.telemetry.lenth import inverse_kappa
from roadrisk.telemetry.triangulation import CHI2_95, Estimate, Spread, triangulate
from tests.truth.bearing_coverage import observers

# Stations and bearings: https://stats.stackexchange.com/questions/33352, where Lenth's equations
# are worked through; results computed from the formulas, independently of this project.
STATIONS = np.array([(554045, 2813867), (553355, 2813873), (553207, 2814120)], dtype=float)
BEARINGS = np.array([300.0, 20.0, 90.0])


def example(spread: Spread | None) -> Estimate:
    found = triangulate(STATIONS, BEARINGS, spread)
    assert isinstance(found, Estimate)
    return found


def quadratic(found: Estimate) -> list[float]:
    return [found.covariance[0, 0], found.covariance[0, 1], found.covariance[1, 1]]


def test_maximum_likelihood_row() -> None:
    found = example(None)
    assert (found.x, found.y) == pytest.approx((553455.137, 2814130.725), abs=0.01)
    assert found.kappa == pytest.approx(231.879, abs=0.001)
    assert quadratic(found) == pytest.approx([395.7305, 84.0009, 234.6246], abs=1e-3)
    axes = np.sqrt(CHI2_95 * np.linalg.eigvalsh(found.covariance))
    assert axes == pytest.approx([34.512, 50.850], abs=0.001)
    assert np.pi * axes.prod() == pytest.approx(5513.23, abs=0.02)
    # Residuals there are counter-clockwise: the opposite sign.
    assert found.residual_deg == pytest.approx([5.911, -1.233, 2.475], abs=0.001)


@pytest.mark.parametrize(("sd", "kappa", "covariance", "area"), [
    (3.0, 365.439, [251.100, 53.300, 148.874], 3498.27),
    (5.0, 131.995, [695.190, 147.566, 412.171], 9685.23),
])  # fmt: skip
def test_rows_with_a_fixed_deviation(
    sd: float, kappa: float, covariance: list[float], area: float
) -> None:
    found = example(Spread(np.full(3, sd)))
    assert (found.x, found.y) == pytest.approx((553455.137, 2814130.725), abs=0.01)
    assert found.kappa == pytest.approx(kappa, abs=0.001)
    assert quadratic(found) == pytest.approx(covariance, abs=1e-3)
    long, short, _ = found.linear_region
    assert np.pi * long * short == pytest.approx(area, abs=0.02)


def test_place_equals_scipys_maximum() -> None:
    """200 random sets; scipy.optimize.minimize (Nelder-Mead) on the likelihood, two starts."""
    rng = generator(1, "triangulation against scipy")
    compared = 0
    for _ in range(200):
        count = int(rng.integers(3, 7))
        animal = np.array([480_000.0, 5_780_000.0])
        gap = -observers(rng, count, "anywhere")
        at = animal - gap
        azimuth = np.degrees(np.arctan2(gap[:, 0], gap[:, 1])) + rng.normal(0, 5, count)
        found = triangulate(at, azimuth)
        if not isinstance(found, Estimate):
            continue
        middle = at.mean(axis=0)

        def lost(place: np.ndarray, at: np.ndarray = at - middle, a: np.ndarray = azimuth) -> float:
            away = np.degrees(np.arctan2(place[0] - at[:, 0], place[1] - at[:, 1]))
            return float(2 * (np.sin(np.radians(a - away) / 2) ** 2).sum())

        tries = [
            minimize(lost, start, method="Nelder-Mead",
                     options={"xatol": 1e-5, "fatol": 1e-15, "maxiter": 20_000})
            for start in (animal - middle, np.zeros(2))
        ]  # fmt: skip
        best = min(tries, key=lambda t: t.fun).x + middle
        assert np.hypot(found.x - best[0], found.y - best[1]) < 0.1
        compared += 1
    assert compared >= 180


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_factor_without_tests_by_the_closed_form(count: int) -> None:
    """F(2, v) has the closed quantile v/2 (0.05^(-2/v) - 1): so f = n (0.05^(-2/(n-2)) - 1)."""
    turn = np.radians(np.linspace(0, 150, count))
    at = 300 * np.column_stack([np.sin(turn), np.cos(turn)])
    azimuth = np.degrees(turn) + 180 + np.resize([4.0, -3.0, 2.0], count)
    found = triangulate(at, azimuth)
    assert isinstance(found, Estimate)
    assert found.factor == pytest.approx(count * (0.05 ** (-2 / (count - 2)) - 1), rel=1e-9)
    assert found.linear_region == pytest.approx(found.region, rel=1e-12)


def test_factor_with_tests_tends_to_chi_square() -> None:
    few, many = (example(Spread(np.full(3, 5.0), m)).factor for m in (25, 10**6))
    assert few == pytest.approx(25 * (0.05 ** (-2 / 25) - 1), rel=1e-9)
    assert many == pytest.approx(stats.chi2.ppf(0.95, 2), rel=1e-4)


def test_concentration_against_bessel_functions() -> None:
    """Mean cosine of a von Mises distribution is I1(κ)/I0(κ) (scipy.special); Lenth's
    approximation of the inverse is good to 2 % for deviations up to some 30 degrees."""
    kappa = np.array([4.0, 10.0, 50.0, 131.0, 365.0, 3000.0])
    mean_cosine = special.ive(1, kappa) / special.ive(0, kappa)
    assert 1 / inverse_kappa(mean_cosine) == pytest.approx(kappa, rel=0.02)
