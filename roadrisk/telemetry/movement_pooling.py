"""Animals of one species help each other out: common values, drawn with everything else.

Each animal was fitted alone, under the wide prior. Here its candidates are weighed again under
a normal distribution of the log parameters over animals, whose mean and deviation are drawn in
turn with the animals' own values (two-stage hierarchical sampling: Lunn et al. 2013, from
memory). An animal with few fixes then leans on the others, one with many stays as it is.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_prior import MovementPrior

_SETTLE = 60
# How surely `MovementPrior.alike` is known: as from so many animals.
_ALIKE_DF = 6.0
# The common values are learned as from so many animals at most.
_LEARNS_FROM = 4.0


def draw_parameters(
    fits: Sequence[TrackFit],
    fitted_under: MovementPrior,
    prior: MovementPrior,
    draws: int,
    rng: np.random.Generator,
    *,
    pooled: bool = True,
) -> list[Ints]:
    """Draw parameters for all animals together.

    Parameters
    ----------
    fits : sequence of TrackFit
    fitted_under : MovementPrior
        The prior of these fits.
    prior : MovementPrior
        The prior wanted; usually the same. Another one re-weighs the candidates.
    draws : int
    rng : numpy.random.Generator
    pooled : bool
        Without pooling, and with fewer than three animals, each animal stands alone.

    Returns
    -------
    list of ndarray of int64, shape (draws,)
        For every animal the candidate (row of `TrackFit.pars`) of each draw.
    """
    old_mean, old_sd = fitted_under.scales()
    mean, sd = prior.scales()
    logs = [_log(fit.weight) for fit in fits]
    places = [fit.pars[:, :3] for fit in fits]
    old = [_log_normal(p, old_mean, old_sd) for p in places]
    if not pooled or len(fits) < 3:
        return [
            _picks(w + _log_normal(p, mean, sd) - o, draws, rng)
            for w, p, o in zip(logs, places, old, strict=True)
        ]
    base = [w - o for w, o in zip(logs, old, strict=True)]
    # The wide prior is for any animal: the common value's share is what `alike` leaves.
    common_sd = np.sqrt(np.maximum(sd**2 - prior.alike**2, (0.3 * sd) ** 2))
    counts = min(len(fits), _LEARNS_FROM)
    centre, width = mean.copy(), np.full(3, prior.alike)
    out = np.empty((len(fits), draws), dtype=np.int64)
    first = np.concatenate([[0], np.cumsum([len(b) for b in base])])
    at, weight = np.concatenate(places), np.concatenate(base)
    for sweep in range(_SETTLE + draws):
        rows = _picks_of_all(weight, at, first, centre, width, rng.random(len(fits)))
        now = at[first[:-1] + rows]
        if sweep >= _SETTLE:
            out[:, sweep - _SETTLE] = rows
        precision = 1 / common_sd**2 + counts / width**2
        best = (mean / common_sd**2 + counts * now.mean(axis=0) / width**2) / precision
        centre = best + rng.standard_normal(3) / np.sqrt(precision)
        square = counts * ((now - centre) ** 2).mean(axis=0) + _ALIKE_DF * prior.alike**2
        width = np.sqrt(square / rng.chisquare(_ALIKE_DF + counts, 3))
    return list(out)


def _log(weight: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(weight, 1e-300)))


def _log_normal(x: Floats, mean: Floats, sd: Floats) -> Floats:
    z = (x - mean) / sd
    return np.asarray(-0.5 * (z * z).sum(axis=1) - np.log(sd).sum())


def _picks(log_weight: Floats, count: int, rng: np.random.Generator) -> Ints:
    total = np.cumsum(np.exp(log_weight - log_weight.max()))
    found = np.searchsorted(total, rng.random(count) * total[-1], side="right")
    return np.asarray(np.minimum(found, len(total) - 1), dtype=np.int64)


@nb.njit(cache=True, nogil=True)
def _picks_of_all(
    log_weight: Floats, at: Floats, first: Ints, centre: Floats, width: Floats, chance: Floats
) -> Ints:
    """Pick one candidate of every animal, near the common place; rows within each animal's."""
    out = np.zeros(len(first) - 1, np.int64)
    weight = np.empty(np.max(np.diff(first)))
    for k in range(len(out)):
        a, n = first[k], first[k + 1] - first[k]
        most = -np.inf
        for i in range(n):
            square = 0.0
            for c in range(at.shape[1]):
                z = (at[a + i, c] - centre[c]) / width[c]
                square += z * z
            weight[i] = log_weight[a + i] - 0.5 * square
            most = max(most, weight[i])
        total = 0.0
        for i in range(n):
            total += math.exp(weight[i] - most)
            weight[i] = total
        found = np.searchsorted(weight[:n], chance[k] * total, side="right")
        out[k] = min(found, n - 1)
    return out
