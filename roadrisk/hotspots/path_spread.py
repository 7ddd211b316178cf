"""Events spread over lixels along paths, without a matrix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.kernel_shapes import mass_to
from roadrisk.hotspots.paths import paths_from, room_for_paths

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


@nb.njit(cache=True, nogil=True)
def add_event(
    n: int,
    w: float,
    e: int,
    rows_u: int,
    rows_v: int,
    rows_end: int,
    entry: Ints,
    distance: Floats,
    share: Floats,
    length: Floats,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
    stamp: int,
    mark: Ints,
    touched: Ints,
    seen: int,
    out: Floats,
) -> int:
    """Add one event's kernel.

    Parameters
    ----------
    n : int
        Lixel; the event lies in its middle.
    w : float
        Weight.
    e : int
        The lixel's edge.
    rows_u, rows_v, rows_end : int
        Paths that leave it by u are the rows from the first up to the second, those by v up to
        the third.
    entry, distance, share : ndarray
        As in `PathTable`.
    length : ndarray, shape (edges,)
    lixel_first : ndarray of int64, shape (edges + 1,)
    h : float
        Half-width [m].
    shape : int
    cut : float
        Both as in `kernel_shapes.mass_to`.
    stamp : int
        Of the unit that the event belongs to.
    mark : ndarray of int64, shape (edges,)
        Stamp that last met each edge; filled.
    touched : ndarray of int64, shape (edges,)
        Edges met under this stamp; filled.
    seen : int
        How many.
    out : ndarray, shape (lixels,)
        Filled.

    Returns
    -------
    int
        How many edges have been met now.
    """
    low, high = lixel_first[e], lixel_first[e + 1]
    size = length[e] / (high - low)
    if mark[e] != stamp:
        mark[e], touched[seen] = stamp, e
        seen += 1
    before = mass_to(0.5 * size, h, shape, cut)
    out[n] += 2.0 * w * before
    for k in range(1, max(n - low, high - 1 - n) + 1):
        if (k - 0.5) * size >= h:
            break
        after = mass_to((k + 0.5) * size, h, shape, cut)
        if n - k >= low:
            out[n - k] += w * (after - before)
        if n + k < high:
            out[n + k] += w * (after - before)
        before = after
    for row in range(rows_u, rows_end):
        d = distance[row] + ((n - low + 0.5) if row < rows_v else (high - n - 0.5)) * size
        if d >= h:
            continue
        f = entry[row] // 2
        if mark[f] != stamp:
            mark[f], touched[seen] = stamp, f
            seen += 1
        i, pieces = lixel_first[f], lixel_first[f + 1] - lixel_first[f]
        piece, step, part = length[f] / pieces, 1, w * share[row]
        if entry[row] % 2 == 1:
            i, step = i + pieces - 1, -1
        before = mass_to(d, h, shape, cut)
        for j in range(1, pieces + 1):
            after = mass_to(d + j * piece, h, shape, cut)
            out[i] += part * (after - before)
            if d + j * piece >= h:
                break
            before = after
            i += step
    return seen


@nb.njit(cache=True, nogil=True)
def spread_along(held: Ints, mass: Floats, arrays: Any, lixels: int) -> Floats:
    """Spread events by a table of paths.

    Parameters
    ----------
    held : ndarray of int64, shape (held,)
        Lixels with events.
    mass : ndarray, shape (held,)
        Theirs.
    arrays : tuple
        Of `path_kernel.PathKernel.arrays`.
    lixels : int
        Number of lixels.

    Returns
    -------
    ndarray, shape (lixels,)
    """
    first, entry, distance, share, length, edge, lixel_first, h, shape, cut = arrays
    out = np.zeros(lixels)
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    for k in range(len(held)):
        e = edge[held[k]]
        add_event(
            held[k], mass[k], e, first[2 * e], first[2 * e + 1], first[2 * e + 2], entry,
            distance, share, length, lixel_first, h, shape, cut, k, mark, touched, 0, out,
        )  # fmt: skip
    return out


@nb.njit(cache=True, nogil=True)
def spread_edges(
    edges: Ints, mass: Floats, roads: Any, rule: Any, lixel_first: Ints, shape: int, cut: float
) -> Floats:
    """Spread what lies on some edges, following the paths from each edge's ends once.

    Parameters
    ----------
    edges : ndarray of int64
    mass : ndarray, shape (lixels,)
    roads, rule : tuple
        As in `paths.paths_from`.
    lixel_first : ndarray of int64, shape (edges of the network + 1,)
    shape : int
    cut : float
        Both as in `kernel_shapes.mass_to`.

    Returns
    -------
    ndarray, shape (lixels,)
    """
    length = roads[2]
    out = np.zeros(len(mass))
    room = room_for_paths(len(length), len(roads[3]) - 1)
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    for e in edges:
        at_u, at_v = paths_from(2 * e, roads, rule, room), paths_from(2 * e + 1, roads, rule, room)
        entry = np.concatenate((at_u[0], at_v[0]))
        distance, share = np.concatenate((at_u[1], at_v[1])), np.concatenate((at_u[2], at_v[2]))
        for n in range(lixel_first[e], lixel_first[e + 1]):
            if mass[n] != 0.0:
                add_event(
                    n, mass[n], e, 0, len(at_u[0]), len(entry), entry, distance, share, length,
                    lixel_first, rule[0], shape, cut, n, mark, touched, 0, out,
                )  # fmt: skip
    return out


@nb.njit(cache=True, nogil=True)
def rows_among(lixel: Ints, number: Ints, arrays: Any) -> tuple[Ints, Ints, Floats]:
    """Kernel of an event on each of some lixels, on these lixels only.

    Parameters
    ----------
    lixel : ndarray of int64, shape (n,)
    number : ndarray of int64, shape (lixels,)
        Place of each lixel among them, -1 for the others.
    arrays : tuple
        Of `path_kernel.PathKernel.arrays`.

    Returns
    -------
    count : ndarray of int64, shape (n,)
        Entries of each row.
    column : ndarray of int64
    mass : ndarray
    """
    first, entry, distance, share, length, edge, lixel_first, h, shape, cut = arrays
    out = np.zeros(len(edge))
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    count = np.zeros(len(lixel), np.int64)
    indices, data = np.empty(64 * len(lixel) + 64, np.int64), np.empty(64 * len(lixel) + 64)
    used = 0
    for k in range(len(lixel)):
        e = edge[lixel[k]]
        seen = add_event(
            lixel[k], 1.0, e, first[2 * e], first[2 * e + 1], first[2 * e + 2], entry, distance,
            share, length, lixel_first, h, shape, cut, k, mark, touched, 0, out,
        )  # fmt: skip
        for t in range(seen):
            for i in range(lixel_first[touched[t]], lixel_first[touched[t] + 1]):
                if out[i] != 0.0 and number[i] >= 0:
                    indices, data = grown(indices, used + 1), grown(data, used + 1)
                    indices[used], data[used] = number[i], out[i]
                    used += 1
                    count[k] += 1
                out[i] = 0.0
    return count, indices[:used].copy(), data[:used].copy()


@nb.njit(cache=True, nogil=True)
def mean_sizes(edges: Ints, roads: Any, rule: Any, lixel_first: Ints) -> tuple[float, float]:
    """Mean number of lixels an event reaches, and of paths an edge end has, over some edges.

    Parameters
    ----------
    edges : ndarray of int64
    roads, rule : tuple
        As in `paths.paths_from`.
    lixel_first : ndarray of int64, shape (edges of the network + 1,)

    Returns
    -------
    lixels, paths : float
        Estimates.
    """
    length = roads[2]
    room = room_for_paths(len(length), len(roads[3]) - 1)
    mark = np.full(len(length), -1, np.int64)
    reached = paths = 0.0
    for e in edges:
        for side in range(2):
            entry, at, _ = paths_from(2 * e + side, roads, rule, room)
            paths += len(entry)
            for r in range(len(entry)):  # the nearest row of an entry comes first
                f = entry[r] // 2
                if mark[f] != e and at[r] + length[e] / 2 < rule[0]:
                    mark[f] = e
                    pieces = lixel_first[f + 1] - lixel_first[f]
                    left = (rule[0] - at[r] - length[e] / 2) / length[f]
                    reached += pieces * min(left, 1.0)
        reached += lixel_first[e + 1] - lixel_first[e]
    return reached / len(edges), paths / (2 * len(edges))
