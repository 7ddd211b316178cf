"""Sums and quantiles over many draws, a block of rows at a time where they are many.

Small studies have draws in double precision and are worked on whole. Large ones have them in
single precision (`joint_districts`), and no step may hold them all in double.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from roadrisk.roads.network import Floats, Ints

ROWS = 20_000


def many(draws: np.ndarray) -> bool:
    """Return whether draws are so many that they are held in single precision."""
    return draws.dtype == np.float32


def blocks(count: int) -> Iterator[slice]:
    """Cut rows into blocks.

    Parameters
    ----------
    count : int

    Yields
    ------
    slice
        Of at most `ROWS` rows.
    """
    for start in range(0, count, ROWS):
        yield slice(start, min(start + ROWS, count))


def weighted(weight: Floats, draws: np.ndarray, rows: np.ndarray | None = None) -> Floats:
    """Add up rows of draws.

    Parameters
    ----------
    weight : ndarray, shape (rows,)
    draws : ndarray, shape (rows, draws)
    rows : ndarray of bool or int64, optional
        Rows that count; all unless given.

    Returns
    -------
    ndarray, shape (draws,)
    """
    if not many(draws):
        return np.asarray(weight @ draws if rows is None else weight[rows] @ draws[rows])
    at = np.arange(len(draws)) if rows is None else np.arange(len(draws))[rows]
    total = np.zeros(draws.shape[1])
    for part in blocks(len(at)):
        some = at[part]
        total += weight[some] @ draws[some].astype(np.float64)
    return total


def by_rows(
    draws: np.ndarray, work: Callable[[Floats], Floats], rows: Ints | None = None
) -> Floats:
    """Work out something of every row.

    Parameters
    ----------
    draws : ndarray, shape (rows, draws)
    work : callable
        From (rows, draws) to (rows, ...).
    rows : ndarray of int64, optional
        All unless given.

    Returns
    -------
    ndarray, shape (rows, ...)
    """
    if not many(draws):
        return work(draws if rows is None else draws[rows])
    at = np.arange(len(draws)) if rows is None else rows
    if not len(at):
        return work(draws[:0].astype(np.float64))
    return np.concatenate([
        work(draws[at[part]].astype(np.float64)) for part in blocks(len(at))
    ])  # fmt: skip


@dataclass(frozen=True, eq=False)
class LazyRows:
    """Draws that are worked out a block of rows at a time, in double precision.

    Attributes
    ----------
    shape : (int, int)
    make : callable
        From a slice of rows to their draws.
    """

    shape: tuple[int, int]
    make: Callable[[slice], Floats]

    def blocks(self) -> Iterator[Floats]:
        """Yield the draws, block by block."""
        return (self.make(part) for part in blocks(self.shape[0]))


def lazy(draws: np.ndarray) -> LazyRows:
    """Return draws held in single precision as blocks in double precision."""
    return LazyRows(draws.shape, lambda part: draws[part].astype(np.float64))


@nb.njit(cache=True, nogil=True)
def grouped(draws: np.ndarray, weight: Floats, group: Ints, groups: int) -> Floats:
    """Add up weighed rows of draws by group, in double precision.

    Parameters
    ----------
    draws : ndarray, shape (rows, draws)
    weight : ndarray, shape (rows,)
    group : ndarray of int64, shape (rows,)
        0..groups-1, or -1 for none.
    groups : int

    Returns
    -------
    ndarray, shape (groups, draws)
    """
    out = np.zeros((groups, draws.shape[1]))
    for i in range(len(draws)):
        if group[i] >= 0:
            for d in range(draws.shape[1]):
                out[group[i], d] += weight[i] * draws[i, d]
    return out


def means(draws: np.ndarray, rows: Ints | None = None) -> Floats:
    """Return the mean of every row of draws, or of some rows."""
    return by_rows(draws, lambda some: np.asarray(some.mean(axis=1)), rows)


def medians(draws: np.ndarray) -> Floats:
    """Return the median of every row of draws."""
    return by_rows(draws, lambda some: np.asarray(np.median(some, axis=1)))
