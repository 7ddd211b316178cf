"""Where straight steps between fixes meet roads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numba import njit

from roadrisk.roads.along import segments_at
from roadrisk.roads.grid import cell_columns, cell_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Network

# Directions are decided in whole millimetres, where they are exact.
_PER_M = 1000.0
# Differences below this keep every product inside 64 bits (about 1,000 km).
_EXACT = 2**30


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
    step, piece, share, along = _meet(
        a, b, index.piece, index.cell_m, index.shape, index.cell_first, index.cell_piece
    )
    order = np.lexsort((piece, along, step))
    step, piece, share = step[order], piece[order], share[order]
    edge = index.edge[piece]
    offset = index.from_m[piece] + share * index.length_m[piece]
    p = index.piece[piece]
    xy = p[:, :2] + share[:, None] * (p[:, 2:] - p[:, :2]) + index.origin
    segment = segments_at(network, edge, offset)
    of = network.segments
    off = (of["level"] != 0) | of["bridge"] | of["tunnel"]
    return Meetings(step, segment, edge, offset, xy[:, 0], xy[:, 1], off.to_numpy(bool)[segment])


@njit(cache=True)
def _side(dx: int, dy: int, ex: int, ey: int) -> int:
    """Sign of the cross product of (dx, dy) and (ex, ey), whole numbers."""
    if max(abs(dx), abs(dy), abs(ex), abs(ey)) < _EXACT:
        exact = dx * ey - dy * ex
        return (exact > 0) - (exact < 0)
    rough = float(dx) * float(ey) - float(dy) * float(ex)
    return (rough > 0) - (rough < 0)


@njit(cache=True)
def _moved_side(dx: int, dy: int, ex: int, ey: int, sign: int) -> int:
    """As `_side`, where the second vector is moved by sign times (tiny, tinier still)."""
    side = _side(dx, dy, ex, ey)
    if side != 0:
        return side
    # cross((dx, dy), (t, t^2)) = dx t^2 - dy t: the term in t decides if there is one.
    if dy != 0:
        return sign if dy < 0 else -sign
    return sign * ((dx > 0) - (dx < 0))


@njit(cache=True)
def _meet(
    a: Floats,
    b: Floats,
    piece: Floats,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
) -> tuple[Ints, Ints, Floats, Floats]:
    size, used = max(16, len(a)), 0
    out_step, out_piece = np.empty(size, np.int64), np.empty(size, np.int64)
    out_share, out_along = np.empty(size), np.empty(size)
    stamp = np.full(len(piece), -1, np.int64)
    for i in range(len(a)):
        ax, ay, bx, by = a[i, 0], a[i, 1], b[i, 0], b[i, 1]
        if not (np.isfinite(ax) and np.isfinite(ay) and np.isfinite(bx) and np.isfinite(by)):
            continue
        columns = cell_columns(ax, bx, cell)
        for column in range(max(columns[0], 0), min(columns[1], shape[0] - 1) + 1):
            rows = cell_rows(ax, ay, bx, by, column, cell)
            for row in range(max(rows[0], 0), min(rows[1], shape[1] - 1) + 1):
                k = row * shape[0] + column
                for j in range(cell_first[k], cell_first[k + 1]):
                    p = cell_piece[j]
                    if stamp[p] == i:
                        continue
                    stamp[p] = i
                    found, share, along = meeting_of_two(ax, ay, bx, by, piece[p])
                    if not found:
                        continue
                    if used == size:
                        size *= 2
                        out_step = np.append(out_step, np.empty_like(out_step))
                        out_piece = np.append(out_piece, np.empty_like(out_piece))
                        out_share = np.append(out_share, np.empty_like(out_share))
                        out_along = np.append(out_along, np.empty_like(out_along))
                    out_step[used], out_piece[used] = i, p
                    out_share[used], out_along[used] = share, along
                    used += 1
    return out_step[:used], out_piece[:used], out_share[:used], out_along[:used]


@njit(cache=True)
def meeting_of_two(
    ax: float, ay: float, bx: float, by: float, piece: Floats
) -> tuple[bool, float, float]:
    """Whether step a-b meets the piece p-q, and where (shares of the piece and of the step)."""
    iax, iay = int(np.rint(ax * _PER_M)), int(np.rint(ay * _PER_M))
    ibx, iby = int(np.rint(bx * _PER_M)), int(np.rint(by * _PER_M))
    px, py = int(np.rint(piece[0] * _PER_M)), int(np.rint(piece[1] * _PER_M))
    qx, qy = int(np.rint(piece[2] * _PER_M)), int(np.rint(piece[3] * _PER_M))
    side_a = _moved_side(qx - px, qy - py, iax - px, iay - py, 1)
    side_b = _moved_side(qx - px, qy - py, ibx - px, iby - py, 1)
    if side_a * side_b >= 0:
        return False, 0.0, 0.0
    # Moving the step one way is moving the road's vertices the other way.
    side_p = _moved_side(ibx - iax, iby - iay, px - iax, py - iay, -1)
    side_q = _moved_side(ibx - iax, iby - iay, qx - iax, qy - iay, -1)
    if side_p * side_q >= 0:
        return False, 0.0, 0.0
    dx, dy = float(qx - px), float(qy - py)
    ex, ey = float(ibx - iax), float(iby - iay)
    wx, wy = float(iax - px), float(iay - py)
    cross = dx * ey - dy * ex
    share = min(max((wx * ey - wy * ex) / cross, 0.0), 1.0)
    along = min(max((wx * dy - wy * dx) / cross, 0.0), 1.0)
    return True, share, along


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
