"""Drawn paths of animals beside a plain shapely.STRtree count of the same draws.

Ours makes the paths and counts their crossings; the plain way is timed for asking the tree alone,
its straight pieces made before: the same states at the nodes, halved evenly down to pieces as
short as ours are near roads.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Any

import numpy as np
import shapely

from roadrisk.base.seeds import generator
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.meetings import step_meetings
from roadrisk.telemetry.movement_draws import Drawn, draw_crossings
from roadrisk.telemetry.movement_fit import fit_track
from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_roads import road_field
from roadrisk.telemetry.movement_tracks import nodes_of
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.path_draws import CLOCK, WIDTH_M, animals, plain_lines, town

# Animals, fixes and segments, and those of a size that only shows that all runs.
WHOLE, SMALL = (10, 200, 51_200), (2, 30, 2_000)
LEAST, MOST = 40, 400


@cache
def _world(size: tuple[int, int, int]) -> Any:
    count, fixes, segments = size
    network = town(segments)
    index = PieceIndex.build(network)
    tracks = animals(count, fixes, float(np.ptp(network.node_xy[:, 0])))
    nodes = [nodes_of(track, CLOCK, 30.0) for track in tracks]
    fits = [
        fit_track(track, node, MovementPrior(), 10.0, generator(1, f"fit {k}"))
        for k, (track, node) in enumerate(zip(tracks, nodes, strict=True))
    ]
    return network, index, tracks, nodes, fits


def paths(draws: int) -> Case:
    network, index, tracks, nodes, fits = _world(SMALL if draws <= LEAST else WHOLE)
    count = len(tracks)
    field = road_field(network, index, np.full(len(network.segments), WIDTH_M))
    thin = road_field(network, index, np.full(len(network.segments), 0.02))
    tree = shapely.STRtree(network.segments.geometry.to_numpy())
    each = -(-draws // count)
    chosen = [
        generator(1, f"chosen {k}").choice(len(f.weight), each, p=f.weight)
        for k, f in enumerate(fits)
    ]
    # Straight pieces take gigabytes beyond what the tree is asked about.
    asked = range(count if draws <= MOST else 0)
    lines = [plain_lines(tracks[k], nodes[k], fits[k], chosen[k], k) for k in asked]

    def drawn(roads: Any) -> list[Drawn]:
        # As a run does: animals on all cores.
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            return list(pool.map(
                lambda k: draw_crossings(
                    tracks[k], nodes[k], fits[k], chosen[k], roads, index.origin, k
                ),
                range(count),
            ))  # fmt: skip

    def theirs() -> int:
        return sum(
            len(tree.query(shapely.linestrings(some), predicate="intersects")[0]) for some in lines
        )

    def same(_: Any, met: int) -> None:
        # On roads 2 cm wide nearly every meeting with a middle line is a crossing. Both halve
        # with random numbers of their own: so within four standard errors, and 5 %.
        ours = sum(len(d.draw) for d in drawn(thin))
        assert abs(ours - met) <= 0.05 * met + 40 * np.sqrt(met)

    return Case(lambda: drawn(field), theirs, same)


def given_paths(draws: int) -> Case:
    network, index, tracks, nodes, fits = _world(SMALL if draws <= LEAST else WHOLE)
    count = len(tracks)
    tree = shapely.STRtree(network.segments.geometry.to_numpy())
    each = -(-draws // count)
    lines = np.concatenate([
        plain_lines(
            tracks[k], nodes[k], fits[k],
            generator(1, f"chosen {k}").choice(len(fits[k].weight), each, p=fits[k].weight), k,
        )
        for k in range(count)
    ])  # fmt: skip

    def theirs() -> int:
        return len(tree.query(shapely.linestrings(lines), predicate="intersects")[0])

    def same(ours: Any, met: int) -> None:
        # A segment of two straight pieces may be met twice and is told once by the tree.
        pairs = np.unique(np.stack([ours.step, ours.segment]), axis=1).shape[1]
        assert abs(pairs - met) <= max(1e-3 * met, 1)

    return Case(lambda: step_meetings(network, index, lines[:, 0], lines[:, 1]), theirs, same)


STEPS = (
    Step("path draws, made and counted", "shapely STRtree, counting alone", paths,
         "draws of one animal of 200 fixes", LEAST,
         "meetings 5 % and chance (other random numbers)", most=MOST,
         wanted=15.0),
    Step("given paths counted", "shapely STRtree", given_paths,
         "draws of one animal of 200 fixes", LEAST, "the same pairs but for 0.1 %", largest=MOST),
)  # fmt: skip
