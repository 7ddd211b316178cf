"""The region of places that bearings don't rule out, as an ellipse around the estimate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_DIRECTIONS = 72
# The region is followed to this many semi-axes of the linear ellipse (a choice).
FOLLOWED = 6.0
_FIRST, _GROWTH, _HALVINGS = FOLLOWED / 400, 1.15, 30


def moment_ellipse(
    at: Floats, theta: Floats, kappas: Floats, where: Floats, factor: float, linear: Floats
) -> tuple[Floats, bool]:
    """Return the ellipse around the estimate with the likelihood region's second moments.

    Parameters
    ----------
    at : ndarray, shape (n, 2)
        Observers [m].
    theta : ndarray, shape (n,)
        Bearings [rad, counter-clockwise from east].
    kappas : ndarray, shape (n,)
        Their concentrations, times robust weights.
    where : ndarray, shape (2,)
        The estimate [m].
    factor : float
        A place p is in the region if 2 Σ κ [cos(θ - μ(p̂)) - cos(θ - μ(p))] is at most this.
    linear : ndarray, shape (2, 2)
        The linear region: (p - p̂)ᵀ linear⁻¹ (p - p̂) ≤ 1 [m²].

    Returns
    -------
    ellipse : ndarray, shape (2, 2)
        (p - p̂)ᵀ ellipse⁻¹ (p - p̂) ≤ 1 [m²].
    is_open : bool
        Whether the region goes on beyond `FOLLOWED` times the linear region's longer semi-axis;
        it is cut off there.

    Notes
    -----
    Directions change fast near the observers and slowly far off, so the region of places that
    the bearings don't rule out at the 5 % level (likelihood ratio) reaches further away from
    the observers than towards them, and the linear ellipse is too small there. This one has the
    moments of that region, four times the mean of (p - p̂)(p - p̂)ᵀ over it, and equals the
    linear one where directions change evenly. The region is followed along straight lines from
    the estimate to where it first ends.
    """
    turn = np.arange(_DIRECTIONS) * (2 * np.pi / _DIRECTIONS)
    heading = np.column_stack([np.cos(turn), np.sin(turn)])
    semi_major = float(np.sqrt(np.linalg.eigvalsh(linear)[-1]))
    best = float((kappas * np.cos(theta - _directions(at, where[None])[0])).sum())

    def inside(reach: Floats) -> NDArray[np.bool_]:
        seen = _directions(at, where + heading * reach[:, None])
        return np.asarray(2 * (best - np.cos(theta - seen) @ kappas) <= factor)

    last = FOLLOWED * semi_major
    low, high = np.zeros(_DIRECTIONS), np.full(_DIRECTIONS, last)
    step, ended = np.full(_DIRECTIONS, _FIRST * semi_major), np.zeros(_DIRECTIONS, dtype=bool)
    while True:
        beyond = ~inside(step) & ~ended
        high[beyond] = step[beyond]
        ended |= beyond
        low[~ended] = step[~ended]
        if (ended | (step >= last)).all():
            break
        step = np.where(ended, step, np.minimum(step * _GROWTH, last))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        within = inside(middle)
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    # Moments of a star-shaped region by sectors: ∫ r³ dr over ∫ r dr.
    moments = np.einsum("k,ki,kj->ij", low**4 / 4, heading, heading) / (low**2 / 2).sum()
    return np.asarray(4 * moments, dtype=np.float64), bool(not ended.all())


def _directions(at: Floats, places: Floats) -> Floats:
    """Direction to each place from each observer [rad], shape (places, observers)."""
    gap = places[:, None, :] - at[None, :, :]
    return np.asarray(np.arctan2(gap[..., 1], gap[..., 0]))
