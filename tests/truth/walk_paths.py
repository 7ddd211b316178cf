"""Compiled loops: the path of one animal minute by minute, and the crossings of a path."""

from __future__ import annotations

import math

import numba
import numpy as np

from tests.truth.walk_scoring import Floats, Ints


@numba.njit(cache=True)
def crossings_along(xy: Floats, frames: Floats, half_m: float) -> tuple[Ints, Ints, Floats]:
    """Full crossings of straight roads by a path of straight pieces.

    The distance from a line is greatest at a vertex, so looking at vertices alone is exact.

    Returns
    -------
    step, road : ndarray of int64
        Vertex at which the path is first clear of the far edge; row of `frames`.
    along_m : ndarray
        Where the path last met the centreline before.
    """
    steps, roads, places = [0][:0], [0][:0], [0.0][:0]
    for road in range(len(frames)):
        x0, y0, ux, uy = frames[road]
        side, met, before, along_before = 0, 0.0, 0.0, 0.0
        for k in range(len(xy)):
            dx, dy = xy[k, 0] - x0, xy[k, 1] - y0
            off, along = dy * ux - dx * uy, dx * ux + dy * uy
            if k > 0 and (off > 0) != (before > 0):
                met = along_before + (along - along_before) * before / (before - off)
            if abs(off) >= half_m:
                now = 1 if off > 0 else -1
                if side not in (0, now):
                    steps.append(k)
                    roads.append(road)
                    places.append(met)
                side = now
            before, along_before = off, along
    return np.array(steps), np.array(roads), np.array(places)


@numba.njit(cache=True)
def walk_minutes(
    rng: np.random.Generator,
    centres: Floats,
    leaves: Ints,
    own: Floats,
    frames: Floats,
    half_m: float,
    xy: Floats,
) -> float:
    """Fill `xy` minute by minute and return the length walked [m].

    `leaves` holds the steps at which the animal leaves for its other centre. `own` holds, for
    this animal: mean step, shape of steps, winding, stop chance, mean and standard deviation
    of a rest's log-minutes, pull, its reach, factors on speed and stops while travelling,
    and the chance to turn back at a road.
    """
    step_m, shape, winding, stop, rest_mean, rest_sd, pull, reach, faster, fewer, turns = own
    x, y = centres[0, 0] + 10 * rng.standard_normal(), centres[0, 1] + 10 * rng.standard_normal()
    heading = rng.random() * 2 * math.pi
    target, leaving, resting, travelling, walked = 0, 0, 0, False, 0.0
    xy[0, 0], xy[0, 1] = x, y
    for k in range(len(xy) - 1):
        if k >= leaves[leaving]:
            leaving += 1
            target, travelling, resting = 1 - target, True, 0
        if resting > 0:
            resting -= 1
        else:
            to_x, to_y = centres[target, 0] - x, centres[target, 1] - y
            away = math.hypot(to_x, to_y) + 1e-9
            travelling = travelling and away > reach / 4
            weight = pull * (1 - math.exp(-((away / reach) ** 2)))
            heading = math.atan2(
                (1 - weight) * math.sin(heading) + weight * to_y / away,
                (1 - weight) * math.cos(heading) + weight * to_x / away,
            ) + _von_mises(rng, winding)
            length = rng.gamma(shape, step_m / shape) * (faster if travelling else 1.0)
            new_x, new_y = x + length * math.cos(heading), y + length * math.sin(heading)
            if turns > 0 and _steps_on(x, y, new_x, new_y, frames, half_m) and rng.random() < turns:
                heading += math.pi
            else:
                x, y = new_x, new_y
                walked += length
            if rng.random() < stop * (fewer if travelling else 1.0):
                resting = int(math.exp(rest_mean + rest_sd * rng.standard_normal())) + 1
        xy[k + 1, 0], xy[k + 1, 1] = x, y
    return walked


@numba.njit(cache=True)
def _steps_on(
    x: float, y: float, new_x: float, new_y: float, frames: Floats, half_m: float
) -> bool:
    """Whether a step leads from clear ground onto, or over, a carriageway."""
    for road in range(len(frames)):
        x0, y0, ux, uy = frames[road]
        before = (y - y0) * ux - (x - x0) * uy
        after = (new_y - y0) * ux - (new_x - x0) * uy
        if abs(before) >= half_m and (abs(after) < half_m or (before > 0) != (after > 0)):
            return True
    return False


@numba.njit(cache=True)
def _von_mises(rng: np.random.Generator, kappa: float) -> float:
    """Angle about 0 with concentration kappa (Best & Fisher 1979, from memory)."""
    tau = 1 + math.sqrt(1 + 4 * kappa * kappa)
    rho = (tau - math.sqrt(2 * tau)) / (2 * kappa)
    r = (1 + rho * rho) / (2 * rho)
    while True:
        z = math.cos(math.pi * rng.random())
        f = (1 + r * z) / (r + z)
        c, u = kappa * (r - f), rng.random()
        if c * (2 - c) > u or math.log(c / u) + 1 >= c:
            angle = math.acos(f)
            return angle if rng.random() < 0.5 else -angle
