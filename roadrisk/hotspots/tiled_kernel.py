"""A kernel on a network too large for one matrix: worked out tile by tile, and not kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from scipy import sparse

from roadrisk.base.tasks import InProcess, Tasks
from roadrisk.hotspots.kernel_rows import rows_of_edges
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape
from roadrisk.hotspots.paths import Split, junctions
from roadrisk.roads.tiles import Part, Surroundings, part_of_network, squares

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

EDGES_A_TILE = 4_000
EDGES_AT_ONCE = 200


@dataclass(frozen=True, eq=False)
class TiledKernel:
    """An equal-split kernel on lixels, one tile of the network at a time.

    Attributes
    ----------
    network : Network
    lixels : Lixels
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous"}
    around : Surroundings
        Of `network`.
    tasks : Tasks
        What the tiles are worked out by.

    Notes
    -----
    A tile has a margin of twice the half-width: events within one half-width of it reach it, and
    what they give to roads another half-width away scales their rows to a mass of 1, as
    `kernels.lixel_kernel` does. So all values are the untiled ones but for rounding.
    """

    network: Network
    lixels: Lixels
    bandwidth_m: float
    shape: Shape
    split: Split
    around: Surroundings
    tasks: Tasks = field(default_factory=InProcess)

    def rows(self, source: Ints, part: Part) -> sparse.csr_array[Any, tuple[int, int]]:
        """Return the kernel of events on some edges, on the lixels of a part.

        Parameters
        ----------
        source : ndarray of int64
            Edges of the whole network.
        part : Part
            Holding these and all within one half-width of them.

        Returns
        -------
        scipy.sparse.csr_array, shape (lixels of the part, lixels of the part)
            As `kernels.lixel_kernel`; rows of lixels of other edges are empty.
        """
        own = np.searchsorted(part.edge, source)
        count, indices, data = _rows(self, own, part)
        size = np.zeros(len(part.lixel), np.int64)
        size[_lixels_of(own, part.lixels.first)] = count
        indptr = np.concatenate([[0], np.cumsum(size)])
        if indptr[-1] < 2**31:
            indptr = indptr.astype(np.int32)
        return sparse.csr_array((data, indices, indptr), shape=(len(size), len(size)))

    def spread(self, masses: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Spread events that lie in the middles of lixels.

        Parameters
        ----------
        masses : ndarray, shape (kinds, lixels)
            Events of each kind on each lixel.

        Returns
        -------
        ndarray, shape (kinds, lixels), of the same type
            Kernel mass on each lixel; divide by its length for a density.
        """
        out = np.zeros(masses.shape, masses.dtype)
        held = np.zeros(self.network.edges, np.bool_)
        held[self.lixels.edge[masses.any(axis=0)]] = True
        tiles = squares(self.network, EDGES_A_TILE)
        found = self.tasks.map(_spread_on_tile, tiles, shared=(self, masses, held), compiled=True)
        for lixel, values in found:
            out[:, lixel] = values
        return out

    def among(self, lixel: Ints) -> sparse.csr_array[Any, tuple[int, int]]:
        """Return the kernel among some lixels only; what leaves them is lost.

        Parameters
        ----------
        lixel : ndarray of int64, shape (n,)

        Returns
        -------
        scipy.sparse.csr_array, shape (n, n)
        """
        source = np.unique(self.lixels.edge[lixel])
        part = part_of_network(
            self.network, self.lixels, self.around.around(source, self.bandwidth_m)
        )
        own = np.searchsorted(part.lixel, lixel)
        return sparse.csr_array(self.rows(source, part)[own][:, own])


def _spread_on_tile(shared: tuple[TiledKernel, Any, Any], core: Ints) -> tuple[Ints, Floats]:
    """Return the lixels of some edges, and what all events around give to them."""
    kernel, masses, held = shared
    h = kernel.bandwidth_m
    source = kernel.around.around(core, h)
    source = source[held[source]]
    edges = np.union1d(core, kernel.around.around(source, h)) if len(source) else core
    part = part_of_network(kernel.network, kernel.lixels, edges)
    own = np.searchsorted(part.edge, source)
    mass = masses[:, part.lixel].astype(np.float64)
    out = np.zeros(mass.shape)
    for start in range(0, len(own), EDGES_AT_ONCE):
        some = own[start : start + EDGES_AT_ONCE]
        count, indices, data = _rows(kernel, some, part)
        _add_rows(_lixels_of(some, part.lixels.first), count, indices, data, mass, out)
    mine = _lixels_of(np.searchsorted(part.edge, core), part.lixels.first)
    return part.lixel[mine], out[:, mine]


def _rows(kernel: TiledKernel, own: Ints, part: Part) -> tuple[Ints, Ints, Floats]:
    rule = (float(kernel.bandwidth_m), kernel.split == "continuous", True)
    found: tuple[Ints, Ints, Floats] = rows_of_edges(
        own, junctions(part.network), rule, part.lixels.first, SHAPES[kernel.shape],
        GAUSSIAN_CUT, True,
    )  # fmt: skip
    return found


def _lixels_of(edge: Ints, first: Ints) -> Ints:
    size = first[edge + 1] - first[edge]
    begin = np.repeat(first[edge] - (np.cumsum(size) - size), size)
    return np.asarray(np.arange(size.sum()) + begin, np.int64)


@nb.njit(cache=True, nogil=True)
def _add_rows(
    row: Ints, count: Ints, column: Ints, share: Floats, mass: Floats, out: Floats
) -> None:
    used = 0
    for r in range(len(row)):
        for kind in range(len(mass)):
            m = mass[kind, row[r]]
            if m != 0.0:
                for k in range(used, used + count[r]):
                    out[kind, column[k]] += m * share[k]
        used += count[r]
