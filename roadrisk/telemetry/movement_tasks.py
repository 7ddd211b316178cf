"""Fits and paths of animals as tasks: an animal an item, with its own generator."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from roadrisk.telemetry.movement_counts import by_day, day_begins
from roadrisk.telemetry.movement_draws import draw_crossings
from roadrisk.telemetry.movement_fit import fit_track

if TYPE_CHECKING:
    import numpy as np

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_draws import Drawn
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_prior import MovementPrior
    from roadrisk.telemetry.movement_roads import RoadField
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes


class Fitted(NamedTuple):
    """What all fits share; the fields are arguments of `movement_fit.fit_track`."""

    prior: MovementPrior
    hours_a_day: float
    most_centres: int


class AnimalToFit(NamedTuple):
    """An animal's track, its nodes and its generator."""

    track: MovementTrack
    nodes: Nodes
    rng: np.random.Generator


class Ground(NamedTuple):
    """What all paths share; the fields are arguments of `movement_draws.draw_crossings`."""

    roads: RoadField
    origin: Floats
    precision_m: float


class AnimalToDraw(NamedTuple):
    """An animal with its fit, the parameters chosen and the key of its paths."""

    track: MovementTrack
    nodes: Nodes
    fit: TrackFit
    chosen: Ints
    key: int


def fit_animal(shared: Fitted, animal: AnimalToFit) -> TrackFit:
    """Fit one animal."""
    return fit_track(
        animal.track, animal.nodes, shared.prior, shared.hours_a_day, animal.rng,
        most_centres=shared.most_centres,
    )  # fmt: skip


def draw_paths(shared: Ground, animal: AnimalToDraw) -> Drawn:
    """Draw one animal's paths."""
    return draw_crossings(
        animal.track, animal.nodes, animal.fit, animal.chosen, shared.roads, shared.origin,
        animal.key, precision_m=shared.precision_m,
    )  # fmt: skip


def count_paths(shared: Ground, animal: AnimalToDraw) -> tuple[int, int]:
    """Return one animal's crossing-days and crossings, all draws together."""
    drawn = by_day(draw_paths(shared, animal))
    return int(day_begins(drawn.draw, drawn.day).sum()), len(drawn.draw)
