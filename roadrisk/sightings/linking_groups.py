"""Groups of reports, and what people decided by hand about pairs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from roadrisk.roads.network import Floats, Ints

_RATHER = 0.5


@dataclass(frozen=True, eq=False)
class ByHand:
    """Pairs that people joined or took apart, by row.

    Attributes
    ----------
    unit : ndarray of int64
        Reports that were joined, also by way of others, share a number; -1 for the others.
    same_i, same_j, apart_i, apart_j : ndarray of int64
        The pairs, the earlier row first. A pair taken apart that other pairs join is in neither.
    notes : tuple of str
        Pairs that contradict each other.
    """

    unit: Ints
    same_i: Ints
    same_j: Ints
    apart_i: Ints
    apart_j: Ints
    notes: tuple[str, ...]


def read_by_hand(keys: pd.Series, pairs: Mapping[tuple[str, str], bool]) -> ByHand:
    """Find pairs decided by hand among reports.

    Parameters
    ----------
    keys : Series of str
        report_key of each row, which are numbered from 0.
    pairs : mapping
        Pairs of report_keys: True for one animal, False for two. Pairs of reports that aren't there
        are passed over.

    Returns
    -------
    ByHand
    """
    mentioned = keys[keys.isin({key for pair in pairs for key in pair})]
    row = {str(key): k for k, key in zip(mentioned.index, mentioned, strict=True)}
    known = sorted(
        (min(row[a], row[b]), max(row[a], row[b]), same)
        for (a, b), same in pairs.items()
        if a in row and b in row and a != b
    )
    parent = list(range(len(keys))) if known else []
    for i, j, same in known:
        if same:
            a, b = _root(parent, i), _root(parent, j)
            parent[max(a, b)] = min(a, b)
    joined = {k for i, j, same in known if same for k in (i, j)}
    unit = np.full(len(keys), -1, np.int64)
    for k in joined:
        unit[k] = _root(parent, k)
    clash = [(i, j) for i, j, same in known if not same and _root(parent, i) == _root(parent, j)]
    apart = [(i, j) for i, j, same in known if not same and (i, j) not in set(clash)]
    together = [(i, j) for i, j, same in known if same]
    notes = tuple(
        f"{keys.iloc[i]} and {keys.iloc[j]} were taken apart by hand, but other pairs joined by "
        "hand make them one animal: they are counted as one."
        for i, j in clash
    )
    return ByHand(unit, *_columns(together), *_columns(apart), notes)


def _columns(rows: list[tuple[int, int]]) -> tuple[Ints, Ints]:
    table = np.array(rows, np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _root(parent: list[int], i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


def group_of(n: int, pairs: pd.DataFrame) -> Ints:
    """Return groups of reports that are rather one animal than not.

    Parameters
    ----------
    n : int
        Number of reports.
    pairs : DataFrame
        Columns i, j, probability; a pair that isn't listed has the chance 0.

    Returns
    -------
    ndarray of int64, shape (n,)
        Numbered in order of their first rows. Two groups are joined, likeliest pair first, if the
        mean chance of all pairs between them is at least one half.
    """
    i, j = pairs["i"].to_numpy(np.int64), pairs["j"].to_numpy(np.int64)
    chance: Floats = pairs["probability"].to_numpy(np.float64)
    low, high = np.minimum(i, j), np.maximum(i, j)
    key = low * max(n, 1) + high
    # Of a pair that is listed twice the last counts.
    by_key = np.lexsort((np.arange(len(key)), key))
    last = np.append(np.diff(key[by_key]) > 0, True)[: len(key)]
    known = by_key[last]
    likeliest = np.lexsort((high, low, -chance))
    likeliest = likeliest[chance[likeliest] >= _RATHER]
    owner = _joined(n, i[likeliest], j[likeliest], key[known], chance[known])
    _, number = np.unique(owner, return_inverse=True)
    return number.reshape(-1).astype(np.int64)


@nb.njit(cache=True, nogil=True)
def _joined(n: int, i: Ints, j: Ints, key: Ints, chance: Floats) -> Ints:
    """Return the first row of each row's group; `key` is in order."""
    owner, last, after, size = np.arange(n), np.arange(n), np.full(n, -1), np.ones(n, np.int64)
    for k in range(len(i)):
        a, b = owner[i[k]], owner[j[k]]
        if a == b:
            continue
        total, p = 0.0, a
        while p >= 0:
            q = b
            while q >= 0:
                wanted = min(p, q) * n + max(p, q)
                at = np.searchsorted(key, wanted)
                if at < len(key) and key[at] == wanted:
                    total += chance[at]
                q = after[q]
            p = after[p]
        if total < _RATHER * size[a] * size[b]:
            continue
        keep, drop = min(a, b), max(a, b)
        q = drop
        while q >= 0:
            owner[q] = keep
            q = after[q]
        after[last[keep]] = drop
        last[keep] = last[drop]
        size[keep] += size[drop]
    return owner
