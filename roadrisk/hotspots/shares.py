"""Where groups come to lie in each draw: uniform numbers, as a table or made again when asked."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


class Shares(Protocol):
    """Uniform numbers in 0..1 by draw and group."""

    def of(self, group: Ints, home: Ints, draws: int) -> Floats:
        """Return the numbers of some groups.

        Parameters
        ----------
        group : ndarray of int64, shape (n,)
        home : ndarray of int64, shape (n,)
            The window of road that holds each group's middle.
        draws : int

        Returns
        -------
        ndarray, shape (draws, n)
            The same whichever groups are asked for together.
        """


@dataclass(frozen=True, eq=False)
class Table:
    """All of them in one array.

    Attributes
    ----------
    share : ndarray, shape (draws, groups)
    """

    share: Floats

    def of(self, group: Ints, home: Ints, draws: int) -> Floats:
        """Return the numbers of some groups; as `Shares.of`."""
        return np.asarray(self.share[:draws, group])


@dataclass(frozen=True, eq=False)
class ByWindow:
    """One random stream for each window of road, so that nothing has to be kept.

    Attributes
    ----------
    entropy : int
        Drawn from the step's generator.
    first, order : ndarray of int64
        Window w is the home of the groups ``order[first[w]:first[w + 1]]``.
    """

    entropy: int
    first: Ints
    order: Ints

    @classmethod
    def of_groups(cls, home: Ints, windows: int, rng: np.random.Generator) -> ByWindow:
        """Make streams for groups with these home windows."""
        order = np.argsort(home, kind="stable").astype(np.int64)
        first = np.searchsorted(home[order], np.arange(windows + 1)).astype(np.int64)
        return cls(int(rng.integers(2**62)), first, order)

    def of(self, group: Ints, home: Ints, draws: int) -> Floats:
        """Return the numbers of some groups; as `Shares.of`."""
        out = np.empty((draws, len(group)))
        column = np.argsort(home, kind="stable")
        ends = np.flatnonzero(np.diff(home[column], prepend=-1, append=-1))
        for a, b in pairwise(ends.tolist()):
            window = int(home[column[a]])
            mine = self.order[self.first[window] : self.first[window + 1]]
            stream = np.random.default_rng(np.random.SeedSequence([self.entropy, window]))
            drawn = stream.random((draws, len(mine)))
            rank = np.argsort(mine, kind="stable")
            wanted = group[column[a:b]]
            out[:, column[a:b]] = drawn[:, rank[np.searchsorted(mine[rank], wanted)]]
        return out
