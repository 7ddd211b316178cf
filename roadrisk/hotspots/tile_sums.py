"""The sums that chance is asked of, for all draws on one tile, in compiled code."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


@nb.njit(cache=True, nogil=True)
def sums_of_draws(middle: Floats, position: Floats, fixed: Any) -> Floats:
    """Add up what different units bring to each lixel, each capped, without the largest.

    Parameters
    ----------
    middle : ndarray, shape (draws, groups)
        Where the groups' middles come to lie on the long line [m].
    position : ndarray, shape (pieces,)
        Where the pieces were observed [m].
    fixed : tuple
        The line's cuts [m] and lixels; the row of the kernel that each lixel has, -1 for none;
        group, offset [m] and weight of each piece; first piece of each unit; the ends of the
        road of each group [m], and the line's lixels there; the kernel's rows; 1 / length of the
        lixels that are asked of; cap, least value and least number of units.

    Returns
    -------
    ndarray, shape (1 + draws, lixels asked of)
        [units per metre]; the observation first. As `unit_sums.UnitSums`.
    """
    (
        cut, order, row_of, group, offset, weight, first, low, high, low_slot, high_slot,
        indptr, indices, data, per_m, cap, least, least_units,
    ) = fixed  # fmt: skip
    lixels = len(per_m)
    out = np.zeros((len(middle) + 1, lixels))
    own, most = np.zeros(lixels), np.zeros(lixels)
    units = np.zeros(lixels, np.int64)
    mark, touched = np.full(lixels, -1, np.int64), np.empty(lixels, np.int64)
    rows = np.empty(len(group), np.int64)
    stamp = 0
    for n in range(len(out)):
        if n == 0:
            for p in range(len(group)):
                rows[p] = row_of[order[_slot(cut, position[p], 0, len(order))]]
        else:
            _lay(middle[n - 1], group, offset, low, high, low_slot, high_slot, cut, order, row_of,
                 rows)  # fmt: skip
        total = out[n]
        most[:] = 0.0
        units[:] = 0
        for u in range(len(first) - 1):
            stamp += 1
            seen = 0
            for p in range(first[u], first[u + 1]):
                row = rows[p]
                if row < 0:
                    continue
                w = weight[p]
                for k in range(indptr[row], indptr[row + 1]):
                    j = indices[k]
                    if mark[j] != stamp:
                        mark[j], touched[seen] = stamp, j
                        own[j] = w * data[k]
                        seen += 1
                    else:
                        own[j] += w * data[k]
            _count_unit(touched[:seen], own, per_m, cap, least, units, total, most)
        _without_largest(total, most, units, least_units)
    return out


@nb.njit(cache=True, nogil=True)
def _without_largest(total: Floats, most: Floats, units: Ints, least_units: int) -> None:
    for j in range(len(total)):
        if units[j] >= least_units and total[j] > most[j]:
            total[j] -= most[j]
        else:
            total[j] = 0.0


@nb.njit(cache=True, nogil=True)
def _lay(
    middle: Floats, group: Ints, offset: Floats, low: Floats, high: Floats, low_slot: Ints,
    high_slot: Ints, cut: Floats, order: Ints, row_of: Ints, rows: Ints,
) -> None:  # fmt: skip
    """Find the rows of the kernel on which the pieces lie in one draw."""
    for p in range(len(group)):
        g = group[p]
        x = _folded(middle[g], offset[p], low[g], high[g])
        rows[p] = row_of[order[_near_slot(cut, x, low_slot[g], high_slot[g])]]


@nb.njit(cache=True, nogil=True)
def _folded(middle: float, offset: float, low: float, high: float) -> float:
    """Where a piece comes to lie [m]: folded back where it would leave its group's road."""
    span = high - low
    x = middle - low + offset
    if x < 0.0 or x >= 2.0 * span:
        x %= 2.0 * span
    if x >= span:
        x = 2.0 * span - x
    return low + x


@nb.njit(cache=True, nogil=True)
def _count_unit(
    touched: Ints,
    own: Floats,
    per_m: Floats,
    cap: float,
    least: float,
    units: Ints,
    total: Floats,
    most: Floats,
) -> None:
    """Add what one unit brings where it is met."""
    for j in touched:
        here = own[j] * per_m[j]
        if here >= least:
            here = min(here, cap)
            units[j] += 1
            total[j] += here
            most[j] = max(most[j], here)


@nb.njit(cache=True, nogil=True)
def _slot(cut: Floats, x: float, low: int, high: int) -> int:
    """Which of the line's lixels from `low` up to `high` holds a place."""
    while high - low > 1:
        middle = (low + high) // 2
        if cut[middle] <= x:
            low = middle
        else:
            high = middle
    return low


@nb.njit(cache=True, nogil=True)
def _near_slot(cut: Floats, x: float, low: int, high: int) -> int:
    """Do as `_slot` where lixels are about as long as one another: guess, then step."""
    k = low + int((x - cut[low]) * (high - low) / (cut[high] - cut[low]))
    k = min(max(k, low), high - 1)
    while k > low and cut[k] > x:
        k -= 1
    while k + 1 < high and cut[k + 1] <= x:
        k += 1
    return k


@nb.njit(cache=True, nogil=True)
def largest_by_window(values: Floats, mean: Floats, window: Ints, windows: int) -> Floats:
    """Find the largest value above the mean in each draw and window; 0 where none is.

    Parameters
    ----------
    values : ndarray, shape (draws, lixels)
    mean : ndarray, shape (lixels,)
    window : ndarray of int64, shape (lixels,)
        -1 for none.
    windows : int

    Returns
    -------
    ndarray, shape (draws, windows)
    """
    out = np.zeros((len(values), windows))
    for n in range(len(values)):
        for j in range(len(mean)):
            w = window[j]
            if w >= 0 and values[n, j] > 0.0:
                out[n, w] = max(out[n, w], values[n, j] - mean[j])
    return out
