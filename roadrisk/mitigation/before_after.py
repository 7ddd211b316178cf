"""Did deaths change more where something was built than where nothing was? Exact for few."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from roadrisk.mitigation.given_margins import conditional

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from roadrisk.mitigation.given_margins import Conditional, Stratum

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FARTHEST = 60.0  # logarithm of a ratio that no interval's end passes


@dataclass(frozen=True)
class Ratio:
    """A ratio of rates with its interval.

    Attributes
    ----------
    ratio : float
        Conditional maximum likelihood; 0, or infinite, where one side counted nothing; NaN if
        nothing tells.
    low, high : float
        0 and infinite where open.
    p : float
        Two-sided, central: twice the smaller tail, at most 1; 1 if nothing tells.
    chance_to_see : float
        Chance that a halving would be found (high < 1), given as many counted in all; 0 if
        nothing tells.
    """

    ratio: float
    low: float
    high: float
    p: float
    chance_to_see: float

    def __post_init__(self) -> None:
        """Hold the order of the ends."""
        if self.low > self.high:
            raise ValueError("the ends of the interval are not in order")


def compared(
    strata: Sequence[Stratum],
    *,
    level: float = 0.95,
    dispersion: float = 1.0,
    dispersion_df: float = np.inf,
    halved: float = 0.5,
) -> Ratio:
    """Return the ratio of the works' change to the controls' change, or of after to before.

    Parameters
    ----------
    strata : sequence of Stratum
        Independent of each other; with a common ratio.
    level : float
        Coverage, two-sided.
    dispersion : float
        Variance of counts of a year over their mean, estimated or given; 1 for none beyond chance.
    dispersion_df : float
        Degrees of freedom it was estimated with; infinite if it is known.
    halved : float
        Ratio for `chance_to_see`.

    Returns
    -------
    Ratio
        The exact interval, widened to that of the scaled deviance where this reaches further.

    Notes
    -----
    Counts are Poisson with mean effort · site · period · ratio (works, after). Given each site's
    total and each stratum's total after, the number at works sites after depends on the ratio
    alone. One works site and one control give Fisher's noncentral hypergeometric distribution with
    odds weighted by effort; no control and one site give the binomial one whose interval is
    Clopper and Pearson's. Both ends hold half of the error (central). Scaled deviance: D / φ held
    against F(1, df), the usual quasi-likelihood test (McCullagh & Nelder 1989, from memory).
    """
    given = conditional(strata)
    if len(given.support) < 2:
        return Ratio(np.nan, 0.0, np.inf, 1.0, 0.0)
    at = int(np.searchsorted(given.support, given.observed))
    best = _most_likely(given, at)
    tail = (1 - level) / 2
    lows, highs = [_end(given, at, tail, below=False)], [_end(given, at, tail, below=True)]
    if dispersion > 1 or np.isfinite(dispersion_df):
        most = dispersion * _f_limit(level, dispersion_df)
        lows.append(_scaled_end(given, at, best, most, below=True))
        highs.append(_scaled_end(given, at, best, most, below=False))
    p = float(p_values(given, dispersion=dispersion, dispersion_df=dispersion_df)[at])
    chance = _chance_to_see(given, 1 - level, np.log(halved), dispersion, dispersion_df)
    low, high = float(np.exp(min(lows))), float(np.exp(max(highs)))
    return Ratio(float(np.exp(best)), low, high, p, chance)


def rate_ratio(
    count: int, effort: float, other: int, other_effort: float, *, level: float = 0.95
) -> tuple[float, float, float]:
    """Return (count / effort) / (other / other_effort) with its exact conditional interval.

    Parameters
    ----------
    count : int
    effort : float
        > 0.
    other : int
    other_effort : float
        > 0.
    level : float

    Returns
    -------
    ratio, low, high : float
        NaN, 0, infinite if nothing was counted.

    Notes
    -----
    Clopper and Pearson's interval of count given count + other, turned into odds.
    """
    whole = count + other
    if whole == 0:
        return np.nan, 0.0, np.inf
    tail, per = (1 - level) / 2, other_effort / effort
    low = stats.beta.ppf(tail, count, other + 1) if count else 0.0
    high = stats.beta.ppf(1 - tail, count + 1, other) if other else 1.0
    odds = [float(p / (1 - p)) * per if p < 1 else np.inf for p in (count / whole, low, high)]
    return odds[0], odds[1], odds[2]


def log_ratio(
    counts: Sequence[float], efforts: Sequence[float] = (1.0, 1.0, 1.0, 1.0), *, level: float = 0.95
) -> tuple[float, float, float]:
    """Return the ratio of ratios with the large-sample interval of its logarithm.

    Parameters
    ----------
    counts, efforts : sequence of four floats
        Works after, works before, controls after, controls before.
    level : float

    Returns
    -------
    ratio, low, high : float
        NaN where a count is 0.

    Notes
    -----
    The variance of the logarithm is the sum of 1 / count.
    """
    x, e = np.asarray(counts, np.float64), np.asarray(efforts, np.float64)
    if (x <= 0).any():
        return np.nan, np.nan, np.nan
    value = float((np.log(x / e) * [1, -1, -1, 1]).sum())
    off = float(stats.norm.ppf((1 + level) / 2) * np.sqrt((1 / x).sum()))
    ends = np.exp([value, value - off, value + off])
    return float(ends[0]), float(ends[1]), float(ends[2])


def p_values(
    given: Conditional, *, dispersion: float = 1.0, dispersion_df: float = np.inf
) -> Floats:
    """Return the two-sided p of no change for every value that could have been seen.

    Parameters
    ----------
    given : Conditional
    dispersion, dispersion_df : float
        As `compared` takes them.

    Returns
    -------
    ndarray, shape (values,)
        The larger of the exact central one and that of the scaled deviance.
    """
    chance = given.chances(0.0)
    up = np.cumsum(chance[::-1])[::-1]
    exact = np.minimum(1.0, 2 * np.minimum(np.cumsum(chance), up))
    if dispersion == 1 and np.isinf(dispersion_df):
        return np.asarray(exact)
    with np.errstate(divide="ignore"):
        here = np.log(chance)
    scaled = np.maximum(2 * (_best_log_chances(given) - here), 0.0) / dispersion
    if np.isinf(dispersion_df):
        return np.asarray(np.maximum(exact, stats.chi2.sf(scaled, 1)))
    return np.asarray(np.maximum(exact, stats.f.sf(scaled, 1, dispersion_df)))


def _f_limit(level: float, df: float) -> float:
    return float(stats.chi2.ppf(level, 1) if np.isinf(df) else stats.f.ppf(level, 1, df))


def _most_likely(given: Conditional, at: int) -> float:
    """Logarithm of the ratio whose expected value is the observed one."""
    if at == 0:
        return -np.inf
    if at == len(given.support) - 1:
        return np.inf
    middle = given.support[at]
    return _root(lambda b: float(given.chances(b) @ given.support) - middle)


def _end(given: Conditional, at: int, tail: float, *, below: bool) -> float:
    """End of the exact interval: where a tail with the observed value holds `tail`."""
    if at == (len(given.support) - 1 if below else 0):
        return np.inf if below else -np.inf
    side = slice(None, at + 1) if below else slice(at, None)
    return _root(lambda b: float(given.chances(b)[side].sum()) - tail)


def _scaled_end(given: Conditional, at: int, best: float, most: float, *, below: bool) -> float:
    """End of the interval of the scaled deviance."""
    if (np.isneginf(best) and below) or (np.isposinf(best) and not below):
        return best
    top = 0.0 if np.isinf(best) else float(np.log(given.chances(best)[at]))

    def over(b: float) -> float:
        terms = given.log_weight + b * given.support
        highest = float(terms.max())
        log_sum = highest + float(np.log(np.exp(terms - highest).sum()))
        return 2 * (top - float(terms[at]) + log_sum) - most

    near = float(np.clip(best, -_FARTHEST, _FARTHEST))
    far = -_FARTHEST if below else _FARTHEST
    if over(far) < 0 or over(near) > 0:
        return -np.inf if below else np.inf
    return float(optimize.brentq(over, min(near, far), max(near, far), xtol=1e-10))


def _root(function: Callable[[float], float]) -> float:
    ends = [function(b) for b in (-_FARTHEST, _FARTHEST)]
    if ends[0] * ends[1] > 0:
        return -np.inf if abs(ends[0]) < abs(ends[1]) else np.inf
    return float(optimize.brentq(function, -_FARTHEST, _FARTHEST, xtol=1e-12))


def _best_log_chances(given: Conditional) -> Floats:
    """Log chance of each value at the ratio that makes it likeliest; 0 at both ends."""
    # The envelope of the lines log_weight + b·x, by Newton's steps on all values at once.
    x, w = given.support, given.log_weight
    inner = x[1:-1]
    b = np.zeros(len(inner))
    for _ in range(60):
        terms = w + b[:, None] * x
        terms -= terms.max(axis=1, keepdims=True)
        p = np.exp(terms)
        p /= p.sum(axis=1, keepdims=True)
        mean = p @ x
        spread = np.maximum(p @ x**2 - mean**2, 1e-6)
        step = np.clip((inner - mean) / spread, -2.0, 2.0)
        b += step
        if np.abs(step).max(initial=0.0) < 1e-9:
            break
    terms = w + b[:, None] * x
    out = np.zeros(len(x))
    out[1:-1] = (w[1:-1] + b * inner) - special.logsumexp(terms, axis=1)
    return out


def _chance_to_see(
    given: Conditional, error: float, log_halved: float, dispersion: float, df: float
) -> float:
    p = p_values(given, dispersion=dispersion, dispersion_df=df)
    fewer = given.support < given.chances(0.0) @ given.support
    return float(given.chances(log_halved)[(p <= error) & fewer].sum())
