"""The best windows of road on every edge, in compiled code."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.hotspots.growing import grown

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


@nb.njit(cache=True, nogil=True)
def best_on_edges(
    edge_first: Ints, lixel_m: Floats, whole: Floats, length: Floats, near: Floats, window_m: float
) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    """Choose windows of consecutive lixels on each edge, the best first, without overlap.

    Parameters
    ----------
    edge_first : ndarray of int64, shape (edges + 1,)
        First lixel of each edge.
    lixel_m : ndarray, shape (edges,)
        Length of its lixels [m].
    whole, length, near : ndarray, shape (lixels + 1,)
        Mass, length [m], and what decides between equal windows, added up along the lixels.
    window_m : float
        [m].

    Returns
    -------
    first, last : ndarray of int64
        First lixel, and the one after the last; only of windows that hold anything.
    counted, value, middle : ndarray
        Length that the mass is divided by [m], mass per metre, and what decides between equals.
    """
    room = 0
    for e in range(len(lixel_m)):
        room = max(room, edge_first[e + 1] - edge_first[e])
    values, middles = np.empty(room), np.empty(room)
    order, taken = np.empty(room, np.int64), np.empty(room, np.bool_)
    first, last = np.empty(1024, np.int64), np.empty(1024, np.int64)
    counted, value, middle = np.empty(1024), np.empty(1024), np.empty(1024)
    found = 0
    for e in range(len(lixel_m)):
        begin, count = edge_first[e], edge_first[e + 1] - edge_first[e]
        if whole[begin + count] - whole[begin] <= 0.0:
            continue
        size = min(max(np.int64(np.rint(window_m / lixel_m[e])), 1), count)
        held = 0
        for k in range(count - size + 1):
            a, b = begin + k, begin + k + size
            over = max(length[b] - length[a], window_m * (1 - 1e-9))
            values[k] = np.rint((whole[b] - whole[a]) / over * 1e12) / 1e12
            middles[k] = np.rint((near[b] - near[a]) / over * 1e12) / 1e12
            if values[k] > 1e-9:
                order[held] = k
                held += 1
        _sort_best(order[:held], values, middles)
        taken[:count] = False
        first, last = grown(first, found + held), grown(last, found + held)
        counted, value = grown(counted, found + held), grown(value, found + held)
        middle = grown(middle, found + held)
        for k in order[:held]:
            if taken[k] or taken[k + size - 1]:
                continue
            taken[k : k + size] = True
            first[found], last[found] = begin + k, begin + k + size
            counted[found] = max(
                length[begin + k + size] - length[begin + k], window_m * (1 - 1e-9)
            )
            value[found], middle[found] = values[k], middles[k]
            found += 1
    return first[:found], last[:found], counted[:found], value[:found], middle[:found]


@nb.njit(cache=True, nogil=True)
def _sort_best(order: Ints, values: Floats, middles: Floats) -> None:
    """Sort rising candidates by value, then middle, the highest first; equal ones stay."""
    for i in range(1, len(order)):
        k, j = order[i], i
        while j > 0:
            p = order[j - 1]
            if values[p] > values[k] or (values[p] == values[k] and middles[p] >= middles[k]):
                break
            order[j] = p
            j -= 1
        order[j] = k
