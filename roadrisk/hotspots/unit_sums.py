"""How many different animals and observers gather at each place: the sums that chance is asked of.

Of the events as they lie and of thousands of draws alike, so made for speed: only lixels that a
kernel reaches are looked at.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.path_kernel import LixelKernel, PathKernel
from roadrisk.hotspots.path_spread import add_event
from roadrisk.hotspots.tiled_kernel import TiledKernel

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.moves import Layout
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints

# A unit is at a place where its kernel is this part of the peak or more: far above rounding, so
# that every machine counts alike.
LEAST_OF_PEAK = 1e-6
AT_ONCE = 20
# Below this many pieces in all draws together more processors gain nothing.
FEW_PIECES = 200_000
_NONE_I, _NONE_F = np.zeros(0, np.int64), np.zeros(0)
_NO_MATRIX = (np.zeros(0, np.int32), np.zeros(0, np.int32), _NONE_F)
_NO_PATHS = (_NONE_I, _NONE_I, _NONE_F, _NONE_F, _NONE_F, _NONE_I, _NONE_I, 1.0, 0, 4.0)


@dataclass(frozen=True, eq=False)
class Sums:
    """Sums of some draws, without the zeros.

    Attributes
    ----------
    count : ndarray of int64, shape (draws,)
        Lixels of each.
    lixel : ndarray of int64
        Draw after draw.
    value : ndarray
        [units per metre].
    """

    count: Ints
    lixel: Ints
    value: Floats

    @property
    def size_bytes(self) -> int:
        """Memory taken."""
        return self.lixel.nbytes + self.value.nbytes


class UnitSums:
    """Kernel sums of all units but the largest, each capped at one event in its place.

    Parameters
    ----------
    events : Events
    kernel : scipy.sparse.csr_array, PathKernel or TiledKernel
    lixel_length_m : ndarray, shape (lixels,)
    peak_per_m : float
        Kernel at distance 0 [1/m]: a unit's sum is capped there.
    least_units : int
        So many different units must be at a place; else its sum is 0.
    """

    def __init__(
        self,
        events: Events,
        kernel: LixelKernel,
        lixel_length_m: Floats,
        *,
        peak_per_m: float,
        least_units: int,
    ) -> None:
        first = np.concatenate([[0], np.flatnonzero(np.diff(events.unit)) + 1, [len(events.unit)]])
        if isinstance(kernel, TiledKernel):
            kernel = kernel.among(np.arange(len(lixel_length_m)))
        if isinstance(kernel, PathKernel):
            matrix, roads, edges = _NO_MATRIX, kernel.arrays(), len(kernel.edge_length_m)
        else:
            matrix, roads, edges = (kernel.indptr, kernel.indices, kernel.data), _NO_PATHS, 0
        self._fixed = (
            events.weight, first.astype(np.int64), 1.0 / lixel_length_m, float(peak_per_m),
            LEAST_OF_PEAK * peak_per_m, int(least_units), edges > 0, matrix, roads,
        )  # fmt: skip
        self._lixels = len(lixel_length_m)
        self._rooms: SimpleQueue[Any] = SimpleQueue()
        self._workers = cpu_count() or 1
        self._size = (self._lixels, edges)

    def of(self, lixel: Ints) -> Floats:
        """Return the sums when the pieces lie on these lixels.

        Parameters
        ----------
        lixel : ndarray of int64, shape (pieces,)

        Returns
        -------
        ndarray, shape (lixels,)
            [units per metre].
        """
        found = self._made(lixel[None, :])
        out = np.zeros(self._lixels)
        out[found.lixel] = found.value
        return out

    def of_draws(self, laid: Layout, strands: Strands, share: Floats) -> Iterator[Sums]:
        """Make the sums of draws, some at once, on all processors.

        Parameters
        ----------
        laid : Layout
        strands : Strands
        share : ndarray, shape (draws, groups)
            As `moves.Layout.shifts` takes it.

        Yields
        ------
        Sums
            Of `AT_ONCE` draws each, in order, whatever the number of processors.
        """
        where = (strands.cut_m, strands.order, laid.offset, laid.block, laid.low, laid.high)

        def made(start: int) -> Sums:
            moved = laid.middles(share[start : start + AT_ONCE])
            return self._made(placed(moved, where))

        starts = range(0, len(share), AT_ONCE)
        if share.shape[0] * len(laid.offset) < FEW_PIECES or self._workers == 1:
            yield from map(made, starts)
            return
        with ThreadPoolExecutor(self._workers) as pool:
            # Not more in hand than can be worked on, so that memory stays small.
            waiting = []
            for start in starts:
                waiting.append(pool.submit(made, start))
                if len(waiting) > 2 * self._workers:
                    yield waiting.pop(0).result()
            for one in waiting:
                yield one.result()

    def _made(self, lixel: Ints) -> Sums:
        try:
            room = self._rooms.get_nowait()
        except Empty:
            room = _room(*self._size)
        count, where, value = _sums(lixel, self._fixed, room)
        self._rooms.put(room)
        return Sums(count, where, value)


@nb.njit(cache=True, nogil=True)
def placed(middle: Floats, where: Any) -> Ints:
    """Lixels of all pieces when the groups' middles lie at given places.

    Parameters
    ----------
    middle : ndarray, shape (draws, groups)
        On the long line [m].
    where : tuple
        The line's `cut_m` and `order`; offset and group of each piece; ends of the road on which
        each group may lie.

    Returns
    -------
    ndarray of int64, shape (draws, pieces)
        Pieces that would leave the group's road are folded back at its ends.
    """
    cut, order, offset, block, low, high = where
    out = np.empty((len(middle), len(offset)), np.int64)
    for n in range(len(middle)):
        for p in range(len(offset)):
            b = block[p]
            lo, span = low[b], high[b] - low[b]
            x = (middle[n, b] - lo + offset[p]) % (2.0 * span)
            if x >= span:
                x = 2.0 * span - x
            slot = np.searchsorted(cut, lo + x, side="right") - 1
            out[n, p] = order[min(slot, len(order) - 1)]
    return out


def _room(lixels: int, edges: int) -> Any:
    """Arrays to work in, empty between calls."""
    marked = max(lixels, edges)
    return (
        np.zeros(lixels), np.zeros(lixels), np.zeros(lixels), np.zeros(lixels, np.int32),
        np.full(marked, -1, np.int64), np.empty(marked, np.int64), np.empty(lixels, np.int64),
        np.zeros(1, np.int64),
    )  # fmt: skip


@nb.njit(cache=True, nogil=True)
def _sums(lixel: Ints, fixed: Any, room: Any) -> tuple[Ints, Ints, Floats]:
    weight, first, per_m, cap, least, least_units, paths, matrix, roads = fixed
    indptr, indices, data = matrix
    row, entry, distance, share, length, edge, lixel_first, h, shape, cut = roads
    own, total, most, units, mark, touched, listed, stamp = room
    count = np.zeros(len(lixel), np.int64)
    where, value = np.empty(1024, np.int64), np.empty(1024)
    used = 0
    for n in range(len(lixel)):
        met = 0
        for u in range(len(first) - 1):
            stamp[0] += 1
            if paths:
                seen = _along_paths(
                    lixel[n], weight, first[u], first[u + 1], row, entry, distance, share, length,
                    edge, lixel_first, h, shape, cut, stamp[0], mark, touched, own,
                )  # fmt: skip
            else:
                seen = _by_matrix(
                    lixel[n], weight, first[u], first[u + 1], indptr, indices, data, stamp[0], mark,
                    touched, own,
                )  # fmt: skip
            for t in range(seen):
                low = lixel_first[touched[t]] if paths else touched[t]
                high = lixel_first[touched[t] + 1] if paths else touched[t] + 1
                for i in range(low, high):
                    here = own[i] * per_m[i]
                    own[i] = 0.0
                    if here >= least:
                        here = min(here, cap)
                        if units[i] == 0:
                            listed[met] = i
                            met += 1
                        units[i] += 1
                        total[i] += here
                        most[i] = max(most[i], here)
        where, value = grown(where, used + met), grown(value, used + met)
        start = used
        for t in range(met):
            i = listed[t]
            if units[i] >= least_units and total[i] > most[i]:
                where[used], value[used] = i, total[i] - most[i]
                used += 1
            units[i] = 0
            total[i] = most[i] = 0.0
        count[n] = used - start
    return count, where[:used].copy(), value[:used].copy()


@nb.njit(cache=True, nogil=True)
def _by_matrix(
    lixel: Ints,
    weight: Floats,
    begin: int,
    end: int,
    indptr: Ints,
    indices: Ints,
    data: Floats,
    stamp: int,
    mark: Ints,
    touched: Ints,
    own: Floats,
) -> int:
    """Add the kernels of one unit's pieces; return how many lixels were met."""
    seen = 0
    for p in range(begin, end):
        i, w = lixel[p], weight[p]
        for k in range(indptr[i], indptr[i + 1]):
            j = indices[k]
            if mark[j] != stamp:
                mark[j], touched[seen] = stamp, j
                seen += 1
            own[j] += w * data[k]
    return seen


@nb.njit(cache=True, nogil=True)
def _along_paths(
    lixel: Ints,
    weight: Floats,
    begin: int,
    end: int,
    row: Ints,
    entry: Ints,
    distance: Floats,
    share: Floats,
    length: Floats,
    edge: Ints,
    lixel_first: Ints,
    h: float,
    shape: int,
    cut: float,
    stamp: int,
    mark: Ints,
    touched: Ints,
    own: Floats,
) -> int:
    """Add the kernels of one unit's pieces; return how many edges were met."""
    seen = 0
    for p in range(begin, end):
        e = edge[lixel[p]]
        seen = add_event(
            lixel[p], weight[p], e, row[2 * e], row[2 * e + 1], row[2 * e + 2], entry, distance,
            share, length, lixel_first, h, shape, cut, stamp, mark, touched, seen, own,
        )  # fmt: skip
    return seen
