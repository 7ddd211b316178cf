"""Where straight steps between fixes meet roads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numba import njit

from roadrisk.roads.along import segments_at
from roadrisk.roads.grid import cell_columns, cell_rows
from roadrisk.roads.portions import near_by_near, on_all_cores
from roadrisk.roads.sides import SPARE_M, shares_of, sides_differ

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Network

# Steps that are looked at together.
_BATCH = 256


@dataclass(frozen=True, eq=False)
class Meetings:
    """Places where steps meet roads, sorted by step and along the step.

    Attributes
    ----------
    step, segment, edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m].
    x, y : ndarray, shape (n,)
        [m].
    off_ground : ndarray of bool, shape (n,)
        The road is on a bridge or in a tunnel there: the animal passes under or over it, and
        that is no road crossing.
    """

    step: Ints
    segment: Ints
    edge: Ints
    offset_m: Floats
    x: Floats
    y: Floats
    off_ground: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.step)


def step_meetings(
    network: Network, index: PieceIndex, starts_xy: Floats, ends_xy: Floats
) -> Meetings:
    """Return every place where a straight step meets a road.

    Fixes and roads are taken to whole millimetres and all fixes are thought to be moved by
    one and the same infinitely small amount, so that no fix lies on a road and no step goes
    through a road's vertex (simulation of simplicity: Edelsbrunner & Muecke 1990, from
    memory). Along any track the number of meetings with a road that closes off an area is
    then odd exactly when the track ends on the other side: a fix on a road, a step through a
    vertex, steps that touch at a fix on the road, and steps along the road are all counted
    as the sides of the fixes demand, whichever way road and step run.

    Parameters
    ----------
    network : Network
    index : PieceIndex
        Of the same network.
    starts_xy, ends_xy : ndarray, shape (steps, 2)
        [m]. A step with a missing coordinate meets nothing.

    Returns
    -------
    Meetings
    """
    a = np.asarray(starts_xy, dtype=np.float64).reshape(-1, 2) - index.origin
    b = np.asarray(ends_xy, dtype=np.float64).reshape(-1, 2) - index.origin
    parts: list[tuple[Ints, Ints, Floats, Floats, Floats]] = []

    def some(steps: Ints) -> None:
        step, piece, share = _meet(
            steps, a, b, index.piece, index.cell_m, index.shape, index.cell_first, index.cell_piece
        )
        place = _places(piece, share, index.piece, index.edge, index.from_m, index.length_m)
        parts.append((step, *place))

    on_all_cores(some, near_by_near(index, a))
    step, edge, offset, x, y = (np.concatenate(column) for column in zip(*parts, strict=True))
    row = _by_step(len(a), step)
    segment = segments_at(network, edge, offset)[row]
    level, bridge, tunnel = (
        network.segments[name].to_numpy()[segment] for name in ("level", "bridge", "tunnel")
    )
    off = (level != 0) | bridge.astype(bool) | tunnel.astype(bool)
    x, y = x[row] + index.origin[0], y[row] + index.origin[1]
    return Meetings(step[row], segment, edge[row], offset[row], x, y, off)


@njit(cache=True, nogil=True)
def _meet(
    steps: Ints,
    a: Floats,
    b: Floats,
    piece: Floats,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
) -> tuple[Ints, Ints, Floats]:
    """Meetings of some of the steps, each step's in the order it goes.

    A few steps at a time, first all their cells, then all pieces listed there, then the tests:
    so the processor waits for many places in memory at once.
    """
    used = 0
    out = np.empty((max(16, 2 * len(steps)), 2), np.int64)
    out_share = np.empty(len(out))
    cells, pairs = np.empty((8 * _BATCH, 2), np.int64), np.empty((16 * _BATCH, 2), np.int64)
    for begin in range(0, len(steps), _BATCH):
        cells, many = _cells_of(steps[begin : begin + _BATCH], a, b, cell, shape, cells)
        pairs, many = _listed_in(cells[:many], cell_first, cell_piece, pairs)
        many = _meeting(pairs[:many], a, b, piece)
        while used + many > len(out):
            out = np.append(out, np.empty_like(out)).reshape(-1, 2)
            out_share = np.append(out_share, np.empty_like(out_share))
        many = _in_order(pairs[:many], a, b, piece, out[used:], out_share[used:])
        used += many
    return out[:used, 0], out[:used, 1], out_share[:used]


@njit(cache=True, nogil=True)
def _cells_of(
    steps: Ints, a: Floats, b: Floats, cell: float, shape: Ints, cells: Ints
) -> tuple[Ints, int]:
    """Pair steps with the cells they go through; return the pairs' room and how many there are."""
    used = 0
    for i in steps:
        ax, ay, bx, by = a[i, 0], a[i, 1], b[i, 0], b[i, 1]
        if not (np.isfinite(ax) and np.isfinite(ay) and np.isfinite(bx) and np.isfinite(by)):
            continue
        left, right = cell_columns(ax, bx, cell)
        for column in range(max(left, 0), min(right, shape[0] - 1) + 1):
            low, high = cell_rows(ax, ay, bx, by, column, cell)
            low, high = max(low, 0), min(high, shape[1] - 1)
            while used + high - low >= len(cells):
                cells = np.append(cells, np.empty_like(cells)).reshape(-1, 2)
            for row in range(low, high + 1):
                cells[used, 0], cells[used, 1] = i, row * shape[0] + column
                used += 1
    return cells, used


@njit(cache=True, nogil=True)
def _listed_in(cells: Ints, first: Ints, listed: Ints, pairs: Ints) -> tuple[Ints, int]:
    """Pair steps with the pieces listed in their cells."""
    used = 0
    span = np.empty((len(cells), 2), np.int64)
    for c in range(len(cells)):
        span[c, 0], span[c, 1] = first[cells[c, 1]], first[cells[c, 1] + 1]
    for c in range(len(cells)):
        low, high = span[c, 0], span[c, 1]
        while used + high - low > len(pairs):
            pairs = np.append(pairs, np.empty_like(pairs)).reshape(-1, 2)
        for j in range(low, high):
            pairs[used, 0], pairs[used, 1] = cells[c, 0], listed[j]
            used += 1
    return pairs, used


@njit(cache=True, nogil=True)
def _meeting(pairs: Ints, a: Floats, b: Floats, piece: Floats) -> int:
    """Move the pairs of steps and pieces that meet to the front; return how many do."""
    maybe = 0
    clear = np.empty(len(pairs), np.bool_)
    for k in range(len(pairs)):
        i, p = pairs[k, 0], pairs[k, 1]
        # In floating numbers first, with slack for the rounding to millimetres: most pieces are
        # far off, and most others are clearly met.
        ax, ay, px, py = a[i, 0], a[i, 1], piece[p, 0], piece[p, 1]
        wx, wy, ex, ey = px - ax, py - ay, b[i, 0] - ax, b[i, 1] - ay
        dx, dy = piece[p, 2] - px, piece[p, 3] - py
        cross = ex * dy - ey * dx
        one = ex * wy - ey * wx
        low, high = min(one, one + cross), max(one, one + cross)
        slack = SPARE_M * (abs(ex) + abs(ey))
        near, over = low <= slack and high >= -slack, low < -slack and high > slack
        one = wx * dy - wy * dx
        low, high = min(one, one - cross), max(one, one - cross)
        slack = SPARE_M * (abs(dx) + abs(dy))
        clear[maybe] = over and low < -slack and high > slack
        pairs[maybe, 0], pairs[maybe, 1] = i, p
        maybe += near and low <= slack and high >= -slack
    used = 0
    for k in range(maybe):
        i, p = pairs[k, 0], pairs[k, 1]
        if clear[k] or sides_differ(a[i, 0], a[i, 1], b[i, 0], b[i, 1], piece[p]):
            pairs[used, 0], pairs[used, 1] = i, p
            used += 1
    return used


@njit(cache=True, nogil=True)
def _in_order(
    pairs: Ints, a: Floats, b: Floats, piece: Floats, out: Ints, out_share: Floats
) -> int:
    """Lay each step's meetings along it, none twice; return how many."""
    along = np.empty(len(pairs))
    used, begin = 0, 0
    for k in range(len(pairs)):
        i, p = pairs[k, 0], pairs[k, 1]
        share, at = shares_of(a[i, 0], a[i, 1], b[i, 0], b[i, 1], piece[p])
        if used > begin and out[used - 1, 0] != i:
            begin = used
        m = used
        while m > begin and (along[m - 1] > at or (along[m - 1] == at and out[m - 1, 1] > p)):
            m -= 1
        # In several cells: told already.
        if m > begin and along[m - 1] == at and out[m - 1, 1] == p:
            continue
        for j in range(used, m, -1):
            out[j, 0], out[j, 1], out_share[j], along[j] = (
                out[j - 1, 0], out[j - 1, 1], out_share[j - 1], along[j - 1]
            )  # fmt: skip
        out[m, 0], out[m, 1], out_share[m], along[m] = i, p, share, at
        used += 1
    return used


@njit(cache=True, nogil=True)
def _by_step(steps: int, step: Ints) -> Ints:
    """Rows sorted by step, else as they are."""
    first = np.zeros(steps + 1, np.int64)
    for i in step:
        first[i + 1] += 1
    for i in range(steps):
        first[i + 1] += first[i]
    row = np.empty(len(step), np.int64)
    for k in range(len(step)):
        row[first[step[k]]] = k
        first[step[k]] += 1
    return row


@njit(cache=True, nogil=True)
def _places(
    of: Ints, shares: Floats, piece: Floats, edge: Ints, from_m: Floats, length_m: Floats
) -> tuple[Ints, Floats, Floats, Floats]:
    """Edge, offset along it [m] and coordinates from the grid's corner [m] of meetings."""
    n = len(of)
    out_edge = np.empty(n, np.int64)
    offset, x, y = np.empty(n), np.empty(n), np.empty(n)
    for k in range(n):
        p, share = of[k], shares[k]
        out_edge[k] = edge[p]
        offset[k] = from_m[p] + share * length_m[p]
        x[k] = piece[p, 0] + share * (piece[p, 2] - piece[p, 0])
        y[k] = piece[p, 1] + share * (piece[p, 3] - piece[p, 1])
    return out_edge, offset, x, y


def within_reach(lines: np.ndarray, steps: np.ndarray, reach_m: float) -> tuple[Ints, Ints]:
    """Return the pairs of steps and road lines within a distance of each other.

    Parameters
    ----------
    lines : array of shapely LineStrings
        Geometry of `Network.segments`.
    steps : array of shapely geometries
        Steps or fixes, in the same CRS.
    reach_m : float
        [m].

    Returns
    -------
    step, line : ndarray of int64
        Sorted by step, then line.
    """
    tree = shapely.STRtree(np.asarray(lines, dtype=object))
    pairs = tree.query(np.asarray(steps, dtype=object), predicate="dwithin", distance=reach_m)
    order = np.lexsort((pairs[1], pairs[0]))
    return pairs[0][order].astype(np.int64), pairs[1][order].astype(np.int64)
