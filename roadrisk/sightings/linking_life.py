"""How often one animal is reported, and for how long: the weight of the times of its reports.

After its first report an animal is there for an exponential time of mean t, and is reported at a
rate r meanwhile; t and r differ from animal to animal. n reports over e days then have the density
r^(n-1) exp(-(r + 1/t) e) (1/t) / (r + 1/t), the mean of which over t and r is taken on a grid
whose weights are learned. Animals that are seen often are expected to be seen soon again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.sightings.linking_marks import ALIVE, EITHER, FLOOR, Marks, Rates

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Hours that stand for a day whose time was not given: people report by day.
_HOURS = (7.0, 10.0, 13.0, 16.0, 19.0)
_LEAST = 1e-4


@nb.njit(cache=True, nogil=True, inline="always")
def _add(out: Floats, n: int, days: float, kind: int, busy: float, rates: Rates) -> float:
    """Add the density under every part of the grid; return the sum."""
    total = 0.0
    stays = np.empty(rates.stay.shape[1])
    for b in range(len(stays)):
        stays[b] = np.exp(-days / rates.stay[kind, b]) / rates.stay[kind, b]
    for a in range(rates.seen.shape[1]):
        r = rates.seen[kind, a] * busy
        seen = np.exp((n - 1) * np.log(r) - r * days)
        for b in range(len(stays)):
            value = rates.life[kind, a, b] * seen * stays[b] / (r + 1.0 / rates.stay[kind, b])
            out[a, b] += value
            total += value
    return total


@nb.njit(cache=True, nogil=True, inline="always")
def _parts(m: Marks, members: Ints, n: int, kind: int, rates: Rates, out: Floats) -> float:
    """Fill the density of the times under every part; the mean over hours that aren't known."""
    out[:] = 0.0
    first, last = members[0], members[n - 1]
    total, times = 0.0, 0
    for a in range(len(_HOURS) if n > 1 and m.day_only[first] else 1):
        begin = m.day[first] + _HOURS[a] / 24.0 if m.day_only[first] else m.time[first]
        for b in range(len(_HOURS) if n > 1 and m.day_only[last] else 1):
            end = m.day[last] + _HOURS[b] / 24.0 if m.day_only[last] else m.time[last]
            times += 1
            days = abs(end - begin) if n > 1 else 0.0
            if kind == ALIVE and days > rates.last[ALIVE]:
                continue
            total += _add(out, n, days, kind, m.busy[first], rates)
    out /= times
    return total / times


@nb.njit(cache=True, nogil=True)
def log_life(m: Marks, members: Ints, n: int, kind: int, rates: Rates, room: Floats) -> float:
    """Log density of the times of an animal's reports after the first.

    Parameters
    ----------
    m : Marks
    members : ndarray of int64
        Rows of its reports in order of time; the first `n` count.
    n : int
    kind : int
        ALIVE or DEAD.
    rates : Rates
    room : ndarray, of the shape of `rates.life[kind]`
        Is written over.

    Returns
    -------
    float
    """
    return max(np.log(_parts(m, members, n, kind, rates, room) + 1e-300), FLOOR * (n - 1))


@nb.njit(cache=True, nogil=True)
def add_life(
    m: Marks,
    intensity: Floats,
    members: Ints,
    n: int,
    chance: float,
    rates: Rates,
    lives: Floats,
) -> None:
    """Add what an animal's reports say of how often and how long, for learning the grid's weights.

    Parameters
    ----------
    m : Marks
    intensity : ndarray, shape (reports, 2, 2)
    members : ndarray of int64
    n : int
    chance : float
        That these reports are an animal's.
    rates : Rates
    lives : ndarray, of the shape of `rates.life`
        Is added to.
    """
    if chance < _LEAST or lives.size == 0:
        return
    state = EITHER
    for k in range(n):
        if m.state[members[k]] != EITHER:
            state = m.state[members[k]]
    head = intensity[members[0], :, 0] * intensity[members[0], :, 1]
    room = np.empty(rates.life.shape[1:])
    for kind in range(2):
        share = head[kind] / head.sum()
        if state != EITHER:
            share = 1.0 if state == kind else 0.0
        if share > 0.0:
            total = _parts(m, members, n, kind, rates, room)
            lives[kind] += chance * share * room / max(total, 1e-300)
