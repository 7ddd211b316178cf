"""Small p-values from few draws: a curve fitted to the draws' far tail, or none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats

# Largest draws that a tail is fitted to: at most this share of all, and so many at least.
LARGEST_SHARE = 0.25
LEAST, STEP, MOST = 50, 20, 250
# Simulated samples that the fit is compared with, and the share that must fit worse.
SAMPLES, WORST_SHARE = 200, 0.05


def tail_p(observed: float, draws: Floats) -> float | None:
    """Chance that a draw reaches the observed value, from the tail of the draws.

    Parameters
    ----------
    observed : float
        0 or more.
    draws : ndarray, shape (n,)
        0 or more; many may be 0.

    Returns
    -------
    float or None
        Never below a hundredth of 1 / (n + 1): farther out a fitted tail is guesswork. None
        where the tail can't be told: fewer than 50 draws above 0 in the largest quarter, a curve
        that does not fit, or one that ends before the observed value.

    Notes
    -----
    Generalised Pareto distribution of the excesses over the largest draw left out, fitted by
    probability-weighted moments (Hosking & Wallis 1987, Technometrics 29:339-349, from memory)
    to the 250 largest draws, or as many fewer until it fits (Knijnenburg, Wessels, Reinders &
    Shmulevich 2009, Bioinformatics 25:i161-i168, from memory). Whether it fits: Anderson-Darling
    distance among those of samples of the fitted curve, each fitted anew.
    """
    n = len(draws)
    largest = np.sort(draws)[::-1]
    count = min(MOST, int(LARGEST_SHARE * n))
    while count >= LEAST:
        threshold = float(largest[count])
        excess = largest[:count] - threshold
        if threshold > 0 and excess[-1] > 0:
            shape, scale = _fitted(excess[None, :])
            if _fits(excess, float(shape[0]), float(scale[0])):
                beyond = float(_reached(np.array([observed - threshold]), shape, scale)[0])
                if beyond <= 0.0:
                    return None
                return max(count / n * beyond, 0.01 / (n + 1))
        count -= STEP
    return None


def _fitted(excess: Floats) -> tuple[Floats, Floats]:
    """Fit each row: shape k and scale a of 1 - (1 - k x / a)^(1/k)."""
    x = np.sort(excess, axis=1)
    n = x.shape[1]
    above = (n - np.arange(1, n + 1)) / (n - 1)
    first, second = x.mean(axis=1), (x * above).mean(axis=1)
    room = np.maximum(first - 2.0 * second, 1e-300)
    return first / room - 2.0, 2.0 * first * second / room


def _reached(x: Floats, shape: Floats, scale: Floats) -> Floats:
    """Return the share of the curve beyond x."""
    even = np.abs(shape) < 1e-9
    k = np.where(even, 1.0, shape)
    base = np.maximum(1.0 - k * x / scale, 0.0)
    return np.where(even, np.exp(-x / scale), base ** (1.0 / k))


def _fits(excess: Floats, shape: float, scale: float) -> bool:
    n = len(excess)
    # Of the check only, and always the same ones: the same draws give the same answer.
    u = generator(n, "hotspots.tail").random((SAMPLES, n))
    k = shape if abs(shape) > 1e-9 else 1e-9
    samples = scale / k * (1.0 - u**k)
    own = _distance(excess[None, :], np.array([shape]), np.array([scale]))[0]
    others = _distance(samples, *_fitted(samples))
    return bool(np.isfinite(own) and (others >= own).mean() > WORST_SHARE)


def _distance(x: Floats, shape: Floats, scale: Floats) -> Floats:
    """Anderson-Darling distance of each row from its fitted curve."""
    x = np.sort(x, axis=1)
    n = x.shape[1]
    beyond = _reached(x, shape[:, None], scale[:, None])
    z = np.clip(1.0 - beyond, 1e-12, 1.0 - 1e-12)
    weight = 2.0 * np.arange(1, n + 1) - 1.0
    return np.asarray(-n - (weight * (np.log(z) + np.log(1.0 - z[:, ::-1]))).mean(axis=1))
