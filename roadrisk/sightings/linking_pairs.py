"""Pairs of reports that may be of one animal: near enough, soon enough, nothing against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.sightings.linking_marks import Marks, Rates, exclude_each_other
from roadrisk.sightings.placed import RADIUS_95_PER_SD

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

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
        i before j.
    """
    radius = RADIUS_95_PER_SD * np.sqrt(m.variance)
    count = _near(m, rates, same_place_m, radius, np.zeros(0, np.int64), np.zeros(0, np.int64))
    i, j = np.empty(count, np.int64), np.empty(count, np.int64)
    _near(m, rates, same_place_m, radius, i, j)
    return i, j


@nb.njit(cache=True, nogil=True)
def _near(
    m: Marks, rates: Rates, same_place_m: float, radius: Floats, out_i: Ints, out_j: Ints
) -> int:
    count, longest = 0, max(rates.last[0], rates.last[1]) + 1.0
    for i in range(len(m.x)):
        for j in range(i + 1, len(m.x)):
            if m.time[j] - m.time[i] > longest:
                break
            reach = max(same_place_m, _WIDER * (radius[i] + radius[j]))
            if m.organism[i] >= 0 and m.organism[i] == m.organism[j]:
                reach = max(reach, _SAME_TAG_M)
            if m.photo[i] >= 0 and m.photo[i] == m.photo[j]:
                reach = max(reach, _SAME_TAG_M)
            if (m.x[i] - m.x[j]) ** 2 + (m.y[i] - m.y[j]) ** 2 > reach**2:
                continue
            if exclude_each_other(m, i, j, rates):
                continue
            if len(out_i):
                out_i[count], out_j[count] = i, j
            count += 1
    return count


@nb.njit(cache=True, nogil=True)
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
    n = len(m.x)
    parent, groups = np.arange(n), n
    for i in range(n):
        for j in range(i + 1, n):
            if m.time[j] - m.time[i] > within_days:
                break
            if m.state[i] != m.state[j]:
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
