"""Reports gathered by small squares, and sums of kernels over the squares around each."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

SQUARE_M = 25.0
_PORTIONS = 4


@dataclass(frozen=True, eq=False)
class Squares:
    """Squares of 25 m that hold reports, column by column from west to east, each from the south.

    Attributes
    ----------
    of : ndarray of int64, shape (reports,)
        The square of each report.
    column, row : ndarray of int64, shape (squares,)
        Of the grid.
    first : ndarray of int64
        First square of each column that holds any, and their number at the end.
    """

    of: Ints
    column: Ints
    row: Ints
    first: Ints

    @classmethod
    def holding(cls, x: Floats, y: Floats) -> Self:
        """Gather places [m] by squares.

        Parameters
        ----------
        x, y : ndarray, shape (reports,)

        Returns
        -------
        Squares
        """
        column = np.round(x / SQUARE_M).astype(np.int64)
        row = np.round(y / SQUARE_M).astype(np.int64)
        low = int(row.min(initial=0))
        high = int(row.max(initial=0)) - low + 1
        squares, of = np.unique(column * high + (row - low), return_inverse=True)
        column, row = squares // high, squares % high + low
        first = np.flatnonzero(np.diff(column, prepend=column[:1] - 1))
        return cls(of.reshape(-1).astype(np.int64), column, row, np.append(first, len(column)))

    def apart_m(self, i: Ints, j: Ints) -> Floats:
        """Return the distances of the squares of pairs of reports.

        Parameters
        ----------
        i, j : ndarray of int64
            Reports.

        Returns
        -------
        ndarray
            [m].
        """
        a, b = self.of[i], self.of[j]
        across, along = self.column[a] - self.column[b], self.row[a] - self.row[b]
        return SQUARE_M * np.sqrt((across * across + along * along).astype(np.float64))

    def summed(self, weights: tuple[Floats, Floats], width_m: float) -> tuple[Floats, Floats]:
        """Sum Epanechnikov's kernel, which integrates to 1 along a line, over all reports.

        Parameters
        ----------
        weights : two ndarrays, shape (reports,)
            What each report counts, in two ways.
        width_m : float
            Half-width of the kernel [m].

        Returns
        -------
        two ndarrays, shape (squares,)
            The sums at each square's centre [1/m].
        """
        count = len(self.column)
        masses = [np.bincount(self.of, w, count).astype(np.float64) for w in weights]
        out = np.empty((2, count))
        bounds = np.linspace(0, len(self.first) - 1, _PORTIONS + 1).astype(np.int64)

        def portion(part: int) -> None:
            _sum_kernel(
                self.first, self.column, self.row.astype(np.float64), masses[0], masses[1],
                width_m / SQUARE_M, bounds[part], bounds[part + 1], out,
            )  # fmt: skip

        # Every square is summed by itself: the number of portions changes nothing.
        with ThreadPoolExecutor(_PORTIONS) as pool:
            list(pool.map(portion, range(_PORTIONS)))
        return out[0] * (0.75 / width_m), out[1] * (0.75 / width_m)


@nb.njit(cache=True, nogil=True, fastmath={"reassoc", "contract"})
def _sum_kernel(
    first: Ints, column: Ints, row: Floats, mass: Floats, other: Floats, width: float, begin: int,
    end: int, out: Floats,
) -> None:  # fmt: skip
    """Fill the sums, but for a factor, at the squares of some columns; `width` in squares."""
    shrink = 1.0 / (width * width)
    west = begin
    for c in range(begin, end):
        here = column[first[c]]
        while west > 0 and column[first[west - 1]] > here - width:
            west -= 1
        while column[first[west]] <= here - width:
            west += 1
        out[:, first[c] : first[c + 1]] = 0.0
        for b in range(west, len(first) - 1):
            across = float(column[first[b]] - here)
            if across >= width:
                break
            flat = 1.0 - across * across * shrink
            high = width * np.sqrt(flat)
            low_q = high_q = first[b]
            last = first[b + 1]
            for p in range(first[c], first[c + 1]):
                while low_q < last and row[low_q] <= row[p] - high:
                    low_q += 1
                while high_q < last and row[high_q] < row[p] + high:
                    high_q += 1
                one, two = 0.0, 0.0
                for q in range(low_q, high_q):
                    along = row[q] - row[p]
                    kernel = flat - along * along * shrink
                    one += mass[q] * kernel
                    two += other[q] * kernel
                out[0, p] += one
                out[1, p] += two
