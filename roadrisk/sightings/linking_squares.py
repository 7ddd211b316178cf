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
# Squares side by side in one strip: wide enough that a sum runs along few strips, and along each
# for long; narrow enough that little of it lies beyond a kernel's edge.
_STRIP = 16
_PORTIONS = 4


@dataclass(frozen=True, eq=False)
class Squares:
    """Squares of 25 m that hold reports, in strips from west to east, each from the south.

    Attributes
    ----------
    of : ndarray of int64, shape (reports,)
        The square of each report.
    column, row : ndarray of float64, shape (squares,)
        Of the grid; whole numbers.
    strip : ndarray of int64
        Strips of 16 columns that hold any.
    first : ndarray of int64
        First square of each strip, and the number of squares at the end.
    """

    of: Ints
    column: Floats
    row: Floats
    strip: Ints
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
        key = (column // _STRIP * high + row - low) * _STRIP + column % _STRIP
        squares, of = np.unique(key, return_inverse=True)
        inside, strips = squares // _STRIP, squares // _STRIP // high
        first = np.flatnonzero(np.diff(strips, prepend=strips[:1] - 1))
        return cls(
            of.reshape(-1).astype(np.int64),
            (strips * _STRIP + squares % _STRIP).astype(np.float64),
            (inside % high + low).astype(np.float64),
            strips[first],
            np.append(first, len(squares)),
        )

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
        return np.asarray(SQUARE_M * np.sqrt(across * across + along * along), np.float64)

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
                self.strip, self.first, self.column, self.row, masses[0], masses[1],
                width_m / SQUARE_M, bounds[part], bounds[part + 1], out,
            )  # fmt: skip

        # Every square is summed by itself: the number of portions changes nothing.
        with ThreadPoolExecutor(_PORTIONS) as pool:
            list(pool.map(portion, range(_PORTIONS)))
        return out[0] * (0.75 / width_m), out[1] * (0.75 / width_m)


@nb.njit(cache=True, nogil=True, fastmath={"reassoc", "contract", "nsz"})
def _sum_kernel(
    strip: Ints, first: Ints, column: Floats, row: Floats, mass: Floats, other: Floats,
    width: float, begin: int, end: int, out: Floats,
) -> None:  # fmt: skip
    """Fill the sums, but for a factor, at the squares of some strips; `width` in squares."""
    shrink = 1.0 / (width * width)
    for c in range(begin, end):
        out[:, first[c] : first[c + 1]] = 0.0
        west = c
        while west > 0 and (strip[c] - strip[west - 1] - 1) * _STRIP + 1 < width:
            west -= 1
        for b in range(west, len(strip)):
            if (strip[b] - strip[c] - 1) * _STRIP + 1 >= width:
                break
            low = high = first[b]
            last = first[b + 1]
            for p in range(first[c], first[c + 1]):
                x, y = column[p], row[p]
                while low < last and row[low] <= y - width:
                    low += 1
                while high < last and row[high] < y + width:
                    high += 1
                one, two = 0.0, 0.0
                for q in range(low, high):
                    across, along = column[q] - x, row[q] - y
                    kernel = 1.0 - (across * across + along * along) * shrink
                    kernel = max(0.0, kernel)
                    one += mass[q] * kernel
                    two += other[q] * kernel
                out[0, p] += one
                out[1, p] += two
