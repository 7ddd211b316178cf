"""The simulated studies in the project's own terms, and the project's estimator on them."""

from __future__ import annotations

import numpy as np

from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.network import Network
from roadrisk.telemetry.movement_draws import draw_crossings
from roadrisk.telemetry.movement_fit import fit_track
from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_roads import road_field
from roadrisk.telemetry.movement_tracks import (
    ActiveClock,
    MovementTrack,
    isotropic_error,
    nodes_of,
)
from tests.roads.small import make_network
from tests.truth.estimators import Tally
from tests.truth.walk_scoring import Clock, Estimates, Estimator, Ints, Road, Tracks

LONGEST_GAP_DAYS = 30.0


def project_estimator(prior: MovementPrior | None = None, draws: int = 200) -> Estimator:
    """Return the project's movement process as an estimator.

    Parameters
    ----------
    prior : MovementPrior, optional
        The defaults otherwise.
    draws : int
        Paths an animal, each with parameters of its own.
    """
    thought = prior or MovementPrior()

    def estimate(tracks: Tracks, road: Road, clock: Clock, rng: np.random.Generator) -> Estimates:
        network, rows = road_network(road)
        index = PieceIndex.build(network)
        field = road_field(network, index, np.full(len(rows), road.width_m))
        active = active_clock(clock)
        tally = Tally(tracks, road, clock, draws)
        for animal, track in enumerate(movement_tracks(tracks)):
            nodes = nodes_of(track, active, LONGEST_GAP_DAYS)
            fit = fit_track(track, nodes, thought, active.hours_a_day, rng)
            chosen = rng.choice(len(fit.weight), draws, p=fit.weight)
            key = int(rng.integers(2**62))
            drawn = draw_crossings(track, nodes, fit, chosen, field, index.origin, key)
            for draw in range(draws):
                here = drawn.draw == draw
                tally.add_crossings(animal, draw, drawn.day[here], rows[drawn.segment[here]])
        return tally.estimates()

    return estimate


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
