"""Kernels along the network: density at places, and the lixel-by-lixel matrix of one kernel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape, height, mass_to
from roadrisk.hotspots.paths import PathTable, path_table
from roadrisk.hotspots.simple_kernel import simple_density_at, simple_lixel_kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

Kind = Literal["continuous", "discontinuous", "simple"]


def density_at(
    network: Network,
    event_edge: Ints,
    event_offset_m: Floats,
    weight: Floats,
    place_edge: Ints,
    place_offset_m: Floats,
    *,
    bandwidth_m: float,
    shape: Shape = "quartic",
    split: Kind = "continuous",
    reflect: bool = True,
    gaussian_cut: float = GAUSSIAN_CUT,
    open_nodes: NDArray[np.bool_] | None = None,
) -> Floats:
    """Kernel density of events at places on the network.

    Parameters
    ----------
    network : Network
    event_edge, event_offset_m, weight : ndarray, shape (events,)
        Events: edge, offset along it [m], weight.
    place_edge, place_offset_m : ndarray, shape (places,)
        Where to evaluate.
    bandwidth_m : float
        Half-width: the distance at which the kernel becomes 0 [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
        The quartic is the biweight. The Gaussian is cut at the half-width and scaled up to a
        mass of 1.
    split : {"continuous", "discontinuous", "simple"}
        What happens at junctions: `paths.path_table` for the equal-split kernels,
        `simple_kernel` for the third, which is no density.
    reflect : bool
        As in `paths.path_table`; the simple kernel is never thrown back.
    gaussian_cut : float
        Standard deviations of the Gaussian in `bandwidth_m`.
    open_nodes : ndarray of bool, shape (nodes,), optional
        Dead ends where the study area cuts a road that goes on: nothing is thrown back there,
        and one event's mass is less than 1 (`edge_correction` makes up for it).

    Returns
    -------
    ndarray, shape (places,)
        [events per metre].

    Notes
    -----
    Okabe, Satoh & Sugihara 2009, Int. J. Geogr. Inf. Sci. 23:7-32.
    """
    if split == "simple":
        return simple_density_at(
            network, event_edge, event_offset_m, weight, place_edge, place_offset_m,
            bandwidth_m=bandwidth_m, shape=shape, gaussian_cut=gaussian_cut,
        )  # fmt: skip
    table = path_table(network, bandwidth_m, split=split, reflect=reflect, open_nodes=open_nodes)
    order = np.argsort(place_edge, kind="stable")
    first = np.searchsorted(place_edge[order], np.arange(network.edges + 1)).astype(np.int64)
    sums = _density(
        network.edge_length_m, table.first, table.entry, table.distance_m, table.weight,
        np.asarray(event_edge, np.int64), np.asarray(event_offset_m, np.float64),
        np.asarray(weight, np.float64), first, np.asarray(place_offset_m, np.float64)[order],
        float(bandwidth_m), SHAPES[shape], float(gaussian_cut),
    )  # fmt: skip
    out = np.empty(len(place_edge))
    out[order] = sums
    return out


def lixel_kernel(
    network: Network,
    lixels: Lixels,
    bandwidth_m: float,
    *,
    shape: Shape = "quartic",
    split: Kind = "continuous",
    reflect: bool = True,
    gaussian_cut: float = GAUSSIAN_CUT,
    open_nodes: NDArray[np.bool_] | None = None,
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Share of one event's kernel that falls in each lixel.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous", "simple"}
    reflect : bool
    gaussian_cut : float
    open_nodes : ndarray of bool, shape (nodes,), optional
        All as in `density_at`.

    Returns
    -------
    scipy.sparse.csr_array, shape (lixels, lixels)
        Row i: an event in the middle of lixel i. Each entry is the kernel integrated over a
        lixel, so a row sums to 1 for both equal-split kernels (where paths were merged in a
        dense knot of short edges, the row is scaled to it), less where a node is open or
        dead ends don't throw back. Divide by the lixels' lengths for a density.
    """
    if split == "simple":
        return simple_lixel_kernel(
            network, lixels, bandwidth_m, shape=shape, gaussian_cut=gaussian_cut
        )
    table: PathTable = path_table(
        network, bandwidth_m, split=split, reflect=reflect, open_nodes=open_nodes
    )
    indptr, indices, data = _rows(
        network.edge_length_m, table.first, table.entry, table.distance_m, table.weight,
        lixels.edge, lixels.start_m, lixels.end_m, lixels.first,
        float(bandwidth_m), SHAPES[shape], float(gaussian_cut),
    )  # fmt: skip
    rows = sparse.csr_array((data, indices, indptr), shape=(len(lixels), len(lixels)))
    if open_nodes is None and (split == "continuous" or reflect):
        mass: Floats = np.asarray(rows.sum(axis=1), np.float64)
        rows.data[:] = rows.data / np.repeat(mass, np.diff(indptr))
    return rows


@nb.njit(cache=True)
def _density(
    length: Floats,
    first: Ints,
    entry: Ints,
    distance: Floats,
    share: Floats,
    event_edge: Ints,
    event_offset: Floats,
    weight: Floats,
    place_first: Ints,
    place_offset: Floats,
    h: float,
    shape: int,
    cut: float,
) -> Floats:
    out = np.zeros(len(place_offset))
    for n in range(len(event_edge)):
        e, s, w = event_edge[n], event_offset[n], weight[n]
        for i in range(place_first[e], place_first[e + 1]):
            out[i] += w * height(abs(place_offset[i] - s), h, shape, cut)
        for side in range(2):
            gone = s if side == 0 else length[e] - s
            if gone >= h:
                continue
            for row in range(first[2 * e + side], first[2 * e + side + 1]):
                d = gone + distance[row]
                if d >= h:
                    continue
                f = entry[row] // 2
                from_u = entry[row] % 2 == 0
                for i in range(place_first[f], place_first[f + 1]):
                    x = place_offset[i] if from_u else length[f] - place_offset[i]
                    out[i] += w * share[row] * height(d + x, h, shape, cut)
    return out


@nb.njit(cache=True)
def _rows(
    length: Floats,
    first: Ints,
    entry: Ints,
    distance: Floats,
    share: Floats,
    lixel_edge: Ints,
    lixel_start: Floats,
    lixel_end: Floats,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
) -> tuple[Ints, Ints, Floats]:
    count = len(lixel_edge)
    indptr = np.zeros(count + 1, np.int64)
    indices = np.empty(64 * count + 64, np.int64)
    data = np.empty(64 * count + 64, np.float64)
    sums = np.zeros(count)
    met = np.zeros(count, np.bool_)
    touched = np.empty(count, np.int64)
    used = 0
    for n in range(count):
        e = lixel_edge[n]
        s = (lixel_start[n] + lixel_end[n]) / 2.0
        seen = _own_edge(
            n, e, s, lixel_start, lixel_end, lixel_first, h, shape, cut, sums, met, touched
        )
        for side in range(2):
            gone = s if side == 0 else length[e] - s
            if gone >= h:
                continue
            for row in range(first[2 * e + side], first[2 * e + side + 1]):
                d = gone + distance[row]
                if d >= h:
                    continue
                f = entry[row] // 2
                lo, hi = lixel_first[f], lixel_first[f + 1]
                piece = length[f] / (hi - lo)
                for j in range(hi - lo):
                    if d + j * piece >= h:
                        break
                    mass = share[row] * (
                        mass_to(d + (j + 1) * piece, h, shape, cut)
                        - mass_to(d + j * piece, h, shape, cut)
                    )
                    i = lo + j if entry[row] % 2 == 0 else hi - 1 - j
                    seen = _add(i, mass, sums, met, touched, seen)
        if used + seen > len(data):
            more = max(2 * len(data), used + seen)
            bigger_i = np.empty(more, np.int64)
            bigger_d = np.empty(more, np.float64)
            bigger_i[:used] = indices[:used]
            bigger_d[:used] = data[:used]
            indices, data = bigger_i, bigger_d
        row_order = np.sort(touched[:seen])
        for i in row_order:
            indices[used], data[used] = i, sums[i]
            used += 1
            sums[i], met[i] = 0.0, False
        indptr[n + 1] = used
    return indptr, indices[:used].copy(), data[:used].copy()


@nb.njit(cache=True)
def _own_edge(
    n: int,
    e: int,
    s: float,
    lixel_start: Floats,
    lixel_end: Floats,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
    sums: Floats,
    met: Any,
    touched: Ints,
) -> int:
    """Lixels of the event's own edge, both ways, before any node is met."""
    seen = 0
    size = lixel_end[n] - lixel_start[n]
    near = max(lixel_first[e], lixel_first[e] + int((s - h) / size) - 1)
    last = min(lixel_first[e + 1], lixel_first[e] + int((s + h) / size) + 2)
    for i in range(near, last):
        a, b = lixel_start[i] - s, lixel_end[i] - s
        if a >= h or b <= -h:
            continue
        if i == n:
            mass = mass_to(-a, h, shape, cut) + mass_to(b, h, shape, cut)
        else:
            mass = abs(mass_to(abs(b), h, shape, cut) - mass_to(abs(a), h, shape, cut))
        seen = _add(i, mass, sums, met, touched, seen)
    return seen


@nb.njit(cache=True)
def _add(i: int, mass: float, sums: Floats, met: Any, touched: Ints, seen: int) -> int:
    if not met[i]:
        met[i] = True
        touched[seen] = i
        seen += 1
    sums[i] += mass
    return seen
