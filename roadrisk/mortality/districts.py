"""Districts: connected parts of the roads, small enough to be worked on one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Below this share of a part its smaller half is not made connected at any price.
_LEAST_SHARE = 0.2


def lay_districts(size: int, a: Ints, b: Ints, most: int, xy: Floats | None = None) -> Ints:
    """Group pieces that touch into connected districts.

    Parameters
    ----------
    size : int
        Pieces.
    a, b : ndarray of int64, shape (pairs,)
        Pieces that touch.
    most : int
        Pieces a district may have.
    xy : ndarray, shape (pieces, 2), optional
        Middles of the pieces [m, projected]. Without them parts are cut by the number of pieces
        from one of their ends.

    Returns
    -------
    ndarray of int64, shape (pieces,)
        District of each piece, 0..n-1, numbered by their first pieces.

    Notes
    -----
    Parts are halved again and again (recursive coordinate bisection, common practice in cutting
    meshes): across their longer side at the median, after which what the cut left apart from
    either half goes to the other. Each connected part of the network has districts of its own.
    n log n.
    """
    starts, other = _touching(size, a, b)
    use = np.zeros((size, 2)) if xy is None else np.ascontiguousarray(xy, dtype=np.float64)
    label = _halved(starts, other, use, xy is not None, most)
    _, first, at = np.unique(label, return_index=True, return_inverse=True)
    number = np.empty(len(first), dtype=np.int64)
    number[np.argsort(first, kind="stable")] = np.arange(len(first))
    return number[at]


def _touching(size: int, a: Ints, b: Ints) -> tuple[Ints, Ints]:
    """Neighbours of every piece, one after the other, in a set order."""
    both, other = np.concatenate([a, b]), np.concatenate([b, a])
    order = np.lexsort((other, both))
    starts = np.searchsorted(both[order], np.arange(size + 1)).astype(np.int64)
    return starts, other[order].astype(np.int64)


@nb.njit(cache=True, nogil=True)
def _halved(starts: Ints, other: Ints, xy: Floats, placed: bool, most: int) -> Ints:
    size = len(starts) - 1
    label = np.zeros(size, dtype=np.int64)
    queue = np.empty(size, dtype=np.int64)
    used = 1
    # Connected parts first.
    label[:] = -1
    for piece in range(size):
        if label[piece] == -1:
            label[piece] = used
            _spread(starts, other, label, -1, used, piece, queue)
            used += 1
    waiting = list(range(1, used))
    members = np.argsort(label)
    bounds = [(0, 0)]
    at = 0
    for _ in waiting:
        own = label[members[at]]
        stop = at
        while stop < size and label[members[stop]] == own:
            stop += 1
        bounds.append((at, stop))
        at = stop
    while len(waiting) > 0:
        own = waiting.pop()
        low, high = bounds[own]
        if high - low <= most:
            continue
        part = members[low:high]
        part.sort()
        fresh = used
        used += 1
        _halve(starts, other, xy, placed, label, part, own, fresh, queue)
        left = part[label[part] == own]
        right = part[label[part] == fresh]
        members[low : low + len(left)] = left
        members[low + len(left) : high] = right
        bounds[own] = (low, low + len(left))
        bounds.append((low + len(left), high))
        waiting.append(own)
        waiting.append(fresh)
    return label


@nb.njit(cache=True, nogil=True)
def _spread(
    starts: Ints, other: Ints, label: Ints, old: int, new: int, piece: int, queue: Ints
) -> int:
    """Give all that hangs together with a piece and has the old label the new one."""
    queue[0] = piece
    label[piece] = new
    count, done = 1, 0
    while done < count:
        here = queue[done]
        done += 1
        for p in range(starts[here], starts[here + 1]):
            if label[other[p]] == old:
                label[other[p]] = new
                queue[count] = other[p]
                count += 1
    return count


@nb.njit(cache=True, nogil=True)
def _halve(
    starts: Ints, other: Ints, xy: Floats, placed: bool, label: Ints, part: Ints, own: int,
    fresh: int, queue: Ints,
) -> None:  # fmt: skip
    """Give about half of a connected part another label; both halves stay connected."""
    count = len(part)
    if placed:
        across = 0
        for axis in range(2):
            if np.ptp(xy[part, axis]) > np.ptp(xy[part, 1 - axis]):
                across = axis
        order = part[np.argsort(xy[part, across], kind="mergesort")]
    else:
        # Twice from the piece that was reached last: from one far end to the other.
        _spread(starts, other, label, own, -2, part[0], queue)
        _spread(starts, other, label, -2, own, queue[count - 1], queue)
        _spread(starts, other, label, own, -2, queue[count - 1], queue)
        order = queue[:count].copy()
        label[part] = own
    for k in range(count // 2, count):
        label[order[k]] = fresh
    _mend(starts, other, label, part, own, fresh, queue)
    _mend(starts, other, label, part, fresh, own, queue)
    here = 0
    for piece in part:
        here += label[piece] == own
    if min(here, count - here) < _LEAST_SHARE * count:
        for k in range(count):
            label[order[k]] = own if k < count // 2 else fresh


@nb.njit(cache=True, nogil=True)
def _mend(
    starts: Ints, other: Ints, label: Ints, part: Ints, own: int, rest: int, queue: Ints
) -> None:
    """Leave a label to the largest connected set that has it; the others go to the rest."""
    best, most = -1, 0
    for piece in part:
        if label[piece] == own:
            size = _spread(starts, other, label, own, -2, piece, queue)
            if size > most:
                best, most = piece, size
    if best >= 0:
        _spread(starts, other, label, -2, own, best, queue)
    for piece in part:
        if label[piece] == -2:
            label[piece] = rest
