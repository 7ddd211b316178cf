"""Where it is worst: kernels, chance, network K, Gi*, beside networkx, scipy, spaghetti, esda."""

from __future__ import annotations

import warnings
from typing import Any

import esda
import geopandas as gpd
import libpysal
import networkx as nx
import numpy as np
import shapely

from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.local_gi import gi_star, neighbours_within
from roadrisk.hotspots.network_k import network_k
from roadrisk.hotspots.path_kernel import spread_once
from roadrisk.roads.network import Floats
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.hot_stretches import plain_kernel, study
from tests.benchmarks.lattices import lattice, lixels_of

DRAWS, FEW_EVENTS = 999, 25


def kernel(events: int) -> Case:
    network = lattice(events, 150.0)
    lixels = lixels_of(network)
    at = generator(1, "kernel").integers(len(lixels), size=events)
    mass = np.bincount(at, minlength=len(lixels)).astype(np.float64)
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    for e in range(network.edges if events <= 2000 else 0):
        ends = int(network.edge_u[e]), int(network.edge_v[e])
        graph.add_edge(*ends, key=e, u=ends[0], v=ends[1], length=float(network.edge_length_m[e]))
    return Case(
        lambda: spread_once(network, lixels, mass, 300.0),
        lambda: plain_kernel(graph, lixels, at, 300.0, continuous=True),
        lambda a, b: np.testing.assert_allclose(a, b, atol=1e-9),
    )


def chance(events: int) -> Case:
    """Draws of events moved along the roads; the plain way draws each by itself, no animals."""
    network, lixels, strands, gathered = study(max(20 * events, 2_000), 150.0, events)
    matrix = lixel_kernel(network, lixels, 300.0)
    turned = matrix.T.tocsr()
    count = len(gathered.lixel)
    draws = DRAWS if events > FEW_EVENTS else 99

    def ours() -> Any:
        return compare_with_chance(
            gathered, strands, matrix, lixels.length_m, bandwidth_m=300.0, least_units=3,
            draws=draws, rng=generator(1, "draws"),
        )  # fmt: skip

    def theirs() -> Floats:
        rng = generator(1, "plain")
        out = np.empty(draws)
        for k in range(draws):
            drawn = np.bincount(rng.integers(len(lixels), size=count), minlength=len(lixels))
            out[k] = (turned @ drawn.astype(np.float64)).max()
        return out

    def same(_: Any, __: Any) -> None:
        # Draws differ by nature; what both spread is the same, asked of one pattern.
        drawn = np.bincount(gathered.lixel, minlength=len(lixels)).astype(np.float64)
        np.testing.assert_allclose(
            turned @ drawn, spread_once(network, lixels, drawn, 300.0), atol=1e-9
        )

    return Case(ours, theirs, same)


def network_k_of(events: int) -> Case:
    import spaghetti

    network = lattice(2 * events, 150.0)
    rng = generator(1, "k")
    edge = rng.integers(network.edges, size=events)
    offset = rng.uniform(0.01, 0.99, events) * network.edge_length_m[edge]
    share = (offset / network.edge_length_m[edge])[:, None]
    a, b = network.edge_xy[2 * edge], network.edge_xy[2 * edge + 1]
    distance = np.linspace(0.0, 2000.0, 25)
    lines = gpd.GeoDataFrame(
        geometry=shapely.linestrings(network.edge_xy.reshape(-1, 2, 2)), crs=network.crs
    )
    points = gpd.GeoDataFrame(
        geometry=gpd.points_from_xy(*(a + share * (b - a)).T), crs=network.crs
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = spaghetti.Network(in_data=lines)
        other.snapobservations(points, "events")

    def theirs() -> Floats:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = other.GlobalAutoK(
                other.pointpatterns["events"], nsteps=25, permutations=1, upperbound=2000.0
            )
        # Its distances stay in its memory for the next call: they are part of the work.
        for kept in ("distance_matrix", "network_trees"):
            if hasattr(other, kept):
                delattr(other, kept)
        return np.asarray(found.observed)

    def same(ours: Floats, others: Floats) -> None:
        # Its divisor is n squared, ours n (n - 1).
        np.testing.assert_allclose(ours[1:] * (events - 1) / events, others[1:], rtol=1e-6)

    return Case(lambda: network_k(network, (edge, offset), distance), theirs, same)


def gi(pieces: int) -> Case:
    network = lattice(pieces, 150.0)
    lixels = lixels_of(network, 150.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(network, lixels.edge, middle, 500.0)
    counts = generator(1, "gi").poisson(0.5, len(lixels)).astype(np.float64)
    rows = np.repeat(np.arange(len(lixels)), np.diff(near.indptr))
    away = rows != near.indices

    def theirs() -> Floats:
        graph = libpysal.graph.Graph.from_arrays(
            rows[away], near.indices[away], np.ones(away.sum())
        )
        found = esda.G_Local(counts, graph, transform="B", star=True, permutations=0)
        return np.asarray(found.Zs)

    return Case(
        lambda: gi_star(counts, near), theirs,
        lambda a, b: np.testing.assert_allclose(a, b, atol=1e-6),
    )  # fmt: skip


STEPS = (
    Step("kernel along roads", "networkx, numpy", kernel, "events, as many segments", 300, "1e-9",
         most=2000, big=1_000_000),
    Step("999 draws against chance", "scipy sparse product", chance,
         "events, twenty times as many segments", FEW_EVENTS,
         "the kernel 1e-9 (draws differ; ours tell animals apart)", most=500),
    Step("network K", "spaghetti", network_k_of, "events, twice as many segments", 100,
         "1e-6 (divisor allowed for)", most=300),
    Step("Gi*", "esda G_Local", gi, "pieces", 600, "1e-6"),
)  # fmt: skip
