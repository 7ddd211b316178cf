"""The search of the scan: the best run of lixels along the roads, on flat arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.hotspots.scan_walks import SLACK_M, runs_from

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Ratio, length, edge end left by, depth, first and last lixel, mass, expected: no run yet.
NOTHING = (0.0, np.inf, -1, 0, -1, -1, 0.0, 0.0)


@nb.njit(cache=True, nogil=True)
def best_run(
    held: Ints,
    mass: Floats,
    expected: Floats,
    taken: Ints,
    total: float,
    shortest: float,
    longest: float,
    limit: Floats,
    graph: Any,
    room: Any,
) -> tuple[float, float, int, int, int, int, float, float]:
    """Find the run of lixels with the highest likelihood ratio.

    Parameters
    ----------
    held : ndarray of int64, shape (held,)
        Lixels that hold mass, rising.
    mass : ndarray, shape (held,)
        Theirs.
    expected : ndarray, shape (lixels + 1,)
        Cumulative expected counts, adding up to `total`.
    taken : ndarray of int64, shape (lixels + 1,)
        Cumulative count of lixels that no run may use.
    total : float
        Sum of `mass`.
    shortest : float
        A shorter run is rated as if it expected as much as one of this length [m].
    longest : float
        Length a run may have [m].
    limit : ndarray, shape (2 * edges,)
        How far from each edge end edges are followed to their far end [m].
    graph : tuple
        Node u and v of the edges, their lengths, edge ends at nodes (`reach.edge_ends`), first
        lixel of each edge, length of each edge's lixels.
    room : tuple
        Of `scan_walks.search_room`.

    Returns
    -------
    value, length : float
        Likelihood ratio, 0 if nothing is above its expectation, and length [m].
    exit_, depth : int
        Edge end by which the run leaves its first edge, -1 if it doesn't; the edges passed wholly
        afterwards are ``room[13][:depth]``, as edge ends by which they are entered, and the last
        one entered is ``room[13][depth]``.
    first, last : int
        Lixels at both ends.
    count, above : float
        Mass and expected count.
    """
    _count_along(held, mass, graph, room)
    task = (held, expected, taken, total, shortest, longest)
    best = NOTHING
    for e in range(len(graph[0])):
        best = runs_from(e, limit, task, graph, room, best)
    return best


@nb.njit(cache=True, nogil=True)
def best_run_bounded(
    bound: Floats,
    held: Ints,
    mass: Floats,
    expected: Floats,
    taken: Ints,
    total: float,
    shortest: float,
    longest: float,
    limit: Floats,
    graph: Any,
    room: Any,
) -> tuple[float, float, int, int, int, int, float, float]:
    """Find the same as `best_run`, looking only at edges where it may still begin.

    Parameters
    ----------
    bound : ndarray, shape (edges,)
        No run from each edge has a higher ratio than this: infinite at first; filled. Lixels that
        are taken only lower it, so one array serves for all runs of one set of masses.
    held : ndarray
        This and all that follow: as in `best_run`.
    mass, expected : ndarray
    taken : ndarray
    total, shortest, longest : float
    limit : ndarray
    graph, room : tuple

    Returns
    -------
    value, length, exit_, depth, first, last, count, above
        As of `best_run`.
    """
    way = room[13]
    _count_along(held, mass, graph, room)
    task = (held, expected, taken, total, shortest, longest)
    best, edge, kept = NOTHING, np.int64(-1), way[:0].copy()
    for e in np.argsort(-bound):
        if bound[e] < best[0] * (1.0 - 1e-12) or bound[e] == 0.0:
            break
        own = runs_from(e, limit, task, graph, room, NOTHING)
        bound[e] = own[0]
        near = 1e-12 * max(best[0], 1.0)
        if own[0] <= 0.0 or own[0] < best[0] - near:
            continue
        alike = own[0] <= best[0] + near
        shorter = own[1] < best[1] - SLACK_M
        first = own[1] < best[1] + SLACK_M and e < edge
        if not alike or shorter or first:
            best, edge, kept = own, e, way[: own[3] + 1].copy()
    way[: len(kept)] = kept
    return best


@nb.njit(cache=True, nogil=True)
def largest_values(
    indptr: Ints,
    held: Ints,
    mass: Floats,
    expected: Floats,
    shortest: float,
    longest: float,
    limit: Floats,
    graph: Any,
    room: Any,
) -> Floats:
    """Find the highest likelihood ratio of each draw.

    Parameters
    ----------
    indptr, held, mass : ndarray
        Draws as rows of a sparse matrix, lixels rising within a row.
    expected : ndarray, shape (lixels + 1,)
        Cumulative, adding up to 1.
    shortest, longest : float
    limit : ndarray
    graph, room : tuple
        As in `best_run`.

    Returns
    -------
    ndarray, shape (draws,)
    """
    taken = np.zeros(len(expected), np.int64)
    out = np.zeros(len(indptr) - 1)
    for n in range(len(out)):
        here, own = held[indptr[n] : indptr[n + 1]], mass[indptr[n] : indptr[n + 1]]
        total = own.sum()
        if total > 0:
            found = best_run(
                here, own, expected * total, taken, total, shortest, longest, limit, graph, room
            )  # fmt: skip
            out[n] = found[0]
    return out


@nb.njit(cache=True, nogil=True)
def _count_along(held: Ints, mass: Floats, graph: Any, room: Any) -> None:
    """Put the cumulative mass, and where each edge's begins, into the room."""
    on_edge, sums = room[7], room[8]
    sums[0] = 0.0
    for k in range(len(held)):
        sums[k + 1] = sums[k] + mass[k]
    on_edge[:] = np.searchsorted(held, graph[5])
