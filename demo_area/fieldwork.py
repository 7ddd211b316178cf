"""What the invented field crew did besides: days of hourly fixes, and where animals were caught.

Both have random streams of their own, so that the other fixes are what they are without them.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from movement import ANIMALS, RADIUS_95_PER_SD, ZONE, Fix, Walks, active, home_road
from plane import Floats, along, beside, nearest_chainage, stream

if TYPE_CHECKING:
    from road_shapes import Road

BURST_ANIMALS = ("T02", "T04", "T07", "T11", "T14", "T16")
CAUGHT_AT_A_ROAD = ("T03", "T05", "T07", "T11", "T16")
NOT_KNOWN_WHERE_CAUGHT = ("T09", "T15")
_EVERY_DAYS = 28
_CLEAR_OF_ROADS_M = 20.0


def bursts(walks: Walks, fixes: list[Fix]) -> list[Fix]:
    """Follow some animals for a day about every four weeks, with a fix at every active hour.

    Only days between a season's first and last fix, and none on which a fix was made anyway.
    """
    start = {w: i for i, w in enumerate(walks.when)}
    found = []
    for i, animal in enumerate(ANIMALS):
        if animal.number not in BURST_ANIMALS:
            continue
        rng = stream(f"bursts {animal.number}")
        for year in animal.seasons:
            seen = {f.when.date() for f in fixes if f.animal == i and f.when.year == year}
            day = min(seen) + timedelta(days=int(rng.integers(3, 15)))
            while day < max(seen):
                free = day
                while free in seen:
                    free += timedelta(days=1)
                if free < max(seen):
                    found += [_by_sight(i, w, walks.xy[start[w], i], rng) for w in _hours(free)]
                day += timedelta(days=_EVERY_DAYS + int(rng.integers(-3, 4)))
    return found


def _hours(day: date) -> list[datetime]:
    midnight = datetime(day.year, day.month, day.day, tzinfo=ZONE)
    return [midnight + timedelta(hours=h) for h in range(24) if active(h, day.month)]


def _by_sight(animal: int, when: datetime, place: Floats, rng: np.random.Generator) -> Fix:
    uncertainty = int(rng.integers(5, 9))
    error = rng.normal(size=2) * uncertainty / RADIUS_95_PER_SD
    return Fix(animal, when, True, place, place + error, uncertainty, "homed in")


def captures(walks: Walks, fixes: list[Fix], roads: dict[str, Road]) -> list[Floats | None]:
    """Return where each animal was caught: on its road, or where it was before its first fix."""
    found: list[Floats | None] = []
    for i, animal in enumerate(ANIMALS):
        rng = stream(f"capture {animal.number}")
        if animal.number in NOT_KNOWN_WHERE_CAUGHT:
            found.append(None)
        elif animal.number in CAUGHT_AT_A_ROAD:
            road, at = home_road(animal, roads)
            shift, left = rng.normal(size=2) * (animal.sd_m / 2, 1.5)
            found.append(beside(roads[road].xy, at + shift, left)[0])
        else:
            first = min(f.when for f in fixes if f.animal == i)
            season = datetime(first.year, 4, 1, tzinfo=ZONE)
            rows = [k for k, w in enumerate(walks.when) if season <= w < first]
            order = rng.permutation(len(rows))
            places = walks.xy[np.array(rows)[order], i]
            found.append(next(p for p in places if _clear(p, roads)))
    return found


def _clear(place: Floats, roads: dict[str, Road]) -> bool:
    """Tell whether a place lies clear of all roads that cars use."""
    gaps = [
        np.hypot(*(along(r.xy, nearest_chainage(r.xy, place))[0] - place))
        for r in roads.values()
        if r.drivable
    ]
    return bool(min(gaps) > _CLEAR_OF_ROADS_M)
