"""Paths between fixes, drawn from the fitted process and refined only where a road is in reach.

States at all nodes are drawn backwards from the filter; between two nodes the path is halved
again and again by the exact distribution of the state half-way (`movement_process.half_way`).
A piece of path is left alone as soon as no carriageway lies within its reach, and counted as
straight once what it could add by winding is below `precision_m`.

A crossing goes from clear of one edge of the carriageway to clear of the other. While the
animal is on a carriageway, every meeting with a middle line is noted; when it is clear again,
each edge of the network that was met an odd number of times was crossed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.grid import cell_columns, cell_rows
from roadrisk.roads.meetings import _one as meets
from roadrisk.telemetry.movement_process import half_way
from roadrisk.telemetry.movement_random import normal
from roadrisk.telemetry.movement_roads import may_reach, on_road, segment_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_roads import RoadField

    Words = NDArray[np.uint64]

DEEPEST = 22
# Paths leave their reach about once in ten thousand pieces.
_DEVIATIONS = 4.5
_MOST_MET = 24


@njit(cache=True, nogil=True)
def leaf_level(t: float, a: float, b: float, sigma: float, precision_m: float) -> int:
    """Return how often a piece of path of duration t is halved before it counts as straight."""
    for level in range(DEEPEST):
        dt = t / 2.0**level
        if b == np.inf:
            off = sigma * np.sqrt(dt) / 2.0
        else:
            # White noise in the velocity: about the chord, the place deviates by q dt^3 / 48.
            off = sigma * np.sqrt(2.0 * a * b * (a + b) * dt * dt * dt / 48.0)
        if off <= precision_m:
            return level
    return DEEPEST


@njit(cache=True, nogil=True)
def walk(
    begin: Floats,
    end: Floats,
    t: float,
    at_h: float,
    day: int,
    a: float,
    b: float,
    centre: Floats,
    sxx: float,
    sxy: float,
    syy: float,
    precision_m: float,
    field: RoadField,
    table: Floats,
    stack: Floats,
    level_of: Ints,
    words: Words,
    spare: Floats,
    visit: Ints,
    visit_at: Floats,
    draw: int,
    events: Ints,
    event_at: Floats,
    used: int,
) -> int:
    """Draw the path between two states and note its crossings; return the events used so far.

    Parameters
    ----------
    begin, end : ndarray, shape (4,)
        x, y, vx, vy [m, m/h]; places count from the grid's corner.
    t, at_h : float
        Duration, and active hours of the day at the beginning [h].
    day : int
    a, b : float
        1 / tau, 1 / tau_v [1/h].
    centre : ndarray, shape (2,)
        Where the process is pulled [m].
    sxx, sxy, syy : float
        Shape of the home.
    precision_m : float
    field : RoadField
    table, stack, level_of
        Room to work in: (DEEPEST + 1, 12), (DEEPEST + 2, 5), (DEEPEST + 2,).
    words, spare
        The path's random stream.
    visit, visit_at
        The stay on a carriageway so far (`new_visit`); goes on from piece to piece.
    draw : int
    events : ndarray of int64, shape (room, 4)
        draw, day, edge, segment; rows beyond the room are counted and not written.
    event_at : ndarray, shape (room, 2)
        Active hours of that day, offset along the edge [m].
    used : int
    """
    sigma = np.sqrt(max(sxx * sxx, syy * syy) + sxy * sxy)
    deepest = -1
    table[:, 11] = 0.0
    left = begin.copy()
    left_t, top = 0.0, 0
    stack[0, :4] = end
    stack[0, 4] = t
    level_of[0] = 0
    middle = np.empty(4)
    while top >= 0:
        right, level = stack[top], level_of[top]
        duration = right[4] - left_t
        if table[level, 11] == 0.0:
            half_way(t / 2.0 ** (level + 1), a, b, table[level])
            table[level, 11] = 1.0
        k = table[level]
        for j in range(2):
            c = centre[j]
            l0, l1, r0, r1 = left[j] - c, left[j + 2], right[j] - c, right[j + 2]
            middle[j] = c + k[0] * l0 + k[1] * l1 + k[4] * r0 + k[5] * r1
            middle[j + 2] = k[2] * l0 + k[3] * l1 + k[6] * r0 + k[7] * r1
        reach = max(
            np.hypot(left[0] - middle[0], left[1] - middle[1]),
            np.hypot(right[0] - middle[0], right[1] - middle[1]),
        )
        speed = np.hypot(left[2], left[3]) + np.hypot(right[2], right[3])
        reach += _DEVIATIONS * sigma * k[8] + speed * min(0.15 * duration, 1.0 / b)
        if not may_reach(field, middle[0], middle[1], reach):
            # The whole piece is clear of all roads: so are its ends.
            if visit[0, 0] > 0:
                used = leave(visit, visit_at, field, draw, events, event_at, used)
            visit[0, 1] = 1
            left[:] = right[:4]
            left_t = right[4]
            top -= 1
            continue
        if deepest < 0:
            deepest = leaf_level(t, a, b, sigma, precision_m)
        if level >= deepest:
            half = 0.5 * np.hypot(right[0] - left[0], right[1] - left[1])
            x, y = 0.5 * (left[0] + right[0]), 0.5 * (left[1] + right[1])
            near = may_reach(field, x, y, half)
            if near:
                _meet(left, right, at_h + left_t, duration, day, field, visit, visit_at)
            if not (near and on_road(field, right[0], right[1])):
                if visit[0, 0] > 0:
                    used = leave(visit, visit_at, field, draw, events, event_at, used)
                visit[0, 1] = 1
            left[:] = right[:4]
            left_t = right[4]
            top -= 1
            continue
        zx0, zy0 = normal(words, spare), normal(words, spare)
        nx, ny = k[8] * zx0, k[8] * zy0
        middle[0] += sxx * nx + sxy * ny
        middle[1] += sxy * nx + syy * ny
        if k[10] > 0.0:
            nx = k[9] * zx0 + k[10] * normal(words, spare)
            ny = k[9] * zy0 + k[10] * normal(words, spare)
            middle[2] += sxx * nx + sxy * ny
            middle[3] += sxy * nx + syy * ny
        level_of[top] = level_of[top + 1] = level + 1
        top += 1
        stack[top, :4] = middle
        stack[top, 4] = left_t + duration / 2.0
    return used


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
    field: RoadField,
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
                    events[used, 3] = segment_of(field, edge, offset)
                    event_at[used, 0], event_at[used, 1] = visit_at[m, 0], offset
                used += 1
    visit[0, 0], visit[0, 1] = 0, 1
    return used


@njit(cache=True, nogil=True)
def _meet(
    left: Floats,
    right: Floats,
    at_h: float,
    duration: float,
    day: int,
    field: RoadField,
    visit: Ints,
    visit_at: Floats,
) -> None:
    """Note where a straight piece of path meets middle lines of roads on the ground."""
    ax, ay, bx, by = left[0], left[1], right[0], right[1]
    columns = cell_columns(ax, bx, field.cell_m)
    seen, many = np.empty(_MOST_MET, np.int64), 0
    for column in range(max(columns[0], 0), min(columns[1], field.shape[0] - 1) + 1):
        rows = cell_rows(ax, ay, bx, by, column, field.cell_m)
        for row in range(max(rows[0], 0), min(rows[1], field.shape[1] - 1) + 1):
            k = row * field.shape[0] + column
            for j in range(field.cell_first[k], field.cell_first[k + 1]):
                p = field.cell_piece[j]
                if field.half_m[p] < 0.0 and not _partly_ground(field, p):
                    continue
                found, share, along = meets(ax, ay, bx, by, field.piece[p])
                if not found:
                    continue
                known = False
                for m in range(many):
                    known = known or seen[m] == p
                if known:
                    continue
                if many < _MOST_MET:
                    seen[many] = p
                    many += 1
                edge = field.edge[p]
                offset = field.from_m[p] + share * field.length_m[p]
                if field.segment_ground[segment_of(field, edge, offset)]:
                    _note(visit, visit_at, edge, at_h + along * duration, day, offset)


@njit(cache=True, nogil=True)
def _partly_ground(field: RoadField, p: int) -> bool:
    """Whether a piece whose middle is off the ground has an end on it."""
    edge, begin, length = field.edge[p], field.from_m[p], field.length_m[p]
    return (
        field.segment_ground[segment_of(field, edge, begin)]
        or field.segment_ground[segment_of(field, edge, begin + length)]
    )


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
