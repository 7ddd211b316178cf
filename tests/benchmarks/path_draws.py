"""Drawn paths on a large network: the project's count beside a plain shapely.STRtree count.

    python -m tests.benchmarks.path_draws [animals] [steps an animal] [draws] [segments]

100 animals with 200 steps each, 1,000 draws and 50,000 segments unless told. Prints the time
of the whole estimate (fits, pooling, draws, counting, checks), its largest memory, and, from the
same run, the time that a plain count takes on some of the same draws: the same states at the
nodes, each way between them halved evenly down to the same straight pieces, all of them asked
of one shapely.STRtree for meetings with the roads. The plain count is timed for
the tree alone, not for making its paths.
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np
import shapely
from numba import njit

from roadrisk.base.seeds import generator
from roadrisk.base.tasks import InProcess
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.telemetry.crossing_days import PathSettings, estimate_crossing_days
from roadrisk.telemetry.movement_draws import draw_crossings, draw_nodes
from roadrisk.telemetry.movement_fit import TrackFit, fit_track
from roadrisk.telemetry.movement_paths import leaf_level
from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_process import half_way, home_shape, transition
from roadrisk.telemetry.movement_roads import road_field
from roadrisk.telemetry.movement_tracks import (
    ActiveClock,
    MovementTrack,
    Nodes,
    isotropic_error,
    nodes_of,
)
from tests.roads.small import make_network

CLOCK = ActiveClock(((8.0, 18.0),))
SPACING_M = 300.0
WIDTH_M = 6.0
PRECISION_M = PathSettings().precision_m
PLAIN_DRAWS = 4
PLAIN_ANIMALS = 10


def town(segments: int) -> Network:
    """A bent lattice of lanes, one segment between any two junctions."""
    side = max(int(np.sqrt(segments / 2)), 2)
    rng = generator(1, "lattice")
    at = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), axis=-1) * SPACING_M
    at = at + rng.uniform(-60, 60, at.shape)
    lines = []
    for i in range(side):
        for j in range(side):
            for p, q in ((i + 1, j), (i, j + 1)):
                if p < side and q < side:
                    a, b = at[i, j], at[p, q]
                    middle = (a + b) / 2 + rng.uniform(-20, 20, 2)
                    lines.append([tuple(a), tuple(middle), tuple(b)])
    return make_network(lines)


def animals(count: int, steps: int, extent_m: float) -> list[MovementTrack]:
    """Animals that live anywhere, one fix a day."""
    rng = generator(1, "animals")
    tracks = []
    for k in range(count):
        tau, tau_v, sigma = np.exp(rng.normal(np.log([8.0, 0.3, 28.0]), 0.3))
        hours = np.arange(steps + 1) * 24 + rng.uniform(8, 18, steps + 1)
        active = hours // 24 * 10 + hours % 24 - 8
        state = rng.normal(0, 1, (2, 2)) * [[sigma], [sigma / np.sqrt(tau * tau_v)]]
        xy = np.empty((steps + 1, 2))
        for i, lag in enumerate(np.diff(active, prepend=active[0])):
            if lag > 0:
                f11, f12, f21, f22, q11, q12, q22 = transition(lag, 1 / tau, 1 / tau_v)
                root = sigma * np.linalg.cholesky(np.array([[q11, q12], [q12, q22]]))
                state = np.array([[f11, f12], [f21, f22]]) @ state + root @ rng.normal(size=(2, 2))
            xy[i] = state[0] + rng.normal(0, 5, 2)
        home = rng.uniform(0.1, 0.9, 2) * extent_m
        error = isotropic_error(np.full(steps + 1, 5.0))
        tracks.append(MovementTrack(f"{k:03d}", hours, xy + home, error))
    return tracks


@njit(cache=True)
def _even_path(
    state: np.ndarray, centre: np.ndarray, hours: np.ndarray, a: float, b: float, sxx: float,
    sxy: float, syy: float, level: np.ndarray, noise: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Places at even times between nodes, 2^level pieces each; halved as the project halves."""
    total = 1
    for i in range(1, len(hours)):
        total += 2 ** level[i]
    out, k, used = np.empty((total, 4)), 0, 0
    table = np.empty(12)
    out[0] = state[0]
    for i in range(1, len(hours)):
        pieces = 2 ** level[i]
        out[k + pieces] = state[i]
        t = hours[i] - hours[i - 1]
        span = pieces
        while span > 1:
            half_way(t * span / pieces / 2, a, b, table)
            for j in range(k, k + pieces, span):
                low, high, m = out[j], out[j + span], j + span // 2
                n0, n1 = table[8] * noise[used, 0], table[8] * noise[used, 1]
                n2 = table[9] * noise[used, 0] + table[10] * noise[used, 2]
                n3 = table[9] * noise[used, 1] + table[10] * noise[used, 3]
                used += 1
                for x in range(2):
                    c = centre[i, x]
                    l0, l1, h0, h1 = low[x] - c, low[x + 2], high[x] - c, high[x + 2]
                    out[m, x] = c + table[0] * l0 + table[1] * l1 + table[4] * h0 + table[5] * h1
                    out[m, x + 2] = table[2] * l0 + table[3] * l1 + table[6] * h0 + table[7] * h1
                out[m, 0] += sxx * n0 + sxy * n1
                out[m, 1] += sxy * n0 + syy * n1
                out[m, 2] += sxx * n2 + sxy * n3
                out[m, 3] += sxy * n2 + syy * n3
            span //= 2
        k += pieces
    return out


def plain_lines(
    track: MovementTrack, nodes: Nodes, fit: TrackFit, chosen: np.ndarray, key: int
) -> np.ndarray:
    """Straight pieces of the same draws, all refined evenly, shape (pieces, 2, 2)."""
    state, centre = draw_nodes(track, nodes, fit, chosen, key)
    rng = generator(1, "even")
    lag = np.diff(nodes.hours, prepend=nodes.hours[0])
    parts = []
    for d, row in enumerate(chosen):
        par = fit.pars[row]
        a, b = np.exp(-par[0]), np.exp(-par[1])
        shape = home_shape(np.exp(par[2]), par[3], par[4])
        sigma = float(np.sqrt(max(shape[0] ** 2, shape[2] ** 2) + shape[1] ** 2))
        level = np.array([leaf_level(t, a, b, sigma, PRECISION_M) if t > 0 else 0 for t in lag])
        noise = rng.standard_normal((int((2**level).sum()), 4))
        path = _even_path(state[d], centre[d], nodes.hours, a, b, *shape, level, noise)[:, :2]
        parts.append(np.stack([path[:-1], path[1:]], axis=1))
    return np.concatenate(parts)


def compare(network: Network, index: PieceIndex, tracks: list[MovementTrack]) -> None:
    """Time some of the draws both ways and print the ratio."""
    field = road_field(network, index, np.full(len(network.segments), WIDTH_M))
    tree = shapely.STRtree(network.segments.geometry.to_numpy())
    ours = plain = 0.0
    pieces = met = crossed = 0
    for k, track in enumerate(tracks[:PLAIN_ANIMALS]):
        nodes = nodes_of(track, CLOCK, 30.0)
        fit = fit_track(track, nodes, MovementPrior(), 10.0, generator(1, f"fit {k}"))
        chosen = generator(1, f"chosen {k}").choice(len(fit.weight), 200, p=fit.weight)
        began = time.perf_counter()
        drawn = draw_crossings(track, nodes, fit, chosen, field, index.origin, k)
        ours += (time.perf_counter() - began) / len(chosen)
        crossed += int((drawn.draw < PLAIN_DRAWS).sum())
        lines = plain_lines(track, nodes, fit, chosen[:PLAIN_DRAWS], k)
        began = time.perf_counter()
        step, _ = tree.query(shapely.linestrings(lines), predicate="intersects")
        plain += (time.perf_counter() - began) / PLAIN_DRAWS
        pieces += len(lines)
        met += len(step)
    per = PLAIN_ANIMALS * PLAIN_DRAWS
    print(f"one thread, a draw of one animal: ours {ours / PLAIN_ANIMALS * 1e3:.2f} ms "
          f"(paths made and counted, {crossed / per:.1f} crossings); plain STRtree count alone "
          f"{plain / PLAIN_ANIMALS * 1e3:.1f} ms ({pieces / per:.0f} straight pieces, "
          f"{met / per:.1f} meetings with middle lines)")  # fmt: skip
    print(f"ratio plain / ours: {plain / ours:.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("animals", nargs="?", type=int, default=100)
    parser.add_argument("steps", nargs="?", type=int, default=200)
    parser.add_argument("draws", nargs="?", type=int, default=1000)
    parser.add_argument("segments", nargs="?", type=int, default=51_200)
    asked = parser.parse_args()
    network = town(asked.segments)
    index, lixels = PieceIndex.build(network), lay_lixels(network, 10.0)
    extent = float(np.ptp(network.node_xy[:, 0]))
    tracks = animals(asked.animals, asked.steps, extent)
    # Compile first: the second run and all later ones read the compiled loops from disk.
    small = PathSettings(draws=4, other_draws=0)
    estimate_crossing_days(tracks[:3], network, lixels, index, generator(1, "warm"),
                           clock=CLOCK, settings=small)  # fmt: skip
    settings = PathSettings(draws=asked.draws, other_draws=0)
    began, cpu = time.perf_counter(), time.process_time()
    found = estimate_crossing_days(
        tracks,
        network,
        lixels,
        index,
        generator(1, "run"),
        clock=CLOCK,
        settings=settings,
        tasks=InProcess(2),
    )
    took, used = time.perf_counter() - began, time.process_time() - cpu
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"{asked.animals} animals, {asked.animals * asked.steps} steps, {asked.draws} draws, "
          f"{len(network.segments)} segments: {took:.0f} s on two threads ({used:.0f} s of "
          f"processor), {memory:.2f} GiB; mean {found.crossing_days.mean():.1f} crossing-days, "
          f"{found.total_crossings.mean():.1f} crossings an animal")  # fmt: skip
    compare(network, index, tracks)


if __name__ == "__main__":
    main()
