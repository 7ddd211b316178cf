"""Divisions of many reports into animals, drawn by their chances (Gibbs sampling)."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb
import numpy as np

from roadrisk.sightings.linking_life import add_life
from roadrisk.sightings.linking_weight import log_sum, log_weights

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_marks import Bools, Marks, Rates

_BURN_IN = 20
_HELD = 1 << 13  # weights of groups that are kept: the same groups come up again and again


@nb.njit(cache=True, nogil=True)
def draw_divisions(
    m: Marks, intensity: Floats, rates: Rates, rows: Ints, unit: Ints, units: int, like: Ints,
    bad: Bools, near: Bools, random: Floats, sweeps: int, lives: Floats,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Draw divisions of reports into animals.

    Parameters
    ----------
    m : Marks
    intensity : ndarray, shape (reports, 2, 2)
    rates : Rates
    rows : ndarray of int64, shape (n,)
        The reports, in order of time.
    unit : ndarray of int64, shape (n,)
        Reports of one unit (joined by hand) stay together.
    units : int
    like : ndarray of int64, shape (n, n)
        Bins of the likeness of remarks.
    bad, near : ndarray of bool, shape (n, n)
        Pairs that can't be of one animal; pairs through which a unit may join a group.
    random : ndarray
        Uniform numbers, used again from the start when they run out.
    sweeps : int
        Divisions that are kept, after as many that are not, but 20 at most.
    lives : ndarray
        As in `linking_partitions.Posterior`; is added to. If empty, nothing of it and of
        `following` is asked for.

    Returns
    -------
    together, following : ndarray, shape (n, n)
        Chances that two reports are of one animal, and that one is the next after the other.
    first : ndarray, shape (n,)
        Chance to be an animal's first report.

    Notes
    -----
    In turn each unit leaves its group and joins one or stands alone, with chances by their
    weights. Chances of pairs are the means of these chances, which vary less than the draws.
    """
    n = len(rows)
    together, following, first = np.zeros((n, n)), np.zeros((n, n)), np.zeros(n)
    head, apart, friends, friend = _prepared(unit, units, bad, near)
    p = Parcel(m, intensity, rates, rows, unit, units, like, head)
    names = (random[:units] * 2.0**31).astype(np.int64) << 31
    names |= (random[units : 2 * units] * 2.0**31).astype(np.int64)
    held, value = np.full(_HELD, -1), np.empty(_HELD)
    group, lists, sizes = (
        np.arange(units),
        np.empty((units, units), np.int64),
        np.ones(units, np.int64),
    )
    weight = np.empty(units)
    for u in range(units):
        lists[u, 0] = u
        weight[u] = _weight(p, lists[u], 1, -1, names, held, value)
    alone = weight.copy()
    options, log, whole = np.empty(units, np.int64), np.empty(units), np.empty(units)
    cursor = 0
    burn_in = min(_BURN_IN, sweeps)
    for sweep in range(sweeps + burn_in):
        kept = sweep >= burn_in
        for u in range(units):
            old = group[u]
            _remove(lists[old], sizes, old, u)
            if sizes[old]:
                weight[old] = _weight(p, lists[old], sizes[old], -1, names, held, value)
            group[u] = -1
            options[0], log[0], whole[0] = _free(sizes, old), alone[u], alone[u]
            near_u = friend[u, : friends[u]]
            count = _join(p, u, near_u, apart, group, lists, sizes, weight, names, held,
                          value, options, log, whole)  # fmt: skip
            total = np.exp(log[:count] - log[:count].max())
            total /= total.sum()
            if kept:
                _keep(p, u, lists, sizes, options, total, together, first)
            pick, left = 0, random[cursor]
            cursor = (cursor + 1) % len(random)
            while pick + 1 < count and left >= total[pick]:
                left -= total[pick]
                pick += 1
            g = options[pick]
            group[u], weight[g] = g, whole[pick]
            lists[g, sizes[g]] = u
            sizes[g] += 1
        if kept and lives.size:
            _keep_order(p, lists, sizes, following, lives, 1.0 / sweeps)
    # Both units of a pair have been asked, each in every sweep.
    together /= 2.0 * sweeps
    for k in range(n):
        for o in range(k + 1, n):
            if unit[k] == unit[o]:
                together[k, o] = 1.0
    return together, following / sweeps, first / sweeps


@nb.njit(cache=True, nogil=True, inline="always")
def _join(
    p: Parcel, u: int, friends: Ints, apart: Bools, group: Ints, lists: Ints, sizes: Ints,
    weight: Floats, names: Ints, held: Ints, value: Floats, options: Ints, log: Floats,
    whole: Floats,
) -> int:  # fmt: skip
    """List the groups that a unit may join after the first option; return how many there are."""
    count = 1
    for f in friends:
        g, fits = group[f], True
        for c in range(1, count):
            fits = fits and options[c] != g
        for q in range(sizes[g]):
            fits = fits and not apart[u, lists[g, q]]
        if fits:
            options[count] = g
            whole[count] = _weight(p, lists[g], sizes[g], u, names, held, value)
            log[count] = whole[count] - weight[g]
            count += 1
    return count


class Parcel(NamedTuple):
    """What doesn't change while divisions are drawn."""

    m: Marks
    intensity: Floats
    rates: Rates
    rows: Ints
    unit: Ints
    units: int
    like: Ints
    head: Ints


@nb.njit(cache=True, nogil=True)
def _prepared(unit: Ints, units: int, bad: Bools, near: Bools) -> tuple[Ints, Bools, Ints, Ints]:
    """First report of each unit, units that exclude each other, and lists of those near."""
    n = len(unit)
    head, apart = np.zeros(units, np.int64), np.zeros((units, units), np.bool_)
    close = np.zeros((units, units), np.bool_)
    for k in range(n - 1, -1, -1):
        head[unit[k]] = k
        for o in range(n):
            apart[unit[k], unit[o]] |= bad[min(k, o), max(k, o)]
            close[unit[k], unit[o]] |= near[k, o]
    friends, friend = np.zeros(units, np.int64), np.empty((units, units), np.int64)
    for u in range(units):
        for o in range(units):
            if o != u and close[u, o]:
                friend[u, friends[u]] = o
                friends[u] += 1
    return head, apart, friends, friend


@nb.njit(cache=True, nogil=True, inline="always")
def _weight(
    p: Parcel, group: Ints, size: int, extra: int, names: Ints, held: Ints, value: Floats
) -> float:
    """Log weight of a group, with one unit more unless `extra` is negative.

    A group's name is the exclusive or of its units' 62 random bits.
    """
    name = names[extra] if extra >= 0 else 0
    for q in range(size):
        name ^= names[group[q]]
    slot = name & (len(held) - 1)
    if held[slot] != name:
        held[slot], value[slot] = name, _computed(p, group, size, extra)
    return value[slot]


@nb.njit(cache=True, nogil=True)
def _computed(p: Parcel, group: Ints, size: int, extra: int) -> float:
    at = _reports(p, group, size, extra)
    return log_sum(*log_weights(p.m, p.intensity, p.rows[at], at, len(at), p.like, p.rates))


@nb.njit(cache=True, nogil=True)
def _reports(p: Parcel, group: Ints, size: int, extra: int) -> Ints:
    """List the reports of a group in order of time, by their places in the parcel."""
    at, count = np.empty(len(p.rows), np.int64), 0
    single = p.units == len(p.rows)
    for q in range(size + (extra >= 0)):
        u = group[q] if q < size else extra
        for k in range(p.head[u], p.head[u] + 1 if single else len(p.rows)):
            if p.unit[k] != u:
                continue
            place = count
            while place > 0 and at[place - 1] > k:
                at[place] = at[place - 1]
                place -= 1
            at[place] = k
            count += 1
    return at[:count]


@nb.njit(cache=True, nogil=True, inline="always")
def _remove(group: Ints, sizes: Ints, number: int, u: int) -> None:
    q = 0
    while group[q] != u:
        q += 1
    sizes[number] -= 1
    group[q] = group[sizes[number]]


@nb.njit(cache=True, nogil=True, inline="always")
def _free(sizes: Ints, first: int) -> int:
    """Return the number of a group without members."""
    if sizes[first] == 0:
        return first
    return int(np.argmin(sizes))


@nb.njit(cache=True, nogil=True, inline="always")
def _keep(
    p: Parcel, u: int, lists: Ints, sizes: Ints, options: Ints, chance: Floats, together: Floats,
    first: Floats,
) -> None:  # fmt: skip
    """Add the chances of one step to those of pairs and of being the first report."""
    n, unit, single = len(p.rows), p.unit, p.units == len(p.rows)
    for c in range(len(chance)):
        g, leads = options[c], True
        for q in range(sizes[g] if c else 0):
            v = lists[g, q]
            leads = leads and p.head[u] < p.head[v]
            for k in range(p.head[v], p.head[v] + 1 if single else n):
                if unit[k] != v:
                    continue
                for o in range(p.head[u], p.head[u] + 1 if single else n):
                    if unit[o] == u:
                        together[min(k, o), max(k, o)] += chance[c]
        if leads:
            first[p.head[u]] += chance[c]


@nb.njit(cache=True, nogil=True, inline="always")
def _keep_order(
    p: Parcel, lists: Ints, sizes: Ints, following: Floats, lives: Floats, share: float
) -> None:
    """Count which report follows which in a division, and what its animals' lives were."""
    for g in range(len(sizes)):
        if sizes[g] == 0:
            continue
        at = _reports(p, lists[g], sizes[g], -1)
        for k in range(len(at) - 1):
            following[at[k], at[k + 1]] += 1.0
        add_life(p.m, p.intensity, p.rows[at], len(at), share, p.rates, lives)
