"""Dense steps of the factor of a district: factored, solved, drawn from, inverted in part.

Rows of the matrix are unknowns in the order of elimination (`front_layout.Fronts`). A piece of
road has a group of fields, a road may have a group of its own; what one piece adds is a small
matrix of its fields and of its road's unknowns, and neighbours meet field by field.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb
import numpy as np

from roadrisk.mortality.front_layout import Fronts, lay_fronts

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

FAST = {"contract", "reassoc", "nsz"}


class Mesh(NamedTuple):
    """A district's groups of unknowns and where what is known of them enters, as plain arrays.

    Attributes
    ----------
    fields, slots : int
        Unknowns of a piece that are laid along the roads, and of a road.
    first, own, rows, row_starts, child, child_starts, panel, wide, stacked
        As in `Fronts`.
    piece, road : ndarray of int64, shape (pieces,)
        Rank of each piece's group, and of its road's (-1 for none).
    piece_at, piece_starts : ndarray of int64
        Pieces that enter each front.
    a, b : ndarray of int64, shape (links,)
        Pieces that touch; the former is eliminated first.
    link_at, link_starts : ndarray of int64
        Links that enter each front.
    roads : ndarray of int64, shape (roads,)
        Rank of each road's group.
    """

    fields: int
    slots: int
    first: Ints
    own: Ints
    rows: Ints
    row_starts: Ints
    child: Ints
    child_starts: Ints
    panel: Ints
    wide: int
    stacked: int
    piece: Ints
    road: Ints
    piece_at: Ints
    piece_starts: Ints
    a: Ints
    b: Ints
    link_at: Ints
    link_starts: Ints
    roads: Ints


def lay_mesh(fields: int, slots: int, size: int, a: Ints, b: Ints, road: Ints, roads: int) -> Mesh:
    """Lay out a district.

    Parameters
    ----------
    fields, slots : int
    size : int
        Pieces.
    a, b : ndarray of int64, shape (links,)
        Pieces that touch.
    road : ndarray of int64, shape (pieces,)
        0..roads-1; not used without slots.
    roads : int

    Returns
    -------
    Mesh
    """
    roads = roads if slots else 0
    every = np.arange(size)
    width = np.concatenate([np.full(size, fields), np.full(roads, slots)]).astype(np.int64)
    more_a, more_b = (every, size + road) if roads else (every[:0], every[:0])
    fronts = lay_fronts(width, np.concatenate([a, more_a]), np.concatenate([b, more_b]), far=roads)
    rank = fronts.rank
    of_piece = rank[:size]
    of_road = rank[size + road] if roads else np.full(size, -1)
    least = np.minimum(of_piece, of_road) if roads else of_piece
    swapped = rank[a] > rank[b]
    low, high = np.where(swapped, b, a), np.where(swapped, a, b)
    piece_at, piece_starts = _by_front(fronts, least)
    link_at, link_starts = _by_front(fronts, rank[low])
    return Mesh(
        fields, slots, fronts.first, fronts.own, fronts.rows, fronts.row_starts, fronts.child,
        fronts.child_starts, fronts.panel, fronts.wide, fronts.stacked, of_piece,
        of_road.astype(np.int64), piece_at, piece_starts, low, high, link_at, link_starts,
        rank[size:],
    )  # fmt: skip


def _by_front(fronts: Fronts, rank: Ints) -> tuple[Ints, Ints]:
    """Things by the front that eliminates the group of the given rank."""
    front = np.searchsorted(fronts.own, rank, side="right") - 1
    order = np.argsort(front, kind="stable").astype(np.int64)
    starts = np.searchsorted(front[order], np.arange(len(fronts.own))).astype(np.int64)
    return order, starts


@nb.njit(cache=True, nogil=True)
def factor_mesh(
    mesh: Mesh, local: Floats, link: Floats, road_prior: Floats
) -> tuple[Floats, Floats]:
    """Factor the matrix as L D L'.

    Parameters
    ----------
    mesh : Mesh
    local : ndarray, shape (pieces, fields + slots, fields + slots)
        What each piece adds, its fields' own diagonal included.
    link : ndarray, shape (links, fields)
        Numbers off the diagonal.
    road_prior : ndarray, shape (slots,)
        Added to the diagonal of every road.

    Returns
    -------
    panel : ndarray
        Rows of L' front by front (`Mesh.panel`), each as wide as its front.
    pivots : ndarray, shape (unknowns,)
    """
    fronts = len(mesh.own) - 1
    panel = np.zeros(mesh.panel[fronts])
    pivots = np.empty(mesh.first[-1])
    stack = np.empty(mesh.stacked)
    waiting = np.empty(fronts, dtype=np.int64)
    place = np.empty(len(mesh.first), dtype=np.int64)
    to = np.empty(mesh.wide, dtype=np.int64)
    work = np.empty(mesh.wide * mesh.wide)
    top, count = 0, 0
    for s in range(fronts):
        m = place_rows(mesh, s, place)
        ns = mesh.first[mesh.own[s + 1]] - mesh.first[mesh.own[s]]
        front = work[: m * m].reshape((m, m))
        front[:] = 0.0
        _enter(mesh, s, place, local, link, road_prior, front)
        for _ in range(mesh.child_starts[s + 1] - mesh.child_starts[s]):
            count -= 1
            nu = rest_rows(mesh, waiting[count], place, to)
            top -= nu * nu
            rest = stack[top : top + nu * nu].reshape((nu, nu))
            for i in range(nu):
                for j in range(i, nu):
                    front[to[i], to[j]] += rest[i, j]
        start = mesh.first[mesh.own[s]]
        _eliminate(front, ns, pivots[start : start + ns])
        kept = panel[mesh.panel[s] : mesh.panel[s + 1]].reshape((ns, m))
        for k in range(ns):
            over = 1.0 / pivots[start + k]
            for j in range(k + 1, m):
                kept[k, j] = front[k, j] * over
        nu = m - ns
        rest = stack[top : top + nu * nu].reshape((nu, nu))
        for i in range(nu):
            for j in range(i, nu):
                rest[i, j] = front[ns + i, ns + j]
        top += nu * nu
        waiting[count] = s
        count += 1
    return panel, pivots


@nb.njit(cache=True, nogil=True, inline="always")
def place_rows(mesh: Mesh, s: int, place: Ints) -> int:
    """Note where each group of a front stands in it; return its width."""
    m = 0
    for p in range(mesh.row_starts[s], mesh.row_starts[s + 1]):
        group = mesh.rows[p]
        place[group] = m
        m += mesh.first[group + 1] - mesh.first[group]
    return m


@nb.njit(cache=True, nogil=True)
def rest_rows(mesh: Mesh, s: int, place: Ints, to: Ints) -> int:
    """Where the unknowns that a front changes stand in its parent; return how many."""
    count = 0
    skip = mesh.own[s + 1] - mesh.own[s]
    for p in range(mesh.row_starts[s] + skip, mesh.row_starts[s + 1]):
        group = mesh.rows[p]
        for k in range(mesh.first[group + 1] - mesh.first[group]):
            to[count] = place[group] + k
            count += 1
    return count


@nb.njit(cache=True, nogil=True)
def _enter(
    mesh: Mesh, s: int, place: Ints, local: Floats, link: Floats, road_prior: Floats, front: Floats
) -> None:
    nf, width = mesh.fields, mesh.fields + mesh.slots
    at = np.empty(width, dtype=np.int64)
    for p in range(mesh.piece_starts[s], mesh.piece_starts[s + 1]):
        i = mesh.piece_at[p]
        used = spots(mesh, i, place, at)
        for u in range(used):
            for v in range(used):
                if at[u] <= at[v]:
                    front[at[u], at[v]] += local[i, u, v]
    for p in range(mesh.link_starts[s], mesh.link_starts[s + 1]):
        k = mesh.link_at[p]
        u, v = place[mesh.piece[mesh.a[k]]], place[mesh.piece[mesh.b[k]]]
        for f in range(nf):
            front[u + f, v + f] += link[k, f]
    for r in range(len(mesh.roads)):
        group = mesh.roads[r]
        if mesh.own[s] <= group < mesh.own[s + 1]:
            for f in range(mesh.slots):
                front[place[group] + f, place[group] + f] += road_prior[f]


@nb.njit(cache=True, nogil=True)
def spots(mesh: Mesh, i: int, place: Ints, at: Ints) -> int:
    """Where the fields of a piece, and its road's unknowns, stand in a front."""
    for f in range(mesh.fields):
        at[f] = place[mesh.piece[i]] + f
    if mesh.road[i] < 0:
        return mesh.fields
    for f in range(mesh.slots):
        at[mesh.fields + f] = place[mesh.road[i]] + f
    return mesh.fields + mesh.slots


@nb.njit(cache=True, nogil=True, fastmath=FAST)
def less_four(
    out: Floats, r0: Floats, r1: Floats, r2: Floats, r3: Floats, l0: float, l1: float, l2: float,
    l3: float,
) -> None:  # fmt: skip
    """Take four rows, each times a number, from another."""
    for j in range(len(out)):
        out[j] -= l0 * r0[j] + l1 * r1[j] + l2 * r2[j] + l3 * r3[j]


@nb.njit(cache=True, nogil=True, fastmath=FAST)
def less_one(out: Floats, row: Floats, times: float) -> None:
    """Take a row times a number from another."""
    for j in range(len(out)):
        out[j] -= times * row[j]


@nb.njit(cache=True, nogil=True)
def _eliminate(front: Floats, ns: int, pivots: Floats) -> None:
    """Eliminate the first rows of a front's upper triangle, four at a time."""
    m = len(front)
    k = 0
    while k < ns:
        four = min(4, ns - k)
        for c in range(k, k + four):
            for e in range(k, c):
                less_one(front[c, c:], front[e, c:], front[e, c] / pivots[e])
            pivots[c] = front[c, c]
        if four == 4:
            o0, o1 = 1.0 / pivots[k], 1.0 / pivots[k + 1]
            o2, o3 = 1.0 / pivots[k + 2], 1.0 / pivots[k + 3]
            for i in range(k + 4, m):
                less_four(
                    front[i, i:], front[k, i:], front[k + 1, i:], front[k + 2, i:],
                    front[k + 3, i:], front[k, i] * o0, front[k + 1, i] * o1,
                    front[k + 2, i] * o2, front[k + 3, i] * o3,
                )  # fmt: skip
        else:
            for e in range(k, k + four):
                over = 1.0 / pivots[e]
                for i in range(k + four, m):
                    less_one(front[i, i:], front[e, i:], front[e, i] * over)
        k += four


@nb.njit(cache=True, nogil=True)
def _unknowns(mesh: Mesh, s: int, at: Ints) -> int:
    """Row numbers of a front's unknowns among all; return how many."""
    count = 0
    for p in range(mesh.row_starts[s], mesh.row_starts[s + 1]):
        group = mesh.rows[p]
        for row in range(mesh.first[group], mesh.first[group + 1]):
            at[count] = row
            count += 1
    return count


@nb.njit(cache=True, nogil=True)
def solve_mesh(mesh: Mesh, panel: Floats, pivots: Floats, x: Floats) -> None:
    """Solve in place.

    Parameters
    ----------
    mesh : Mesh
    panel, pivots : ndarray
        From `factor_mesh`.
    x : ndarray, shape (unknowns, columns)
        Right sides in the order of elimination; becomes the answers.
    """
    at = np.empty(mesh.wide, dtype=np.int64)
    for s in range(len(mesh.own) - 1):
        m = _unknowns(mesh, s, at)
        ns = mesh.first[mesh.own[s + 1]] - mesh.first[mesh.own[s]]
        kept = panel[mesh.panel[s] : mesh.panel[s + 1]].reshape((ns, m))
        for k in range(ns):
            for j in range(k + 1, m):
                less_one(x[at[j]], x[at[k]], kept[k, j])
    for row in range(len(pivots)):
        x[row] /= pivots[row]
    solve_upper(mesh, panel, x)


@nb.njit(cache=True, nogil=True)
def solve_upper(mesh: Mesh, panel: Floats, x: Floats) -> None:
    """Solve L' x = right side in place: of normal numbers over roots of the pivots, draws."""
    at = np.empty(mesh.wide, dtype=np.int64)
    for s in range(len(mesh.own) - 2, -1, -1):
        m = _unknowns(mesh, s, at)
        ns = mesh.first[mesh.own[s + 1]] - mesh.first[mesh.own[s]]
        kept = panel[mesh.panel[s] : mesh.panel[s + 1]].reshape((ns, m))
        for k in range(ns - 1, -1, -1):
            j = k + 1
            while j + 4 <= m:
                less_four(
                    x[at[k]], x[at[j]], x[at[j + 1]], x[at[j + 2]], x[at[j + 3]],
                    kept[k, j], kept[k, j + 1], kept[k, j + 2], kept[k, j + 3],
                )  # fmt: skip
                j += 4
            while j < m:
                less_one(x[at[k]], x[at[j]], kept[k, j])
                j += 1
