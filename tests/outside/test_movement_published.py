"""The movement process and Brownian bridges against closed forms and reference libraries."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from roadrisk.base.seeds import generator
from roadrisk.telemetry.brownian import bridge, motion_variance
from roadrisk.telemetry.movement_centres import several_centres_log_likelihood, shares
from roadrisk.telemetry.movement_filter import centre_given_fixes, one_centre_log_likelihood
from roadrisk.telemetry.movement_process import autocovariance, half_way, home_shape, transition

NO_ERROR = np.zeros((5, 3))


def _shape(sigma: float, along: float, across: float) -> np.ndarray:
    xx, xy, yy = home_shape(sigma, along, across)
    return np.array([[xx, xy], [xy, yy]])


def _track(
    rng: np.random.Generator, n: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Fixes at uneven times, two at one moment, with error ellipses that lean."""
    hours = np.sort(rng.uniform(0, 300, n))
    hours[5], hours[10] = hours[4], hours[9] + 1e-4
    root = rng.normal(0, 5, (n, 2, 2))
    error = root @ root.transpose(0, 2, 1) + np.eye(2)
    return hours, rng.normal(0, 60, (n, 2)), error, error[:, [0, 0, 1], [0, 1, 1]]


@pytest.mark.parametrize(
    ("tau", "tau_v", "along", "across"),
    [(12.0, 0.4, 0.0, 0.0), (12.0, 0.4, 0.5, -0.7), (150.0, 0.05, 0.0, 0.3), (2.0, 1.9, -0.4, 0.1)],
)
def test_likelihood_is_scipys_normal(tau: float, tau_v: float, along: float, across: float) -> None:
    """Outside: scipy.stats.multivariate_normal on the dense covariance matrix."""
    n, sigma, centre_sd = 40, 45.0, 120.0
    hours, xy, error, packed = _track(generator(2, "dense"), n)
    shape = _shape(sigma, along, across)
    lag = hours[:, None] - hours
    dense = np.kron(autocovariance(lag, tau, tau_v), shape @ shape)
    dense += centre_sd**2 * np.kron(np.ones((n, n)), np.eye(2))
    for i in range(n):
        dense[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] += error[i]
    par = np.array([np.log(tau), np.log(tau_v), np.log(sigma), along, across])
    found = one_centre_log_likelihood(par, hours, xy, packed, centre_sd)
    expected = multivariate_normal.logpdf(xy.ravel(), np.zeros(2 * n), dense)
    assert found == pytest.approx(expected, rel=1e-10, abs=1e-8)
    # The centre given the fixes: the textbook formula for a conditional normal.
    across_cov = centre_sd**2 * np.kron(np.ones((1, n)), np.eye(2))
    mean = across_cov @ np.linalg.solve(dense, xy.ravel())
    cov = centre_sd**2 * np.eye(2) - across_cov @ np.linalg.solve(dense, across_cov.T)
    got = centre_given_fixes(par, hours, xy, packed, centre_sd)
    np.testing.assert_allclose(got, [*mean, cov[0, 0], cov[0, 1], cov[1, 1]], rtol=1e-7)


def test_transition_is_the_matrix_exponential() -> None:
    """Outside: scipy.linalg.expm, and the stationary covariance diag(1, 1 / (tau tau_v))."""
    for t, tau, tau_v in itertools.product((1e-3, 0.2, 5.0, 80.0), (3.0, 50.0), (0.1, 2.9)):
        a, b = 1 / tau, 1 / tau_v
        step = expm(np.array([[0, 1], [-a * b, -a - b]]) * t)
        still = np.diag([1, a * b])
        new = still - step @ still @ step.T
        got = transition(t, a, b)
        np.testing.assert_allclose(got[:4], step.ravel(), atol=1e-12)
        np.testing.assert_allclose(got[4:], [new[0, 0], new[0, 1], new[1, 1]], atol=1e-9 * b * b)


def test_short_times_join_on_to_long_ones() -> None:
    """By hand: the variance of a short step's place is 2 (a + b) a b t^3 / 3 to first order."""
    a, b = 1 / 10, 1 / 0.4
    edge = 0.01 / (a + b)
    below, above = transition(edge * (1 - 1e-9), a, b), transition(edge * (1 + 1e-9), a, b)
    np.testing.assert_allclose(below[4:], above[4:], rtol=1e-6)
    assert transition(1e-4, a, b)[4] == pytest.approx(2 * a * b * (a + b) * 1e-12 / 3, rel=1e-3)


def test_half_way_is_a_conditional_normal() -> None:
    """Outside: numpy's conditional normal from the joint covariance of three states."""
    a, b, h = 1 / 8, 1 / 0.5, 0.7
    step = expm(np.array([[0, 1], [-a * b, -a - b]]) * h)
    still = np.diag([1, a * b])
    before_end = np.block([[still, still @ (step @ step).T], [step @ step @ still, still]])
    middle = np.hstack([step @ still, still @ step.T])
    gain = middle @ np.linalg.inv(before_end)
    cov = still - gain @ middle.T
    out = np.empty(12)
    half_way(h, a, b, out)
    np.testing.assert_allclose(out[:4].reshape(2, 2), gain[:, :2], atol=1e-9)
    np.testing.assert_allclose(out[4:8].reshape(2, 2), gain[:, 2:], atol=1e-9)
    root = np.array([[out[8], 0], [out[9], out[10]]])
    np.testing.assert_allclose(root @ root.T, cov, atol=1e-10)


def test_several_centres_against_all_sequences() -> None:
    """Outside: the sum over all sequences of centres of scipy's normal densities.

    The filter replaces mixtures by normals, so it is close and not equal: 0.02 in the log.
    """
    rng = generator(4, "sequences")
    n, tau, tau_v, sigma, stay = 7, 8.0, 0.4, 25.0, 50.0
    centre = np.array([[-60.0, 0.0], [60.0, 10.0]])
    hours = np.cumsum(rng.uniform(5, 15, n))
    xy = centre[[0, 0, 1, 1, 0, 0, 1]] + rng.normal(0, 25, (n, 2))
    par = np.array(
        [np.log(tau), np.log(tau_v), np.log(sigma), 0.2, -0.1, np.log(stay), 0.3, *centre.ravel()]
    )
    share, shape = shares(par, 2), _shape(sigma, 0.2, -0.1)
    lag = hours[:, None] - hours
    home = np.kron(autocovariance(lag, tau, tau_v), shape @ shape)
    noise = 16 * np.eye(2 * n)
    parts = []
    for z in itertools.product(range(2), repeat=n):
        chance, stay_of = share[z[0]], np.zeros(n, int)
        for i in range(1, n):
            kept = np.exp(-(hours[i] - hours[i - 1]) / stay)
            chance *= kept * (z[i] == z[i - 1]) + (1 - kept) * share[z[i]]
            stay_of[i] = stay_of[i - 1] + (z[i] != z[i - 1])
        # After a change of centre the place tells nothing of the places before.
        alike = np.kron(stay_of[:, None] == stay_of, np.ones((2, 2)))
        mean = centre[list(z)].ravel()
        density = multivariate_normal.logpdf(xy.ravel(), mean, home * alike + noise)
        parts.append(np.log(chance) + density)
    error = np.tile([16.0, 0.0, 16.0], (n, 1))
    found = several_centres_log_likelihood(par, 2, hours, np.arange(n), xy, error)
    assert found == pytest.approx(logsumexp(parts), abs=0.02)


def test_one_centre_of_several_is_the_one_centre_model() -> None:
    """Two ways: centres that are never visited, and the one-centre filter with a sure centre."""
    hours, xy, _, packed = _track(generator(6, "same place"), 25)
    par = np.array([np.log(9.0), np.log(0.3), np.log(40.0), 0.2, 0.1])
    away = np.array([0.0, 0.0, 900.0, 0.0, 0.0, 900.0])
    three = np.concatenate([par, [np.log(1e9), -20.0, -20.0], away])
    many = several_centres_log_likelihood(three, 3, hours, np.arange(25), xy, packed)
    one = one_centre_log_likelihood(par, hours, xy, packed, 1e-4)
    assert many == pytest.approx(one, abs=1e-5)


def test_motion_variance_worked_values() -> None:
    """Horne et al. 2007: values computed from the paper's formula, by hand, in minutes."""
    xy = np.array([[0.0, 0], [10, 5], [20, 0], [28, 6], [40, 0]])
    lags = np.array([0.0, 10, 20, 30, 50])
    assert motion_variance(lags[:3], xy[:3], NO_ERROR[:3]) == pytest.approx(2.5, rel=1e-6)
    assert motion_variance(lags, xy, NO_ERROR) == pytest.approx(8 / 3, rel=1e-6)


def test_motion_variance_against_brute_force() -> None:
    """Two ways: the best of a fine row of values of the likelihood, unequal lags and errors."""
    rng = generator(8, "variance")
    n, true = 41, 30.0
    hours = np.cumsum(rng.uniform(0.5, 6, n))
    places = np.cumsum(
        rng.normal(size=(n, 2)) * np.sqrt(true * np.diff(hours, prepend=hours[0] - 1))[:, None], 0
    )
    sd = rng.uniform(2, 8, n)
    xy = places + rng.normal(size=(n, 2)) * sd[:, None]
    error = np.column_stack([sd**2, np.zeros(n), sd**2])
    found = motion_variance(hours, xy, error)

    def log_likelihood(value: float) -> float:
        total = 0.0
        for i in range(1, n - 1, 2):
            span = hours[i + 1] - hours[i - 1]
            a = (hours[i] - hours[i - 1]) / span
            v = span * a * (1 - a) * value
            v += (1 - a) ** 2 * sd[i - 1] ** 2 + a**2 * sd[i + 1] ** 2 + sd[i] ** 2
            d = xy[i] - (1 - a) * xy[i - 1] - a * xy[i + 1]
            total -= np.log(2 * np.pi * v) + (d @ d) / (2 * v)
        return total

    row = np.arange(0.5, 4, 0.002) * found
    best = row[np.argmax([log_likelihood(v) for v in row])]
    assert found == pytest.approx(best, rel=0.01)
    assert 0.4 * true < found < 2.5 * true


def test_bridge_worked_values() -> None:
    """Horne et al. 2007: mean 25 m and variance 98.4375 m² a quarter of the way (by hand)."""
    mean, variance = bridge(
        np.array(0.25), np.array(60.0), 2.5, np.array(0.0), np.array(100.0), np.array(10.0),
        np.array(15.0),
    )  # fmt: skip
    assert (float(mean), float(variance)) == (25.0, 98.4375)
