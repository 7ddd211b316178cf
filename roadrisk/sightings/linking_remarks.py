"""Likeness of remarks: how many of their telling words two of them share."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

_LONGEST_REMARK = 2000
_WORD = re.compile(r"[^\W_]{3,}")
LIKENESS_EDGES = (1e-9, 0.1, 0.25, 0.5, 0.75)
LIKENESS_BINS = len(LIKENESS_EDGES) + 1


class Remarks:
    """Likeness of remarks: how much of the telling words two of them share.

    A word tells the more the fewer remarks hold it (log of the inverse share); the likeness is
    the weight of shared words over that of all words of the two.

    Parameters
    ----------
    text : Series of str
        The remarks.

    Attributes
    ----------
    filled : ndarray of bool
        Remarks that hold any word.
    """

    def __init__(self, text: pd.Series[str]) -> None:
        said, distinct = pd.factorize(text.to_numpy(object))
        number: dict[str, int] = {}
        bags = [
            [number.setdefault(w, len(number)) for w in dict.fromkeys(_WORD.findall(t))]
            for t in (remark[:_LONGEST_REMARK].casefold() for remark in distinct)
        ]
        size = np.array([len(bag) for bag in bags], np.int64)
        words = np.array([w for bag in bags for w in bag], np.int64)
        often = np.bincount(said, minlength=len(distinct))
        holding = np.bincount(words, np.repeat(often, size), len(number))
        self.filled = (size > 0)[said]
        weight = np.log((max(int(self.filled.sum()), 1) + 1) / holding)
        # A remark's words by their weight, so that two are compared in one pass.
        rank = np.empty(len(number), np.int64)
        rank[np.argsort(weight, kind="stable")] = np.arange(len(number))
        order = np.lexsort((rank[words], np.repeat(np.arange(len(bags)), size)))
        self._weight, self._words = np.sort(weight), rank[words][order]
        self._begin = np.concatenate([[0], np.cumsum(size)])
        self._said = said.astype(np.int64)

    def bins(self, i: Ints, j: Ints) -> Ints:
        """Bin of the likeness of pairs of remarks; -1 where one is empty."""
        out = np.full(len(i), -1, np.int64)
        some = np.flatnonzero(self.filled[i] & self.filled[j])
        alike = _likeness(self._weight, self._words, self._begin, self._said, i[some], j[some])
        out[some] = np.searchsorted(LIKENESS_EDGES, alike, "right")
        return out


@nb.njit(cache=True, nogil=True)
def _likeness(weight: Floats, words: Ints, begin: Ints, said: Ints, i: Ints, j: Ints) -> Floats:
    """Weight of shared words over that of all words of two remarks, by pair."""
    out = np.zeros(len(i))
    for k in range(len(i)):
        a, b = said[i[k]], said[j[k]]
        p, q, shared, whole = begin[a], begin[b], 0.0, 0.0
        while p < begin[a + 1] or q < begin[b + 1]:
            if q >= begin[b + 1] or (p < begin[a + 1] and words[p] < words[q]):
                whole += weight[words[p]]
                p += 1
            elif p >= begin[a + 1] or words[q] < words[p]:
                whole += weight[words[q]]
                q += 1
            else:
                whole += weight[words[p]]
                shared += weight[words[p]]
                p, q = p + 1, q + 1
        out[k] = shared / whole if whole > 0.0 else 0.0
    return out
