"""Factors of sparse symmetric matrices: solve, draw, and the inverse where it is needed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


@dataclass(frozen=True, eq=False)
class Pattern:
    """Where a symmetric matrix and its factor hold numbers; the numbers change, this doesn't.

    Attributes
    ----------
    size : int
    rank : ndarray of int64, shape (size,)
        Place of each row in the order of elimination.
    column, row : ndarray of int64, shape (entries,)
        Upper triangle in that order, row <= column, sorted by column.
    starts : ndarray of int64, shape (size + 1,)
        Column k holds entries ``starts[k]:starts[k + 1]``.
    parent : ndarray of int64, shape (size,)
        Elimination tree.
    below, below_starts : ndarray of int64
        Row numbers of the factor's columns beneath the diagonal.
    """

    size: int
    rank: Ints
    column: Ints
    row: Ints
    starts: Ints
    parent: Ints
    below: Ints
    below_starts: Ints

    def entry(self, a: Ints, b: Ints) -> Ints:
        """Return where the numbers for pairs of rows stand in the matrix.

        Parameters
        ----------
        a, b : ndarray of int64
            Rows in the caller's own order; every pair was named when the pattern was made.

        Returns
        -------
        ndarray of int64
        """
        low, high = np.minimum(self.rank[a], self.rank[b]), np.maximum(self.rank[a], self.rank[b])
        return np.searchsorted(self.column * self.size + self.row, high * self.size + low)

    def factor_entry(self, a: Ints, b: Ints) -> Ints:
        """Return where pairs of different rows stand in the factor beneath its diagonal.

        Parameters
        ----------
        a, b : ndarray of int64
            As in `entry`.

        Returns
        -------
        ndarray of int64
        """
        low, high = np.minimum(self.rank[a], self.rank[b]), np.maximum(self.rank[a], self.rank[b])
        of = np.repeat(np.arange(self.size), np.diff(self.below_starts))
        return np.searchsorted(of * self.size + self.below, low * self.size + high)


@dataclass(frozen=True, eq=False)
class Factor:
    """L D L' of a symmetric positive definite matrix, rows in the order of elimination.

    Attributes
    ----------
    pattern : Pattern
    lower : ndarray, shape (len(pattern.below),)
    pivots : ndarray, shape (size,)
    """

    pattern: Pattern
    lower: Floats
    pivots: Floats

    @property
    def log_determinant(self) -> float:
        """Natural log of the matrix's determinant."""
        return float(np.log(self.pivots).sum())

    def solve(self, right: Floats) -> Floats:
        """Solve for every column.

        Parameters
        ----------
        right : ndarray, shape (size, columns)

        Returns
        -------
        ndarray, shape (size, columns)
        """
        p = self.pattern
        x = np.empty_like(right)
        x[p.rank] = right
        _solve(p.below_starts, p.below, self.lower, self.pivots, x)
        return x[p.rank]

    def draws(self, normal: Floats) -> Floats:
        """Turn standard normal numbers into draws whose precision is the matrix.

        Parameters
        ----------
        normal : ndarray, shape (size, draws)

        Returns
        -------
        ndarray, shape (size, draws)
        """
        p = self.pattern
        x = normal / np.sqrt(self.pivots)[:, None]
        _solve_upper(p.below_starts, p.below, self.lower, x)
        return x[p.rank]

    def inverse(self) -> tuple[Floats, Floats]:
        """Return the inverse's diagonal, and its entries where the factor has some.

        Returns
        -------
        diagonal : ndarray, shape (size,)
            In the caller's own order.
        below : ndarray, shape (len(pattern.below),)
            In the order of `Pattern.factor_entry`.
        """
        p = self.pattern
        diagonal, below = _selected(p.below_starts, p.below, self.lower, self.pivots)
        return diagonal[p.rank], below


def lay_pattern(size: int, a: Ints, b: Ints) -> Pattern:
    """Choose an order of elimination and find where the factor holds numbers.

    Parameters
    ----------
    size : int
        Rows of the matrix.
    a, b : ndarray of int64, shape (pairs,)
        Pairs of rows that hold a number; the diagonal always does. Repeats are fine.

    Returns
    -------
    Pattern

    Notes
    -----
    The order is scipy's (SuperLU's) multiple minimum degree. Elimination tree and factor follow
    the up-looking method of Davis (2005), ACM TOMS 31:587 (from memory).
    """
    every = np.arange(size)
    rows, columns = np.concatenate([a, b, every]), np.concatenate([b, a, every])
    shape = sparse.csc_array((np.full(len(rows), 1e-3), (rows, columns)), (size, size))
    shape.setdiag(np.asarray(shape.sum(axis=0)).ravel() + 1.0)
    order = splu(
        sparse.csc_matrix(shape), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}
    ).perm_c
    return pattern_in_order(size, a, b, np.asarray(order, dtype=np.int64))


def pattern_in_order(size: int, a: Ints, b: Ints, rank: Ints) -> Pattern:
    """Find where the factor holds numbers in a given order of elimination.

    Parameters
    ----------
    size : int
    a, b : ndarray of int64, shape (pairs,)
        As for `lay_pattern`.
    rank : ndarray of int64, shape (size,)
        Place of each row in the order.

    Returns
    -------
    Pattern
    """
    every = np.arange(size)
    rows, columns = np.concatenate([a, b, every]), np.concatenate([b, a, every])
    low, high = np.minimum(rank[rows], rank[columns]), np.maximum(rank[rows], rank[columns])
    key = np.unique(high * size + low)
    column, row = key // size, key % size
    starts = np.searchsorted(column, np.arange(size + 1)).astype(np.int64)
    parent, counts = _tree(size, starts, row)
    below_starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    below = _below(size, starts, row, parent, below_starts)
    return Pattern(size, rank, column, row, starts, parent, below, below_starts)


def factorise(pattern: Pattern, numbers: Floats) -> Factor:
    """Factor the matrix.

    Parameters
    ----------
    pattern : Pattern
    numbers : ndarray, shape (entries,)
        In the order of `Pattern.entry`.

    Returns
    -------
    Factor
    """
    lower, pivots = _numeric(
        pattern.size,
        pattern.starts,
        pattern.row,
        numbers,
        pattern.parent,
        pattern.below_starts,
        pattern.below,
    )
    return Factor(pattern, lower, pivots)


@nb.njit(cache=True, nogil=True)
def _tree(size: int, starts: Ints, row: Ints) -> tuple[Ints, Ints]:
    parent = np.full(size, -1, dtype=np.int64)
    flag = np.full(size, -1, dtype=np.int64)
    counts = np.zeros(size, dtype=np.int64)
    for k in range(size):
        flag[k] = k
        for p in range(starts[k], starts[k + 1]):
            i = row[p]
            while flag[i] != k:
                if parent[i] == -1:
                    parent[i] = k
                counts[i] += 1
                flag[i] = k
                i = parent[i]
    return parent, counts


@nb.njit(cache=True, nogil=True)
def _below(size: int, starts: Ints, row: Ints, parent: Ints, below_starts: Ints) -> Ints:
    flag = np.full(size, -1, dtype=np.int64)
    filled = below_starts[:-1].copy()
    below = np.empty(below_starts[-1], dtype=np.int64)
    for k in range(size):
        flag[k] = k
        for p in range(starts[k], starts[k + 1]):
            i = row[p]
            while flag[i] != k:
                below[filled[i]] = k
                filled[i] += 1
                flag[i] = k
                i = parent[i]
    return below


@nb.njit(cache=True, nogil=True)
def _numeric(
    size: int,
    starts: Ints,
    row: Ints,
    numbers: Floats,
    parent: Ints,
    below_starts: Ints,
    below: Ints,
) -> tuple[Floats, Floats]:
    lower = np.empty(len(below))
    pivots = np.empty(size)
    y = np.zeros(size)
    flag = np.full(size, -1, dtype=np.int64)
    pattern = np.empty(size, dtype=np.int64)
    filled = below_starts[:-1].copy()
    for k in range(size):
        top = size
        flag[k] = k
        for p in range(starts[k], starts[k + 1]):
            i = row[p]
            y[i] += numbers[p]
            length = 0
            while flag[i] != k:
                pattern[length] = i
                length += 1
                flag[i] = k
                i = parent[i]
            while length > 0:
                top -= 1
                length -= 1
                pattern[top] = pattern[length]
        pivots[k] = y[k]
        y[k] = 0.0
        for t in range(top, size):
            i = pattern[t]
            yi = y[i]
            y[i] = 0.0
            for p in range(below_starts[i], filled[i]):
                y[below[p]] -= lower[p] * yi
            part = yi / pivots[i]
            pivots[k] -= part * yi
            lower[filled[i]] = part
            filled[i] += 1
    return lower, pivots


@nb.njit(cache=True, nogil=True)
def _solve(below_starts: Ints, below: Ints, lower: Floats, pivots: Floats, x: Floats) -> None:
    for j in range(len(pivots)):
        for p in range(below_starts[j], below_starts[j + 1]):
            for c in range(x.shape[1]):
                x[below[p], c] -= lower[p] * x[j, c]
    for j in range(len(pivots)):
        for c in range(x.shape[1]):
            x[j, c] /= pivots[j]
    _solve_upper(below_starts, below, lower, x)


@nb.njit(cache=True, nogil=True)
def _solve_upper(below_starts: Ints, below: Ints, lower: Floats, x: Floats) -> None:
    for j in range(len(below_starts) - 2, -1, -1):
        for p in range(below_starts[j], below_starts[j + 1]):
            for c in range(x.shape[1]):
                x[j, c] -= lower[p] * x[below[p], c]


@nb.njit(cache=True, nogil=True)
def _selected(
    below_starts: Ints, below: Ints, lower: Floats, pivots: Floats
) -> tuple[Floats, Floats]:
    """Follow the recursion of Takahashi, Fagan & Chen 1973 (from memory)."""
    size = len(pivots)
    diagonal = np.empty(size)
    inverse = np.zeros(len(below))
    total = np.zeros(size)
    for j in range(size - 1, -1, -1):
        first, last = below_starts[j], below_starts[j + 1]
        for p in range(first, last):
            total[p - first] = 0.0
        for p in range(first, last):
            column = below[p]
            total[p - first] += lower[p] * diagonal[column]
            at = below_starts[column]
            for r in range(p + 1, last):
                while below[at] < below[r]:
                    at += 1
                total[p - first] += lower[r] * inverse[at]
                total[r - first] += lower[p] * inverse[at]
        own = 1.0 / pivots[j]
        for p in range(first, last):
            inverse[p] = -total[p - first]
            own -= lower[p] * inverse[p]
        diagonal[j] = own
    return diagonal, inverse
