"""Standard deviations of the model: found, integrated over, and draws of all unknowns."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from scipy import optimize, special, stats

from roadrisk.mortality.joint_layout import KNOWN_ALONG, KNOWN_CLUMPS
from roadrisk.mortality.joint_posterior import Fitter

if TYPE_CHECKING:
    from roadrisk.mortality.joint_layout import Layout
    from roadrisk.roads.network import Floats

# Standard deviations are worked on as cube roots, in which an exponential prior is near normal.
_SMALLEST, _LARGEST = np.cbrt(0.02), np.cbrt(4.0)
_FIRST_STEP = 0.2
_FREEDOM = 6.0
# Sets of standard deviations that are weighed, for each of them; half in large networks.
_POINTS, _MANY = 8, 20_000
# With fewer effective points another round is drawn, from the shape that the first one shows.
_ENOUGH = 25.0


@dataclass(frozen=True)
class Priors:
    """Priors of the standard deviations: exponential, so that none is the simplest case.

    The chance that a standard deviation on the log scale exceeds the value given is 5 %; such
    priors are penalised-complexity priors (Simpson, Rue, Riebler, Martins & Sørbye 2017,
    Statistical Science 32:1-28). The values are choices of ours that say little: with 3 a
    standard deviation of 0.7 is as likely as not, which is a twofold spread either way. How much
    hangs on them, in 60 invented worlds with surveys on all roads (tests/truth): 1, 2 and 3.5
    for `deaths` gave 90 % intervals of single pieces that held 76, 85 and 88 % of them, with
    ends a factor of 10, 15 and 18 apart; totals differed by less than 1 %.

    Attributes
    ----------
    deaths : float
        Of the smooth part and the part piece by piece.
    reports : float
        Of effort along the road, by road, and of clumps of reports.
    clumps : float
        Of clumps of sources with a known chance (a few tagged animals stand for all).
    """

    deaths: float = 3.0
    reports: float = 3.0
    clumps: float = 2.0

    def rate(self, name: str) -> float:
        """Return the rate of one exponential prior.

        Parameters
        ----------
        name : str
            Of the standard deviation.

        Returns
        -------
        float
        """
        bound = self.clumps if name in {KNOWN_CLUMPS, KNOWN_ALONG} else self.reports
        if name in {"smooth", "piece by piece"}:
            bound = self.deaths
        return -np.log(0.05) / bound


@dataclass(frozen=True, eq=False)
class Draws:
    """Draws of all unknowns, standard deviations integrated.

    Attributes
    ----------
    inner : ndarray, shape (unknowns, draws)
    border : ndarray, shape (columns, draws)
    scales : ndarray, shape (scales, draws)
    effective : float
        Effective number of the weighed standard deviations.
    """

    inner: Floats
    border: Floats
    scales: Floats
    effective: float


def draw_unknowns(layout: Layout, priors: Priors, draws: int, rng: np.random.Generator) -> Draws:
    """Fit the model and draw from it.

    Parameters
    ----------
    layout : Layout
    priors : Priors
    draws : int
    rng : numpy.random.Generator

    Returns
    -------
    Draws

    Notes
    -----
    The posterior of the cube roots of the standard deviations is climbed to its top, then
    importance sampled from a Student distribution with the curvature found there. Weights are the
    lower bounds of the evidence (`Normal.bound`) times prior, over the sampling density. Where few
    points bear most of the weight, as many again are drawn from the shape that the first ones
    show, and all are weighed by the mixture of both.
    """
    fitter = Fitter(layout)
    points = _POINTS * (len(layout.scales) + 1)
    points = points if layout.size < _MANY else points // 2
    sampled = find_scales(fitter, layout.scales, priors, points, rng)
    theta, fits, weight = sampled.theta, sampled.fits, sampled.weight
    # Systematic resampling: as many draws from each point as its weight asks for.
    at = np.searchsorted(np.cumsum(weight), (np.arange(draws) + rng.random()) / draws)
    often = np.bincount(np.minimum(at, len(fits) - 1), minlength=len(fits))
    inner, border, scales = [], [], []
    for k in np.flatnonzero(often).tolist():
        count = int(often[k])
        scale = theta[k] ** 3
        a, b = fitter.draws(scale, fits[k], count, rng)
        inner.append(a)
        border.append(b)
        scales.append(np.repeat(scale[:, None], count, axis=1))
    mixed = rng.permutation(draws)
    return Draws(
        np.concatenate(inner, axis=1)[:, mixed],
        np.concatenate(border, axis=1)[:, mixed],
        np.concatenate(scales, axis=1)[:, mixed],
        sampled.effective,
    )


def find_scales(
    fitter: FitsScales,
    names: tuple[str, ...],
    priors: Priors,
    points: int,
    rng: np.random.Generator,
) -> Sampled:
    """Climb to the top of the posterior of the standard deviations, and sample about it.

    Parameters
    ----------
    fitter : FitsScales
    names : tuple of str
        Of the standard deviations.
    priors : Priors
    points : int
        To try, or twice as many.
    rng : numpy.random.Generator

    Returns
    -------
    Sampled
    """
    rates = np.array([priors.rate(name) for name in names])
    top, best = _climb(fitter, rates)
    sampled = Sampled(fitter, rates, best)
    sampled.add(top, _root_of_curvature(fitter, rates, top, best), points, rng)
    if sampled.effective < min(_ENOUGH, points / 3):
        sampled.add(*sampled.shape(), points, rng)
    return sampled


class Fit(Protocol):
    """What is asked of a fit for given standard deviations: as in `joint_posterior.Normal`."""

    @property
    def bound(self) -> float:
        """Lower bound of the log chance of the data."""

    @property
    def slope(self) -> Floats:
        """Its derivative by the log of each standard deviation."""


class FitsScales(Protocol):
    """What fits: as `joint_posterior.Fitter`."""

    def fit(self, scales: Floats, start: Any = None) -> Any:
        """Fit for given standard deviations, from a fit for nearby ones."""


class Sampled:
    """Standard deviations (cube roots) that were tried, each with its fit and weight.

    Parameters
    ----------
    fitter : FitsScales
    rates : ndarray, shape (scales,)
    best : Fit
        To start fits from.
    """

    def __init__(self, fitter: FitsScales, rates: Floats, best: Any) -> None:
        self._fitter, self._rates, self._best = fitter, rates, best
        self._shapes: list[tuple[Floats, Floats]] = []
        self._height: list[float] = []
        self.theta = np.empty((0, len(rates)))
        self.fits: list[Any] = []
        self.weight = np.empty(0)

    @property
    def effective(self) -> float:
        """Effective number of points."""
        return float(1.0 / np.sum(self.weight**2))

    def add(self, top: Floats, root: Floats, points: int, rng: np.random.Generator) -> None:
        """Try more points, from a Student shape; all are weighed by the mixture of shapes."""
        fresh = _student_points(top, root, points, rng)
        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            fitted = list(pool.map(self._fit, fresh))
        self.fits += fitted
        self._height += [
            f.bound + _log_prior(t, self._rates) for f, t in zip(fitted, fresh, strict=True)
        ]
        self.theta = np.concatenate([self.theta, fresh])
        self._shapes.append((top, root))
        density = [_log_student(self.theta, *shape) for shape in self._shapes]
        log_weight = np.array(self._height) - special.logsumexp(density, axis=0)
        self.weight = np.exp(log_weight - special.logsumexp(log_weight))

    def _fit(self, theta: Floats) -> Any:
        # A fitter keeps what it works on: every thread has its own.
        return copy(self._fitter).fit(theta**3, self._best)

    def shape(self) -> tuple[Floats, Floats]:
        """Middle and root of the covariance of what was tried, weights tempered to bear it."""
        power, weight = 1.0, self.weight
        enough = min(_ENOUGH, len(weight) / 3)
        while 1.0 / np.sum(weight**2) < enough:
            power *= 0.8
            weight = self.weight**power
            weight = weight / weight.sum()
        middle = weight @ self.theta
        away = self.theta - middle
        spread = (away * weight[:, None]).T @ away
        root = np.linalg.cholesky(spread + 1e-4 * np.eye(len(middle)))
        return middle, np.asarray(root, dtype=np.float64)


def _log_student(theta: Floats, top: Floats, root: Floats) -> Floats:
    away = np.linalg.solve(root, (theta - top).T)
    log_size = float(np.log(np.abs(np.linalg.det(root))))
    power = (_FREEDOM + len(top)) / 2
    return np.asarray(-power * np.log1p((away**2).sum(axis=0) / _FREEDOM) - log_size)


def _log_prior(theta: Floats, rates: Floats) -> float:
    return float(np.sum(2 * np.log(theta) - rates * theta**3))


def _slope(theta: Floats, fitted: Fit, rates: Floats) -> Floats:
    return (3 * fitted.slope + 2.0) / theta - 3 * rates * theta**2


def _climb(fitter: FitsScales, rates: Floats) -> tuple[Floats, Any]:
    start = np.full(len(rates), np.cbrt(0.5))
    best = fitter.fit(start**3)
    height = best.bound + _log_prior(start, rates)
    # The first step goes so far in the steepest direction; farther out fits may not settle.
    scale = _FIRST_STEP / np.abs(_slope(start, best, rates)).max()

    def down(theta: Floats) -> tuple[float, Floats]:
        nonlocal best, height
        fitted = fitter.fit(theta**3, best)
        here = fitted.bound + _log_prior(theta, rates)
        if here > height:
            best, height = fitted, here
        return -here * scale, -_slope(theta, fitted, rates) * scale

    bounds = [(_SMALLEST, _LARGEST)] * len(rates)
    found = optimize.minimize(
        down,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": 40, "ftol": 1e-6},
    )
    return found.x, fitter.fit(found.x**3, best)


def _root_of_curvature(fitter: FitsScales, rates: Floats, top: Floats, best: Any) -> Floats:
    """Root of the covariance at the top, from differences of slopes; no wider than priors are."""
    step = 0.05
    curvature = np.empty((len(top), len(top)))
    for k in range(len(top)):
        slopes = []
        for sign in (-1.0, 1.0):
            theta = top.copy()
            theta[k] += sign * step
            slopes.append(_slope(theta, fitter.fit(theta**3, best), rates))
        curvature[k] = (slopes[0] - slopes[1]) / (2 * step)
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    return np.asarray(vectors / np.sqrt(np.maximum(values, 12.0)))


def _student_points(top: Floats, root: Floats, points: int, rng: np.random.Generator) -> Floats:
    """Points of a Student distribution, spread evenly by a scrambled Sobol sequence."""
    sobol = stats.qmc.Sobol(len(top) + 1, rng=rng)
    uniform = sobol.random(1 << (points - 1).bit_length())[:points]
    normal = stats.norm.ppf(np.clip(uniform[:, :-1], 1e-9, 1 - 1e-9))
    chi = stats.chi2.ppf(np.clip(uniform[:, -1:], 1e-9, 1 - 1e-9), _FREEDOM)
    theta = top + (normal * np.sqrt(_FREEDOM / chi)) @ root.T
    return np.clip(theta, _SMALLEST, _LARGEST)
