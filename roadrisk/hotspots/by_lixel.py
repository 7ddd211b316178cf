"""Which pieces of events lie on some lixels, found without looking at all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Ints


@dataclass(frozen=True, eq=False)
class ByLixel:
    """Rows sorted by a number they carry.

    Attributes
    ----------
    order, number : ndarray of int64, shape (rows,)
        The rows as sorted, and the numbers of these.
    """

    order: Ints
    number: Ints

    @classmethod
    def of(cls, number: NDArray[np.integer]) -> ByLixel:
        """Sort rows by the number that each one carries."""
        order = np.argsort(number, kind="stable")
        return cls(order.astype(np.int64), np.asarray(number[order], np.int64))

    def rows(self, numbers: Ints) -> Ints:
        """Return the rows that carry one of some numbers.

        Parameters
        ----------
        numbers : ndarray of int64

        Returns
        -------
        ndarray of int64
            Rising.
        """
        wanted = np.unique(numbers)
        first = np.searchsorted(self.number, wanted)
        size = np.searchsorted(self.number, wanted, side="right") - first
        begin = np.repeat(first - (np.cumsum(size) - size), size)
        return np.sort(self.order[np.arange(size.sum()) + begin])
