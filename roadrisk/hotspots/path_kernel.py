"""The kernel on lixels in the form that fits: as a matrix, or as paths where that is too large."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.errors import InputError, Remark
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape, mass_to
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.paths import (
    PathTable,
    Split,
    junctions,
    path_table,
    paths_from,
    room_for_paths,
)

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

# A matrix larger than this is not made [bytes]; neither is a table of paths.
MOST_BYTES = 1_200_000_000
BYTES_A_MASS, BYTES_A_PATH = 12, 24
SAMPLED = 40


@dataclass(frozen=True, eq=False)
class PathKernel:
    """An equal-split kernel on lixels, worked out from paths whenever it is asked for.

    Attributes
    ----------
    table : PathTable
        Reaching as far as the kernel.
    edge_length_m : ndarray, shape (edges,)
    edge : ndarray of int64, shape (lixels,)
    first : ndarray of int64, shape (edges + 1,)
        Both as in `Lixels`.
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    """

    table: PathTable
    edge_length_m: Floats
    edge: Ints
    first: Ints
    bandwidth_m: float
    shape: Shape

    def arrays(self) -> tuple[Any, ...]:
        """Return what `add_event` takes."""
        t = self.table
        return (
            t.first, t.entry, t.distance_m, t.weight, self.edge_length_m, self.edge, self.first,
            self.bandwidth_m, SHAPES[self.shape], GAUSSIAN_CUT,
        )  # fmt: skip


LixelKernel = sparse.csr_array | PathKernel


def fitting_kernel(
    network: Network,
    lixels: Lixels,
    bandwidth_m: float,
    *,
    shape: Shape = "quartic",
    split: Split = "continuous",
    asked: float = np.inf,
    most_bytes: float = MOST_BYTES,
) -> LixelKernel:
    """Make the matrix of `kernels.lixel_kernel`, or paths in its place where it would not fit.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous"}
    asked : float
        How many events in all will be laid (events times draws). Paths are taken as well where
        making the matrix would cost more than using it.
    most_bytes : float
        A matrix or a table of paths larger than this is not made.

    Returns
    -------
    scipy.sparse.csr_array or PathKernel

    Raises
    ------
    InputError
        If neither fits: the kernel reaches too many roads for its lixels.
    """
    roads = junctions(network)
    rule = (float(bandwidth_m), split == "continuous", True)
    edges = np.unique(np.linspace(0, network.edges - 1, SAMPLED).astype(np.int64))
    masses, paths = _sizes(edges, roads, rule, lixels.first)
    matrix = masses * len(lixels) * BYTES_A_MASS
    table = paths * 2 * network.edges * BYTES_A_PATH
    if matrix <= most_bytes and len(lixels) <= 4 * asked:
        return lixel_kernel(network, lixels, bandwidth_m, shape=shape, split=split)
    if table <= most_bytes:
        found = path_table(network, bandwidth_m, split=split)
        return PathKernel(
            found, network.edge_length_m, lixels.edge, lixels.first, float(bandwidth_m), shape
        )
    if matrix <= most_bytes:
        return lixel_kernel(network, lixels, bandwidth_m, shape=shape, split=split)
    need = min(matrix, table) / 1e9
    raise InputError([Remark(
        "study.toml", None, "hotspots.bandwidth_m",
        f"a half-width of {bandwidth_m:g} m on {len(lixels):,} pieces of road needs {need:.0f} GB",
        "take a smaller half-width, longer lixels (lixel_m) or fewer roads",
    )])  # fmt: skip


def spread_events(kernel: LixelKernel, mass: Floats) -> Floats:
    """Spread events that lie in the middles of lixels.

    Parameters
    ----------
    kernel : scipy.sparse.csr_array or PathKernel
    mass : ndarray, shape (lixels,)
        Events on each lixel.

    Returns
    -------
    ndarray, shape (lixels,)
        Kernel mass on each lixel; divide by its length for a density.
    """
    if not isinstance(kernel, PathKernel):
        return np.asarray(kernel.T @ mass, np.float64)
    held = np.flatnonzero(mass).astype(np.int64)
    return _spread(held, mass[held], kernel.arrays(), len(mass))


def spread_once(
    network: Network,
    lixels: Lixels,
    mass: Floats,
    bandwidth_m: float,
    *,
    shape: Shape = "quartic",
    split: Split = "continuous",
) -> Floats:
    """Spread events once, keeping neither a matrix nor paths.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    mass : ndarray, shape (lixels,)
        Events on each lixel.
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous"}

    Returns
    -------
    ndarray, shape (lixels,)
        As `spread_events`.
    """
    roads = junctions(network)
    rule = (float(bandwidth_m), split == "continuous", True)
    held = np.unique(lixels.edge[np.flatnonzero(mass)])
    # Two sums whatever the number of threads, so that the result is the same everywhere.
    halves = [held[: len(held) // 2], held[len(held) // 2 :]]
    with ThreadPoolExecutor(min(cpu_count() or 1, 2)) as pool:
        sums = list(pool.map(
            lambda some: _spread_edges(
                some, mass, roads, rule, lixels.first, SHAPES[shape], GAUSSIAN_CUT
            ),
            halves,
        ))  # fmt: skip
    return np.asarray(sums[0] + sums[1])


def part_of(kernel: LixelKernel, lixel: Ints) -> sparse.csr_array[Any, tuple[int, int]]:
    """Return the kernel among some lixels only.

    Parameters
    ----------
    kernel : scipy.sparse.csr_array or PathKernel
    lixel : ndarray of int64, shape (n,)

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        What leaves these lixels is lost.
    """
    if not isinstance(kernel, PathKernel):
        return sparse.csr_array(kernel[lixel][:, lixel])
    number = np.full(len(kernel.edge), -1, np.int64)
    number[lixel] = np.arange(len(lixel))
    count, indices, data = _rows_among(lixel, number, kernel.arrays())
    indptr = np.concatenate([[0], np.cumsum(count)])
    return sparse.csr_array((data, indices, indptr), shape=(len(lixel), len(lixel)))


@nb.njit(cache=True, nogil=True)
def add_event(
    n: int,
    w: float,
    e: int,
    rows_u: int,
    rows_v: int,
    rows_end: int,
    entry: Ints,
    distance: Floats,
    share: Floats,
    length: Floats,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
    stamp: int,
    mark: Ints,
    touched: Ints,
    seen: int,
    out: Floats,
) -> int:
    """Add one event's kernel.

    Parameters
    ----------
    n : int
        Lixel; the event lies in its middle.
    w : float
        Weight.
    e : int
        The lixel's edge.
    rows_u, rows_v, rows_end : int
        Paths that leave it by u are the rows from the first up to the second, those by v up to
        the third.
    entry, distance, share : ndarray
        As in `PathTable`.
    length : ndarray, shape (edges,)
    lixel_first : ndarray of int64, shape (edges + 1,)
    h, shape, cut
        As in `kernel_shapes.mass_to`.
    stamp : int
        Of the unit that the event belongs to.
    mark : ndarray of int64, shape (edges,)
        Stamp that last met each edge; filled.
    touched : ndarray of int64, shape (edges,)
        Edges met under this stamp; filled.
    seen : int
        How many.
    out : ndarray, shape (lixels,)
        Filled.

    Returns
    -------
    int
        How many edges have been met now.
    """
    low, high = lixel_first[e], lixel_first[e + 1]
    size = length[e] / (high - low)
    if mark[e] != stamp:
        mark[e], touched[seen] = stamp, e
        seen += 1
    before = mass_to(0.5 * size, h, shape, cut)
    out[n] += 2.0 * w * before
    for k in range(1, max(n - low, high - 1 - n) + 1):
        if (k - 0.5) * size >= h:
            break
        after = mass_to((k + 0.5) * size, h, shape, cut)
        if n - k >= low:
            out[n - k] += w * (after - before)
        if n + k < high:
            out[n + k] += w * (after - before)
        before = after
    for row in range(rows_u, rows_end):
        d = distance[row] + ((n - low + 0.5) if row < rows_v else (high - n - 0.5)) * size
        if d >= h:
            continue
        f = entry[row] // 2
        if mark[f] != stamp:
            mark[f], touched[seen] = stamp, f
            seen += 1
        i, pieces = lixel_first[f], lixel_first[f + 1] - lixel_first[f]
        piece, step, part = length[f] / pieces, 1, w * share[row]
        if entry[row] % 2 == 1:
            i, step = i + pieces - 1, -1
        before = mass_to(d, h, shape, cut)
        for j in range(1, pieces + 1):
            after = mass_to(d + j * piece, h, shape, cut)
            out[i] += part * (after - before)
            if d + j * piece >= h:
                break
            before = after
            i += step
    return seen


@nb.njit(cache=True, nogil=True)
def _spread(held: Ints, mass: Floats, arrays: Any, lixels: int) -> Floats:
    first, entry, distance, share, length, edge, lixel_first, h, shape, cut = arrays
    out = np.zeros(lixels)
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    for k in range(len(held)):
        e = edge[held[k]]
        add_event(
            held[k], mass[k], e, first[2 * e], first[2 * e + 1], first[2 * e + 2], entry,
            distance, share, length, lixel_first, h, shape, cut, k, mark, touched, 0, out,
        )  # fmt: skip
    return out


@nb.njit(cache=True, nogil=True)
def _spread_edges(
    edges: Ints, mass: Floats, roads: Any, rule: Any, lixel_first: Ints, shape: int, cut: float
) -> Floats:
    """Spread what lies on some edges, following the paths from each edge's ends once."""
    length = roads[2]
    out = np.zeros(len(mass))
    room = room_for_paths(len(length), len(roads[3]) - 1)
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    for e in edges:
        at_u, at_v = paths_from(2 * e, roads, rule, room), paths_from(2 * e + 1, roads, rule, room)
        entry = np.concatenate((at_u[0], at_v[0]))
        distance, share = np.concatenate((at_u[1], at_v[1])), np.concatenate((at_u[2], at_v[2]))
        for n in range(lixel_first[e], lixel_first[e + 1]):
            if mass[n] != 0.0:
                add_event(
                    n, mass[n], e, 0, len(at_u[0]), len(entry), entry, distance, share, length,
                    lixel_first, rule[0], shape, cut, n, mark, touched, 0, out,
                )  # fmt: skip
    return out


@nb.njit(cache=True, nogil=True)
def _rows_among(lixel: Ints, number: Ints, arrays: Any) -> tuple[Ints, Ints, Floats]:
    first, entry, distance, share, length, edge, lixel_first, h, shape, cut = arrays
    out = np.zeros(len(edge))
    mark, touched = np.full(len(length), -1, np.int64), np.empty(len(length), np.int64)
    count = np.zeros(len(lixel), np.int64)
    indices, data = np.empty(64 * len(lixel) + 64, np.int64), np.empty(64 * len(lixel) + 64)
    used = 0
    for k in range(len(lixel)):
        e = edge[lixel[k]]
        seen = add_event(
            lixel[k], 1.0, e, first[2 * e], first[2 * e + 1], first[2 * e + 2], entry, distance,
            share, length, lixel_first, h, shape, cut, k, mark, touched, 0, out,
        )  # fmt: skip
        for t in range(seen):
            for i in range(lixel_first[touched[t]], lixel_first[touched[t] + 1]):
                if out[i] != 0.0 and number[i] >= 0:
                    if used == len(data):
                        indices = np.concatenate((indices, np.empty_like(indices)))
                        data = np.concatenate((data, np.empty_like(data)))
                    indices[used], data[used] = number[i], out[i]
                    used += 1
                    count[k] += 1
                out[i] = 0.0
    return count, indices[:used].copy(), data[:used].copy()


@nb.njit(cache=True)
def _sizes(edges: Ints, roads: Any, rule: Any, lixel_first: Ints) -> tuple[float, float]:
    """Mean number of lixels an event reaches, and of paths an edge end has, over some edges."""
    length = roads[2]
    room = room_for_paths(len(length), len(roads[3]) - 1)
    mark = np.full(len(length), -1, np.int64)
    reached = paths = 0.0
    for e in edges:
        for side in range(2):
            entry, at, _ = paths_from(2 * e + side, roads, rule, room)
            paths += len(entry)
            for r in range(len(entry)):  # the nearest row of an entry comes first
                f = entry[r] // 2
                if mark[f] != e and at[r] + length[e] / 2 < rule[0]:
                    mark[f] = e
                    pieces = lixel_first[f + 1] - lixel_first[f]
                    left = (rule[0] - at[r] - length[e] / 2) / length[f]
                    reached += pieces * min(left, 1.0)
        reached += lixel_first[e + 1] - lixel_first[e]
    return reached / len(edges), paths / (2 * len(edges))
