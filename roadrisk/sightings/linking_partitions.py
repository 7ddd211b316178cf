"""All ways to divide a few reports into animals, weighed exactly."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.sightings.linking_draws import draw_divisions
from roadrisk.sightings.linking_life import add_life
from roadrisk.sightings.linking_marks import Marks, Rates, exclude_each_other
from roadrisk.sightings.linking_weight import (
    log_sum,
    log_weights,
)

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_marks import Bools
    from roadrisk.sightings.linking_pairs import Candidates

MOST_UNITS, LARGEST = 10, 400
# Work on one parcel grows with the square of its units: a flood of reports of one place must not
# stall a run, so divisions drawn of parcels of more than 150 or so are fewer.
_MOST_STEPS, _FEWEST = 3_000_000, 10
_RANDOM = 65_537
_PORTIONS = 4
LEAST_ODDS = 0.005
_HOPELESS = -14.0  # log odds that no later report can raise again to anything that counts
_TOP = 500.0  # keeps sums of products of weights within double precision


@dataclass(frozen=True, eq=False)
class Posterior:
    """Chances that reports are of one animal.

    Attributes
    ----------
    i, j : ndarray of int64
        Pairs of reports in order of time, i before j, that are in one parcel.
    together : ndarray
        Chance that they are of one animal at a time.
    next : ndarray
        Chance that j is the animal's next report after i.
    first : ndarray, shape (reports,)
        Chance that a report is the first of its animal.
    lives : ndarray, of the shape of `Rates.life`
        Expected number of animals in each part of its grid.
    """

    i: Ints
    j: Ints
    together: Floats
    next: Floats
    first: Floats
    lives: Floats


def weigh(
    m: Marks,
    candidates: Candidates,
    intensity: Floats,
    rates: Rates,
    *,
    most: int = MOST_UNITS,
    sweeps: int,
    learn: bool = True,
) -> Posterior:
    """Weigh all ways to divide reports into animals.

    Parameters
    ----------
    m : Marks
        In order of time.
    candidates : Candidates
        Pairs that may be of one animal.
    intensity : ndarray, shape (reports, 2, 2)
        See `linking_weight.log_weights`.
    rates : Rates
    most : int
        Units (reports, or reports joined by hand) in a parcel up to which the sum is exact.
    sweeps : int
        Divisions drawn of larger parcels; of very large ones fewer.
    learn : bool
        Whether `next` and `lives` are wanted too.

    Returns
    -------
    Posterior

    Notes
    -----
    Reports are gathered into parcels by their pairs, likeliest first; pairs that would make a
    parcel larger than 400 are cut. In a small parcel the sum over all partitions is taken
    exactly by recursion over subsets: Z(S) is the sum over subsets C of S that hold its first
    unit of w(C) Z(S without C), so a group C has the chance w(C) Z(rest) / Z(all). Partitions of
    larger parcels are drawn (`linking_draws`).
    """
    n, least = len(m.x), float(np.log(LEAST_ODDS))
    random = generator(0, "sightings.linking.draws").random(_RANDOM)
    odds = _pair_odds(m, intensity, candidates.i, candidates.j, candidates.like, rates)
    odds[candidates.apart] = -np.inf
    parcel = _parcels(n, m.unit, candidates.i, candidates.j, odds, least, LARGEST)
    order = np.argsort(parcel, kind="stable")
    start = np.searchsorted(parcel[order], np.arange(parcel.max() + 2 if n else 1))
    same = np.flatnonzero(parcel[candidates.i] == parcel[candidates.j])
    same = same[np.argsort(parcel[candidates.i[same]], kind="stable")]
    pair_start = np.searchsorted(parcel[candidates.i[same]], np.arange(len(start)))
    size = np.diff(start)
    out = np.concatenate([[0], np.cumsum(size * (size - 1) // 2)])
    first = np.ones(n)
    a, b = np.zeros(out[-1], np.int64), np.zeros(out[-1], np.int64)
    together, following = np.zeros(out[-1]), np.zeros(out[-1])
    near = candidates.i[same], candidates.j[same], candidates.like[same], candidates.apart[same]
    lives = np.zeros((_PORTIONS, *(rates.life.shape if learn else (0, 0, 0))))

    def portion(part: int) -> None:
        _weigh_parcels(
            m, intensity, rates, order, start, *near, odds[same], pair_start, out, a, b, together,
            following, first, lives[part], least, most, random, sweeps, part, _PORTIONS,
        )  # fmt: skip

    # Parcels don't touch each other; always as many portions, so that sums are the same anywhere.
    with ThreadPoolExecutor(_PORTIONS) as pool:
        list(pool.map(portion, range(_PORTIONS)))
    return Posterior(a, b, together, following, first, lives.sum(axis=0))


@nb.njit(cache=True, nogil=True)
def _pair_odds(m: Marks, intensity: Floats, i: Ints, j: Ints, like: Ints, rates: Rates) -> Floats:
    """Log odds that two reports are of one animal, were there no others."""
    out = np.empty(len(i))
    members, at, table = np.empty(2, np.int64), np.arange(2), np.full((2, 2), -1, np.int64)
    alone = np.empty(len(m.x))
    for k in range(len(alone)):
        members[0] = k
        alone[k] = log_sum(*log_weights(m, intensity, members, at, 1, table, rates))
    for k in range(len(i)):
        if exclude_each_other(m, i[k], j[k], rates):
            out[k] = -np.inf
            continue
        table[0, 1] = like[k]
        members[0], members[1] = i[k], j[k]
        out[k] = log_sum(*log_weights(m, intensity, members, at, 2, table, rates))
        out[k] -= alone[i[k]] + alone[j[k]]
    return out


@nb.njit(cache=True, nogil=True)
def _root(parent: Ints, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@nb.njit(cache=True, nogil=True)
def _parcels(n: int, unit: Ints, i: Ints, j: Ints, odds: Floats, least: float, most: int) -> Ints:
    """Parcel of each report: pairs join parcels, likeliest first, up to `most` units."""
    parent, units = np.arange(n), np.ones(n, np.int64)
    owner = np.full(n, -1, np.int64)
    for k in range(n):
        if unit[k] >= 0:
            if owner[unit[k]] < 0:
                owner[unit[k]] = k
            parent[k] = owner[unit[k]]
    for k in np.argsort(-odds, kind="mergesort"):
        if odds[k] < least:
            break
        a, b = _root(parent, i[k]), _root(parent, j[k])
        if a == b or units[a] + units[b] > most:
            continue
        parent[max(a, b)] = min(a, b)
        units[min(a, b)] = units[a] + units[b]
    out, number = np.full(n, -1, np.int64), 0
    for k in range(n):
        a = _root(parent, k)
        if out[a] < 0:
            out[a] = number
            number += 1
        out[k] = out[a]
    return out


@nb.njit(cache=True, nogil=True)
def _weigh_parcels(
    m: Marks, intensity: Floats, rates: Rates, order: Ints, start: Ints, pair_i: Ints,
    pair_j: Ints, pair_like: Ints, pair_apart: Bools, pair_odds: Floats, pair_start: Ints,
    out: Ints, a: Ints, b: Ints, together: Floats, following: Floats, first: Floats,
    lives: Floats, least: float, most: int, random: Floats, sweeps: int,
    part: int, portions: int,
) -> None:  # fmt: skip
    """Fill chances of pairs and first reports, for every so many-th parcel."""
    for p in range(part, len(start) - 1, portions):
        rows = order[start[p] : start[p + 1]]
        n = len(rows)
        if n < 2:
            add_life(m, intensity, rows, 1, 1.0, rates, lives)
            continue
        like, bad = np.full((n, n), -1, np.int64), np.zeros((n, n), np.bool_)
        near = np.zeros((n, n), np.bool_)
        for k in range(n):
            for o in range(k + 1, n):
                bad[k, o] = exclude_each_other(m, rows[k], rows[o], rates)
        for q in range(pair_start[p], pair_start[p + 1]):
            k, o = np.searchsorted(rows, pair_i[q]), np.searchsorted(rows, pair_j[q])
            like[k, o] = pair_like[q]
            bad[k, o] = bad[k, o] or pair_apart[q]
            near[k, o] = near[o, k] = pair_odds[q] >= least
        unit, units = _units(m, rows)
        if units <= most:
            weight = _group_weights(m, intensity, rates, rows, unit, units, like, bad)
            pair, after, one = _summed(
                m, intensity, rates, rows, unit, _chances(weight, units), lives
            )
        else:
            mine = max(min(sweeps, _MOST_STEPS // (units * units)), _FEWEST)
            pair, after, one = draw_divisions(
                m, intensity, rates, rows, unit, units, like, bad, near, random, mine, lives
            )
        first[rows] = one
        at = out[p]
        for k in range(n):
            for o in range(k + 1, n):
                a[at], b[at] = rows[k], rows[o]
                together[at], following[at] = pair[k, o], after[k, o]
                at += 1


@nb.njit(cache=True, nogil=True)
def _units(m: Marks, rows: Ints) -> tuple[Ints, int]:
    """Return each report's unit in the parcel, in order of their first reports."""
    unit, units = np.empty(len(rows), np.int64), 0
    for k in range(len(rows)):
        unit[k] = -1
        for o in range(k):
            if m.unit[rows[k]] >= 0 and m.unit[rows[o]] == m.unit[rows[k]]:
                unit[k] = unit[o]
        if unit[k] < 0:
            unit[k] = units
            units += 1
    return unit, units


@nb.njit(cache=True, nogil=True)
def _group_weights(
    m: Marks, intensity: Floats, rates: Rates, rows: Ints, unit: Ints, units: int, like: Ints,
    bad: Bools,
) -> Floats:  # fmt: skip
    """Weight of every subset of units as one animal, over that of its units one by one."""
    n = len(rows)
    apart = np.zeros(units, np.int64)
    for k in range(n):
        for o in range(k + 1, n):
            if bad[k, o] and unit[k] != unit[o]:
                apart[unit[k]] |= 1 << unit[o]
                apart[unit[o]] |= 1 << unit[k]
    log = np.full(1 << units, -np.inf)
    members, at, one = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(units)
    log[0] = 0.0
    for mask in range(1, 1 << units):
        top = 0
        while mask >> (top + 1):
            top += 1
        before = mask ^ (1 << top)
        if before and (log[before] < _HOPELESS or apart[top] & before):
            continue
        count = 0
        for k in range(n):
            if (mask >> unit[k]) & 1:
                members[count], at[count] = rows[k], k
                count += 1
        whole = log_sum(*log_weights(m, intensity, members, at, count, like, rates))
        if before == 0:
            one[top], log[mask] = whole, 0.0
            continue
        for u in range(units):
            if (mask >> u) & 1:
                whole -= one[u]
        log[mask] = min(whole, _TOP)
    return np.exp(log)


@nb.njit(cache=True, nogil=True)
def _chances(weight: Floats, units: int) -> Floats:
    """Chance of every subset of units to be exactly one animal."""
    full = (1 << units) - 1
    z = np.zeros(1 << units)
    z[0] = 1.0
    for mask in range(1, 1 << units):
        lowest = mask & -mask
        rest = mask ^ lowest
        sub = rest
        while True:
            w = weight[sub | lowest]
            if w > 0.0:
                z[mask] += w * z[rest ^ sub]
            if sub == 0:
                break
            sub = (sub - 1) & rest
    out = np.zeros(1 << units)
    for mask in range(1, 1 << units):
        if weight[mask] > 0.0:
            out[mask] = weight[mask] * (z[full ^ mask] / z[full])
    return out


@nb.njit(cache=True, nogil=True)
def _summed(
    m: Marks, intensity: Floats, rates: Rates, rows: Ints, unit: Ints, chance: Floats, lives: Floats
) -> tuple[Floats, Floats, Floats]:
    """Add up the chances of groups into those of pairs, of next reports and of first reports."""
    n = len(unit)
    together, following, first = np.zeros((n, n)), np.zeros((n, n)), np.zeros(n)
    at = np.empty(n, np.int64)
    for mask in range(1, len(chance)):
        p = chance[mask]
        if p <= 0.0:
            continue
        count = 0
        for k in range(n):
            if (mask >> unit[k]) & 1:
                at[count] = k
                count += 1
        first[at[0]] += p
        add_life(m, intensity, rows[at[:count]], count, p, rates, lives)
        for k in range(count):
            if k + 1 < count:
                following[at[k], at[k + 1]] += p
            for o in range(k + 1, count):
                together[at[k], at[o]] += p
    return together, following, first
