"""The nearest place on the network for many points at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.grid import TIE_M, cell_columns, place_on
from roadrisk.roads.portions import near_by_near, on_all_cores

if TYPE_CHECKING:
    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints

# Squares of distances are right to a little less than this.
_MORE = 1.0 + 1e-12
# As many pieces may be nearest, or nearly, before all that are listed around are measured.
_ROOM = 64


def nearest(index: PieceIndex, xy: Floats) -> tuple[Ints, Floats, Floats]:
    """Return the nearest place on the network for every point.

    Parameters
    ----------
    index : PieceIndex
    xy : ndarray, shape (n, 2)
        [m].

    Returns
    -------
    edge : ndarray of int64, shape (n,)
        -1 where a coordinate is missing. Of places equally near (within a micrometre) the
        one on the lowest edge, then at the lowest offset, is taken.
    offset_m : ndarray, shape (n,)
        Along the edge [m]; NaN where missing.
    distance_m : ndarray, shape (n,)
        [m]; NaN where missing.
    """
    local = np.asarray(xy, dtype=np.float64).reshape(-1, 2) - index.origin
    n = len(local)
    out = np.full(n, -1, np.int64), np.full(n, np.nan), np.full(n, np.nan)

    def some(points: Ints) -> None:
        _nearest(
            points, local, index.piece, index.edge, index.from_m, index.length_m, index.cell_m,
            index.shape, index.cell_first, index.cell_piece, *out,
        )  # fmt: skip

    on_all_cores(some, near_by_near(index, local))
    return out


@njit(cache=True, nogil=True)
def _nearest(  # noqa: PLR0912, PLR0915
    points: Ints,
    xy: Floats,
    piece: Floats,
    edge: Ints,
    from_m: Floats,
    length_m: Floats,
    cell: float,
    shape: Ints,
    first: Ints,
    listed: Ints,
    out_edge: Ints,
    out_offset: Floats,
    out_distance: Floats,
) -> None:
    nx, ny = shape[0], shape[1]
    room = np.empty(_ROOM, np.int64)
    room_d2 = np.empty(_ROOM)
    for i in points:
        x, y = xy[i, 0], xy[i, 1]
        if not (np.isfinite(x) and np.isfinite(y)):
            continue
        cx, cy = int(np.floor(x / cell)), int(np.floor(y / cell))
        # From outside the grid the first rings are empty.
        r = max(0, -cx, cx - (nx - 1), -cy, cy - (ny - 1))
        # Squared distances sort out what may be nearest or tie with it; all that may is kept and
        # measured once more below.
        within2, used, crowded = np.inf, 0, False
        while True:
            low_c, high_c = max(cx - r, 0), min(cx + r, nx - 1)
            for row in range(max(cy - r, 0), min(cy + r, ny - 1) + 1):
                gap_y = max(row * cell - y, y - (row + 1) * cell, 0.0)
                if gap_y * gap_y > within2:
                    continue
                # A whole row of the ring, or its two ends.
                by = 1 if row in (cy - r, cy + r) else 2 * r
                column = low_c if by == 1 else cx - r
                while column <= high_c:
                    gap_x = max(column * cell - x, x - (column + 1) * cell, 0.0)
                    if column >= 0 and gap_x * gap_x + gap_y * gap_y <= within2:
                        k = row * nx + column
                        for j in range(first[k], first[k + 1]):
                            p = listed[j]
                            x0, y0 = piece[p, 0], piece[p, 1]
                            dx, dy = piece[p, 2] - x0, piece[p, 3] - y0
                            wx, wy = x - x0, y - y0
                            dot, long2 = wx * dx + wy * dy, dx * dx + dy * dy
                            if dot <= 0.0:
                                d2 = wx * wx + wy * wy
                            elif dot >= long2:
                                d2 = (wx - dx) ** 2 + (wy - dy) ** 2
                            else:
                                d2 = (wx * dy - wy * dx) ** 2 / long2
                            if d2 > within2:
                                continue
                            within2 = min(within2, (_MORE * np.sqrt(d2) + 3.0 * TIE_M) ** 2)
                            if used == _ROOM:
                                used = _kept(room, room_d2, within2)
                            if used == _ROOM:
                                crowded = True
                            else:
                                room[used], room_d2[used] = p, d2
                                used += 1
                    column += by
            if cx - r <= 0 and cx + r >= nx - 1 and cy - r <= 0 and cy + r >= ny - 1:
                break
            bound = min(x - (cx - r) * cell, (cx + r + 1) * cell - x)
            bound = min(bound, y - (cy - r) * cell, (cy + r + 1) * cell - y)
            if bound > 0.0 and within2 <= bound * bound:
                break
            r += 1
        if crowded:
            near = _within(x, y, np.sqrt(within2), cell, shape, first, listed)
            used = len(near)
        else:
            near = room
        best, found, many = np.inf, -1, 0
        for m in range(used):
            p = near[m]
            if p == found or (not crowded and room_d2[m] > within2):
                continue
            t, d = place_on(x, y, piece[p, 0], piece[p, 1], piece[p, 2], piece[p, 3])
            many += 1
            if d < best:
                best, found, share = d, p, t
        if many == 1:
            out_edge[i], out_offset[i] = edge[found], from_m[found] + share * length_m[found]
            used = 0
        for m in range(used):
            p = near[m]
            t, d = place_on(x, y, piece[p, 0], piece[p, 1], piece[p, 2], piece[p, 3])
            if d > best + TIE_M or (0 <= out_edge[i] < edge[p]):
                continue
            offset = from_m[p] + t * length_m[p]
            if edge[p] != out_edge[i] or offset < out_offset[i]:
                out_edge[i], out_offset[i] = edge[p], offset
        out_distance[i] = best


@njit(cache=True, nogil=True)
def _kept(room: Ints, room_d2: Floats, within2: float) -> int:
    """Move what is still near enough to the front; return how many that are."""
    kept = 0
    for m in range(len(room)):
        if room_d2[m] <= within2:
            room[kept], room_d2[kept] = room[m], room_d2[m]
            kept += 1
    return kept


@njit(cache=True, nogil=True)
def _within(
    x: float, y: float, reach: float, cell: float, shape: Ints, first: Ints, listed: Ints
) -> Ints:
    """Pieces, some of them twice, of all cells within reach of a place."""
    out = [np.int64(0) for _ in range(0)]
    columns = cell_columns(x - reach, x + reach, cell)
    rows = cell_columns(y - reach, y + reach, cell)
    for row in range(max(rows[0], 0), min(rows[1], shape[1] - 1) + 1):
        for column in range(max(columns[0], 0), min(columns[1], shape[0] - 1) + 1):
            k = row * shape[0] + column
            out.extend(listed[first[k] : first[k + 1]])
    return np.array(out)
