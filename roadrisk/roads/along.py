"""Places along edges: offsets of vertices, coordinates of places, segments at places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network


def vertex_offsets(edge_xy: Floats, edge_first: Ints) -> Floats:
    """Return the distance of every vertex from the first vertex of its edge.

    Parameters
    ----------
    edge_xy : ndarray, shape (vertices, 2)
        [m].
    edge_first : ndarray of int64, shape (edges + 1,)

    Returns
    -------
    ndarray, shape (vertices,)
        [m]; 0 at each edge's first vertex. Summed edge by edge, since a running sum over a
        large network would lose digits.
    """
    out: Floats = _offsets(np.ascontiguousarray(edge_xy), edge_first)
    return out


@njit(cache=True)
def _offsets(edge_xy: Floats, edge_first: Ints) -> Floats:
    out = np.zeros(len(edge_xy))
    for e in range(len(edge_first) - 1):
        for i in range(edge_first[e] + 1, edge_first[e + 1]):
            dx, dy = edge_xy[i, 0] - edge_xy[i - 1, 0], edge_xy[i, 1] - edge_xy[i - 1, 1]
            out[i] = out[i - 1] + np.hypot(dx, dy)
    return out


def places_xy(network: Network, edge: Ints, offset_m: Floats) -> Floats:
    """Return the coordinates of places on the network.

    Parameters
    ----------
    network : Network
    edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m]; beyond its ends, the end.

    Returns
    -------
    ndarray, shape (n, 2)
        [m], in the network's CRS.
    """
    out: Floats = _places(
        network.edge_xy,
        network.edge_first,
        network.vertex_offset_m,
        np.asarray(edge, dtype=np.int64),
        np.asarray(offset_m, dtype=np.float64),
    )
    return out


@njit(cache=True)
def _places(
    edge_xy: Floats, edge_first: Ints, offsets: Floats, edge: Ints, offset_m: Floats
) -> Floats:
    out = np.empty((len(edge), 2))
    for k in range(len(edge)):
        low, high = edge_first[edge[k]], edge_first[edge[k] + 1]
        i = low + np.searchsorted(offsets[low:high], offset_m[k], side="right") - 1
        i = min(max(i, low), high - 2)
        t = (offset_m[k] - offsets[i]) / (offsets[i + 1] - offsets[i])
        t = min(max(t, 0.0), 1.0)
        for j in range(2):
            out[k, j] = edge_xy[i, j] + t * (edge_xy[i + 1, j] - edge_xy[i, j])
    return out


def segments_at(network: Network, edge: Ints, offset_m: Floats) -> Ints:
    """Return the row of `network.segments` at each place.

    Parameters
    ----------
    network : Network
    edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m]; a place exactly between two segments belongs to the later one.

    Returns
    -------
    ndarray of int64, shape (n,)
    """
    out: Ints = _segments(
        network.segment_first,
        network.segment_from_m,
        np.asarray(edge, dtype=np.int64),
        np.asarray(offset_m, dtype=np.float64),
    )
    return out


@njit(cache=True)
def _segments(first: Ints, begin: Floats, edge: Ints, offset_m: Floats) -> Ints:
    out = np.empty(len(edge), np.int64)
    for k in range(len(edge)):
        low, high = first[edge[k]], first[edge[k] + 1]
        found = np.searchsorted(begin[low:high], offset_m[k], side="right") - 1
        out[k] = low + max(found, 0)
    return out
