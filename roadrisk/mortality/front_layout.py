"""Fronts: a symmetric matrix of small blocks, laid out to be factored in dense steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.mortality.sparse_factor import lay_pattern, pattern_in_order

if TYPE_CHECKING:
    from roadrisk.mortality.sparse_factor import Pattern
    from roadrisk.roads.network import Ints

# A front takes its last child in where so few of the numbers it then holds are zero.
_ZEROS_SHARE, _NARROW = 0.15, 12


@dataclass(frozen=True, eq=False)
class Fronts:
    """Order of elimination of groups of unknowns, and the dense fronts they are eliminated in.

    Attributes
    ----------
    rank : ndarray of int64, shape (groups,)
        Place of each group in the order of elimination.
    first : ndarray of int64, shape (groups + 1,)
        In that order: the first unknown of each group.
    own : ndarray of int64, shape (fronts + 1,)
        Front k eliminates the groups ``own[k]:own[k + 1]``.
    rows, row_starts : ndarray of int64
        Groups of each front, ascending: those it eliminates, then those it changes.
    child, child_starts : ndarray of int64
        Fronts whose rest is added to each, ascending.
    panel : ndarray of int64, shape (fronts + 1,)
        Where each front's eliminated rows stand among all.
    wide, stacked : int
        Unknowns of the widest front; numbers that wait at once at most.
    work : float
        About the multiplications of one factor.
    """

    rank: Ints
    first: Ints
    own: Ints
    rows: Ints
    row_starts: Ints
    child: Ints
    child_starts: Ints
    panel: Ints
    wide: int
    stacked: int
    work: float


def lay_fronts(width: Ints, a: Ints, b: Ints, *, far: int = 0) -> Fronts:
    """Choose the order of elimination and gather groups into fronts.

    Parameters
    ----------
    width : ndarray of int64, shape (groups,)
        Unknowns of each group, which are eliminated together.
    a, b : ndarray of int64, shape (pairs,)
        Groups whose unknowns meet.
    far : int
        So many groups at the end reach far (roads): they are eliminated last if that is less work.

    Returns
    -------
    Fronts

    Notes
    -----
    Multifrontal method (Duff & Reid 1983, ACM TOMS 9:302, from memory). The order is that of
    minimum degree on groups, children before their parents; groups that fill alike share a front.
    """
    size = len(width)
    found = _in_order(width, a, b, lay_pattern(size, a, b))
    if not 0 < far < size:
        return found
    near = (a < size - far) & (b < size - far)
    begin = lay_pattern(size - far, a[near], b[near]).rank
    rank = np.concatenate([begin, np.arange(size - far, size)])
    other = _in_order(width, a, b, pattern_in_order(size, a, b, rank))
    return found if found.work <= other.work else other


def _in_order(width: Ints, a: Ints, b: Ints, first: Pattern) -> Fronts:
    size = len(width)
    rank = _postorder(first.parent)[first.rank]
    pattern = pattern_in_order(size, a, b, rank)
    in_order = np.empty(size, dtype=np.int64)
    in_order[rank] = width
    offset = np.concatenate([[0], np.cumsum(in_order)]).astype(np.int64)
    own = _gathered(pattern.parent, pattern.below, pattern.below_starts, in_order)
    rows, row_starts = _rows(own, pattern.below, pattern.below_starts)
    count = len(own) - 1
    last = own[1:] - 1
    up = pattern.parent[last]
    parent = np.where(up < 0, count, np.searchsorted(own, up, side="right") - 1)
    child = np.argsort(parent, kind="stable")[: int((parent < count).sum())].astype(np.int64)
    child_starts = np.searchsorted(parent[child], np.arange(count + 1)).astype(np.int64)
    of = np.repeat(np.arange(count), np.diff(row_starts))
    height = np.bincount(of, in_order[rows], count).astype(np.int64)
    eliminated = offset[own[1:]] - offset[own[:-1]]
    panel = np.concatenate([[0], np.cumsum(eliminated * height)]).astype(np.int64)
    rest = (height - eliminated) ** 2
    stacked = max(_most(rest, child_starts), _most_down(rest, child, child_starts))
    return Fronts(
        rank, offset, own, rows, row_starts, child, child_starts, panel, int(height.max()),
        stacked, float((eliminated * height.astype(np.float64) ** 2).sum()),
    )  # fmt: skip


@nb.njit(cache=True, nogil=True)
def _postorder(parent: Ints) -> Ints:
    """Place of each column where every subtree is eliminated in one go."""
    size = len(parent)
    head = np.full(size + 1, -1, dtype=np.int64)
    follow = np.full(size, -1, dtype=np.int64)
    for j in range(size - 1, -1, -1):
        up = parent[j] if parent[j] >= 0 else size
        follow[j] = head[up]
        head[up] = j
    place = np.empty(size, dtype=np.int64)
    stack = np.empty(size + 1, dtype=np.int64)
    count, done = 1, 0
    stack[0] = size
    while count > 0:
        here = stack[count - 1]
        below = head[here]
        if below >= 0:
            head[here] = follow[below]
            stack[count] = below
            count += 1
        else:
            count -= 1
            if here < size:
                place[here] = done
                done += 1
    return place


@nb.njit(cache=True, nogil=True)
def _gathered(parent: Ints, below: Ints, below_starts: Ints, width: Ints) -> Ints:
    """First group of every front: columns that fill alike, and nearly alike, together."""
    size = len(parent)
    first = np.empty(size + 1, dtype=np.int64)
    held = np.empty(size, dtype=np.int64)  # unknowns eliminated
    rest = np.empty(size, dtype=np.int64)  # unknowns changed
    zeros = np.empty(size, dtype=np.int64)
    count = 0
    for j in range(size):
        changed = 0
        for p in range(below_starts[j], below_starts[j + 1]):
            changed += width[below[p]]
        first[count], held[count], rest[count], zeros[count] = j, width[j], changed, 0
        count += 1
        while count > 1:
            c, s = count - 2, count - 1
            if parent[first[s] - 1] != first[s]:
                break
            more = held[c] * (held[s] + rest[s] - rest[c])
            total = zeros[c] + zeros[s] + more
            whole = (held[c] + held[s]) * (held[c] + held[s] + rest[s])
            if more > 0 and total > _ZEROS_SHARE * whole and held[c] + held[s] > _NARROW:
                break
            held[c] += held[s]
            rest[c], zeros[c] = rest[s], total
            count -= 1
    first[count] = size
    return first[: count + 1].copy()


@nb.njit(cache=True, nogil=True)
def _rows(own: Ints, below: Ints, below_starts: Ints) -> tuple[Ints, Ints]:
    count, size = len(own) - 1, len(below_starts) - 1
    starts = np.zeros(count + 1, dtype=np.int64)
    flag = np.full(size, -1, dtype=np.int64)
    for turn in range(2):
        if turn == 1:
            rows = np.empty(starts[count], dtype=np.int64)
            flag[:] = -1
        for k in range(count):
            filled = starts[k] if turn == 1 else 0
            for j in range(own[k], own[k + 1]):
                for p in range(below_starts[j] - 1, below_starts[j + 1]):
                    row = below[p] if p >= below_starts[j] else j
                    if flag[row] != k:
                        flag[row] = k
                        if turn == 1:
                            rows[filled] = row
                        filled += 1
            if turn == 0:
                starts[k + 1] = starts[k] + filled
            else:
                rows[starts[k] : starts[k + 1]].sort()
    return rows, starts


@nb.njit(cache=True, nogil=True)
def _most(rest: Ints, child_starts: Ints) -> int:
    """Numbers that wait at most while fronts are eliminated, children before parents."""
    waiting = np.empty(len(rest), dtype=np.int64)
    count, now, most = 0, 0, 0
    for k in range(len(rest)):
        for _ in range(child_starts[k + 1] - child_starts[k]):
            count -= 1
            now -= waiting[count]
        waiting[count] = rest[k]
        now += rest[k]
        count += 1
        most = max(most, now)
    return most


@nb.njit(cache=True, nogil=True)
def _most_down(rest: Ints, child: Ints, child_starts: Ints) -> int:
    """Numbers that wait at most on the way back, parents before children."""
    now, most = 0, 0
    for k in range(len(rest) - 1, -1, -1):
        now -= rest[k]
        for p in range(child_starts[k], child_starts[k + 1]):
            now += rest[child[p]]
        most = max(most, now)
    return most
