"""Which places are worst, and how sure that is: ranks, chances and sums from draws of rates."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.mortality.draw_sums import LazyRows, by_rows, grouped, many

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

_NO_LESS_THAN = 0.40


@dataclass(frozen=True, eq=False)
class Interval:
    """A number with its 90 % interval, for every place.

    Attributes
    ----------
    mean, median, best, low, high : ndarray, shape (places,)
        `best` is the estimate to print for a total (`best_number`). Where only a bound is known
        mean, median and best are NaN, `low` is 0, and `high` is the one-sided 95 % bound.
    """

    mean: Floats
    median: Floats
    best: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class Ranks:
    """Ranks of places, 1 the worst.

    Attributes
    ----------
    order : ndarray of int64, shape (places,)
        Places from worst to least by their mean rate.
    low, high : ndarray of int64, shape (places,)
        90 % interval of each place's rank.
    among_worst : ndarray, shape (places,)
        Chance of being among the worst `k`.
    k : int
    """

    order: Ints
    low: Ints
    high: Ints
    among_worst: Floats
    k: int


def interval(draws: Floats | LazyRows, *, bound_only: bool = False) -> Interval:
    """Sum draws up.

    Parameters
    ----------
    draws : ndarray, shape (places, draws) or (draws,), or LazyRows
    bound_only : bool
        Whether nothing was found (`JointDeaths.bound_only`).

    Returns
    -------
    Interval
        With one place if `draws` has one axis.
    """
    if isinstance(draws, LazyRows):
        parts = [interval(part, bound_only=bound_only) for part in draws.blocks()]
        names = [f.name for f in fields(Interval)]
        return Interval(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))
    table = np.atleast_2d(draws)
    low, median, high = np.quantile(table, [0.05, 0.5, 0.95], axis=1)
    if bound_only:
        nothing = np.full(len(table), np.nan)
        return Interval(nothing, nothing, nothing, np.zeros(len(table)), high)
    return Interval(table.mean(axis=1), median, best_number(table), low, high)


def best_number(draws: Floats) -> Floats:
    """Return single numbers for deaths that are counted over an uncertain chance.

    Parameters
    ----------
    draws : ndarray, shape (..., draws)
        Above zero.

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    The harmonic mean, which is what was counted over the *mean* chance of counting it. Means of
    the draws, and a little less their medians, lie too high on average over studies, since 1 over
    a chance from few trials does (`DEVELOPERS.md`, deaths from all sources, has the figures). It
    is kept above the 40 % point: where a chance is hardly known, as with crossings, and for counts
    below one, the harmonic mean may be anything near zero.
    """
    low = np.quantile(draws, _NO_LESS_THAN, axis=-1)
    with np.errstate(divide="ignore"):
        harmonic = 1.0 / (1.0 / draws).mean(axis=-1)
    return np.asarray(np.maximum(harmonic, low))


def ranks(rate: Floats, k: int) -> Ranks:
    """Rank places by their rate per km.

    Parameters
    ----------
    rate : ndarray, shape (places, draws)
        `JointDeaths.rate`, `relative`, or either over stretches (`mean_rates`).
    k : int
        How many places can be treated.

    Returns
    -------
    Ranks

    Notes
    -----
    Ranks are taken in every draw, so an uncertain place has a wide interval and no place is
    first only because it is uncertain. Ties share their mean rank, rounded outwards.
    """
    places, draws = rate.shape
    k = min(k, places)
    if many(rate):
        return _many_ranks(rate, k)
    low, high = np.empty(places), np.empty(places)
    among = np.zeros(places)
    rank = np.empty((places, draws))
    for d in range(draws):
        rank[:, d], taken = _ranks_of(rate[:, d], k)
        among += taken
    low, high = np.quantile(rank, [0.05, 0.95], axis=1)
    order = np.argsort(-rate.mean(axis=1), kind="stable")
    return Ranks(
        order.astype(np.int64),
        np.floor(low).astype(np.int64),
        np.ceil(high).astype(np.int64),
        among / draws,
        k,
    )


def _many_ranks(rate: np.ndarray, k: int) -> Ranks:
    """`ranks` of so many places that no step holds them all in double precision."""
    places, draws = rate.shape
    rank = np.empty(rate.shape, dtype=np.float32)
    among = np.zeros(places)
    for d in range(draws):
        column = np.ascontiguousarray(rate[:, d])
        _tied_ranks(column, np.argsort(-column, kind="stable"), k, rank[:, d], among)
    ends = by_rows(rank, lambda some: np.quantile(some, [0.05, 0.95], axis=1).T)
    mean = by_rows(rate, lambda some: some.mean(axis=1))
    order = np.argsort(-mean, kind="stable").astype(np.int64)
    low, high = np.floor(ends[:, 0]).astype(np.int64), np.ceil(ends[:, 1]).astype(np.int64)
    return Ranks(order, low, high, among / draws, k)


@nb.njit(cache=True, nogil=True)
def _tied_ranks(rate: np.ndarray, order: Ints, k: int, rank: np.ndarray, among: Floats) -> None:
    """Ranks of one draw; adds each place's share of the k first ones."""
    first = 0
    while first < len(order):
        last = first + 1
        while last < len(order) and rate[order[last]] == rate[order[first]]:
            last += 1
        share = min(max((k - first) / (last - first), 0.0), 1.0)
        for p in range(first, last):
            rank[order[p]] = (first + 1 + last) / 2
            among[order[p]] += share
        first = last


def _ranks_of(rate: Floats, k: int) -> tuple[Floats, Floats]:
    """Ranks of one draw, and each place's share of the k first ones."""
    _, which, count = np.unique(-rate, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    first = last - count
    share = np.clip((k - first) / count, 0.0, 1.0)
    return ((first + 1 + last) / 2)[which], share[which]


def mean_rates(rate: Floats, length_km: Floats, place: Ints) -> tuple[Floats, Floats]:
    """Rates of places that are made of several pieces.

    Parameters
    ----------
    rate : ndarray, shape (pieces, draws)
    length_km : ndarray, shape (pieces,)
        Length of each piece that counts for its place [km].
    place : ndarray of int64, shape (pieces,)
        0..places-1, or -1 for pieces of no place.

    Returns
    -------
    rate : ndarray, shape (places, draws)
        Mean per km; in the precision of the draws.
    length_km : ndarray, shape (places,)
    """
    inside = place >= 0
    places = int(place.max()) + 1 if inside.any() else 0
    length = np.bincount(place[inside], length_km[inside], places).astype(np.float64)
    if many(rate):
        if len(place) == places and (place == np.arange(places)).all():
            return rate, length
        mean = grouped(rate, length_km, place, places) / np.maximum(length, 1e-12)[:, None]
        return mean.astype(np.float32), length
    total = np.zeros((places, rate.shape[1]))
    np.add.at(total, place[inside], rate[inside] * length_km[inside, None])
    return total / np.maximum(length, 1e-12)[:, None], length


def deaths_by_unit(
    rate: Floats, length_km: Floats, unit: Ints, rng: np.random.Generator
) -> tuple[Floats, Ints]:
    """Deaths in each agency unit in 12 months.

    Parameters
    ----------
    rate : ndarray, shape (pieces, draws)
        Deaths per km and year.
    length_km : ndarray, shape (pieces,)
    unit : ndarray of int64, shape (pieces,)
        0..units-1, or -1 for roads outside all units.
    rng : numpy.random.Generator

    Returns
    -------
    expected : ndarray, shape (units, draws)
        Deaths that a year brings on average.
    counts : ndarray of int64, shape (units, draws)
        Deaths that one coming year may bring: as uncertain, and scattered by chance besides.
    """
    mean, length = mean_rates(rate, length_km, unit)
    expected = mean.astype(np.float64) * length[:, None]
    return expected, rng.poisson(np.minimum(expected, 1e12)).astype(np.int64)
