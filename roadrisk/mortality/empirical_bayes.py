"""The Empirical Bayes of road-safety network screening, beside the one model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import optimize, special

from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# An overdispersion below this can't be told from none.
_NONE = 1e-6
_FARTHEST = 500.0  # logarithm of a mean that no sum of these overflows at


@dataclass(frozen=True, eq=False)
class SafetyFunction:
    """A negative binomial safety performance function.

    Attributes
    ----------
    coefficients : ndarray, shape (1 + covariates,)
        Of the log of the expected count per unit of exposure: level first.
    overdispersion : float
        k: the variance of a count is mean + k · mean²; 0 where counts vary no more than Poisson.
    predicted : ndarray, shape (sites,)
        Expected count at each site.
    log_likelihood : float
    """

    coefficients: Floats
    overdispersion: float
    predicted: Floats
    log_likelihood: float


@dataclass(frozen=True, eq=False)
class EmpiricalBayes:
    """Counts drawn towards what similar roads have.

    Attributes
    ----------
    function : SafetyFunction
    weight : ndarray, shape (sites,)
        Given to the prediction: 1 / (1 + k · predicted).
    expected : ndarray, shape (sites,)
        weight · predicted + (1 - weight) · counted.
    variance : ndarray, shape (sites,)
        (1 - weight) · expected, as if the function were known exactly.
    excess : ndarray, shape (sites,)
        expected - predicted.
    """

    function: SafetyFunction
    weight: Floats
    expected: Floats
    variance: Floats
    excess: Floats


def empirical_bayes(counted: Floats, exposure: Floats, covariates: Floats) -> EmpiricalBayes:
    """Screen sites by Empirical Bayes.

    Parameters
    ----------
    counted : ndarray, shape (sites,)
        What was counted, 0 or more.
    exposure : ndarray, shape (sites,)
        What the count is in proportion to, > 0: km · years, times the chance of being counted,
        so that counts of differently searched roads can be compared.
    covariates : ndarray, shape (sites, k)
        Standardised; k may be 0.

    Returns
    -------
    EmpiricalBayes

    Raises
    ------
    InputError
        If nothing was counted, or a site has no exposure.

    Notes
    -----
    AASHTO (2010), Highway Safety Manual, Part B, network screening, and Part C, appendix A
    (formulas from memory; Hauer 1997, Observational before-after studies in road safety, from
    memory): w = 1 / (1 + k · sum of predicted), expected = w · predicted + (1 - w) · observed.
    It is the simple case of the one model: one source, no neighbours, a gamma part piece by
    piece, and the function's own uncertainty left out.
    """
    return screened(safety_function(counted, exposure, covariates), counted)


def screened(function: SafetyFunction, counted: Floats) -> EmpiricalBayes:
    """Draw counts towards what a safety performance function predicts.

    Parameters
    ----------
    function : SafetyFunction
    counted : ndarray, shape (sites,)

    Returns
    -------
    EmpiricalBayes
        By the formulas of `empirical_bayes`.
    """
    weight = 1.0 / (1.0 + function.overdispersion * function.predicted)
    expected = weight * function.predicted + (1.0 - weight) * counted
    excess = expected - function.predicted
    return EmpiricalBayes(function, weight, expected, (1.0 - weight) * expected, excess)


def safety_function(counted: Floats, exposure: Floats, covariates: Floats) -> SafetyFunction:
    """Fit a negative binomial regression by maximum likelihood.

    Parameters
    ----------
    counted, exposure : ndarray, shape (sites,)
    covariates : ndarray, shape (sites, k)

    Returns
    -------
    SafetyFunction

    Raises
    ------
    InputError
        If nothing was counted, or a site has no exposure.
    """
    y = np.asarray(counted, dtype=np.float64)
    if not (exposure > 0).all():
        problem, mend = "A site has no exposure.", "leave out roads that nobody watched"
        raise InputError([Remark("Empirical Bayes", None, "", problem, mend)])
    if not y.sum() > 0:
        problem = "Nothing was counted, so similar roads can't be compared."
        raise InputError([Remark("Empirical Bayes", None, "", problem, "use the bound instead")])
    design = np.column_stack([np.ones(len(y)), covariates])
    offset = np.log(exposure)
    counts = np.unique(y, return_counts=True)
    start = np.zeros(design.shape[1] + 1)
    start[0], start[-1] = np.log(y.sum() / exposure.sum()), -1.0

    def minus(theta: Floats) -> tuple[float, Floats]:
        value, slope = _log_likelihood(y, counts, design, offset, theta)
        return -value, -slope

    bounds = [(-50.0, 50.0)] * design.shape[1] + [(float(np.log(_NONE)), float(np.log(1e4)))]
    found = optimize.minimize(
        minus,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"maxiter": 500, "ftol": 1e-14, "gtol": 1e-9},
    )
    k = float(np.exp(found.x[-1]))
    predicted = np.exp(offset + design @ found.x[:-1])
    return SafetyFunction(found.x[:-1], k if k > 2 * _NONE else 0.0, predicted, -float(found.fun))


def _log_likelihood(
    y: Floats, counts: tuple[Floats, Ints], design: Floats, offset: Floats, theta: Floats
) -> tuple[float, Floats]:
    """Log likelihood of the form with variance mean + k · mean², and its slope by theta."""
    # A search that steps far out stays with numbers.
    mean = np.exp(np.minimum(offset + design @ theta[:-1], _FARTHEST))
    size = np.exp(-theta[-1])  # 1 / k
    share = size / (size + mean)
    log_share = np.log(share).sum()
    # Counts are few different numbers: their gamma functions are asked for once each.
    each, times = counts
    value = special.gammaln(each + size) - special.gammaln(size) - special.gammaln(each + 1.0)
    whole = times @ value + size * log_share + special.xlogy(y, mean / (size + mean)).sum()
    slope = design.T @ (share * (y - mean))
    by_size = times @ (special.digamma(each + size) - special.digamma(size)) + log_share
    by_size += (1.0 - (y + size) / (size + mean)).sum()
    return float(whole), np.append(slope, -size * by_size)
