"""The simple network kernel: a kernel of the shortest distance, whatever lies in between."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape, height, mass_to
from roadrisk.hotspots.reach import (
    by_edge,
    distance_on,
    find_reach,
    lies_on,
    pieces_from,
    room_for_pieces,
)

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network


def simple_density_at(
    network: Network,
    event_edge: Ints,
    event_offset_m: Floats,
    weight: Floats,
    place_edge: Ints,
    place_offset_m: Floats,
    *,
    bandwidth_m: float,
    shape: Shape = "quartic",
    gaussian_cut: float = GAUSSIAN_CUT,
) -> Floats:
    """Sum the simple kernels of events at places on the network.

    Parameters
    ----------
    network : Network
    event_edge, event_offset_m, weight : ndarray, shape (events,)
        Events: edge, offset along it [m], weight.
    place_edge, place_offset_m : ndarray, shape (places,)
        Where to evaluate.
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    gaussian_cut : float
        As in `kernel_shapes.height`.

    Returns
    -------
    ndarray, shape (places,)
        [1/m]. No density: beyond a junction of n arms one event counts n - 1 times, so the
        sum over the network is more than 1 an event, and less near dead ends.

    Notes
    -----
    Okabe, Satoh & Sugihara 2009, Int. J. Geogr. Inf. Sci. 23:7-32, who show why it is biased
    at junctions.
    """
    reach = find_reach(network, bandwidth_m)
    first, order = by_edge(np.asarray(place_edge, np.int64), network.edges)
    return np.asarray(_density(
        reach.arrays(network), np.asarray(event_edge, np.int64),
        np.asarray(event_offset_m, np.float64), np.asarray(weight, np.float64),
        first, order, np.asarray(place_offset_m, np.float64),
        float(bandwidth_m), SHAPES[shape], float(gaussian_cut),
    ))  # fmt: skip


def simple_lixel_kernel(
    network: Network,
    lixels: Lixels,
    bandwidth_m: float,
    *,
    shape: Shape = "quartic",
    gaussian_cut: float = GAUSSIAN_CUT,
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Integrate the simple kernel of one event over each lixel.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    gaussian_cut : float
        As in `kernel_shapes.height`.

    Returns
    -------
    scipy.sparse.csr_array, shape (lixels, lixels)
        Row i: an event in the middle of lixel i. Rows do not sum to 1.
    """
    reach = find_reach(network, bandwidth_m)
    indptr, indices, data = _rows(
        reach.arrays(network), lixels.edge, lixels.start_m, lixels.end_m, lixels.first,
        float(bandwidth_m), SHAPES[shape], float(gaussian_cut),
    )  # fmt: skip
    rows = sparse.csr_array((data, indices, indptr), shape=(len(lixels), len(lixels)))
    rows.sum_duplicates()
    return rows


@nb.njit(cache=True)
def _density(
    arrays: Any,
    event_edge: Ints,
    event_offset: Floats,
    weight: Floats,
    first: Ints,
    order: Ints,
    place_offset: Floats,
    h: float,
    shape: int,
    cut: float,
) -> Floats:
    out = np.zeros(len(place_offset))
    room = room_for_pieces(len(arrays[3]) - 1, len(arrays[0]))
    for i in range(len(event_edge)):
        pieces = pieces_from(event_edge[i], event_offset[i], h, arrays, room)
        for n in range(pieces):
            f = room[0][n]
            for p in range(first[f], first[f + 1]):
                x = place_offset[order[p]]
                if lies_on(n, x, room):
                    out[order[p]] += weight[i] * height(distance_on(n, x, room), h, shape, cut)
    return out


@nb.njit(cache=True)
def _rows(
    arrays: Any,
    lixel_edge: Ints,
    lixel_start: Floats,
    lixel_end: Floats,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
) -> tuple[Ints, Ints, Floats]:
    count = len(lixel_edge)
    room = room_for_pieces(len(arrays[3]) - 1, len(arrays[0]))
    indptr = np.zeros(count + 1, np.int64)
    indices = np.empty(64 * count + 64, np.int64)
    data = np.empty(64 * count + 64, np.float64)
    used = 0
    for i in range(count):
        middle = (lixel_start[i] + lixel_end[i]) / 2.0
        pieces = pieces_from(lixel_edge[i], middle, h, arrays, room)
        for n in range(pieces):
            f = room[0][n]
            for j in range(lixel_first[f], lixel_first[f + 1]):
                a, b = max(lixel_start[j], room[1][n]), min(lixel_end[j], room[2][n])
                if b <= a:
                    continue
                mass = _between(a, b, n, room, h, shape, cut)
                if mass == 0.0:
                    continue
                indices, data = grown(indices, used + 1), grown(data, used + 1)
                indices[used], data[used] = j, mass
                used += 1
        indptr[i + 1] = used
    return indptr, indices[:used].copy(), data[:used].copy()


@nb.njit(cache=True)
def _between(a: float, b: float, n: int, room: Any, h: float, shape: int, cut: float) -> float:
    """Kernel integrated over a part of piece `n`, from both ends up to where they meet."""
    lo, hi, at_lo, at_hi = room[1][n], room[2][n], room[3][n], room[4][n]
    if at_lo == np.inf:
        meet = lo
    elif at_hi == np.inf:
        meet = hi
    else:
        meet = min(max(lo + (hi - lo + at_hi - at_lo) / 2.0, lo), hi)
    mass = 0.0
    if a < meet:
        to = min(b, meet)
        mass += mass_to(at_lo + to - lo, h, shape, cut) - mass_to(at_lo + a - lo, h, shape, cut)
    if b > meet:
        start = max(a, meet)
        mass += mass_to(at_hi + hi - start, h, shape, cut) - mass_to(at_hi + hi - b, h, shape, cut)
    return mass
