"""Many places at once: neighbours one after the other, a portion for each core."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints

# Cells along a side of the tiles in which places are taken one after the other.
_TILE = 16
# From so many places on, order and a second core pay.
_FEW = 20_000


def near_by_near(index: PieceIndex, local: Floats) -> Ints:
    """Return an order in which neighbours on the ground follow each other.

    Parameters
    ----------
    index : PieceIndex
    local : ndarray, shape (n, 2)
        Places, counted from ``index.origin`` [m].

    Returns
    -------
    ndarray of int64, shape (n,)
    """
    if len(local) < _FEW:
        return np.arange(len(local), dtype=np.int64)
    out: Ints = _near_by_near(local, index.cell_m * _TILE, index.shape // _TILE + 1)
    return out


def on_all_cores(work: Callable[[Ints], object], rows: Ints) -> None:
    """Do compiled work that holds no lock on parts of the rows, one part a core.

    Parameters
    ----------
    work : callable
        Takes some of the rows.
    rows : ndarray of int64
    """
    cores = os.cpu_count() or 1
    if len(rows) < _FEW or cores == 1:
        work(rows)
        return
    with ThreadPoolExecutor(cores) as pool:
        # Rather many parts: some take longer than others.
        list(pool.map(work, np.array_split(rows, 4 * cores)))


@njit(cache=True, nogil=True)
def _near_by_near(local: Floats, tile: float, shape: Ints) -> Ints:
    n, last = len(local), shape[0] * shape[1]
    at = np.empty(n, np.int32)
    first = np.zeros(last + 2, np.int64)
    for i in range(n):
        x, y = local[i, 0], local[i, 1]
        if np.isfinite(x) and np.isfinite(y):
            column = min(max(x / tile, 0.0), shape[0] - 1.0)
            row = min(max(y / tile, 0.0), shape[1] - 1.0)
            at[i] = int(row) * shape[0] + int(column)
        else:
            at[i] = last
        first[at[i] + 1] += 1
    for k in range(last + 1):
        first[k + 1] += first[k]
    order = np.empty(n, np.int64)
    for i in range(n):
        order[first[at[i]]] = i
        first[at[i]] += 1
    return order
