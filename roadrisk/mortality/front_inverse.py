"""The inverse of a district's matrix where something is known, front by front."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.mortality.front_factor import (
    FAST,
    Mesh,
    less_four,
    less_one,
    place_rows,
    rest_rows,
    spots,
)

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats


@nb.njit(cache=True, nogil=True)
def invert_mesh(mesh: Mesh, panel: Floats, pivots: Floats) -> tuple[Floats, Floats]:
    """Return the inverse where something is known: within pieces, and between neighbours.

    Parameters
    ----------
    mesh : Mesh
    panel, pivots : ndarray
        From `factor_mesh`.

    Returns
    -------
    local : ndarray, shape (pieces, fields + slots, fields + slots)
    link : ndarray, shape (links, fields)
        Between the same field of two neighbours.

    Notes
    -----
    The recursion of Takahashi, Fagan & Chen 1973 (from memory), front by front.
    """
    width = mesh.fields + mesh.slots
    local = np.zeros((len(mesh.piece), width, width))
    link = np.empty((len(mesh.a), mesh.fields))
    stack = np.empty(max(mesh.stacked, 1))
    place = np.empty(len(mesh.first), dtype=np.int64)
    to = np.empty(mesh.wide, dtype=np.int64)
    at = np.empty(width, dtype=np.int64)
    work, more = np.empty(mesh.wide * mesh.wide), np.empty(mesh.wide * mesh.wide)
    top = 0
    for s in range(len(mesh.own) - 2, -1, -1):
        m = place_rows(mesh, s, place)
        start = mesh.first[mesh.own[s]]
        ns = mesh.first[mesh.own[s + 1]] - start
        nu = m - ns
        top -= nu * nu
        known = stack[top : top + nu * nu].reshape((nu, nu))
        kept = panel[mesh.panel[s] : mesh.panel[s + 1]].reshape((ns, m))
        front = work[: m * m].reshape((m, m))
        _fill_inverse(kept, pivots[start : start + ns], known, front, more)
        for p in range(mesh.piece_starts[s], mesh.piece_starts[s + 1]):
            i = mesh.piece_at[p]
            used = spots(mesh, i, place, at)
            for u in range(used):
                for v in range(used):
                    local[i, u, v] = front[at[u], at[v]]
        for p in range(mesh.link_starts[s], mesh.link_starts[s + 1]):
            k = mesh.link_at[p]
            u, v = place[mesh.piece[mesh.a[k]]], place[mesh.piece[mesh.b[k]]]
            for f in range(mesh.fields):
                link[k, f] = front[u + f, v + f]
        for p in range(mesh.child_starts[s], mesh.child_starts[s + 1]):
            count = rest_rows(mesh, mesh.child[p], place, to)
            rest = stack[top : top + count * count].reshape((count, count))
            for i in range(count):
                for j in range(count):
                    rest[i, j] = front[to[i], to[j]]
            top += count * count
    return local, link


@nb.njit(cache=True, nogil=True)
def _fill_inverse(  # noqa: PLR0912
    kept: Floats, pivots: Floats, known: Floats, front: Floats, more: Floats
) -> None:
    """Fill a front with the inverse, known for the unknowns that it changed."""
    ns, m = kept.shape
    nu = m - ns
    # Rows of L's own inverse (turned over), and of it times what lies below, side by side.
    y = more[: ns * m].reshape((ns, m))
    for k in range(ns - 1, -1, -1):
        for j in range(ns):
            y[k, j] = 0.0
        y[k, k] = 1.0
        for j in range(ns, m):
            y[k, j] = kept[k, j]
        j = k + 1
        while j + 4 <= ns:
            less_four(
                y[k, j:], y[j, j:], y[j + 1, j:], y[j + 2, j:], y[j + 3, j:], kept[k, j],
                kept[k, j + 1], kept[k, j + 2], kept[k, j + 3],
            )  # fmt: skip
            j += 4
        while j < ns:
            less_one(y[k, j:], y[j, j:], kept[k, j])
            j += 1
    for i in range(nu):
        for j in range(nu):
            front[ns + i, ns + j] = known[i, j]
    for k in range(ns):
        out = front[k, ns:]
        for j in range(nu):
            out[j] = 0.0
        j = 0
        while j + 4 <= nu:
            less_four(
                out, known[j], known[j + 1], known[j + 2], known[j + 3], y[k, ns + j],
                y[k, ns + j + 1], y[k, ns + j + 2], y[k, ns + j + 3],
            )  # fmt: skip
            j += 4
        while j < nu:
            less_one(out, known[j], y[k, ns + j])
            j += 1
        for j in range(nu):
            front[ns + j, k] = out[j]
    for k in range(ns):
        for e in range(k, ns):
            front[k, e] = _meet(y[k], y[e], pivots, front[k, ns:], e, ns)
            front[e, k] = front[k, e]


@nb.njit(cache=True, nogil=True, fastmath=FAST)
def _meet(one: Floats, two: Floats, pivots: Floats, below: Floats, e: int, ns: int) -> float:
    total = 0.0
    for j in range(e, ns):
        total += one[j] * two[j] / pivots[j]
    for j in range(len(below)):
        total -= below[j] * two[ns + j]
    return total
