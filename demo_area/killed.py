"""Who is killed on the roads: vehicles as a random stream by hour and lane, animals that cross.

Every crossing is played through: the animal walks over at a speed of its own, vehicles come at
random times on random lanes, each with its wheels a little elsewhere; some vehicles make the animal
stop for a while. It is hit if a tyre passes where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, exp, log, radians
from typing import TYPE_CHECKING

import numpy as np
from full_crossings import Over, crossings, width_m
from movement import ANIMALS, SEASONS, STRETCHES, Animal, Fix, Walks
from plane import Floats, beside, stream

if TYPE_CHECKING:
    from datetime import datetime

    from road_shapes import Road

# Share of a day's vehicles in each hour from 0 h: people of the invented reserve drive to work
# early and come home late.
TRAFFIC_BY_HOUR = (
    0.4, 0.2, 0.2, 0.4, 1.2, 4.0, 8.6, 9.4, 6.0, 4.2, 3.8, 3.8, 4.0, 4.0, 4.0, 4.2, 4.6, 5.6, 8.0,
    9.0, 6.4, 4.0, 2.6, 1.4,
)  # fmt: skip
WALKING_M_MIN = (5.0, 8.5, 14.0)  # low, likely, high of the profile
STOPS = (0.1, 0.3)  # share of vehicles for which it stops
STOP_MIN = (0.1, 0.5)
# Deviation of the logarithm of the speed, between crossings.
_SPEED_VARIES = 0.3
_STOPS_FOR = 0.2
_TYRE_M, _TRACK_M, _WANDER_M = 0.2, 1.5, 0.25
_BODY_M = 0.17
_MOST_ANGLE = 45.0


@dataclass(frozen=True)
class Death:
    """One animal killed on a road; `animal` is its tag if it had one, `tracked` if then."""

    when: datetime
    xy: Floats
    road: str
    at_m: float
    animal: str
    tracked: bool
    sex: str
    stage: str
    stretch: str


@dataclass(frozen=True)
class Kills:
    """All deaths in order of time, and all crossings by all animals."""

    deaths: list[Death]
    crossings: list[Over]


def kills(
    tagged: Walks,
    fixes: list[Fix],
    ends: dict[str, datetime],
    others: tuple[tuple[Animal, ...], Walks],
    wandered: list[Over],
    roads: dict[str, Road],
) -> Kills:
    """Play all crossings of all animals through, in order of time.

    A home whose animal is killed is taken over by another; while a tagged animal isn't tracked
    another one lives at its home. `ends` says when tracking ended for other reasons.
    """
    year = np.array([w.year for w in tagged.when])
    seasons = [np.flatnonzero(year == y) for y in SEASONS]
    found: list[Death] = []
    everybody: list[Over] = []
    for i, animal in enumerate(ANIMALS):
        spans = [_span(fixes, i, y) for y in animal.seasons]
        end = ends.get(animal.number, spans[-1][1])
        spans = [(a, min(b, end)) for a, b in spans]
        walked = [over for rows in seasons for over in crossings(tagged, rows, i, roads)]
        everybody += walked
        found += _of_one(walked, animal, f"wheels and animal {animal.number}", spans, roads)
    for i, animal in enumerate(others[0]):
        walked = [over for rows in seasons for over in crossings(others[1], rows, i, roads)]
        everybody += walked
        found += _of_one(walked, animal, f"wheels and resident {i}", [], roads)
    rng = stream("sex of wanderers")
    for k, over in enumerate(wandered):
        sex = str(rng.choice(["female", "male"]))
        found += _of_one(
            [over], replace(ANIMALS[0], number="", sex=sex), f"wandering {k}", [], roads
        )
    everybody += wandered
    return Kills(sorted(found, key=lambda d: (d.when, d.road, d.at_m)), everybody)


def _span(fixes: list[Fix], animal: int, year: int) -> tuple[datetime, datetime]:
    seen = [f.when for f in fixes if f.animal == animal and f.when.year == year]
    return min(seen), max(seen)


def _of_one(
    walked: list[Over], animal: Animal, name: str, spans: list[tuple[datetime, datetime]],
    roads: dict[str, Road],
) -> list[Death]:  # fmt: skip
    rng = stream(name)
    found: list[Death] = []
    dead = False
    for over in walked:
        road = roads[over.road]
        left = hit(road, over.met.hour, rng)
        if left is None:
            continue
        own = not dead and any(a < over.met < b for a, b in spans)
        dead |= own
        sex, stage = animal.sex, animal.stage
        if animal.number and not own:
            sex, stage = str(rng.choice(["female", "male"])), "adult"
        xy = beside(road.xy, over.at_m, left)[0]
        tag = animal.number if own else ""
        on = stretch_at(over.road, over.at_m, roads)
        found.append(Death(over.met, xy, over.road, over.at_m, tag, own, sex, stage, on))
    return found


def stretch_at(key: str, at_m: float, roads: dict[str, Road]) -> str:
    """Return the name of the true stretch at a place of a road, or ""."""
    for stretch in STRETCHES:
        begin, end = stretch.span(roads)
        if stretch.road == key and begin <= at_m <= end:
            return stretch.name
    return ""


def hit(road: Road, hour: int, rng: np.random.Generator) -> float | None:
    """Play one crossing through: how far left of the road's middle it was hit [m], or None.

    Parameters
    ----------
    road : Road
    hour : int
        Of the local clock.
    rng : numpy.random.Generator

    Returns
    -------
    float or None
    """
    width = width_m(road.plan)
    lanes = lanes_of(road)
    lane = width / lanes
    per_min = road.plan.aadt * TRAFFIC_BY_HOUR[hour] / sum(TRAFFIC_BY_HOUR) / 60
    slant = cos(radians(rng.uniform(0.0, _MOST_ANGLE)))
    speed = WALKING_M_MIN[1] * exp(_SPEED_VARIES * float(rng.normal())) * slant
    side, x = float(rng.choice([-1.0, 1.0])), 0.0
    if per_min <= 0:
        return None
    halted = 0.0
    while True:
        wait = float(rng.exponential(1 / per_min))
        x += speed * max(0.0, wait - halted)
        halted = max(0.0, halted - wait)
        if x >= width:
            return None
        middle = (int(rng.integers(lanes)) + 0.5) * lane + _WANDER_M * float(rng.normal())
        gap = abs(abs(x - middle) - _TRACK_M / 2)
        if gap < (_TYRE_M + _BODY_M * rng.random()) / 2:
            return side * (x - width / 2)
        if rng.random() < _STOPS_FOR:
            low, high = log(STOP_MIN[0]), log(STOP_MIN[1])
            halted = exp(rng.uniform(low, high))


def lanes_of(road: Road) -> int:
    """Return the lanes of a carriageway: as tagged, else one for each direction."""
    return road.plan.lanes or (1 if road.oneway else 2)
