"""Lixels: edges cut into equal pieces, about `lixel_m` long."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from numba import njit

from roadrisk.roads.along import places_xy, segments_at
from roadrisk.roads.network import Lixels

__all__ = ["lay_lixels", "lixel_geometry", "places_xy"]

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network


def lay_lixels(network: Network, lixel_m: float) -> Lixels:
    """Cut every edge into equal pieces.

    Parameters
    ----------
    network : Network
    lixel_m : float
        Length aimed at [m]; an edge of length L gets max(1, round(L / lixel_m)) pieces, a
        half rounded up.

    Returns
    -------
    Lixels
    """
    length = network.edge_length_m
    # The millionth keeps a length of exactly one half from being decided by its last digit.
    count = np.maximum(1, np.floor(length / lixel_m + 0.5 + 1e-6)).astype(np.int64)
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    edge, start, end = _cut(length, first)
    return Lixels(edge, start, end, first, segments_at(network, edge, (start + end) / 2))


@njit(cache=True)
def _cut(length: Floats, first: Ints) -> tuple[Ints, Floats, Floats]:
    edge, start, end = np.empty(first[-1], np.int64), np.empty(first[-1]), np.empty(first[-1])
    for e in range(len(length)):
        count = first[e + 1] - first[e]
        for k in range(count):
            # At the last piece (k + 1) / count is exactly 1, so the end is exactly the edge's.
            edge[first[e] + k] = e
            start[first[e] + k] = length[e] * (k / count)
            end[first[e] + k] = length[e] * ((k + 1) / count)
    return edge, start, end


def lixel_geometry(network: Network, lixels: Lixels) -> np.ndarray:
    """Return every lixel as a line.

    Parameters
    ----------
    network : Network
    lixels : Lixels

    Returns
    -------
    ndarray of shapely LineStrings, shape (lixels,)
        Along the edge, with the edge's vertices in between.
    """
    every = np.arange(len(lixels), dtype=np.int64)
    return run_geometry(network, lixels, every, every)


def run_geometry(network: Network, lixels: Lixels, first: Ints, last: Ints) -> np.ndarray:
    """Return runs of lixels as lines.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    first, last : ndarray of int64, shape (runs,)
        First and last lixel of each run, both in it, on one edge; runs rise and don't overlap.

    Returns
    -------
    ndarray of shapely LineStrings, shape (runs,)
        Along the edge, with the edge's vertices in between.
    """
    if not len(first):
        return np.zeros(0, dtype=object)
    offsets = network.vertex_offset_m
    of_edge = np.repeat(np.arange(network.edges), np.diff(network.edge_first))
    edge, start_m, end_m = lixels.edge[first], lixels.start_m[first], lixels.end_m[last]
    # Inner vertices go to the run they lie in; one that lies on an end adds nothing.
    inner = np.ones(len(offsets), dtype=bool)
    inner[network.edge_first[:-1]] = inner[network.edge_first[1:] - 1] = False
    vertex = np.flatnonzero(inner)
    lixel = lixels.at(of_edge[vertex], offsets[vertex])
    run = np.searchsorted(first, lixel, side="right") - 1
    between = (run >= 0) & (lixel <= last[run])
    between &= (offsets[vertex] > start_m[run] + 1e-9) & (offsets[vertex] < end_m[run] - 1e-9)
    vertex, run = vertex[between], run[between]
    every = np.arange(len(first))
    xy = np.concatenate(
        [
            places_xy(network, edge, start_m),
            places_xy(network, edge, end_m),
            network.edge_xy[vertex],
        ]
    )
    of = np.concatenate([every, every, run])
    along = np.concatenate([start_m, end_m, offsets[vertex]])
    order = np.lexsort((along, of))
    return np.asarray(shapely.linestrings(xy[order], indices=of[order]), dtype=object)
