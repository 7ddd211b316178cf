"""The rest of the invented population: animals without a transmitter, where they live and wander.

Together with the tagged adults they are the 140 adults of study.toml. They walk as the tagged ones
do, and most of them live where those live: beside the true stretches. Now and then one of them
wanders far from its home and crosses a road anywhere.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from full_crossings import Over
from movement import (
    ANIMALS,
    SEASONS,
    STRETCHES,
    ZONE,
    Animal,
    active,
    share_of_days_inside,
)
from plane import along, chainage, stream

if TYPE_CHECKING:
    from road_shapes import Road

ADULTS = 140
_AT_A_STRETCH = (31, 26, 25)
_BY_THE_CREEK = 6
_BESIDE_OTHER_ROADS = 30
_BUSY = 1000  # vehicles a day: nobody lives beside such a road
_WANDERINGS_A_YEAR, _ON_BUSY = 330, 0.2
_HALF_HOME_M = 20.0


def residents(roads: dict[str, Road]) -> tuple[Animal, ...]:
    """Return adults without a transmitter, each with a home of its own."""
    rng = stream("residents")
    homes: list[tuple[int | tuple[str, float, float], float, float]] = []
    for k, many in enumerate(_AT_A_STRETCH):
        half = STRETCHES[k].length_m / 2 - _HALF_HOME_M
        for _ in range(many):
            shift = float(np.clip(rng.normal(0, 50), -half, half))
            homes.append((k, shift, _side(rng, 1.4, 1.8)))
    # Beneath the long bridge, as T14.
    bridge = ("main-west", -975.0, -28.0)
    homes += [(bridge, float(rng.normal(0, 8)), _side(rng, 0.0, 0.3)) for _ in range(_BY_THE_CREEK)]
    homes += [(place, 0.0, _side(rng, 1.3, 2.4)) for place in _other_roads(roads, rng)]
    tagged = sum(a.stage == "adult" for a in ANIMALS)
    # Far from any road, as T17.
    away = [(("fennick", -2450.0, -700.0), 0.0, 14.0)] * (ADULTS - tagged - len(homes))
    return tuple(
        Animal("", str(rng.choice(["female", "male"])), "adult", 600, 0.0, "", (),
               float(rng.integers(24, 34)), *home)
        for home in [*homes, *away]
    )  # fmt: skip


def wanderings(roads: dict[str, Road]) -> list[Over]:
    """Return crossings far from any home: anywhere on the ground, seldom on busy roads."""
    rng = stream("wanderings")
    keys = [k for k, r in roads.items() if r.drivable and k != "roundabout"]
    length = [float(chainage(roads[k].xy)[-1]) for k in keys]
    busy = [_ON_BUSY if roads[k].plan.aadt > _BUSY else 1.0 for k in keys]
    weight = np.array([m * b for m, b in zip(length, busy, strict=True)])
    found: list[Over] = []
    while len(found) < _WANDERINGS_A_YEAR * len(SEASONS):
        k = int(rng.choice(len(keys), p=weight / weight.sum()))
        at = float(rng.uniform(0, length[k]))
        when = datetime(int(rng.choice(SEASONS)), 4, 1, tzinfo=ZONE) + timedelta(
            minutes=int(rng.integers(0, 214 * 1440))
        )
        out = active(when.hour, when.month) and rng.random() > share_of_days_inside(when.month)
        if out and bool(roads[keys[k]].on_ground(np.array([at]))[0]):
            found.append(Over(keys[k], at, along(roads[keys[k]].xy, at)[0], when, 0))
    return found


def _side(rng: np.random.Generator, near: float, far: float) -> float:
    return float(rng.choice([-1, 1]) * rng.uniform(near, far))


def _other_roads(
    roads: dict[str, Road], rng: np.random.Generator
) -> list[tuple[str, float, float]]:
    """Return places along all quiet roads but the true stretches, evenly spread."""
    pieces: list[tuple[str, float]] = []
    for key, road in roads.items():
        if not road.drivable or road.plan.aadt > _BUSY or key == "roundabout":
            continue
        at = np.arange(30.0, float(chainage(road.xy)[-1]) - 30.0, 10.0)
        pieces += [(key, float(s)) for s in at if _free(key, float(s), roads)]
    every = len(pieces) / _BESIDE_OTHER_ROADS
    found = []
    for k in range(_BESIDE_OTHER_ROADS):
        key, at_m = pieces[int((k + rng.uniform(0.1, 0.9)) * every)]
        x, y = along(roads[key].xy, at_m)[0]
        found.append((key, float(x), float(y)))
    return found


def _free(key: str, at_m: float, roads: dict[str, Road]) -> bool:
    near = any(
        s.road == key and s.span(roads)[0] - 150 <= at_m <= s.span(roads)[1] + 150
        for s in STRETCHES
    )
    return not near and bool(roads[key].on_ground(np.array([at_m]))[0])
