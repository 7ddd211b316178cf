"""The simulated studies in the project's own terms, and the project's estimator on them."""

from __future__ import annotations

import numpy as np

from roadrisk.base.tasks import InProcess
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.telemetry.crossing_days import PathSettings, estimate_crossing_days
from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_tracks import ActiveClock, MovementTrack, isotropic_error
from tests.roads.small import make_network
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
    settings = PathSettings(draws=draws, other_draws=0, longest_gap_days=LONGEST_GAP_DAYS)

    def estimate(tracks: Tracks, road: Road, clock: Clock, rng: np.random.Generator) -> Estimates:
        network, rows = road_network(road)
        found = estimate_crossing_days(
            movement_tracks(tracks), network, lay_lixels(network, 10.0), PieceIndex.build(network),
            rng, clock=active_clock(clock), prior=prior,
            width_m=np.full(len(rows), road.width_m), settings=settings, tasks=InProcess(1),
        )  # fmt: skip
        segment_days = np.zeros((tracks.animals, road.segments))
        animal = found.by_animal["organismID"].astype(int).to_numpy()
        segment = found.by_animal["segment"].to_numpy(np.int64)
        segment_days[animal, rows[segment]] = found.by_animal["crossing_days"]
        return Estimates(
            found.crossing_days,
            found.total_crossings,
            found.animals["least_crossings"].to_numpy(np.float64),
            segment_days,
        )

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
