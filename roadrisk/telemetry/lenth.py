"""Lenth's equations for the place that bearings point to, plain and robust.

Lenth, R. V. 1981, On finding the source of a signal, Technometrics 23:149-154; the robust
weights are from memory.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Floats = NDArray[np.float64]
Method = Literal["mle", "huber", "andrews"]

# Lenth's tuning constant for both robust versions (from memory).
TUNING = 1.5
_SETTLED_M = 1e-7
_MOST_STEPS = 300
# Solutions this many times further off than the observers lie apart are none.
_FARTHEST = 1000.0


def solve(
    at: Floats, theta: Floats, known: Floats | None, method: Method
) -> tuple[Floats, Floats] | None:
    """Solve for the place.

    Parameters
    ----------
    at : ndarray, shape (n, 2)
        Observers [m], near the origin.
    theta : ndarray, shape (n,)
        Bearings [rad, counter-clockwise from east].
    known : ndarray, shape (n,), or None
        Their concentrations, if known; else one for all is estimated.
    method : {"mle", "huber", "andrews"}

    Returns
    -------
    tuple of (ndarray, shape (2,)) and (ndarray, shape (n,)), or None
        Place [m] and robust weights; None if the steps don't settle.
    """
    relative = np.ones(len(at)) if known is None else known / known.mean()
    weights = np.ones(len(at))
    where = _settle(at, theta, relative, None)
    for stage in {"mle": (), "huber": ("huber",), "andrews": ("huber", "andrews")}[method]:
        if stage == "andrews":
            where, weights = _start(at, theta, known, where)
        for _ in range(200):
            if where is None:
                break
            across, _ = seen_from(at, where)
            off = turned(theta - across)
            kappa = known
            if kappa is None:
                mean_cosine = (weights * np.cos(off)).sum() / weights.sum()
                # Bearings that meet in one point: nothing stands out.
                kappa = 1.0 / np.maximum(inverse_kappa(mean_cosine), 1e-12)
            weights = _robust_weights(off, kappa, stage)
            if np.count_nonzero(weights) < 2:
                return None
            before, where = where, _settle(at, theta, relative * weights, where)
            if where is not None and np.hypot(*(where - before)) < 1e-5:
                break
    return None if where is None else (where, weights)


def _start(
    at: Floats, theta: Floats, known: Floats | None, where: Floats | None
) -> tuple[Floats | None, Floats]:
    """Return where Andrews' version starts: `where`, or a crossing of two bearings.

    Its weights lock on to whatever is near, and one echo can draw Huber's solution far off. The
    place that most bearings agree with is taken: by Andrews' own loss if their concentrations
    are known, else by the better half of them (four or more bearings).
    """
    ones = np.ones(len(at))
    places = _crossings(at, theta)
    if where is not None:
        places = np.vstack([where, places])
    if not len(places) or (known is None and len(at) < 4):
        return where, ones
    seen = np.arctan2(*(places[:, None, :] - at[None, :, :]).transpose(2, 0, 1)[::-1])
    short = 1 - np.cos(theta - seen)
    if known is None:
        half = len(at) // 2 + 1
        best = int(np.argmin(np.sort(short, axis=1)[:, :half].sum(axis=1)))
        scale = np.sort(short[best])[half - 1]
        return places[best], np.where(short[best] <= 9 * scale + 1e-12, 1.0, 0.0)
    t = np.minimum(np.sqrt(2 * known * short), TUNING * np.pi)
    best = int(np.argmin((1 - np.cos(t / TUNING)).sum(axis=1)))
    return places[best], ones


def _crossings(at: Floats, theta: Floats) -> Floats:
    """Places where two bearings cross ahead of both observers, shape (some, 2)."""
    first, second = np.triu_indices(len(at), 1)
    heading = np.column_stack([np.cos(theta), np.sin(theta)])
    u, v, gap = heading[first], heading[second], at[second] - at[first]
    across = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    slanted = np.abs(across) > 0.05
    across = np.where(slanted, across, 1.0)
    along_u = (gap[:, 0] * v[:, 1] - gap[:, 1] * v[:, 0]) / across
    along_v = (gap[:, 0] * u[:, 1] - gap[:, 1] * u[:, 0]) / across
    ahead = slanted & (along_u > 1) & (along_v > 1)
    return np.asarray((at[first] + u * along_u[:, None])[ahead])


def kappa_of_sd(sd_deg: Floats | float) -> Floats:
    """Return the concentration of a von Mises distribution with a standard deviation.

    Parameters
    ----------
    sd_deg : array_like
        [degrees], above 0; the mean cosine is exp(-s²/2) (Lenth 1981).

    Returns
    -------
    ndarray
    """
    mean_cosine = np.exp(-0.5 * np.radians(np.asarray(sd_deg, dtype=np.float64)) ** 2)
    return np.asarray(1.0 / inverse_kappa(mean_cosine))


def inverse_kappa(mean_cosine: Floats | float) -> Floats:
    """Return 1/κ from the mean cosine C, Lenth's approximation; 0 where C is 1 but for rounding."""
    c = np.asarray(mean_cosine, dtype=np.float64)
    short = 1.0 - c
    found = 2 * short + short**2 * (0.48794 - 0.82905 * c - 1.3915 * c**2) / c
    return np.where(short > 1e-14, found, 0.0)


def _robust_weights(off: Floats, kappa: Floats | float, version: str) -> Floats:
    """W = ψ(t)/t with t = sqrt(2κ(1 - cos r)) (Lenth 1981, from memory)."""
    t = np.sqrt(2 * kappa * (1 - np.cos(off)))
    if version == "huber":
        return np.asarray(TUNING / np.maximum(t, TUNING))
    inside = t < TUNING * np.pi
    return np.where(inside, np.sinc(np.where(inside, t, 0.0) / (TUNING * np.pi)), 0.0)


def _settle(at: Floats, theta: Floats, weights: Floats, start: Floats | None) -> Floats | None:
    """Repeat Lenth's linear system until the place stands still; None if there is none.

    Without a start the starred terms are the sines and cosines of the bearings themselves.
    Where the steps jump to and fro, the likelihood is climbed instead.
    """
    sine, cosine = np.sin(theta), np.cos(theta)
    z = sine * at[:, 0] - cosine * at[:, 1]
    limit = _FARTHEST * max(np.ptp(at, axis=0).max(), 1.0)
    where, first = start, start
    for _ in range(_MOST_STEPS):
        if where is None:
            s_star, c_star = sine, cosine
        else:
            gap = where - at
            cube = np.maximum(np.hypot(gap[:, 0], gap[:, 1]), 1e-9) ** 3
            s_star, c_star = gap[:, 1] / cube, gap[:, 0] / cube
        ws, wc = weights * s_star, weights * c_star
        matrix = np.array([[ws @ sine, -(ws @ cosine)], [-(wc @ sine), wc @ cosine]])
        determinant = matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0]
        if abs(determinant) <= 1e-14 * np.abs(matrix).max() ** 2:
            return None
        fresh = np.linalg.solve(matrix, np.array([ws @ z, -(wc @ z)]))
        if not np.isfinite(fresh).all() or np.abs(fresh).max() > limit:
            break
        if first is None:
            first = fresh
        if np.hypot(*(fresh - at).T).min() < 1e-3:
            # A bearing has no direction where its observer stands: the caller refuses this.
            return fresh
        if where is not None and np.hypot(*(fresh - where)) < _SETTLED_M:
            return fresh
        where = fresh
    return None if first is None else _climb(at, theta, weights, first, limit)


def _climb(
    at: Floats, theta: Floats, weights: Floats, start: Floats, limit: float
) -> Floats | None:
    """Maximise Σ w cos(θ - μ), which is to say minimise Σ w [2 sin((θ - μ)/2)]²."""
    scale = np.sqrt(weights)

    def apart(where: Floats) -> Floats:
        return np.asarray(2 * scale * np.sin((theta - seen_from(at, where)[0]) / 2))

    found = least_squares(apart, start, method="lm", x_scale=100.0, xtol=1e-13, ftol=1e-13)
    near = bool(np.abs(found.x).max() <= limit)
    return np.asarray(found.x, dtype=np.float64) if found.success and near else None


def seen_from(at: Floats, where: Floats) -> tuple[Floats, Floats]:
    """Return direction [rad, from east] and distance [m] of a place from each observer."""
    gap = where - at
    return np.arctan2(gap[:, 1], gap[:, 0]), np.hypot(gap[:, 0], gap[:, 1])


def turned(angle: Floats) -> Floats:
    """Return angles brought into -π to π."""
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)
