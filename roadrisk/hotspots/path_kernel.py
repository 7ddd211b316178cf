"""The kernel on lixels in the form that fits: as a matrix, or as paths where that is too large."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import sparse

from roadrisk.errors import InputError, Remark
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.path_spread import mean_sizes, rows_among, spread_along, spread_edges
from roadrisk.hotspots.paths import PathTable, Split, junctions, path_table
from roadrisk.hotspots.tiled_kernel import TiledKernel

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


LixelKernel = sparse.csr_array | PathKernel | TiledKernel


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
    masses, paths = mean_sizes(edges, roads, rule, lixels.first)
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
    kernel : scipy.sparse.csr_array, PathKernel or TiledKernel
    mass : ndarray, shape (lixels,)
        Events on each lixel.

    Returns
    -------
    ndarray, shape (lixels,)
        Kernel mass on each lixel; divide by its length for a density.
    """
    if isinstance(kernel, TiledKernel):
        return np.asarray(kernel.spread(mass[None, :])[0])
    if not isinstance(kernel, PathKernel):
        return np.asarray(kernel.T @ mass, np.float64)
    held = np.flatnonzero(mass).astype(np.int64)
    return spread_along(held, mass[held], kernel.arrays(), len(mass))


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
            lambda some: spread_edges(
                some, mass, roads, rule, lixels.first, SHAPES[shape], GAUSSIAN_CUT
            ),
            halves,
        ))  # fmt: skip
    return np.asarray(sums[0] + sums[1])


def part_of(kernel: LixelKernel, lixel: Ints) -> sparse.csr_array[Any, tuple[int, int]]:
    """Return the kernel among some lixels only.

    Parameters
    ----------
    kernel : scipy.sparse.csr_array, PathKernel or TiledKernel
    lixel : ndarray of int64, shape (n,)

    Returns
    -------
    scipy.sparse.csr_array, shape (n, n)
        What leaves these lixels is lost.
    """
    if isinstance(kernel, TiledKernel):
        return kernel.among(lixel)
    if not isinstance(kernel, PathKernel):
        return sparse.csr_array(kernel[lixel][:, lixel])
    number = np.full(len(kernel.edge), -1, np.int64)
    number[lixel] = np.arange(len(lixel))
    count, indices, data = rows_among(lixel, number, kernel.arrays())
    indptr = np.concatenate([[0], np.cumsum(count)])
    return sparse.csr_array((data, indices, indptr), shape=(len(lixel), len(lixel)))
