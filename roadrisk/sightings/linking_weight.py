"""How well reports go together as one animal at a time: the weight of a group of reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.sightings.linking_life import log_life
from roadrisk.sightings.linking_marks import ALREADY_MARKED, EITHER, FLOOR, MARKED, Marks, Rates

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Added for each repeat [log odds]: without it invented worlds (`tests.truth.linkage`, seeds that
# are only for tuning) had 3 % too many animals. A project choice.
_LEANING = 0.4
SOON_DAYS = (0.25, 1.5)
_SAME_MARK = 9.2  # log 10,000: the same tag or photo within the time that the state allows
_HEAD_ALREADY_MARKED = -3.0  # an earlier report of a marked carcass is rarely missing
_AFTER_MARK, _AFTER_NO_MARK = 1.5, -1.0


@nb.njit(cache=True, nogil=True)
def near_density(d2: float, variance: float, part: int, rates: Rates) -> float:
    """Density of a distance along the road, under one multiple of the stated error.

    Parameters
    ----------
    d2 : float
        Distance squared [m²].
    variance : float
        By the stated uncertainties [m²].
    part : int
        Which of `rates.near_factor`.
    rates : Rates

    Returns
    -------
    float
        [1/m].
    """
    v = variance * rates.near_factor[part] ** 2 + rates.floor_variance
    return np.exp(-0.5 * d2 / v) / np.sqrt(2.0 * np.pi * v)


@nb.njit(cache=True, nogil=True, inline="always")
def _places(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log density of all places but the first, each given those before it."""
    i = members[0]
    x, y, v = m.x[i], m.y[i], m.variance[i]
    total = 0.0
    for k in range(1, n):
        j = members[k]
        d2 = (m.x[j] - x) ** 2 + (m.y[j] - y) ** 2
        vague = 1 if m.vague[j] or (k == 1 and m.vague[i]) else 0
        density = 0.0
        for part in range(len(rates.near_factor)):
            density += rates.near_weight[vague, part] * near_density(
                d2, v + m.variance[j], part, rates
            )
        total += max(np.log(density + 1e-300), FLOOR)
        gain = v / (v + m.variance[j])
        x, y, v = x + gain * (m.x[j] - x), y + gain * (m.y[j] - y), v * (1.0 - gain)
    return total


@nb.njit(cache=True, nogil=True)
def how_soon(lag: float) -> int:
    """Which of `Rates.repeat` is for a time between reports.

    Parameters
    ----------
    lag : float
        [days].

    Returns
    -------
    int
    """
    if lag < SOON_DAYS[0]:
        return 0
    return 1 if lag < SOON_DAYS[1] else 2


@nb.njit(cache=True, nogil=True, inline="always")
def _observers(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log ratio of who reports again, against the observers' shares of reports nearby."""
    total = 0.0
    # When each observer reports next: only the last report before counts.
    again = np.full(n, n)
    for a in range(n - 2 if n > 2 else 0):
        b = a + 1
        while b < n and m.observer[members[b]] != m.observer[members[a]]:
            b += 1
        again[a] = b
    for k in range(1, n):
        j = members[k]
        if m.observer[j] < 0:
            continue
        shares, weighted, mine = 0.0, 0.0, 1.0
        for a in range(k - 1, -1, -1):
            i = members[a]
            if m.observer[i] < 0 or again[a] < k:
                continue
            factor = rates.repeat[how_soon(m.time[j] - m.time[i])] * m.habit[i]
            shares += m.share[i]
            weighted += m.share[i] * factor
            if m.observer[i] == m.observer[j]:
                mine = factor
        total += np.log(mine) - np.log(max(1.0 - shares, 0.01) + weighted)
    return total


@nb.njit(cache=True, nogil=True, inline="always")
def _kinds(m: Marks, members: Ints, n: int, which: int, rates: Rates) -> float:
    """Log ratio of the words for sex, stage or species, if all are of one animal."""
    known = 0
    for k in range(n):
        known += m.kinds[members[k], which] >= 0
    if known < 2:
        return 0.0
    share, error = rates.kind_share[which], rates.kind_error[which]
    total = 0.0
    for truth in range(len(share)):
        if share[truth] <= 0.0:
            continue
        part = share[truth]
        for k in range(n):
            said = m.kinds[members[k], which]
            if said >= 0:
                other = error / max(1.0 - share[truth], 1e-9)
                part *= (1.0 - error) / share[said] if said == truth else other
        total += part
    return np.log(total + 1e-300)


@nb.njit(cache=True, nogil=True, inline="always")
def _sizes(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log ratio of the lengths, if all are of one animal: normal on the log scale."""
    between, within = rates.size_sd**2, rates.size_error**2
    total, mean, var = 0.0, rates.size_mean, between
    for k in range(n):
        z = m.size[members[k]]
        if np.isnan(z):
            continue
        own, alone = var + within, between + within
        total += 0.5 * (
            np.log(alone / own) + (z - rates.size_mean) ** 2 / alone - (z - mean) ** 2 / own
        )
        gain = var / own
        mean, var = mean + gain * (z - mean), var * (1.0 - gain)
    return total


@nb.njit(cache=True, nogil=True, inline="always")
def _marked(m: Marks, members: Ints, at: Ints, n: int, like: Ints, rates: Rates) -> float:
    """Log ratio of tags, photos, remarks and what was done with a carcass."""
    total = 0.0
    marked = False
    for k in range(n):
        j = members[k]
        if m.action[j] == ALREADY_MARKED:
            if k == 0:
                total += _HEAD_ALREADY_MARKED
            else:
                total += _AFTER_MARK if marked else _AFTER_NO_MARK
        marked = marked or m.action[j] == MARKED
        same, ratio, count = False, 0.0, 0
        for a in range(k):
            i = members[a]
            same = same or (m.organism[i] >= 0 and m.organism[i] == m.organism[j])
            same = same or (m.photo[i] >= 0 and m.photo[i] == m.photo[j])
            likeness = like[at[a], at[k]]
            if likeness >= 0:
                ratio += rates.remark_ratio[likeness]
                count += 1
        if same:
            total += _SAME_MARK
        if count > 0:
            total += np.log(ratio / count)
    return total


@nb.njit(cache=True, nogil=True)
def log_weights(
    m: Marks, intensity: Floats, members: Ints, at: Ints, n: int, like: Ints, rates: Rates
) -> tuple[float, float]:
    """Log weight of some reports as one animal alive, and as one carcass.

    Parameters
    ----------
    m : Marks
    intensity : ndarray, shape (reports, 2, 2)
        Expected first reports of an animal, alive and dead, per metre of road, and their density
        in time [1/day]; the place is that of the most exact report, the time that of the first.
    members : ndarray of int64
        Rows of the reports in order of time; the first `n` entries count.
    at : ndarray of int64
        Where each of them stands in `like`.
    n : int
    like : ndarray of int64
        Bin of the likeness of two remarks; -1 for unknown.
    rates : Rates

    Returns
    -------
    alive, dead : float
        Of a group and of its reports one by one, the differences are log likelihood ratios.
    """
    shared = _places(m, members, n, rates) + _observers(m, members, n, rates)
    for which in range(3):
        shared += _kinds(m, members, n, which, rates)
    shared += _sizes(m, members, n, rates) + _marked(m, members, at, n, like, rates)
    out, room = np.empty(2), np.empty(rates.life.shape[1:])
    # Joined by hand, an animal may be alive first and dead later: then the last state counts.
    last, best = EITHER, members[0]
    for k in range(n):
        if m.variance[members[k]] < m.variance[best]:
            best = members[k]
        if m.state[members[k]] != EITHER:
            last = m.state[members[k]]
    for kind in range(2):
        if last not in (EITHER, kind):
            out[kind] = -np.inf
            continue
        total = shared + np.log(intensity[best, kind, 0] * intensity[members[0], kind, 1])
        total += _LEANING * (n - 1) + log_life(m, members, n, kind, rates, room)
        out[kind] = total
    return out[0], out[1]


@nb.njit(cache=True, nogil=True)
def log_sum(a: float, b: float) -> float:
    """Logarithm of the sum of two numbers given by their logarithms.

    Parameters
    ----------
    a, b : float

    Returns
    -------
    float
    """
    top = max(a, b)
    if top == -np.inf:
        return top
    return top + np.log(np.exp(a - top) + np.exp(b - top))
