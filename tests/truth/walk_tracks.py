"""Finding the simulated animals now and then, with error, and counting what they really did."""

from __future__ import annotations

import numpy as np

from tests.truth.walk_scoring import Floats, Tracks, Truth
from tests.truth.walkers import CLOCK, DAYS, PLACES, World


def tracks(of: World, spacing_days: int, rng: np.random.Generator, *, bursts: bool) -> Tracks:
    """Find every animal each `spacing_days` days and on the last day, with error.

    With `bursts`, hourly fixes through one active day each fortnight come on top.
    """
    days = np.unique(np.append(np.arange(0, DAYS, spacing_days), DAYS - 1))
    burst_days = np.arange(PLACES.burst_first_day, DAYS, PLACES.burst_every_days)
    hours = np.arange(CLOCK.start_hour, CLOCK.end_hour + 0.5)
    parts = []
    for each in range(len(of.path)):
        time = days * 24 + rng.uniform(*PLACES.fix_hours, len(days))
        if bursts:
            burst = (burst_days[:, None] * 24 + hours).ravel()
            time = np.append(time, burst + rng.uniform(-0.05, 0.05, len(burst)))
        time.sort()
        sd = rng.uniform(*PLACES.error_m, len(time))
        seen = position(of, each, time) + rng.standard_normal((len(time), 2)) * sd[:, None]
        parts.append((np.full(len(time), each), time, seen[:, 0], seen[:, 1], sd))
    return Tracks(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def truth_of(of: World, seen: Tracks) -> Truth:
    """Count what happened between each animal's first fix and its last."""
    animals, road = len(of.path), of.road
    first = np.searchsorted(seen.animal, np.arange(animals))
    last = np.searchsorted(seen.animal, np.arange(animals), side="right") - 1
    within = (of.time_hours > seen.time_hours[first][of.animal]) & (
        of.time_hours <= seen.time_hours[last][of.animal]
    )
    animal = of.animal[within]
    day = (of.time_hours[within] // 24).astype(np.int64)
    segment = road.segment_at(of.crossed_road[within], of.along_m[within])
    on_day = np.zeros((animals, DAYS, road.segments), dtype=bool)
    on_day[animal, day, segment] = True
    return Truth(
        on_day.any(axis=2).sum(axis=1).astype(float),
        np.bincount(animal, minlength=animals).astype(float),
        on_day.sum(axis=1).astype(float),
        of.walked_m / (DAYS * CLOCK.hours),
    )


def position(of: World, animal: int, time_hours: Floats) -> Floats:
    """Where the animal is at each time, straight between the ends of minutes, shape (n, 2)."""
    minute = CLOCK.active_hours(time_hours) * 60
    before = np.minimum(minute.astype(np.int64), of.path.shape[1] - 2)
    part = (minute - before)[:, None]
    here = of.path[animal].astype(np.float64)
    between: Floats = here[before] * (1 - part) + here[before + 1] * part
    return between
