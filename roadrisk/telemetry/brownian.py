"""Brownian bridges between fixes: a named comparison, not what the estimates rest on.

Horne, Garton, Krone & Lewis (2007, Ecology 88:2354-2363). Between two fixes the animal is
thought to wander at random, with one motion variance for the whole track. Two faults make
plain bridges a poor count of crossings: how often such a path clears a road of width w grows
like 1/w, and from fixes that lie farther apart than a homing animal takes to come back, its
variance is badly underestimated.

The motion variance is that of *one axis* a unit of time [m²/h], as in that paper.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from scipy import optimize

from roadrisk.telemetry.movement_draws import Drawn
from roadrisk.telemetry.movement_paths import DEEPEST, walk
from roadrisk.telemetry.movement_random import normal, seeded
from roadrisk.telemetry.movement_roads import on_road, with_raster
from roadrisk.telemetry.movement_visits import leave, new_visit, visit_room

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_roads import RoadField
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes


def motion_variance(hours: Floats, xy: Floats, error: Floats) -> float:
    """Motion variance of an axis by leaving out every second fix.

    Each left-out fix lies about the straight line between its two neighbours, at the share
    ``(t[i] - t[i - 1]) / (t[i + 1] - t[i - 1])`` of the way, with a variance made up of the
    motion in between and of the errors of all three fixes; the likelihood of all left-out
    fixes is maximised.

    Parameters
    ----------
    hours : ndarray, shape (n,)
        Times [h], ascending. Fixes at equal times of their neighbours are passed over.
    xy : ndarray, shape (n, 2)
        [m].
    error : ndarray, shape (n, 3)
        Error covariance of each fix: xx, xy, yy [m²]; may be 0.

    Returns
    -------
    float
        [m²/h], 0 where errors alone explain the fixes; NaN with fewer than three fixes.

    Notes
    -----
    The paper's likelihood uses the errors of the two neighbours; the left-out fix has an
    error too, which is added here with its own variance. With errors of 0, as in the worked
    values, the two are equal.
    """
    middle = np.arange(1, len(hours) - 1, 2)
    span = hours[middle + 1] - hours[middle - 1] if len(middle) else np.empty(0)
    middle, span = middle[span > 0], span[span > 0]
    if not len(middle):
        return float("nan")
    share = (hours[middle] - hours[middle - 1]) / span
    mean = xy[middle - 1] + share[:, None] * (xy[middle + 1] - xy[middle - 1])
    off = xy[middle] - mean
    moved = span * share * (1 - share)
    known = (1 - share)[:, None] ** 2 * error[middle - 1] + share[:, None] ** 2 * error[middle + 1]
    known = known + error[middle]

    def cost(variance: float) -> float:
        xx, yy, cross = moved * variance + known[:, 0], moved * variance + known[:, 2], known[:, 1]
        det = xx * yy - cross**2
        with np.errstate(divide="ignore", invalid="ignore"):
            square = yy * off[:, 0] ** 2 + xx * off[:, 1] ** 2 - 2 * cross * off[:, 0] * off[:, 1]
            each = np.log(det) + square / det
        return float(np.where(np.isfinite(each), each, np.inf).sum())

    use = moved > 0
    if not use.any():
        return float("nan")
    middle_value = float(((off[use] ** 2).sum(axis=1) / (2 * moved[use])).mean())
    if middle_value == 0.0:
        return 0.0
    tries = middle_value * np.concatenate([[0.0], np.geomspace(1e-6, 10.0, 120)])
    costs = np.array([cost(v) for v in tries])
    best = int(np.argmin(costs))
    if best == 0:
        return 0.0
    low, high = tries[max(best - 1, 0)], tries[min(best + 1, len(tries) - 1)]
    found = optimize.minimize_scalar(
        cost, bounds=(low, high), method="bounded", options={"xatol": 1e-9 * middle_value}
    )
    return float(found.x)


def bridge(
    share: Floats, duration_h: Floats, variance: float, start: Floats, end: Floats,
    start_sd: Floats, end_sd: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Mean and variance of the place between two fixes, on one axis.

    Parameters
    ----------
    share : ndarray
        Share of the time between the fixes that has passed, 0 to 1.
    duration_h : ndarray
        Time between the fixes [h].
    variance : float
        Motion variance [m²/h].
    start, end : ndarray
        Fixes [m].
    start_sd, end_sd : ndarray
        Standard deviations of their errors [m].

    Returns
    -------
    mean, variance : ndarray
        [m] and [m²]; the arguments' common shape.
    """
    a = np.asarray(share, dtype=np.float64)
    mean = np.asarray(start) + a * (np.asarray(end) - start)
    spread = np.asarray(duration_h) * a * (1 - a) * variance
    errors = (1 - a) ** 2 * np.asarray(start_sd) ** 2 + a**2 * np.asarray(end_sd) ** 2
    return np.asarray(mean), np.asarray(spread + errors)


def draw_bridge_crossings(
    track: MovementTrack,
    nodes: Nodes,
    variance: float,
    draws: int,
    field: RoadField,
    origin: Floats,
    key: int,
    *,
    precision_m: float = 1.0,
) -> Drawn:
    """Draw Brownian bridges through a track and note their crossings.

    Fixes are drawn by their own errors, each once a path, and the bridges between them are
    refined near roads as the paths of the movement process are.

    Parameters
    ----------
    track : MovementTrack
    nodes : Nodes
        On the clock on which `variance` was found.
    variance : float
        Motion variance [m²/h], 0 or more; 0 draws straight lines.
    draws : int
    field : RoadField
    origin : ndarray, shape (2,)
    key : int
    precision_m : float
        As for `movement_draws.draw_crossings`; the count of crossings depends on it, and on
        the road's width, more than for a process with a velocity.

    Returns
    -------
    Drawn
    """
    sd = np.sqrt(max(variance, 1e-9))
    room = 4 * sd * np.sqrt(max(float(np.diff(nodes.fix_hours).max(initial=0.0)), 1e-9)) + 40.0
    low, high = track.xy.min(axis=0) - origin - room, track.xy.max(axis=0) - origin + room
    field = with_raster(field, low, high)
    size = 64 * draws + 1024
    while True:
        events, at = np.empty((size, 4), np.int64), np.empty((size, 2))
        used = int(_draw(
            int(key), draws, sd, track.xy - origin, track.error, nodes.fix_hours,
            nodes.hours, nodes.fix, nodes.day, nodes.counted, nodes.day_begin, field,
            precision_m, events, at, *visit_room(),
        ))  # fmt: skip
        if used <= size:
            break
        size = used
    return Drawn(*events[:used].T, *at[:used].T)


@njit(cache=True, nogil=True)
def _draw(
    key: int,
    draws: int,
    sd: float,
    xy: Floats,
    error: Floats,
    fix_hours: Floats,
    hours: Floats,
    fix: Ints,
    day: Ints,
    counted: NDArray[np.bool_],
    day_begin: Floats,
    field: RoadField,
    precision_m: float,
    events: Ints,
    event_at: Floats,
    visit: Ints,
    visit_at: Floats,
) -> int:
    n, nodes, used = len(xy), len(hours), 0
    words = np.empty(4, np.uint64)
    table, stack = np.empty((DEEPEST + 2, 12)), np.empty((DEEPEST + 2, 5))
    table[DEEPEST + 1, 0] = -1.0
    level_of, place = np.empty(DEEPEST + 2, np.int64), np.empty((n, 2))
    begin, end, centre = np.zeros(4), np.zeros(4), np.zeros(2)
    for d in range(draws):
        seeded(key, d, words)
        for i in range(n):
            e = error[i]
            root = np.sqrt(max(e[0], 1e-300))
            z = normal(words)
            place[i, 0] = xy[i, 0] + root * z
            rest = np.sqrt(max(e[2] - e[1] * e[1] / max(e[0], 1e-300), 0.0))
            place[i, 1] = xy[i, 1] + e[1] / root * z + rest * normal(words)
        last = 0
        begin[:2] = place[0]
        new_visit(visit, visit_at, not on_road(field, begin[0], begin[1]))
        for i in range(1, nodes):
            t = hours[i] - hours[i - 1]
            if fix[i] >= 0:
                last = fix[i]
                end[:2] = place[last]
            else:
                # A day's beginning between two fixes: the bridge's own distribution there.
                left = fix_hours[last + 1] - hours[i - 1]
                share = t / left
                spread = sd * np.sqrt(t * (1.0 - share))
                for j in range(2):
                    mean = begin[j] + share * (place[last + 1, j] - begin[j])
                    end[j] = mean + spread * normal(words)
            if not counted[i] and t > 0.0:
                new_visit(visit, visit_at, not on_road(field, end[0], end[1]))
            elif t > 0.0:
                used = walk(
                    begin, end, t, hours[i - 1] - day_begin[i], day[i], 0.0, np.inf, centre, sd,
                    0.0, sd, precision_m, field, table, stack, level_of, words, visit,
                    visit_at, d, events, event_at, used,
                )  # fmt: skip
            begin[:] = end
        if not on_road(field, begin[0], begin[1]):
            used = leave(
                visit, visit_at, field.segment_first, field.segment_from_m, d, events, event_at,
                used,
            )  # fmt: skip
    return used


__all__ = ["bridge", "draw_bridge_crossings", "motion_variance"]
