"""The simulated studies in the project's own terms: network, tracks, active hours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.telemetry.movement_tracks import ActiveClock, MovementTrack, isotropic_error
from tests.roads.small import make_network

if TYPE_CHECKING:
    from roadrisk.roads.network import Network
    from tests.truth.walk_scoring import Clock, Ints, Road, Tracks


def road_network(road: Road) -> tuple[Network, Ints]:
    """Return the roads as a network, and for each of its segments the row in `Road`.

    Each segment has its own name, since the network joins pieces that are alike.
    """
    names = [f"piece {row}" for row in range(road.segments)]
    lines = [[(float(x), float(y)) for x, y in line] for line in road.segment_lines()]
    # Ends that meet must be equal to the last digit.
    for row in range(1, road.segments):
        if road.segment_road[row] == road.segment_road[row - 1]:
            lines[row][0] = lines[row - 1][1]
    network = make_network(lines, names)
    rows = [names.index(name) for name in network.segments["name"]]
    return network, np.array(rows)


def movement_tracks(tracks: Tracks) -> tuple[MovementTrack, ...]:
    """Return one track an animal; the study's first midnight is 1970-01-01."""
    out = []
    for each in range(tracks.animals):
        rows = np.flatnonzero(tracks.animal == each)
        xy = np.column_stack([tracks.x[rows], tracks.y[rows]])
        error = isotropic_error(tracks.sd_m[rows])
        out.append(MovementTrack(f"{each:03d}", tracks.time_hours[rows], xy, error))
    return tuple(out)


def active_clock(clock: Clock) -> ActiveClock:
    """Return the animals' hours, all year."""
    return ActiveClock(((clock.start_hour, clock.end_hour),))
