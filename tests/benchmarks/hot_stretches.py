"""Kernels and draws on large invented networks, beside general-purpose libraries in the same run.

    python -m tests.benchmarks.hot_stretches [part ...]

Parts (all unless told): `draws` (1,000 draws of 5,000 events on 100,000 segments, half-width
300 m, beside scipy's sparse product), `widths` (half-widths 50, 200 and 500 m on streets of 80 m),
`million` (one kernel of 1,000,000 events on 1,000,000 segments) and `peer` (the same kernel by
networkx and numpy on a part of it). Prints medians of some rounds, ratios and the largest memory
so far. Two threads where the machine has two cores. Compiled code is warmed up before.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from statistics import median

import networkx as nx
import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.events import ALIVE, CROSSING, Events, gather
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.path_kernel import PathKernel, fitting_kernel, spread_once
from roadrisk.hotspots.strands import Strands, lay_strands
from roadrisk.roads.lixels import places_xy
from roadrisk.roads.network import Floats, Ints, Lixels, Network
from tests.benchmarks.lattices import lattice, lixels_of

ROUNDS = 3


def timed(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the median time of a call [s]."""
    took = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return median(took)


def memory() -> str:
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return f"largest memory so far {most:.2f} GiB"


def gathered(network: Network, lixels: Lixels, strands: Strands, events: int) -> Events:
    """Reports of observers who report again and again near one place, and animals with homes."""
    rng = generator(1, "events")
    counts = 1 + rng.poisson(rng.gamma(0.5, 8.0, events))
    counts = counts[: int(np.searchsorted(np.cumsum(counts), events)) + 1]
    who = np.repeat(np.arange(len(counts)), counts)[:events]
    home = rng.integers(len(lixels), size=len(counts))
    lixel = np.clip(home[who] + rng.normal(0, 6, events).astype(np.int64), 0, len(lixels) - 1)
    xy = places_xy(network, lixels.edge[lixel], lixels.start_m[lixel])
    animal = who % 4 == 0
    return gather(
        strands, lixel=lixel, along_m=lixels.length_m[lixel] / 2, weight=np.ones(events),
        event=np.arange(events),
        event_unit=[(not a, f"{w}") for a, w in zip(animal, who, strict=True)],
        event_kind=np.where(animal, CROSSING, ALIVE), event_xy=xy, link_m=200.0, window_m=2000.0,
    )  # fmt: skip


def study(segments: int, spacing_m: float, events: int) -> tuple[Network, Lixels, Strands, Events]:
    network = lattice(segments, spacing_m)
    lixels = lixels_of(network)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    return network, lixels, strands, gathered(network, lixels, strands, events)


def compared(made: tuple[Network, Lixels, Strands, Events], half_m: float, draws: int) -> str:
    """Make the kernel and the draws as a run does; return the form the kernel took."""
    network, lixels, strands, events = made
    kernel = fitting_kernel(network, lixels, half_m, asked=draws * len(events.lixel))
    compare_with_chance(
        events, strands, kernel, lixels.length_m, bandwidth_m=half_m, least_units=3, draws=draws,
        rng=generator(1, "draws"), by_window=True,
    )  # fmt: skip
    return "paths" if isinstance(kernel, PathKernel) else "matrix"


def draws() -> None:
    made = study(100_000, 150.0, 5_000)
    network, lixels, _, events = made
    print(f"{network.edges:,} segments, {len(lixels):,} lixels, {len(events.lixel):,} events of "
          f"{events.units:,} animals and observers", flush=True)  # fmt: skip
    form = compared(made, 300.0, 20)
    ours = timed(lambda: compared(made, 300.0, 1000), 3)
    print(f"1,000 draws, half-width 300 m: {ours:.1f} s by {form}; {memory()}", flush=True)
    # The plain way: a matrix of the kernel and scipy's product with each draw's events, no units
    # told apart, on a part of the roads that the matrix fits.
    part = study(10_000, 150.0, 500)
    matrix = lixel_kernel(part[0], part[1], 300.0)
    turned = matrix.T.tocsr()
    rng = generator(1, "plain")

    def plain() -> None:
        for _ in range(100):
            mass = np.bincount(rng.integers(len(part[1]), size=500), minlength=len(part[1]))
            (turned @ mass.astype(float)).max()

    own = timed(lambda: compare_with_chance(
        part[3], part[2], matrix, part[1].length_m, bandwidth_m=300.0, least_units=3, draws=100,
        rng=generator(1, "draws"),
    ))  # fmt: skip
    theirs = timed(plain)
    print(f"100 draws of 500 events on {part[0].edges:,} segments, kernel given: {own:.3f} s; "
          f"scipy's sparse product alone {theirs:.2f} s, {theirs / own:.0f} times ours",
          flush=True)  # fmt: skip


def widths() -> None:
    sizes = ((50.0, 100_000, 5_000), (200.0, 100_000, 5_000), (500.0, 10_000, 500))
    for half_m, segments, events in sizes:
        made = study(segments, 77.0, events)
        compared(made, half_m, 20)
        start = time.perf_counter()
        form = compared(made, half_m, 1000)
        took = time.perf_counter() - start
        print(f"half-width {half_m:g} m, median segment {np.median(made[0].edge_length_m):.0f} m, "
              f"{made[0].edges:,} segments, {events:,} events: 1,000 draws {took:.1f} s by {form}; "
              f"{memory()}", flush=True)  # fmt: skip


def million() -> None:
    network = lattice(100, 150.0)
    spread_once(network, lixels_of(network), np.ones(len(lixels_of(network))), 300.0)
    network = lattice(1_000_000, 150.0)
    lixels = lixels_of(network)
    at = generator(1, "million").integers(len(lixels), size=1_000_000)
    mass = np.bincount(at, minlength=len(lixels)).astype(np.float64)
    took = timed(lambda: spread_once(network, lixels, mass, 300.0), 3)
    print(f"1,000,000 events on {network.edges:,} segments ({len(lixels):,} lixels), "
          f"half-width 300 m: {took:.1f} s; {memory()}", flush=True)  # fmt: skip


def peer() -> None:
    network = lattice(20_000, 150.0)
    lixels = lixels_of(network)
    rng = generator(1, "peer")
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    for e in range(network.edges):
        ends = int(network.edge_u[e]), int(network.edge_v[e])
        graph.add_edge(*ends, key=e, u=ends[0], v=ends[1], length=float(network.edge_length_m[e]))
    spread_once(network, lixels, np.ones(len(lixels)), 300.0)
    for split in ("discontinuous", "continuous"):
        events = rng.integers(len(lixels), size=20_000)
        mass = np.bincount(events, minlength=len(lixels)).astype(np.float64)
        spread = partial(spread_once, network, lixels, mass, 300.0, split=split)
        ours = timed(spread) / 20_000
        few = events[:100]
        some = np.bincount(few, minlength=len(lixels)).astype(np.float64)
        start = time.perf_counter()
        theirs_out = plain_kernel(graph, lixels, few, 300.0, split == "continuous")
        theirs = (time.perf_counter() - start) / len(few)
        ours_out = spread_once(network, lixels, some, 300.0, split=split)
        print(f"{split}: {1e6 * ours:.1f} µs an event; networkx and numpy {1e6 * theirs:.0f} µs, "
              f"{theirs / ours:.0f} times ours; largest difference "
              f"{np.abs(theirs_out - ours_out).max():.1e}", flush=True)  # fmt: skip


def plain_kernel(
    graph: nx.MultiGraph[int], lixels: Lixels, events: Ints, h: float, continuous: bool
) -> Floats:
    """Equal-split quartic kernel: paths followed in networkx's graph, masses by numpy."""
    edges = {k: d for _, _, k, d in graph.edges(keys=True, data=True)}

    def integral(x: Floats) -> Floats:
        t = np.minimum(x / h, 1.0)
        return 0.9375 * (t - 2 * t**3 / 3 + t**5 / 5)

    out = np.zeros(len(lixels))
    for n in events:
        e = int(lixels.edge[n])
        middle = (lixels.start_m[n] + lixels.end_m[n]) / 2
        road = edges[e]
        ends = np.append(lixels.start_m[lixels.first[e] : lixels.first[e + 1]], road["length"])
        signed = np.sign(ends - middle) * integral(np.abs(ends - middle))
        out[lixels.first[e] : lixels.first[e + 1]] += np.diff(signed)
        stack = [(road["u"], e, middle, 1.0), (road["v"], e, road["length"] - middle, 1.0)]
        while stack:
            node, came, gone, weight = stack.pop()
            arms = [(far, k) for far, some in graph.adj[node].items() for k in some]
            count = len(arms)
            for far, f in arms:
                length, back = edges[f]["length"], f == came
                if continuous:
                    share = 2 / count - back
                else:
                    share = 1.0 if count == 1 else (0.0 if back else 1 / (count - 1))
                if share == 0.0 or gone >= h:
                    continue
                first, last = lixels.first[f], lixels.first[f + 1]
                along = np.append(lixels.start_m[first:last], length)
                if edges[f]["u"] != node:
                    along = length - along
                out[first:last] += weight * share * np.abs(np.diff(integral(gone + along)))
                if gone + length < h:
                    stack.append((far, f, gone + length, weight * share))
    return out


def main(parts: list[str]) -> None:
    known = {"draws": draws, "widths": widths, "million": million, "peer": peer}
    for name in parts or known:
        known[name]()


if __name__ == "__main__":
    main(sys.argv[1:])
