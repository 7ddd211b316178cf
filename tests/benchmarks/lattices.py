"""Large invented street networks, made directly as arrays."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj

from roadrisk.base.seeds import generator
from roadrisk.roads.network import Lixels, Network


def lattice(segments: int, spacing_m: float, seed: int = 1) -> Network:
    """Crooked lattice of streets, about one in eight missing, one segment between two junctions.

    Parameters
    ----------
    segments : int
        About so many.
    spacing_m : float
        Between junctions, before they are shifted by up to a third of it either way [m].
    seed : int
    """
    rng = generator(seed, "lattice")
    side = max(int(np.sqrt(segments / 1.75)), 2)
    at = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), axis=-1)
    xy = (at + rng.uniform(-1 / 3, 1 / 3, at.shape)).reshape(-1, 2) * spacing_m
    node = np.arange(side * side).reshape(side, side)
    u = np.concatenate([node[:-1].ravel(), node[:, :-1].ravel()])
    v = np.concatenate([node[1:].ravel(), node[:, 1:].ravel()])
    keep = rng.random(len(u)) < 0.875
    # Neighbours on the ground are neighbours in the arrays, as in an extract sorted by place.
    order = np.argsort(np.minimum(u, v)[keep], kind="stable")
    u, v = u[keep][order].astype(np.int64), v[keep][order].astype(np.int64)
    length = np.hypot(*(xy[u] - xy[v]).T)
    ends = np.stack([xy[u], xy[v]], axis=1).reshape(-1, 2)
    table = gpd.GeoDataFrame({
        "edge": np.arange(len(u)), "edge_from_m": 0.0, "edge_to_m": length, "length_m": length,
        "road": "",
    })  # fmt: skip
    return Network(
        pyproj.CRS.from_epsg(32633), xy, u, v, length, ends, np.arange(0, 2 * len(u) + 1, 2), table
    )


def lixels_of(network: Network, lixel_m: float = 10.0) -> Lixels:
    """Lay lixels as `roads.lixels.lay_lixels` does, one segment an edge."""
    length = network.edge_length_m
    count = np.maximum(1, np.floor(length / lixel_m + 0.5 + 1e-6)).astype(np.int64)
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    edge = np.repeat(np.arange(network.edges, dtype=np.int64), count)
    within = np.arange(first[-1]) - first[edge]
    start = length[edge] * (within / count[edge])
    end = length[edge] * ((within + 1) / count[edge])
    return Lixels(edge, start, end, first, edge)
