"""One event's kernel over the lixels around it, edge by edge: rows of the kernel's matrix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.kernel_shapes import mass_to, odd_powers
from roadrisk.hotspots.paths import paths_from, room_for_paths

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


@nb.njit(cache=True, nogil=True)
def rows_of_edges(
    chosen: Ints,
    roads: Any,
    rule: Any,
    lixel_first: Ints,
    shape: int,
    cut: float,
    whole: bool,
) -> tuple[Ints, Ints, Floats]:
    """Kernel masses on all lixels, for an event in the middle of each lixel of some edges.

    Parameters
    ----------
    chosen : ndarray of int64
        The edges.
    roads, rule : tuple
        As in `paths.paths_from`; the reach is the kernel's half-width.
    lixel_first : ndarray of int64, shape (edges + 1,)
        First lixel of each edge.
    shape : int
        Of `kernel_shapes.SHAPES`.
    cut : float
        As in `kernel_shapes.height`.
    whole : bool
        Scale each row to a mass of 1: rounding, and what `path_wave` takes for less.

    Returns
    -------
    count : ndarray of int64, shape (lixels of these edges,)
        Entries of each row.
    lixel : ndarray of int32
        Row after row, rising within each.
    mass : ndarray
        Kernel integrated over the lixel.
    """
    length, h = roads[2], rule[0]
    edges = len(length)
    room = room_for_paths(edges, len(roads[3]) - 1)
    group_of = np.full(2 * edges, -1, np.int64)
    sums = np.zeros(lixel_first[-1])
    touched, mark = np.empty(edges, np.int64), np.full(edges, -1, np.int64)
    rows = 0
    for e in chosen:
        rows += lixel_first[e + 1] - lixel_first[e]
    count = np.zeros(rows, np.int64)
    lixel: Any = np.empty(128 * rows + 16, np.int32)
    mass = np.empty(128 * rows + 16)
    used = row = 0
    for e in chosen:
        u_ends, u_first, u_near, u_weight, u_sums = _grouped(
            2 * e, roads, rule, room, group_of, shape
        )
        v_ends, v_first, v_near, v_weight, v_sums = _grouped(
            2 * e + 1, roads, rule, room, group_of, shape
        )
        size = length[e] / (lixel_first[e + 1] - lixel_first[e])
        for n in range(lixel_first[e], lixel_first[e + 1]):
            s = (n - lixel_first[e] + 0.5) * size
            touched[0], mark[e], seen = e, n, 1
            _own_edge(n, lixel_first[e], lixel_first[e + 1], size, h, shape, cut, sums)
            seen = _side(
                s, u_ends, u_first, u_near, u_weight, u_sums, n, length, h, lixel_first, sums,
                touched, mark, seen, shape, cut,
            )  # fmt: skip
            seen = _side(
                length[e] - s, v_ends, v_first, v_near, v_weight, v_sums, n, length, h,
                lixel_first, sums, touched, mark, seen, shape, cut,
            )  # fmt: skip
            near = touched[:seen]
            _sort(near)
            room_needed = 0
            for f in near:
                room_needed += lixel_first[f + 1] - lixel_first[f]
            lixel, mass = grown(lixel, used + room_needed), grown(mass, used + room_needed)
            start, total = used, 0.0
            for f in near:
                for i in range(lixel_first[f], lixel_first[f + 1]):
                    if sums[i] != 0.0:
                        lixel[used], mass[used] = i, sums[i]
                        total += sums[i]
                        used += 1
                        sums[i] = 0.0
            if whole:
                mass[start:used] /= total
            count[row] = used
            row += 1
    count[1:] -= count[:-1].copy()
    return count, lixel[:used].copy(), mass[:used].copy()


@nb.njit(cache=True, nogil=True)
def _grouped(
    x: int, roads: Any, rule: Any, room: Any, group_of: Ints, shape: int
) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    """Paths from an exit sorted by the edge end they enter, with running sums of a polynomial.

    A kernel of odd powers, integrated from 0 to t + y with t a path's distance and y what comes
    before and after it, is a polynomial in y; the coefficients of all paths that still reach add
    up, so that any number of them costs one evaluation. The last item is empty for a shape that
    is none.
    """
    entry, at, share = paths_from(x, roads, rule, room)
    c1, c3, c5 = odd_powers(shape)
    groups = 0
    ends = np.empty(len(entry), np.int64)
    for r in range(len(entry)):
        if group_of[entry[r]] < 0:
            group_of[entry[r]] = groups
            ends[groups] = entry[r]
            groups += 1
    first = np.zeros(groups + 1, np.int64)
    for r in range(len(entry)):
        first[group_of[entry[r]] + 1] += 1
    for g in range(groups):
        first[g + 1] += first[g]
    fill = first[:-1].copy()
    order = np.empty(len(entry), np.int64)
    for r in range(len(entry)):
        order[fill[group_of[entry[r]]]] = r
        fill[group_of[entry[r]]] += 1
    for g in range(groups):
        group_of[ends[g]] = -1
    near, weight = at[order], share[order]
    polynomial = np.zeros((len(entry) + 1 if c1 != 0.0 else 0, 7))
    for r in range(len(polynomial) - 1):
        t, w = near[r] / rule[0], weight[r]
        t2 = t * t
        before, q = polynomial[r], polynomial[r + 1]
        q[0] = before[0] + w * t * (c1 + t2 * (c3 + t2 * c5))
        q[1] = before[1] + w * (c1 + t2 * (3.0 * c3 + 5.0 * c5 * t2))
        q[2] = before[2] + w * t * (3.0 * c3 + 10.0 * c5 * t2)
        q[3] = before[3] + w * (c3 + 10.0 * c5 * t2)
        q[4] = before[4] + w * 5.0 * c5 * t
        q[5] = before[5] + w * c5
        q[6] = before[6] + w
    return ends[:groups].copy(), first, near, weight, polynomial


@nb.njit(cache=True, nogil=True)
def _side(
    gone: float,
    ends: Ints,
    first: Ints,
    near: Floats,
    weight: Floats,
    polynomial: Floats,
    n: int,
    length: Floats,
    h: float,
    lixel_first: Ints,
    sums: Floats,
    touched: Ints,
    mark: Ints,
    seen: int,
    shape: int,
    cut: float,
) -> int:
    """Add what leaves by one end of the event's edge, `gone` metres from it."""
    if gone >= h:
        return seen
    for g in range(len(ends)):
        if gone + near[first[g]] >= h:
            continue
        f = ends[g] // 2
        if mark[f] != n:
            mark[f], touched[seen] = n, f
            seen += 1
        _along(
            gone, first[g], first[g + 1], near, weight, polynomial, lixel_first[f],
            lixel_first[f + 1] - 1, ends[g] % 2 == 1, length[f], h, sums, shape, cut,
        )  # fmt: skip
    return seen


@nb.njit(cache=True, nogil=True)
def _along(
    gone: float,
    low: int,
    high: int,
    near: Floats,
    weight: Floats,
    polynomial: Floats,
    i: int,
    last: int,
    turned: bool,
    length: float,
    h: float,
    sums: Floats,
    shape: int,
    cut: float,
) -> None:
    """Add what all paths of a group, rows `low` to `high`, bring to the edge they enter."""
    piece = length / (last + 1 - i)
    step = 1
    if turned:
        i, last, step = last, i, -1
    single = high - low == 1 or len(polynomial) == 0
    # Mass up to y past the entered end, over all paths; 1/2 for each that has come to its end.
    y, before, some = gone, 0.0, high
    for k in range(abs(last - i) + 2):
        total = 0.0
        if single:
            for r in range(low, high):
                total += weight[r] * mass_to(near[r] + y, h, shape, cut)
        else:
            while some > low and near[some - 1] + y >= h:
                some -= 1
            for c in range(5, -1, -1):
                total = total * (y / h) + (polynomial[some, c] - polynomial[low, c])
            total += 0.5 * (polynomial[high, 6] - polynomial[some, 6])
        if k > 0:
            sums[i] += total - before
            i += step
            if near[low] + y >= h:
                return
        before = total
        y = gone + (k + 1) * piece


@nb.njit(cache=True, nogil=True)
def _own_edge(
    n: int, low: int, high: int, size: float, h: float, shape: int, cut: float, sums: Floats
) -> None:
    """Lixels of the event's own edge, both ways, before any node is met."""
    half = mass_to(0.5 * size, h, shape, cut)
    sums[n] += 2.0 * half
    before = half
    for k in range(1, max(n - low, high - 1 - n) + 1):
        if (k - 0.5) * size >= h:
            break
        after = mass_to((k + 0.5) * size, h, shape, cut)
        if n - k >= low:
            sums[n - k] += after - before
        if n + k < high:
            sums[n + k] += after - before
        before = after


@nb.njit(cache=True, nogil=True)
def _sort(a: Ints) -> None:
    """Sort a short array in place."""
    for i in range(1, len(a)):
        value, j = a[i], i
        while j > 0 and a[j - 1] > value:
            a[j] = a[j - 1]
            j -= 1
        a[j] = value
