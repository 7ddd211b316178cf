"""Paths between fixes, drawn from the fitted process and refined only where a road is in reach.

States at all nodes are drawn backwards from the filter; between two nodes the path is halved
again and again by the exact distribution of the state half-way (`movement_process.half_way`).
A piece of path is left alone as soon as no carriageway lies within its reach, and counted as
straight once what it could add by winding is below `precision_m`.

A crossing goes from clear of one edge of the carriageway to clear of the other
(`movement_visits`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.sides import SPARE_M
from roadrisk.telemetry.movement_process import half_way
from roadrisk.telemetry.movement_random import normal
from roadrisk.telemetry.movement_roads import (
    FAR,
    LOOK,
    MANY,
    NEAR,
    TOLD,
    large_reach,
    piece_within,
    within_reach_of_road,
)
from roadrisk.telemetry.movement_visits import leave, may_meet, meet, meet_piece

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_roads import RoadField

    Words = NDArray[np.uint64]

DEEPEST = 22
# A bridge leaves this reach with chance exp(-8), three in ten thousand, and mostly not by much.
_DEVIATIONS = 4.0


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
def walk(  # noqa: PLR0912, PLR0915
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
    table, stack, level_of : ndarray
        Room to work in: (DEEPEST + 2, 12), (DEEPEST + 2, 5), (DEEPEST + 2,). With other
        parameters than the way before, ``table[DEEPEST + 1, 0]`` is set to -1 first.
    words : ndarray
        The path's random stream.
    visit, visit_at : ndarray
        The stay on a carriageway so far (`new_visit`); goes on from piece to piece.
    draw : int
    events : ndarray of int64, shape (room, 4)
        draw, day, edge, segment; rows beyond the room are counted and not written.
    event_at : ndarray, shape (room, 2)
        Active hours of that day, offset along the edge [m].
    used : int
    """
    sigma = np.sqrt(max(sxx * sxx, syy * syy) + sxy * sxy)
    # The loop holds numbers and reads arrays in place: handing arrays to a function, or taking
    # a row of one, costs more than the arithmetic.
    away, corner_x, corner_y = field.away, field.corner_x, field.corner_y
    raster_m, widest, slack = field.raster_m, field.widest_m, 1.7 * field.raster_m
    piece, cell_first, cell_piece = field.piece, field.cell_first, field.cell_piece
    segment_first, segment_from = field.segment_first, field.segment_from_m
    ground, cell_m, wide, high = field.segment_ground, field.cell_m, field.columns, field.rows
    near, near_m = field.near, field.near_m
    large, rows, columns = large_reach(field), away.shape[0], away.shape[1]
    cx, cy, memory = centre[0], centre[1], 1.0 / b
    # Ways of one length under one set of parameters share the table; its last row knows them.
    if table[DEEPEST + 1, 0] != t:
        table[:, 11] = 0.0
        table[DEEPEST + 1, 0], table[DEEPEST + 1, 1] = t, -1.0
    deepest = int(table[DEEPEST + 1, 1])
    lx, ly, lu, lv, lt = begin[0], begin[1], begin[2], begin[3], 0.0
    top = 0
    for j in range(4):
        stack[0, j] = end[j]
    stack[0, 4] = t
    level_of[0] = 0
    while top >= 0:
        rx, ry, ru, rv, rt = (
            stack[top, 0], stack[top, 1], stack[top, 2], stack[top, 3], stack[top, 4]
        )  # fmt: skip
        level = level_of[top]
        duration = rt - lt
        if table[level, 11] == 0.0:
            half_way(t / 2.0 ** (level + 1), a, b, table[level])
            table[level, 11] = 1.0
        k0, k1, k4, k5 = table[level, 0], table[level, 1], table[level, 4], table[level, 5]
        mx = cx + k0 * (lx - cx) + k1 * lu + k4 * (rx - cx) + k5 * ru
        my = cy + k0 * (ly - cy) + k1 * lv + k4 * (ry - cy) + k5 * rv
        far_l = (lx - mx) ** 2 + (ly - my) ** 2
        far_r = (rx - mx) ** 2 + (ry - my) ** 2
        reach = np.sqrt(max(far_l, far_r)) + _DEVIATIONS * sigma * table[level, 8]
        speed = np.sqrt(lu * lu + lv * lv) + np.sqrt(ru * ru + rv * rv)
        reach += speed * min(0.15 * duration, memory) + SPARE_M
        seen, whole = LOOK, reach + widest
        c, r = int((mx - corner_x) / raster_m), int((my - corner_y) / raster_m)
        inside = mx >= corner_x and my >= corner_y and r < rows and c < columns
        if inside:
            if away[r, c] - slack > whole:
                seen = FAR
            elif whole > large or away[r, c] + slack <= whole:
                seen = NEAR
        if seen == LOOK and inside and whole <= near_m and near[r, c, 0] != MANY:
            seen = FAR
            for k in range(TOLD):
                p = near[r, c, k]
                if p < 0:
                    break
                if piece[p, 7] > 0.0 and piece_within(piece, p, mx, my, piece[p, 7] + reach):
                    seen = NEAR
                    break
        elif seen == LOOK and not within_reach_of_road(
            piece, cell_first, cell_piece, cell_m, wide, high, widest, mx, my, reach
        ):
            seen = FAR
        if seen == FAR:
            # The whole piece is clear of all roads: so are its ends.
            if visit[0, 0] > 0:
                used = leave(
                    visit, visit_at, segment_first, segment_from, draw, events, event_at, used
                )
            visit[0, 1] = 1
            lx, ly, lu, lv, lt = rx, ry, ru, rv, rt
            top -= 1
            continue
        if deepest < 0:
            deepest = leaf_level(t, a, b, sigma, precision_m)
            table[DEEPEST + 1, 1] = deepest
        if level >= deepest:
            mx, my = 0.5 * (lx + rx), 0.5 * (ly + ry)
            whole = np.sqrt((lx - rx) ** 2 + (ly - ry) ** 2) + widest + SPARE_M
            c, r = int((mx - corner_x) / raster_m), int((my - corner_y) / raster_m)
            clear = mx >= corner_x and my >= corner_y and r < rows and c < columns
            if clear and away[r, c] - slack > whole and visit[0, 0] == 0:
                visit[0, 1] = 1
                lx, ly, lu, lv, lt = rx, ry, ru, rv, rt
                top -= 1
                continue
            told = False
            if clear and near[r, c, 0] != MANY:
                half_m = 0.5 * np.sqrt((lx - rx) ** 2 + (ly - ry) ** 2)
                told = half_m + widest + SPARE_M <= near_m
            if told:
                stays, met, many = False, -1, 0
                for k in range(TOLD):
                    p = near[r, c, k]
                    if p < 0:
                        break
                    half = piece[p, 7]
                    if half > 0.0 and piece_within(piece, p, rx, ry, half):
                        stays = True
                    if may_meet(lx, ly, rx, ry, piece, p):
                        met = p
                        many += 1
                told = many < 2
                if many == 1:
                    meet_piece(
                        lx, ly, rx, ry, at_h + lt, duration, day, met, piece, segment_first,
                        segment_from, ground, visit, visit_at,
                    )  # fmt: skip
            if not told:
                stays = meet(
                    lx, ly, rx, ry, at_h + lt, duration, day, piece, cell_first, cell_piece,
                    cell_m, wide, high, widest, segment_first, segment_from, ground, visit,
                    visit_at,
                )  # fmt: skip
            if not stays:
                if visit[0, 0] > 0:
                    used = leave(
                        visit, visit_at, segment_first, segment_from, draw, events, event_at, used
                    )
                visit[0, 1] = 1
            lx, ly, lu, lv, lt = rx, ry, ru, rv, rt
            top -= 1
            continue
        k2, k3, k6, k7 = table[level, 2], table[level, 3], table[level, 6], table[level, 7]
        mu = k2 * (lx - cx) + k3 * lu + k6 * (rx - cx) + k7 * ru
        mv = k2 * (ly - cy) + k3 * lv + k6 * (ry - cy) + k7 * rv
        z0, z1 = normal(words), normal(words)
        n0, n1 = table[level, 8] * z0, table[level, 8] * z1
        mx += sxx * n0 + sxy * n1
        my += sxy * n0 + syy * n1
        if table[level, 10] > 0.0:
            n0 = table[level, 9] * z0 + table[level, 10] * normal(words)
            n1 = table[level, 9] * z1 + table[level, 10] * normal(words)
            mu += sxx * n0 + sxy * n1
            mv += sxy * n0 + syy * n1
        level_of[top] = level_of[top + 1] = level + 1
        top += 1
        stack[top, 0], stack[top, 1], stack[top, 2], stack[top, 3] = mx, my, mu, mv
        stack[top, 4] = lt + duration / 2.0
    return used
