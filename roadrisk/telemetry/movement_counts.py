"""Counts of one animal's crossings by draw, day and place, in one pass over its drawn paths."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_draws import Drawn


class PlaceDays(NamedTuple):
    """One row a place and draw with any crossing, by place and draw; all of int64, shape (n,).

    Attributes
    ----------
    place, draw : ndarray
    days : ndarray
        Days with a crossing of the place.
    times : ndarray
        Crossings.
    """

    place: Ints
    draw: Ints
    days: Ints
    times: Ints


def by_day(drawn: Drawn) -> Drawn:
    """Return crossings by draw and day; they are noted so but for some around midnight.

    Parameters
    ----------
    drawn : Drawn

    Returns
    -------
    Drawn
        Crossings of one day stay in their order.
    """
    if not len(drawn.draw):
        return drawn
    first = drawn.day.min()
    key = drawn.draw * (drawn.day.max() - first + 1) + (drawn.day - first)
    if (key[1:] >= key[:-1]).all():
        return drawn
    order = np.argsort(key, kind="stable")
    return drawn.rows(order)


def day_begins(draw: Ints, day: Ints) -> NDArray[np.bool_]:
    """Return which crossing is the first of its day, in crossings by draw and day."""
    begins = np.ones(len(draw), dtype=bool)
    begins[1:] = (draw[1:] != draw[:-1]) | (day[1:] != day[:-1])
    return begins


def ranked(value: Ints, below: int) -> tuple[Ints, Ints]:
    """Return the distinct values, sorted, and the row among them of each; nothing is sorted.

    Parameters
    ----------
    value : ndarray of int64, shape (n,)
        From 0 to `below` - 1.
    below : int

    Returns
    -------
    distinct : ndarray of int64, shape (k,)
    row : ndarray of int64, shape (n,)
    """
    there = np.zeros(below, dtype=bool)
    there[value] = True
    distinct = np.flatnonzero(there).astype(np.int64)
    row_of = np.empty(below, np.int64)
    row_of[distinct] = np.arange(len(distinct))
    return distinct, row_of[value]


def place_days(drawn: Drawn, place: Ints, places: int) -> PlaceDays:
    """Count days and crossings by place and draw.

    Parameters
    ----------
    drawn : Drawn
        Of one animal, by draw and day (`by_day`).
    place : ndarray of int64, shape (n,)
        Of each crossing, below `places`.
    places : int

    Returns
    -------
    PlaceDays
    """
    distinct, row = ranked(place, places)
    day = np.cumsum(day_begins(drawn.draw, drawn.day), dtype=np.int64)
    found = np.empty((len(place), 4), np.int64)
    count = _place_days(drawn.draw, day, row, len(distinct), found)
    by_place = found[:count][np.argsort(found[:count, 0], kind="stable")]
    return PlaceDays(distinct[by_place[:, 0]], *by_place[:, 1:].T)


def shared_days(
    drawn: Drawn, lixel: Ints, lixels: int, edge: Ints, edges: int, along_m: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Share each day out over the crossings of one edge on it, and add up by draw and lixel.

    Parameters
    ----------
    drawn : Drawn
        Of one animal, by draw and day (`by_day`).
    lixel : ndarray of int64, shape (n,)
        Of each crossing, below `lixels`.
    lixels : int
    edge : ndarray of int64, shape (n,)
        Of each crossing, below `edges`.
    edges : int
    along_m : ndarray, shape (n,)
        Place of each crossing on its lixel [m].

    Returns
    -------
    draw, lixel : ndarray of int64, shape (k,)
        Sorted by draw and lixel.
    days, along_m : ndarray, shape (k,)
        Crossing-days, and their mean place [m].
    """
    distinct, row = ranked(lixel, lixels)
    roads, road = ranked(edge, edges)
    draw, place = np.empty(len(row), np.int64), np.empty(len(row), np.int64)
    days, mean_m = np.empty(len(row)), np.empty(len(row))
    count = _shared_days(
        drawn.draw, drawn.day, row, len(distinct), road, len(roads), along_m, draw, place, days,
        mean_m,
    )  # fmt: skip
    return draw[:count], distinct[place[:count]], days[:count], mean_m[:count]


@njit(cache=True, nogil=True)
def _place_days(draw: Ints, day: Ints, place: Ints, places: int, found: Ints) -> int:
    """Fill place, draw, days and crossings, by draw; days are numbered through all draws."""
    used = 0
    at, last = np.full(places, -1, np.int64), np.full(places, -1, np.int64)
    for i in range(len(draw)):
        p = place[i]
        row = at[p]
        # Of an earlier draw, if of any.
        if row < 0 or found[row, 1] != draw[i]:
            row = used
            at[p] = row
            found[row, 0], found[row, 1], found[row, 2], found[row, 3] = p, draw[i], 0, 0
            used += 1
        found[row, 3] += 1
        if last[p] != day[i]:
            found[row, 2] += 1
            last[p] = day[i]
    return used


@njit(cache=True, nogil=True)
def _shared_days(
    draw: Ints,
    day: Ints,
    lixel: Ints,
    lixels: int,
    edge: Ints,
    edges: int,
    along: Floats,
    draw_of: Ints,
    lixel_of: Ints,
    days: Floats,
    mean: Floats,
) -> int:
    total, place = np.zeros(lixels), np.zeros(lixels)
    times, met = np.zeros(edges, np.int64), np.empty(lixels, np.int64)
    used, i = 0, 0
    while i < len(draw):
        d, many = draw[i], 0
        while i < len(draw) and draw[i] == d:
            end = i
            while end < len(draw) and draw[end] == d and day[end] == day[i]:
                times[edge[end]] += 1
                end += 1
            for j in range(i, end):
                p, share = lixel[j], 1.0 / times[edge[j]]
                if total[p] == 0.0:
                    met[many] = p
                    many += 1
                total[p] += share
                place[p] += share * along[j]
            for j in range(i, end):
                times[edge[j]] = 0
            i = end
        for p in np.sort(met[:many]):
            draw_of[used], lixel_of[used] = d, p
            days[used], mean[used] = total[p], place[p] / total[p]
            total[p], place[p] = 0.0, 0.0
            used += 1
    return used
