"""Plain estimators of crossings to compare with: straight lines and Brownian bridges.

They stand for what is commonly done with fixes and are as simple as they can be.
They move in active hours only (`Clock.active_hours`), but for `bridge_around_the_clock`.
"""

from __future__ import annotations

import math

import numba
import numpy as np
from scipy.optimize import minimize_scalar

from tests.truth.walk_paths import crossings_along
from tests.truth.walk_scoring import Clock, Estimates, Floats, Ints, Road, Tracks

DRAWS = 60
FINEST_HOURS = 4 / 60
SURE_SDS = 3.0


def straight_lines(tracks: Tracks, road: Road, clock: Clock, rng: np.random.Generator) -> Estimates:
    """Join the fixes by straight lines at even speed: one draw, so no interval."""
    del rng  # nothing is drawn
    tally = Tally(tracks, road, clock, 1)
    for animal, rows in _rows(tracks):
        hours = clock.active_hours(tracks.time_hours[rows])
        grid = np.unique(np.append(np.arange(hours[0], hours[-1], 0.1), hours))
        x, y = (np.interp(grid, hours, values[rows]) for values in (tracks.x, tracks.y))
        tally.add(animal, 0, np.column_stack([grid, x, y]))
    return tally.estimates()


def brownian_bridge(
    tracks: Tracks, road: Road, clock: Clock, rng: np.random.Generator
) -> Estimates:
    """Draw Brownian bridges between fixes, variance per animal by leaving out every second fix.

    Horne, Garton, Krone & Lewis (2007), Ecology 88:2354-2363, equations as in
    `motion_variance`; the variance is plugged in. Fixes are drawn with their error, one
    apart from the other. Paths are refined to 4 minutes where they may touch a road (chance
    of contact above 1e-4 by the reflection principle) and left coarse elsewhere.
    """
    tally = Tally(tracks, road, clock, DRAWS)
    room = np.empty((200_000, 3))
    for animal, rows in _rows(tracks):
        hours = clock.active_hours(tracks.time_hours[rows])
        xy = np.column_stack([tracks.x[rows], tracks.y[rows]])
        sd = tracks.sd_m[rows]
        variance = motion_variance(hours, xy, sd)
        for draw in range(DRAWS):
            seen = xy + rng.standard_normal(xy.shape) * sd[:, None]
            count = _bridges(rng, hours, seen, variance, road.frames, road.width_m / 2, room)
            tally.add(animal, draw, room[:count])
    return tally.estimates()


def bridge_around_the_clock(
    tracks: Tracks, road: Road, clock: Clock, rng: np.random.Generator
) -> Estimates:
    """`brownian_bridge` that knows of no active hours."""
    del clock
    return brownian_bridge(tracks, road, Clock(0.0, 24.0), rng)


def motion_variance(hours: Floats, xy: Floats, sd_m: Floats) -> float:
    """Brownian motion variance by maximum likelihood [m² an hour].

    Every second fix is held against the bridge between its neighbours: with
    T = t(i+1) - t(i-1) and a = (t(i) - t(i-1))/T its variance on each axis is
    T a (1-a) s² + (1-a)² sd(i-1)² + a² sd(i+1)².
    """
    middle = np.arange(1, len(hours) - 1, 2)
    span = np.maximum(hours[middle + 1] - hours[middle - 1], 1 / 60)
    part = np.clip((hours[middle] - hours[middle - 1]) / span, 0.0, 1.0)
    mean = xy[middle - 1] + part[:, None] * (xy[middle + 1] - xy[middle - 1])
    squared = ((xy[middle] - mean) ** 2).sum(axis=1)
    error = ((1 - part) * sd_m[middle - 1]) ** 2 + (part * sd_m[middle + 1]) ** 2

    def loss(log_variance: float) -> float:
        total = span * part * (1 - part) * math.exp(log_variance) + error
        # No error and no time between two fixes would leave nothing to be judged by.
        total = np.maximum(total, 1e-9)
        return float(np.sum(np.log(total) + squared / (2 * total)))

    best = minimize_scalar(loss, bounds=(-6.0, 14.0), method="bounded", options={"xatol": 1e-4})
    return float(math.exp(best.x))


def least_crossings(tracks: Tracks, road: Road) -> Floats:
    """Changes of side between fixes that are clear of a road by three standard deviations."""
    out = np.zeros(tracks.animals)
    for animal, rows in _rows(tracks):
        for x, y, ux, uy in road.frames:
            off = (tracks.y[rows] - y) * ux - (tracks.x[rows] - x) * uy
            sure = np.abs(off) > road.width_m / 2 + SURE_SDS * tracks.sd_m[rows]
            out[animal] += np.sum(np.diff(np.sign(off[sure])) != 0)
    return out


class Tally:
    """Counts crossings draw by draw."""

    def __init__(self, tracks: Tracks, road: Road, clock: Clock, draws: int) -> None:
        self.road, self.clock, self.draws = road, clock, draws
        self.least = least_crossings(tracks, road)
        self.days = np.zeros((tracks.animals, draws))
        self.totals = np.zeros((tracks.animals, draws))
        self.segment_days = np.zeros((tracks.animals, road.segments))

    def add(self, animal: int, draw: int, path: Floats) -> None:
        """Count one path: rows of active hours, x and y."""
        road = self.road
        step, which, along = crossings_along(path[:, 1:], road.frames, road.width_m / 2)
        day = (path[step, 0] // self.clock.hours).astype(np.int64)
        self.add_crossings(animal, draw, day, road.segment_at(which, along))

    def add_crossings(self, animal: int, draw: int, day: Ints, segment: Ints) -> None:
        """Count one draw's crossings of one animal, by day and row of the road's segments."""
        many = self.road.segments
        self.totals[animal, draw] = len(day)
        self.days[animal, draw] = len(np.unique(day))
        pairs = np.unique(day * many + segment) % many
        self.segment_days[animal] += np.bincount(pairs, minlength=many) / self.draws

    def estimates(self) -> Estimates:
        return Estimates(self.days, self.totals, self.least, self.segment_days)


def _rows(tracks: Tracks) -> list[tuple[int, Ints]]:
    """Each animal and its fixes' rows."""
    return [(each, np.flatnonzero(tracks.animal == each)) for each in range(tracks.animals)]


@numba.njit(cache=True)
def _bridges(
    rng: np.random.Generator,
    hours: Floats,
    xy: Floats,
    variance: float,
    frames: Floats,
    half_m: float,
    room: Floats,
) -> int:
    """Fill `room` with time, x and y of a path through all fixes; return the points used.

    Midpoints are drawn between two known points as long as the gap may hold a contact.
    """
    waiting = np.empty((64, 3))
    room[0, 0], room[0, 1], room[0, 2] = hours[0], xy[0, 0], xy[0, 1]
    count = 1
    for k in range(1, len(hours)):
        waiting[0, 0], waiting[0, 1], waiting[0, 2] = hours[k], xy[k, 0], xy[k, 1]
        left = 1
        while left > 0:
            here, there = room[count - 1], waiting[left - 1]
            gap = there[0] - here[0]
            if gap > FINEST_HOURS and _may_touch(here, there, variance * gap, frames, half_m):
                spread = math.sqrt(variance * gap / 4)
                waiting[left, 0] = (here[0] + there[0]) / 2
                for axis in (1, 2):
                    middle = (here[axis] + there[axis]) / 2
                    waiting[left, axis] = middle + spread * rng.standard_normal()
                left += 1
            else:
                for axis in range(3):
                    room[count, axis] = there[axis]
                count += 1
                left -= 1
    return count


@numba.njit(cache=True)
def _may_touch(here: Floats, there: Floats, variance: float, frames: Floats, half_m: float) -> bool:
    """Whether a bridge of that variance reaches a carriageway with a chance above 1e-4."""
    for road in range(len(frames)):
        x, y, ux, uy = frames[road]
        first = (here[2] - y) * ux - (here[1] - x) * uy
        second = (there[2] - y) * ux - (there[1] - x) * uy
        if (first > 0) != (second > 0) or abs(first) < half_m or abs(second) < half_m:
            return True
        if 2 * (abs(first) - half_m) * (abs(second) - half_m) < 9.2103 * variance:
            return True
    return False
