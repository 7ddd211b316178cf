"""Stays on a carriageway: what is met there, and which edges were crossed when it is left.

While the animal is on a carriageway, every meeting with a middle line is noted; when it is clear
again, each edge of the network that was met an odd number of times was crossed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.grid import cell_columns, cell_rows, place_on
from roadrisk.roads.sides import SPARE_M, meeting_of_two

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

_MOST_MET = 24


@njit(cache=True)
def new_visit(visit: Ints, visit_at: Floats, clean: bool) -> None:
    """Begin without a stay on a carriageway.

    `visit`, shape (_MOST_MET + 1, 3): first row holds the number of edges met and whether the
    animal came from clear ground; then edge, times met, day. `visit_at`, same rows, 2 columns:
    active hours of the day and offset along the edge [m] of the last meeting.
    """
    visit[0, 0], visit[0, 1] = 0, 1 if clean else 0


def visit_room() -> tuple[Ints, Floats]:
    """Return room for a stay on a carriageway."""
    return np.zeros((_MOST_MET + 1, 3), np.int64), np.zeros((_MOST_MET + 1, 2))


@njit(cache=True, nogil=True)
def leave(
    visit: Ints,
    visit_at: Floats,
    segment_first: Ints,
    segment_from: Floats,
    draw: int,
    events: Ints,
    event_at: Floats,
    used: int,
) -> int:
    """End a stay: note the edges met an odd number of times; return the events so far."""
    if visit[0, 1] == 1:
        for m in range(1, visit[0, 0] + 1):
            if visit[m, 1] % 2 == 1:
                if used < len(events):
                    edge, offset = visit[m, 0], visit_at[m, 1]
                    events[used, 0], events[used, 1], events[used, 2] = draw, visit[m, 2], edge
                    events[used, 3] = _segment(segment_first, segment_from, edge, offset)
                    event_at[used, 0], event_at[used, 1] = visit_at[m, 0], offset
                used += 1
    visit[0, 0], visit[0, 1] = 0, 1
    return used


@njit(cache=True, nogil=True)
def _segment(segment_first: Ints, segment_from: Floats, edge: int, offset: float) -> int:
    """Return the segment at a place on an edge."""
    found = segment_first[edge]
    while found + 1 < segment_first[edge + 1] and segment_from[found + 1] <= offset:
        found += 1
    return found


@njit(cache=True, nogil=True)
def meet(
    ax: float,
    ay: float,
    bx: float,
    by: float,
    at_h: float,
    duration: float,
    day: int,
    piece: Floats,
    cell_first: Ints,
    cell_piece: Ints,
    cell_m: float,
    columns: int,
    rows: int,
    widest: float,
    segment_first: Ints,
    segment_from: Floats,
    ground: NDArray[np.bool_],
    visit: Ints,
    visit_at: Floats,
) -> bool:
    """Note where a straight piece of path meets middle lines; tell if it ends on a road."""
    # Sides are decided in whole millimetres: the box has a few of them to spare.
    x0, x1 = min(ax, bx - widest) - SPARE_M, max(ax, bx + widest) + SPARE_M
    y0, y1 = min(ay, by - widest) - SPARE_M, max(ay, by + widest) + SPARE_M
    c0, c1 = cell_columns(x0, x1, cell_m)
    r0, r1 = cell_columns(y0, y1, cell_m)
    ends_on = False
    for row in range(max(r0, 0), min(r1, rows - 1) + 1):
        for column in range(max(c0, 0), min(c1, columns - 1) + 1):
            k = row * columns + column
            for j in range(cell_first[k], cell_first[k + 1]):
                p = cell_piece[j]
                px, py, qx, qy = piece[p, 0], piece[p, 1], piece[p, 2], piece[p, 3]
                if max(px, qx) < x0 or min(px, qx) > x1 or max(py, qy) < y0 or min(py, qy) > y1:
                    continue
                half = piece[p, 7]
                if half > 0.0 and not ends_on:
                    ends_on = place_on(bx, by, px, py, qx, qy)[1] <= half
                if not may_meet(ax, ay, bx, by, piece, p):
                    continue
                found, share, along = meeting_of_two(ax, ay, bx, by, piece[p])
                # A piece is listed in several cells: it counts in the one that is its first
                # within the box that was looked at.
                if (
                    found
                    and _first_cell(px, py, qx, qy, cell_m, c0, c1, r0, r1, columns, rows) == k
                ):
                    edge = int(piece[p, 4])
                    offset = piece[p, 5] + share * piece[p, 6]
                    if ground[_segment(segment_first, segment_from, edge, offset)]:
                        _note(visit, visit_at, edge, at_h + along * duration, day, offset)
    return ends_on


@njit(cache=True, nogil=True, inline="always")
def may_meet(ax: float, ay: float, bx: float, by: float, piece: Floats, p: int) -> bool:
    """Take a quick look at the sides, with slack for the rounding to millimetres."""
    wx, wy = piece[p, 0] - ax, piece[p, 1] - ay
    dx, dy = piece[p, 2] - piece[p, 0], piece[p, 3] - piece[p, 1]
    ex, ey = bx - ax, by - ay
    cross = ex * dy - ey * dx
    one = wx * dy - wy * dx
    two = one - cross
    slack = SPARE_M * (abs(dx) + abs(dy))
    if (one > slack and two > slack) or (one < -slack and two < -slack):
        return False
    one = ex * wy - ey * wx
    two = one + cross
    slack = SPARE_M * (abs(ex) + abs(ey))
    return not ((one > slack and two > slack) or (one < -slack and two < -slack))


@njit(cache=True, nogil=True)
def meet_piece(
    ax: float,
    ay: float,
    bx: float,
    by: float,
    at_h: float,
    duration: float,
    day: int,
    p: int,
    piece: Floats,
    segment_first: Ints,
    segment_from: Floats,
    ground: NDArray[np.bool_],
    visit: Ints,
    visit_at: Floats,
) -> None:
    """Note where a straight piece of path meets one piece of road."""
    found, share, along = meeting_of_two(ax, ay, bx, by, piece[p])
    if found:
        edge = int(piece[p, 4])
        offset = piece[p, 5] + share * piece[p, 6]
        if ground[_segment(segment_first, segment_from, edge, offset)]:
            _note(visit, visit_at, edge, at_h + along * duration, day, offset)


@njit(cache=True, nogil=True)
def _first_cell(
    px: float,
    py: float,
    qx: float,
    qy: float,
    cell_m: float,
    c0: int,
    c1: int,
    r0: int,
    r1: int,
    columns: int,
    rows: int,
) -> int:
    """Return the first cell, by row and column, of a box of cells that lists a piece."""
    best = columns * rows
    p0, p1 = cell_columns(px, qx, cell_m)
    for column in range(max(p0, c0, 0), min(p1, c1, columns - 1) + 1):
        low, high = cell_rows(px, py, qx, qy, column, cell_m)
        row = max(low, r0, 0)
        if row <= min(high, r1, rows - 1):
            best = min(best, row * columns + column)
    return best


@njit(cache=True, nogil=True)
def _note(visit: Ints, visit_at: Floats, edge: int, at_h: float, day: int, offset: float) -> None:
    many = visit[0, 0]
    for m in range(1, many + 1):
        if visit[m, 0] == edge:
            visit[m, 1] += 1
            visit[m, 2] = day
            visit_at[m, 0], visit_at[m, 1] = at_h, offset
            return
    if many < _MOST_MET:
        m = many + 1
        visit[0, 0] = m
        visit[m, 0], visit[m, 1], visit[m, 2] = edge, 1, day
        visit_at[m, 0], visit_at[m, 1] = at_h, offset
