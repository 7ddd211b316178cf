"""How long carcasses stay: four curves fitted to trials, and draws that carry which one it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import optimize

from roadrisk.base.seeds import generator
from roadrisk.mortality.persistence_curves import FAMILIES, Curves, log_remaining

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# A typical stay outside these is not thought of, where trials can't bound it: 30 min and 10 years.
SHORTEST_DAYS, LONGEST_DAYS = 0.02, 3650.0
# Prior of log sigma: normal around 0 (for sigma 1 a Weibull is exponential) with this standard
# deviation, so that 90 % lie between 0.2 and 5; project choice.
_LOG_SIGMA_SD = 1.0
_COARSE, _FINE, _DEEP = 60, 90, 12.0


@dataclass(frozen=True, eq=False)
class Persistence:
    """How long carcasses stay.

    Attributes
    ----------
    table : pandas.DataFrame
        A row a family: family, location, sigma (`persistence_curves`), log_likelihood, aicc,
        weight (of evidence, by AICc), median_days, gone_after_1_day. Empty where borrowed.
    curves : Curves
        Draws: the family by its weight, its values from their posterior.
    carcasses : int
        Number of trials.
    borrowed : bool
    notes : tuple of str
    """

    table: pd.DataFrame
    curves: Curves
    carcasses: int
    borrowed: bool
    notes: tuple[str, ...]


def fit_persistence(
    last_seen_days: Floats, first_gone_days: Floats, *, seed: int, draws: int = 400
) -> Persistence:
    """Fit persistence to carcasses that were looked after now and then.

    Parameters
    ----------
    last_seen_days : ndarray, shape (carcasses,)
        Days after it was laid out on which each was last seen; 0 or more.
    first_gone_days : ndarray, shape (carcasses,)
        Days on which it was first seen gone, later than that; infinite where it was there at the
        last check.
    seed : int
    draws : int

    Returns
    -------
    Persistence

    Raises
    ------
    ValueError
        Without any trial.

    Notes
    -----
    Log-likelihood of interval-censored times: sum of ln[S(last seen) − S(first gone)]; AICc with
    the number of carcasses as the sample. Draws: a family by its weight exp(−AICc/2), then its
    location and ln sigma from likelihood times prior on a grid: location flat between 30 minutes
    and 10 years, ln sigma standard normal (weak; both project choices), so that few trials give a
    wide spread instead of a false sharpness.
    """
    low, high, times = _distinct(last_seen_days, first_gone_days)
    if not len(low):
        raise ValueError("no trial of persistence")
    count = int(times.sum())
    rows = [_fitted(family, low, high, times, count) for family in range(len(FAMILIES))]
    table = pd.DataFrame(rows)
    table["weight"] = _weights(table["aicc"].to_numpy())
    rng = generator(seed, "mortality.persistence")
    family = rng.choice(len(FAMILIES), size=draws, p=table["weight"].to_numpy())
    location, sigma = np.empty(draws), np.empty(draws)
    for k in np.unique(family):
        mine = family == k
        found = _posterior(int(k), low, high, times, int(mine.sum()), rng)
        location[mine], sigma[mine] = found
    curves = Curves(family.astype(np.int64), location, sigma)
    return Persistence(table, curves, count, borrowed=False, notes=_words(table, low, high, count))


def borrowed_persistence(
    median_days: float, low: float, high: float, source: str, *, seed: int, draws: int = 400
) -> Persistence:
    """Return persistence from values that the study borrows.

    Parameters
    ----------
    median_days, low, high : float
        After so many days half of the carcasses are gone, with the 90 % range of that.
    source : str
        Where the values are from.
    seed : int
    draws : int

    Returns
    -------
    Persistence
        The shape is unknown too: any family, sigma log-normal around 1.2 with 90 % between 0.6
        and 2.4 (project choice, so that Winton's spike and tail, 1.77, lies well inside).
    """
    rng = generator(seed, "mortality.persistence")
    spread = max(np.log(high / median_days), np.log(median_days / low)) / 1.6448536269514722
    median = np.log(median_days) + spread * rng.standard_normal(draws)
    family = rng.integers(1, len(FAMILIES), size=draws)
    sigma = np.exp(np.log(1.2) + 0.42 * rng.standard_normal(draws))
    location = np.where(family == 1, median - sigma * np.log(np.log(2.0)), median)
    words = (
        f"How long carcasses stay is borrowed, not from trials of this study: half are gone after "
        f"{median_days:g} days ({low:g} to {high:g}), from: {source}.",
    )
    curves = Curves(family.astype(np.int64), location, sigma)
    return Persistence(pd.DataFrame(), curves, 0, borrowed=True, notes=words)


def _distinct(last: Floats, gone: Floats) -> tuple[Floats, Floats, Floats]:
    both = np.column_stack([last, np.where(np.isnan(gone), np.inf, gone)])
    pairs, times = np.unique(both, axis=0, return_counts=True)
    return pairs[:, 0], pairs[:, 1], times.astype(np.float64)


def _log_likelihood(
    family: int, location: Any, sigma: Any, low: Floats, high: Floats, times: Floats
) -> Floats:
    """Of each pair of values; location and sigma broadcast against a last axis of intervals."""
    there = log_remaining(family, location[..., None], sigma[..., None], low)
    gone = log_remaining(family, location[..., None], sigma[..., None], high)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = there + np.log(-np.expm1(gone - there))
    return np.asarray((np.where(np.isfinite(share), share, -1e5) * times).sum(axis=-1))


def _fitted(family: int, low: Floats, high: Floats, times: Floats, count: int) -> dict[str, object]:
    one = family == 0
    middle = np.log(np.clip(np.where(np.isfinite(high), (low + high) / 2, low * 1.5), 0.05, None))

    def loss(x: Floats) -> float:
        at = np.clip(x[0], -30, 30)
        sigma = np.ones(1) if one else np.exp(np.clip(x[1:2], -6, 6))
        return -float(_log_likelihood(family, np.array([at]), sigma, low, high, times)[0])

    best = None
    for shift in (0.0, -1.0, 1.0):
        start = np.array([np.average(middle, weights=times) + shift] + ([] if one else [shift / 2]))
        found = optimize.minimize(
            loss, start, method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000, "maxfev": 4000},
        )  # fmt: skip
        if best is None or found.fun < best.fun:
            best = found
    assert best is not None  # noqa: S101  the loop runs
    location = float(np.clip(best.x[0], -30, 30))
    sigma = 1.0 if one else float(np.exp(np.clip(best.x[1], -6, 6)))
    k = 1 if one else 2
    correction = 2 * k * (k + 1) / (count - k - 1) if count > k + 1 else np.inf
    curve = Curves(np.array([family]), np.array([location]), np.array([sigma]))
    return {
        "family": FAMILIES[family],
        "location": location,
        "sigma": sigma,
        "log_likelihood": -float(best.fun),
        "aicc": 2 * k + 2 * float(best.fun) + correction,
        "median_days": float(curve.quantile(0.5)[0]),
        "gone_after_1_day": 1 - float(curve.remaining(np.array([1.0]))[0, 0]),
    }


def _weights(aicc: Floats) -> Floats:
    if not np.isfinite(aicc).any():
        # Two carcasses or fewer choose nothing: all shapes stay open.
        return np.full(len(aicc), 1 / len(aicc))
    weight = np.exp(-(aicc - aicc[np.isfinite(aicc)].min()) / 2)
    return np.asarray(weight / weight.sum())


def _posterior(
    family: int, low: Floats, high: Floats, times: Floats, draws: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw location and sigma from likelihood times prior, on a grid that is laid twice."""
    box = [(np.log(SHORTEST_DAYS), np.log(LONGEST_DAYS)), (-3.0, 3.0)]
    sizes = (_COARSE * 4, 1) if family == 0 else (_COARSE * 2, _COARSE)
    for last in (False, True):
        if last:
            sizes = (_FINE * 4, 1) if family == 0 else (_FINE, _FINE)
        axes, steps = [], []
        for (a, b), n in zip(box, sizes, strict=True):
            step = (b - a) / n
            axes.append(a + step * (np.arange(n) + 0.5))
            steps.append(step)
        at, log_sigma = np.meshgrid(*axes, indexing="ij")
        if family == 0:
            log_sigma = np.zeros_like(at)
        log_p = _log_likelihood(family, at, np.exp(log_sigma), low, high, times)
        log_p -= 0.5 * (log_sigma / _LOG_SIGMA_SD) ** 2
        near = log_p > log_p.max() - _DEEP
        if not last:
            box = [
                (float(v[near].min() - s), float(v[near].max() + s))
                for v, s in ((at, steps[0]), (log_sigma, steps[1]))
            ]
            box[0] = (max(box[0][0], np.log(SHORTEST_DAYS)), min(box[0][1], np.log(LONGEST_DAYS)))
    chance = np.exp(log_p - log_p.max()).ravel()
    cell = rng.choice(chance.size, size=draws, p=chance / chance.sum())
    jitter = rng.uniform(-0.5, 0.5, size=(2, draws))
    location = at.ravel()[cell] + steps[0] * jitter[0]
    if family == 0:
        return location, np.ones(draws)
    return location, np.exp(log_sigma.ravel()[cell] + steps[1] * jitter[1])


def _words(table: pd.DataFrame, low: Floats, high: Floats, count: int) -> tuple[str, ...]:
    best = table.iloc[int(table["weight"].to_numpy().argmax())]
    out = [
        f"{count} carcasses were laid out to see how long they stay: half are gone after "
        f"{best['median_days']:.1f} days by the curve that fits best ({best['family']}, weight "
        f"{best['weight']:.2f})."
    ]
    if count < 10:
        out.append("Fewer than 10 carcasses were laid out: how long they stay is poorly known.")
    if np.isinf(high).all():
        out.append(
            "All were still there at the last check: only the least time that they stay is known."
        )
    if (low == 0).all():
        out.append(
            "All were gone at the first check: only the longest time that they stay is known. "
            "Check sooner after laying them out."
        )
    return tuple(out)
