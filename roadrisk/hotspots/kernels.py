"""Kernels along the network: density at places, and the lixel-by-lixel matrix of one kernel."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count
from typing import TYPE_CHECKING, Any, Literal

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.hotspots.kernel_rows import rows_of_edges
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape, height
from roadrisk.hotspots.paths import junctions, path_table
from roadrisk.hotspots.simple_kernel import simple_density_at, simple_lixel_kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

Kind = Literal["continuous", "discontinuous", "simple"]
EDGES_AT_ONCE = 1_000


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
    roads = junctions(network, open_nodes)
    rule = (float(bandwidth_m), split == "continuous", reflect)
    whole = open_nodes is None and (split == "continuous" or reflect)
    starts = range(0, network.edges, EDGES_AT_ONCE)
    with ThreadPoolExecutor(cpu_count()) as pool:
        parts = list(
            pool.map(
                lambda a: rows_of_edges(
                    np.arange(a, min(a + EDGES_AT_ONCE, network.edges)), roads, rule, lixels.first,
                    SHAPES[shape], float(gaussian_cut), whole,
                ),
                starts,
            )
        )  # fmt: skip
    counts = np.concatenate([np.zeros(1, np.int64), *(p[0] for p in parts)])
    indices = np.concatenate([np.zeros(0, np.int32), *(p[1] for p in parts)])
    data = np.concatenate([np.zeros(0), *(p[2] for p in parts)])
    indptr = np.cumsum(counts)
    if indptr[-1] < 2**31:
        indptr = indptr.astype(np.int32)
    return sparse.csr_array((data, indices, indptr), shape=(len(lixels), len(lixels)))


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
