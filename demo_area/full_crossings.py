"""Which walked paths go all the way over a road: from clear of one edge to clear of the other.

A path that walks over a road's middle line and turns back on the carriageway has met the road
(`movement.passages`) and has not crossed it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from movement import ANIMALS, Fix, Passage, Walks
from plane import Floats, meetings, nearest_chainage

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from road_plan import Plan
    from road_shapes import Road

LANE_M = 3.25
_FAR_M = 20.0
WIDTH_M = {"trunk": 8.0, "trunk_link": 8.0, "primary": 7.5, "tertiary": 6.0, "unclassified": 6.0,
           "residential": 5.5, "service": 4.0}  # fmt: skip


def full_crossings(walks: Walks, fixes: list[Fix], roads: dict[str, Road]) -> list[Passage]:
    """Find the crossings from edge to edge on the ground, from a season's first fix to its last.

    Each carriageway of a dual carriageway counts by itself. The moment is that of the first
    step that is clear of the far edge; the place is where the middle line was met before it.
    """
    found = []
    clock = np.array([w.timestamp() for w in walks.when])
    for i, animal in enumerate(ANIMALS):
        for year in animal.seasons:
            seen = [f.when.timestamp() for f in fixes if f.animal == i and f.when.year == year]
            if not seen:
                continue
            rows = np.flatnonzero((clock >= min(seen)) & (clock <= max(seen)))
            found += [
                Passage(
                    animal.number, walks.when[over.clear], over.place, over.road, over.at_m, True
                )
                for over in crossings(walks, rows, i, roads)
            ]
    return sorted(found, key=lambda p: (p.animal, p.when, p.road, p.at_m))


@dataclass(frozen=True)
class Over:
    """One crossing from edge to edge: `met` is when the middle line was met for the last time.

    `clear` is the row of the walks' first place clear of the far edge.
    """

    road: str
    at_m: float
    place: Floats
    met: datetime
    clear: int


def crossings(
    walks: Walks, rows: NDArray[np.int64], animal: int, roads: dict[str, Road]
) -> list[Over]:
    """Find the crossings from edge to edge on the ground in some rows of one animal's walk."""
    path = walks.xy[rows, animal]
    low, high = path.min(axis=0), path.max(axis=0)
    found = []
    for key, road in roads.items():
        apart = (road.xy.min(axis=0) > high).any() or (road.xy.max(axis=0) < low).any()
        if not road.drivable or apart:
            continue
        for step, share, clear in _over(path, road.xy, width_m(road.plan) / 2):
            place = path[step] + share * (path[step + 1] - path[step])
            at = nearest_chainage(road.xy, place)
            if bool(road.on_ground(np.array([at]))[0]):
                began, ended = walks.when[rows[step]], walks.when[rows[step + 1]]
                met = began + timedelta(seconds=int(share * (ended - began).total_seconds()))
                found.append(Over(key, at, place, met, int(rows[clear])))
    return sorted(found, key=lambda o: (o.met, o.road, o.at_m))


def width_m(plan: Plan) -> float:
    """Return the width of a carriageway, by lanes or else by class (common practice) [m]."""
    return plan.lanes * LANE_M if plan.lanes else WIDTH_M[plan.kind]


def _over(path: Floats, line: Floats, half_m: float) -> list[tuple[int, float, int]]:
    """Return step and share of the last meeting, and row of the first place clear beyond it.

    Between two meetings with the middle line a path stays on one side. Spells in which it
    never gets clear of the edge are passed over; a crossing lies between two clear ones on
    different sides.
    """
    steps, shares = meetings(path, line)
    if not len(steps):
        return []
    clear = np.flatnonzero(_away(path, line) > half_m)
    # How many meetings lie before each clear place: odd and even are the two sides.
    spell: NDArray[np.int64] = np.searchsorted(steps, clear, side="left")
    change = np.flatnonzero((spell[1:] - spell[:-1]) % 2 == 1) + 1
    return [(int(steps[spell[k] - 1]), float(shares[spell[k] - 1]), int(clear[k])) for k in change]


def _away(points: Floats, line: Floats) -> Floats:
    """Return the distance of each point from a line [m]; more than `_FAR_M` may be infinite."""
    least = np.full(len(points), np.inf)
    low, high = points.min(axis=0) - _FAR_M, points.max(axis=0) + _FAR_M
    for a, b in pairwise(line):
        if (np.maximum(a, b) < low).any() or (np.minimum(a, b) > high).any():
            continue
        d = b - a
        t = np.clip(((points - a) * d).sum(axis=1) / (d * d).sum(), 0, 1)
        gap = points - a - t[:, None] * d
        least = np.minimum(least, (gap * gap).sum(axis=1))
    return np.asarray(np.sqrt(least))
