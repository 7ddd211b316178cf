"""Which walked paths go all the way over a road: from clear of one edge to clear of the other.

A path that walks over a road's middle line and turns back on the carriageway has met the road
(`movement.passages`) and has not crossed it.
"""

from __future__ import annotations

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
            rows = np.flatnonzero((clock >= min(seen)) & (clock <= max(seen)))
            path = walks.xy[rows, i]
            for key, road in roads.items():
                if road.drivable:
                    for step, share, clear in _over(path, road.xy, width_m(road.plan) / 2):
                        place = path[step] + share * (path[step + 1] - path[step])
                        at = nearest_chainage(road.xy, place)
                        if bool(road.on_ground(np.array([at]))[0]):
                            moment = walks.when[rows[clear]]
                            found.append(Passage(animal.number, moment, place, key, at, True))
    return sorted(found, key=lambda p: (p.animal, p.when, p.road, p.at_m))


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
    """Return the distance of each point from a line [m]."""
    least = np.full(len(points), np.inf)
    for a, b in pairwise(line):
        d = b - a
        t = np.clip(((points - a) * d).sum(axis=1) / (d * d).sum(), 0, 1)
        gap = points - a - t[:, None] * d
        least = np.minimum(least, (gap * gap).sum(axis=1))
    return np.sqrt(least)
