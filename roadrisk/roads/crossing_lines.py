"""Where centrelines on the ground cross, touch or run over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints

# Lines that are looked up together.
_AT_ONCE = 100_000
# Farther apart than this, straight pieces do not meet, whatever the rounding [m].
_SURE_M = 1e-6
# Two lines of so many pairs of pieces are left to GEOS, which sorts them first.
_MANY = 1_000_000


def crossing_points(
    lines: RoadLines, shapes: np.ndarray, tree: shapely.STRtree, ground: Ints
) -> tuple[Ints, Floats]:
    """Return the places where lines meet others, and the ends of stretches that they share.

    Places where lines only begin or end together are left out.

    Parameters
    ----------
    lines : RoadLines
    shapes : ndarray of shapely LineStrings, shape (lines,)
        The same lines.
    tree : shapely.STRtree
        Of `shapes`.
    ground : ndarray of int64
        Lines that may meet.

    Returns
    -------
    line : ndarray of int64, shape (n,)
        Both lines of each meeting, one after the other.
    xy : ndarray, shape (n, 2)
        [m].
    """
    on_ground = np.zeros(len(lines), dtype=bool)
    on_ground[ground] = True
    found_lines, found_xy = [np.empty(0, dtype=np.int64)], [np.empty((0, 2))]
    for begin in range(0, len(ground), _AT_ONCE):
        rows = ground[begin : begin + _AT_ONCE]
        first, second = tree.query(shapes[rows], predicate="intersects")
        first, second = rows[first], second.astype(np.int64)
        keep = (first < second) & on_ground[second]
        first, second = first[keep], second[keep]
        keep = _meet_inside(lines.xy, lines.first, first, second, _MANY)
        first, second = first[keep], second[keep]
        pair, xy = _corners(shapely.intersection(shapes[first], shapes[second]))
        found_lines.append(np.column_stack([first[pair], second[pair]]).ravel())
        found_xy.append(np.repeat(xy, 2, axis=0))
    return np.concatenate(found_lines), np.concatenate(found_xy)


def _corners(shared: np.ndarray) -> tuple[Ints, Floats]:
    """Points of each intersection, then the ends of its lines: which intersection, place."""
    parts, of = shapely.get_parts(shared, return_index=True)
    kind = shapely.get_type_id(parts)
    point, line = np.flatnonzero(kind == 0), np.flatnonzero(kind == 1)
    several, group = np.unique(of[line], return_inverse=True)
    joined, which = np.empty(0, dtype=object), np.empty(0, dtype=np.int64)
    if len(line):
        merged = shapely.line_merge(shapely.multilinestrings(parts[line], indices=group))
        joined, which = shapely.get_parts(merged, return_index=True)
    ends = np.stack([shapely.get_point(joined, 0), shapely.get_point(joined, -1)], axis=1).ravel()
    pair = np.concatenate([of[point], np.repeat(several[which], 2)]).astype(np.int64)
    xy = shapely.get_coordinates(np.concatenate([parts[point], ends]))
    order = np.argsort(pair, kind="stable")
    return pair[order], xy[order]


@njit(cache=True)
def _meet_inside(xy: Floats, first: Ints, a: Ints, b: Ints, many: int) -> np.ndarray:
    """Whether two lines may meet anywhere but in an end of both; never wrongly "no"."""
    out = np.zeros(len(a), np.bool_)
    for k in range(len(a)):
        a0, a1, b0, b1 = first[a[k]], first[a[k] + 1] - 1, first[b[k]], first[b[k] + 1] - 1
        if (a1 - a0) * (b1 - b0) > many:
            out[k] = True
            continue
        for i in range(a0, a1):
            for j in range(b0, b1):
                if _may_meet(
                    xy[i], xy[i + 1], xy[j], xy[j + 1], i == a0, i + 1 == a1, j == b0, j + 1 == b1
                ):
                    out[k] = True
                    break
            if out[k]:
                break
    return out


@njit(cache=True)
def _may_meet(
    p: Floats, q: Floats, r: Floats, s: Floats, p_end: bool, q_end: bool, r_end: bool, s_end: bool
) -> bool:
    """Whether straight pieces p-q and r-s may meet, but for an end of both lines (`*_end`)."""
    for c in range(2):
        low, high = min(p[c], q[c]) - _SURE_M, max(p[c], q[c]) + _SURE_M
        if max(r[c], s[c]) < low or min(r[c], s[c]) > high:
            return False
    for turn in range(4):
        x, y = (p, q) if turn < 2 else (q, p)
        z, w = (r, s) if turn % 2 == 0 else (s, r)
        x_end = p_end if turn < 2 else q_end
        z_end = r_end if turn % 2 == 0 else s_end
        if x[0] == z[0] and x[1] == z[1] and x_end and z_end:
            # From one end of both they part, unless they set out in the same direction.
            ux, uy, vx, vy = y[0] - x[0], y[1] - x[1], w[0] - z[0], w[1] - z[1]
            longest = max(np.hypot(ux, uy), np.hypot(vx, vy))
            return ux * vx + uy * vy >= 0.0 and abs(ux * vy - uy * vx) <= _SURE_M * longest
    return _sides(p, q, r, s) and _sides(r, s, p, q)


@njit(cache=True)
def _sides(p: Floats, q: Floats, r: Floats, s: Floats) -> bool:
    """Whether r and s may lie on different sides of the line through p and q, or on it."""
    length = np.hypot(q[0] - p[0], q[1] - p[1])
    one = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    other = (q[0] - p[0]) * (s[1] - p[1]) - (q[1] - p[1]) * (s[0] - p[0])
    sure = _SURE_M * length
    return not ((one > sure and other > sure) or (one < -sure and other < -sure))
