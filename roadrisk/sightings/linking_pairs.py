"""Pairs of reports that may be of one animal: near enough, soon enough, nothing against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Self

import numba as nb
import numpy as np

from roadrisk.sightings.linking_marks import Marks, Rates, exclude_each_other
from roadrisk.sightings.placed import RADIUS_95_PER_SD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_marks import Bools

_WIDER = 1.5  # stated uncertainties are often too small
_SAME_TAG_M = 1000.0  # equal tags or photos may be farther apart than two uncertainties


@dataclass(frozen=True, eq=False)
class Candidates:
    """Pairs of reports in order of time.

    Attributes
    ----------
    i, j : ndarray of int64
        i before j.
    like : ndarray of int64
        Bin of the likeness of the two remarks, -1 where one has none.
    apart : ndarray of bool
        A person said that they are not of one animal.
    """

    i: Ints
    j: Ints
    like: Ints
    apart: NDArray[np.bool_]


def near_pairs(m: Marks, rates: Rates, same_place_m: float) -> tuple[Ints, Ints]:
    """Return pairs that place, time and what was said allow to be of one animal.

    Parameters
    ----------
    m : Marks
        In order of time.
    rates : Rates
        `last` limits the time.
    same_place_m : float
        Reports this near, or within their uncertainties added, may be of one animal [m].

    Returns
    -------
    i, j : ndarray of int64
        i before j, in order of i, then j.

    Notes
    -----
    Reports are filed by squares of a size that doubles with their uncertainty, so that whatever a
    report may reach lies in the nine squares around it, at its own size and at every larger one.
    """
    n, longest = len(m.x), longest_days(rates)
    radius = RADIUS_95_PER_SD * np.sqrt(m.variance)
    least_m = max(same_place_m, 1.0)
    wide = np.maximum(2.0 * _WIDER * radius, least_m) / least_m
    level = np.ceil(np.log2(wide) - 1e-9).astype(np.int64)
    none = np.zeros(n, np.int64)
    window = Window.of(m.time, longest)
    found = []
    for size in np.unique(level):
        own = level == size
        place = Filed.by_square(m, none, np.flatnonzero(own), least_m * 2.0**size * (1 + 1e-9))
        asking = place.in_order(np.flatnonzero(level <= size))
        found.append(_near(m, rates, same_place_m, radius, longest, place, asking, own, window))
    for code in (m.organism, m.photo):
        said = np.flatnonzero(code >= 0)
        place = Filed.by_square(m, code, said, _SAME_TAG_M * (1 + 1e-9))
        every = np.ones(n, np.bool_)
        asking = place.in_order(said)
        found.append(_near(m, rates, same_place_m, radius, longest, place, asking, every, window))
    key = np.unique(np.concatenate(found))
    return key // max(n, 1), key % max(n, 1)


def longest_days(rates: Rates) -> float:
    """Return the longest time between two reports that may be of one animal [days].

    Parameters
    ----------
    rates : Rates

    Returns
    -------
    float
    """
    return float(max(rates.last[0], rates.last[1]) + 1.0)


class Window(NamedTuple):
    """First row and row after the last that are near enough in time to each row, or a bit more."""

    begin: Ints
    end: Ints

    @classmethod
    def of(cls, time: Floats, days: float) -> Self:
        """Find the rows within `days`, of times in order."""
        wide = days + 1e-6
        return cls(np.searchsorted(time, time - wide), np.searchsorted(time, time + wide, "right"))


class Filed(NamedTuple):
    """Some reports filed by group and square.

    rows, key: the reports by square and time, and the key of each one's square; of: the key of
    every report's square, whether it is filed or not; high: what the key grows by from one column
    of squares to the next.
    """

    rows: Ints
    key: Ints
    of: Ints
    high: int

    @classmethod
    def by_square(cls, m: Marks, group: Ints, rows: Ints, size_m: float) -> Self:
        """File reports by squares of a size [m]; those of different groups never meet."""
        column, row = (
            np.floor((v - v.min(initial=np.inf)) / size_m).astype(np.int64) + 1 for v in (m.x, m.y)
        )
        wide, high = (int(v.max(initial=0)) + 2 for v in (column, row))
        of = (np.maximum(group, 0) * wide + column) * high + row
        order = np.argsort(of[rows], kind="stable")
        return cls(rows[order], of[rows[order]], of, high)

    def in_order(self, rows: Ints) -> Ints:
        """Return reports in the order of their squares: neighbours are asked one after another."""
        return rows[np.argsort(self.of[rows], kind="stable")]


@nb.njit(cache=True, nogil=True, inline="always")
def _first_at(filed: Filed, key: int, row: int) -> int:
    """Return where reports of a square begin that come at or after `row`."""
    low, high = 0, len(filed.key)
    while low < high:
        middle = (low + high) >> 1
        before = filed.key[middle] < key
        if before or (filed.key[middle] == key and filed.rows[middle] < row):
            low = middle + 1
        else:
            high = middle
    return low


@nb.njit(cache=True, nogil=True)
def _near(
    m: Marks, rates: Rates, same_place_m: float, radius: Floats, longest: float, filed: Filed,
    asking: Ints, own: Bools, window: Window,
) -> Ints:  # fmt: skip
    """Return pairs as i * n + j; those of `own` ask only for later ones, which ask not again."""
    n, count, out = len(m.x), 0, np.empty(1024, np.int64)
    for a in asking:
        begin = a + 1 if own[a] else window.begin[a]
        for square in range(9):
            key = filed.of[a] + (square // 3 - 1) * filed.high + square % 3 - 1
            at = _first_at(filed, key, begin)
            while at < len(filed.key) and filed.key[at] == key and filed.rows[at] < window.end[a]:
                i, j = min(a, filed.rows[at]), max(a, filed.rows[at])
                at += 1
                reach = max(same_place_m, _WIDER * (radius[i] + radius[j]))
                if m.organism[i] >= 0 and m.organism[i] == m.organism[j]:
                    reach = max(reach, _SAME_TAG_M)
                if m.photo[i] >= 0 and m.photo[i] == m.photo[j]:
                    reach = max(reach, _SAME_TAG_M)
                far = (m.x[i] - m.x[j]) ** 2 + (m.y[i] - m.y[j]) ** 2 > reach**2
                if far or m.time[j] - m.time[i] > longest or exclude_each_other(m, i, j, rates):
                    continue
                if count == len(out):
                    more = np.empty(2 * count, np.int64)
                    more[:count] = out
                    out = more
                out[count] = i * n + j
                count += 1
    return out[:count]


def count_by_rule(m: Marks, within_m: float, within_days: float) -> int:
    """Count animals if reports of one state nearer than a fixed rule are of one animal.

    Parameters
    ----------
    m : Marks
        In order of time.
    within_m : float
        [m].
    within_days : float
        [days].

    Returns
    -------
    int
        A report that is near enough to any of a group joins it (single linkage).
    """
    every = np.arange(len(m.x))
    filed = Filed.by_square(m, m.state, every, within_m * (1 + 1e-9))
    window = Window.of(m.time, within_days)
    return int(_count(m, within_m, within_days, filed, filed.in_order(every), window))


@nb.njit(cache=True, nogil=True)
def _count(
    m: Marks, within_m: float, within_days: float, filed: Filed, asking: Ints, window: Window
) -> int:
    n = len(m.x)
    parent, groups = np.arange(n), n
    for i in asking:
        for square in range(9):
            key = filed.of[i] + (square // 3 - 1) * filed.high + square % 3 - 1
            at = _first_at(filed, key, i + 1)
            while at < len(filed.key) and filed.key[at] == key and filed.rows[at] < window.end[i]:
                j = filed.rows[at]
                at += 1
                if m.time[j] - m.time[i] > within_days:
                    continue
                if (m.x[i] - m.x[j]) ** 2 + (m.y[i] - m.y[j]) ** 2 > within_m**2:
                    continue
                a, b = i, j
                while parent[a] != a:
                    parent[a] = parent[parent[a]]
                    a = parent[a]
                while parent[b] != b:
                    parent[b] = parent[parent[b]]
                    b = parent[b]
                if a != b:
                    parent[max(a, b)] = min(a, b)
                    groups -= 1
    return groups
