"""The walks of the scan: runs of lixels that begin on one edge, along all ways from it."""

from __future__ import annotations

import math
from typing import Any

import numba as nb
import numpy as np

# A run this much longer than asked, by rounding, is not too long.
SLACK_M = 1e-6


@nb.njit(cache=True, nogil=True)
def likelihood_ratio(count: float, expected: float, total: float) -> float:
    """Logarithm of Kulldorff's Poisson likelihood ratio for more than expected.

    Parameters
    ----------
    count, expected : float
        Inside the run.
    total : float
        Everywhere; the expected counts add up to it as well.

    Returns
    -------
    float
        c ln(c / E) + (C - c) ln((C - c) / (C - E)); 0 where c <= E.

    Notes
    -----
    Kulldorff 1997, Commun. Stat. Theory Methods 26:1481-1496 (from memory).
    """
    if count <= expected:
        return 0.0
    rest = total - count
    value = count * math.log(count / expected)
    if rest > 1e-12 * total:
        value += rest * math.log(rest / (total - expected))
    return value


@nb.njit(cache=True, nogil=True)
def ways_from(x: int, limit: float, most: int, graph: Any, room: Any) -> int:
    """Count the ways along the roads that leave an edge's end.

    Parameters
    ----------
    x : int
        2e to leave edge e at its node u, 2e + 1 at v.
    limit : float
        An edge is followed to its far end if that is nearer than this to the edge left [m].
    most : int
        Counting stops here.
    graph, room : tuple
        As in `scan_search.best_run`.

    Returns
    -------
    int
        Edges entered on all ways together, at most `most`.
    """
    eu, ev, length, arm_first, arms, _, _ = graph
    node, came, at, pointer, passed = room[0], room[1], room[2], room[3], room[6]
    node[0] = eu[x // 2] if x % 2 == 0 else ev[x // 2]
    came[0], at[0], pointer[0] = x, 0.0, arm_first[node[0]]
    passed[node[0]] = True
    depth = ways = 0
    while depth >= 0:
        if pointer[depth] >= arm_first[node[depth] + 1] or ways >= most:
            passed[node[depth]] = False
            depth -= 1
            continue
        arm = arms[pointer[depth]]
        pointer[depth] += 1
        f = arm // 2
        if arm == came[depth]:
            continue
        ways += 1
        on = ev[f] if arm % 2 == 0 else eu[f]
        if f == x // 2 or passed[on] or at[depth] + length[f] >= limit:
            continue
        at[depth + 1] = at[depth] + length[f]
        depth += 1
        node[depth], came[depth], pointer[depth] = on, arm ^ 1, arm_first[on]
        passed[on] = True
    return ways


def search_room(nodes: int, edges: int, lixels: int) -> tuple[Any, ...]:
    """Make the arrays that the search works in.

    Parameters
    ----------
    nodes, edges, lixels : int

    Returns
    -------
    tuple of ndarray
    """
    deep = nodes + 2
    return (
        np.empty(deep, np.int64), np.empty(deep, np.int64), np.empty(deep),
        np.empty(deep, np.int64), np.empty(deep), np.empty(deep), np.zeros(nodes, np.bool_),
        np.empty(edges + 1, np.int64), np.empty(lixels + 1),
        np.empty(lixels + 1, np.int64), np.empty(lixels + 1), np.empty(lixels + 1),
        np.empty(lixels + 1), np.empty(deep, np.int64),
    )  # fmt: skip


@nb.njit(cache=True, nogil=True)
def runs_from(e: int, limit: Any, task: Any, graph: Any, room: Any, best: Any) -> Any:
    """Look at all runs that begin on an edge.

    Parameters
    ----------
    e : int
        Edge.
    limit : ndarray, shape (2 * edges,)
    task : tuple
        Lixels with mass, cumulative expected counts, cumulative lixels that are taken, total,
        shortest and longest run: as in `scan_search.best_run`.
    graph, room : tuple
        As there; room[7] holds where each edge's lixels begin among those with mass, room[8]
        their cumulative mass.
    best : tuple
        The best run so far: what `best_run` returns.

    Returns
    -------
    tuple
        The better of `best` and those found.
    """
    on_edge = room[7]
    if on_edge[e] == on_edge[e + 1]:
        return best
    best = _inside(e, task, graph, room, best)
    for side in range(2):
        starts = _starts(e, side, task, graph, room)
        if starts > 0:
            best = _walk(2 * e + side, starts, limit[2 * e + side], task, graph, room, best)
    return best


@nb.njit(cache=True, nogil=True)
def _inside(e: int, task: Any, graph: Any, room: Any, best: Any) -> Any:
    """Look at the runs that stay on one edge."""
    held, expected, taken, total, shortest, longest = task
    piece, on_edge, sums = graph[6], room[7], room[8]
    for i in range(on_edge[e], on_edge[e + 1]):
        for j in range(i, on_edge[e + 1]):
            lo, hi = held[i], held[j] + 1
            run = (hi - lo) * piece[e]
            if run > longest + SLACK_M or taken[hi] > taken[lo]:
                break
            c, x = sums[j + 1] - sums[i], expected[hi] - expected[lo]
            best = _better(best, c, x, total, shortest, run, -1, 0, lo, hi - 1)
    return best


@nb.njit(cache=True, nogil=True)
def _starts(e: int, side: int, task: Any, graph: Any, room: Any) -> int:
    """First lixels of runs that leave an edge, nearest to its end first: length, mass, due."""
    held, expected, taken, _, _, longest = task
    lixel_first, piece, on_edge, sums = graph[5], graph[6], room[7], room[8]
    start, s_length, s_mass, s_due = room[9:13]
    a, b = on_edge[e], on_edge[e + 1]
    starts = 0
    for n in range(b - a):
        k = b - 1 - n if side == 1 else a + n
        i = held[k]
        lo, hi = (i, lixel_first[e + 1]) if side == 1 else (lixel_first[e], i + 1)
        if (hi - lo) * piece[e] >= longest or taken[hi] > taken[lo]:
            break
        start[starts], s_length[starts] = i, (hi - lo) * piece[e]
        s_mass[starts] = sums[b] - sums[k] if side == 1 else sums[k + 1] - sums[a]
        s_due[starts] = expected[hi] - expected[lo]
        starts += 1
    return starts


@nb.njit(cache=True, nogil=True)
def _walk(x: int, starts: int, limit: float, task: Any, graph: Any, room: Any, best: Any) -> Any:
    """Follow all ways from an edge's end, no point passed twice, and end runs on their edges."""
    eu, ev, length, arm_first, arms, lixel_first, _ = graph
    node, came, at, pointer, got, due, passed, on_edge, sums = room[:9]
    _, expected, taken, _, _, longest = task
    e = x // 2
    node[0] = ev[e] if x % 2 == 1 else eu[e]
    came[0], at[0], got[0], due[0], pointer[0] = x, 0.0, 0.0, 0.0, arm_first[node[0]]
    passed[node[0]] = True
    depth = 0
    while depth >= 0:
        if pointer[depth] >= arm_first[node[depth] + 1]:
            passed[node[depth]] = False
            depth -= 1
            continue
        arm = arms[pointer[depth]]
        pointer[depth] += 1
        f = arm // 2
        if arm == came[depth]:
            continue
        # Every run is looked at from one of its ends only; one that comes round to its first
        # edge again, from the end at v.
        if f > e or (f == e and x % 2 == 1 and arm == 2 * e):
            best = _ending_on(arm, x, depth, starts, task, graph, room, best)
        on = ev[f] if arm % 2 == 0 else eu[f]
        far = at[depth] + length[f]
        lo, hi = lixel_first[f], lixel_first[f + 1]
        if f == e or passed[on] or far >= limit or far + room[10][0] >= longest:
            continue
        if taken[hi] > taken[lo]:
            continue
        at[depth + 1] = far
        got[depth + 1] = got[depth] + sums[on_edge[f + 1]] - sums[on_edge[f]]
        due[depth + 1] = due[depth] + expected[hi] - expected[lo]
        depth += 1
        node[depth], came[depth], pointer[depth] = on, arm ^ 1, arm_first[on]
        passed[on] = True
    return best


@nb.njit(cache=True, nogil=True)
def _ending_on(
    arm: int, x: int, depth: int, starts: int, task: Any, graph: Any, room: Any, best: Any
) -> Any:
    """Look at the runs whose last lixel lies on the edge just entered by `arm`."""
    held, expected, taken, total, shortest, longest = task
    lixel_first, piece = graph[5], graph[6]
    came, at, got, due, on_edge, sums = room[1], room[2], room[4], room[5], room[7], room[8]
    start, s_length, s_mass, s_due, way = room[9:]
    f = arm // 2
    first, last = on_edge[f], on_edge[f + 1]
    value, run_length = best[0], best[1]
    for n in range(last - first):
        k = first + n if arm % 2 == 0 else last - 1 - n
        j = held[k]
        lo, hi = (lixel_first[f], j + 1) if arm % 2 == 0 else (j, lixel_first[f + 1])
        far = at[depth] + (hi - lo) * piece[f]
        if far + s_length[0] > longest + SLACK_M or taken[hi] > taken[lo]:
            break
        c = got[depth] + (sums[k + 1] - sums[first] if arm % 2 == 0 else sums[last] - sums[k])
        y = due[depth] + expected[hi] - expected[lo]
        for s in range(starts):
            run = far + s_length[s]
            if run > longest + SLACK_M or (f == x // 2 and j >= start[s]):
                break
            best = _better(
                best, c + s_mass[s], y + s_due[s], total, shortest, run, x, depth, start[s], j
            )  # fmt: skip
    if best[0] != value or best[1] != run_length:
        for t in range(depth):
            way[t] = came[t + 1] ^ 1
        way[depth] = arm
    return best


@nb.njit(cache=True, nogil=True)
def _better(
    best: Any,
    c: float,
    x: float,
    total: float,
    shortest: float,
    run: float,
    exit_: int,
    depth: int,
    i: int,
    j: int,
) -> Any:
    """Return the new run if its ratio is higher, or as high on less road."""
    rated = x * shortest / run if run < shortest else x
    if c <= rated or c * math.log(c / rated) < best[0] * (1.0 - 1e-12):
        return best
    value = likelihood_ratio(c, rated, total)
    near = 1e-12 * max(best[0], 1.0)
    if value > best[0] + near or (value > best[0] - near and run < best[1] - SLACK_M):
        return (value, run, exit_, depth, i, j, c, x)
    return best
