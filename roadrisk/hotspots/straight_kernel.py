"""The straight-line kernel: an event shared by all roads near it as the crow flies.

Two distances can be meant by "near". *Along the road* fits what is spread by travelling on the
road, or held up along it: reports that people place while they drive or walk there, a fence that
leads animals along it, roads on the two sides of a wall, a canal or a river, which are neighbours
on the map and not for an animal. *Straight-line distance* fits the animal itself: it comes to a
road across country, so a tagged animal's crossing, or a report of one on foot, says as much of
the next road 50 m away as of this road 50 m on, however far round the way by road is.

The price of straight lines: roads that run close together share each event among all of them, so
in a dense net, or beside a parallel road, a place shows less than the same evidence on a lone
road would; and nothing is known of what lies between (water, walls, one road passing over
another). The two bands of a dual carriageway are best counted as one road (`counted`).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from roadrisk.errors import InputError, Remark
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape
from roadrisk.hotspots.path_kernel import BYTES_A_MASS, MOST_BYTES, SAMPLED
from roadrisk.roads.along import places_xy, vertex_offsets
from roadrisk.roads.lixels import lay_lixels

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

Bools = NDArray[np.bool_]


def straight_density_at(
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
    """Density of events at places on the network, spread by straight-line distance.

    Parameters
    ----------
    network : Network
    event_edge, event_offset_m, weight : ndarray, shape (events,)
        Events: edge, offset along it [m], weight.
    place_edge, place_offset_m : ndarray, shape (places,)
        Where to evaluate.
    bandwidth_m : float
        Half-width: the straight-line distance at which the kernel becomes 0 [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
        (1 - t^2)^2, 1 - t^2 with t = d / half-width, or exp(-(t gaussian_cut)^2 / 2), scaled for
        each event so that its integral along all roads within reach is 1.
    gaussian_cut : float
        Standard deviations of the Gaussian in `bandwidth_m`.

    Returns
    -------
    ndarray, shape (places,)
        [events per metre]. The integral over each straight piece of road is exact (to rounding).
        On a lone straight road it is the plain kernel, before a dead end all of it lies on the
        road that there is.

    Notes
    -----
    A kernel in the plane, taken along the roads and scaled to one event: common practice.
    """
    h, code, cut = float(bandwidth_m), SHAPES[shape], float(gaussian_cut)
    at = places_xy(network, np.asarray(event_edge), np.asarray(event_offset_m, np.float64))
    to = places_xy(network, np.asarray(place_edge), np.asarray(place_offset_m, np.float64))
    start, end, _ = _straight_pieces(network, lay_lixels(network, h))
    whole = _masses(at, start, end, _grid((start + end) / 2, _reach(start, end, h)), h, code, cut)
    share = np.asarray(weight, np.float64) / whole
    return np.asarray(_sums(at, share, to, _grid(to, h), h, code, cut))


def straight_lixel_kernel(
    network: Network,
    lixels: Lixels,
    bandwidth_m: float,
    *,
    shape: Shape = "quartic",
    gaussian_cut: float = GAUSSIAN_CUT,
    counted: Bools | None = None,
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Share of one event that falls in each lixel, by straight-line distance.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    gaussian_cut : float
        All as in `straight_density_at`.
    counted : ndarray of bool, shape (lixels,), optional
        Lixels that take a share; all where left out. With the leading band of every dual
        carriageway only, its two bands are one road.

    Returns
    -------
    scipy.sparse.csr_array, shape (lixels, lixels)
        Row i: an event in the middle of lixel i. Each entry is the kernel integrated over a
        lixel, exactly on every straight piece; a row sums to 1, or is empty where nothing that
        is counted lies within the half-width. Not symmetric: an event among many roads is shared
        by more of them.

    Raises
    ------
    InputError
        If the matrix would be larger than `path_kernel.MOST_BYTES`.
    """
    h = float(bandwidth_m)
    start, end, lixel = _straight_pieces(network, lixels)
    if counted is not None:
        keep = counted[lixel]
        start, end, lixel = start[keep], end[keep], lixel[keep]
    middle = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    near = (start, end, lixel, _grid((start + end) / 2, _reach(start, end, h)), len(lixels))
    kernel = (h, SHAPES[shape], float(gaussian_cut))
    some = np.unique(np.linspace(0, len(lixels) - 1, SAMPLED).astype(np.int64))
    each = _rows(middle[some], near, kernel, 64)[0][-1] / len(some)
    need = each * len(lixels) * BYTES_A_MASS
    if need > MOST_BYTES:
        raise InputError([Remark(
            "study.toml", None, "hotspots.bandwidth_m",
            f"a half-width of {h:g} m on {len(lixels):,} pieces of road needs {need / 1e9:.0f} GB "
            'with kernel = "straight"',
            "take a smaller half-width, longer lixels (lixel_m), fewer roads or another kernel",
        )])  # fmt: skip
    indptr, indices, data = _rows(middle, near, kernel, int(1.1 * each) + 8)
    if indptr[-1] < 2**31:  # else the column numbers would take twice the memory too
        indptr = indptr.astype(np.int32)
    return sparse.csr_array((data, indices, indptr), shape=(len(lixels), len(lixels)))


def _straight_pieces(network: Network, lixels: Lixels) -> tuple[Floats, Floats, Ints]:
    """Cut roads at vertices and lixel ends: start and end points of the pieces, their lixels."""
    of_edge = np.repeat(np.arange(network.edges), np.diff(network.edge_first))
    edge = np.concatenate([of_edge, lixels.edge])
    offset = np.concatenate([vertex_offsets(network.edge_xy, network.edge_first), lixels.start_m])
    xy = np.concatenate([network.edge_xy, places_xy(network, lixels.edge, lixels.start_m)])
    order = np.lexsort((offset, edge))
    edge, offset, xy = edge[order], offset[order], xy[order]
    on = np.flatnonzero((edge[1:] == edge[:-1]) & (offset[1:] > offset[:-1]))
    lixel = lixels.at(edge[on], (offset[on] + offset[on + 1]) / 2)
    return xy[on], xy[on + 1], lixel


def _reach(start: Floats, end: Floats, h: float) -> float:
    """Distance from a place at which the middle of a piece within `h` of it may lie."""
    return h + float(np.hypot(*(end - start).T).max(initial=0.0)) / 2


def _grid(xy: Floats, reach: float) -> Any:
    """Sort places into square cells so that all within `reach` lie in nine of them."""
    low = xy.min(axis=0) if len(xy) else np.zeros(2)
    side = reach * (1 + 1e-9)
    cell = np.floor((xy - low) / side).astype(np.int64)
    rows = int(cell[:, 1].max(initial=0)) + 3
    key = cell[:, 0] * rows + cell[:, 1] + 1
    order = np.argsort(key, kind="stable").astype(np.int64)
    return key[order], order, low, side, rows


@nb.njit(cache=True)
def _column(grid: Any, x: float, y: float, shift: int) -> tuple[int, int]:
    """First and last + 1 among the sorted places, of three cells above each other."""
    key, _, low, side, rows = grid
    up = np.int64(np.floor((y - low[1]) / side))
    cell = (np.int64(np.floor((x - low[0]) / side)) + shift) * rows
    # Below or above all rows: not into the column before or after.
    first = np.searchsorted(key, cell + max(up, 0), side="left")
    last = np.searchsorted(key, cell + min(up + 2, rows - 1), side="right")
    return first, last


@nb.njit(cache=True)
def _profile(d: float, h: float, shape: int, cut: float) -> float:
    """Kernel with a peak of 1."""
    t = d / h
    if t >= 1.0:
        return 0.0
    if shape == 0:
        return (1.0 - t * t) ** 2
    if shape == 1:
        return 1.0 - t * t
    return float(np.exp(-0.5 * (t * cut) ** 2))


@nb.njit(cache=True)
def _piece_mass(
    x: float, y: float, a: Floats, b: Floats, h: float, shape: int, cut: float
) -> float:
    """Profile integrated along the straight piece from `a` to `b`."""
    length = np.hypot(b[0] - a[0], b[1] - a[1])
    if length == 0.0:
        return 0.0
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    along = (x - a[0]) * ux + (y - a[1]) * uy
    away = ((x - a[0]) * uy - (y - a[1]) * ux) / h
    left = 1.0 - away * away
    if left <= 0.0:
        return 0.0
    most = np.sqrt(left)
    lo, hi = max(-along / h, -most), min((length - along) / h, most)
    if hi <= lo:
        return 0.0
    if shape == 0:
        return h * (
            left * left * (hi - lo) - 2.0 / 3.0 * left * (hi**3 - lo**3) + (hi**5 - lo**5) / 5.0
        )
    if shape == 1:
        return h * (left * (hi - lo) - (hi**3 - lo**3) / 3.0)
    scale = cut / np.sqrt(2.0)
    area = math.erf(hi * scale) - math.erf(lo * scale)
    return h * np.exp(-((away * scale) ** 2)) * np.sqrt(np.pi) / 2.0 / scale * area


@nb.njit(cache=True)
def _masses(
    at: Floats, start: Floats, end: Floats, grid: Any, h: float, shape: int, cut: float
) -> Floats:
    out = np.zeros(len(at))
    for n in range(len(at)):
        for shift in range(-1, 2):
            first, last = _column(grid, at[n, 0], at[n, 1], shift)
            for k in range(first, last):
                p = grid[1][k]
                out[n] += _piece_mass(at[n, 0], at[n, 1], start[p], end[p], h, shape, cut)
    return out


@nb.njit(cache=True)
def _sums(
    at: Floats, weight: Floats, to: Floats, grid: Any, h: float, shape: int, cut: float
) -> Floats:
    out = np.zeros(len(to))
    for n in range(len(at)):
        for shift in range(-1, 2):
            first, last = _column(grid, at[n, 0], at[n, 1], shift)
            for k in range(first, last):
                p = grid[1][k]
                d = np.hypot(at[n, 0] - to[p, 0], at[n, 1] - to[p, 1])
                out[p] += weight[n] * _profile(d, h, shape, cut)
    return out


@nb.njit(cache=True)
def _rows(middle: Floats, near: Any, kernel: Any, each: int) -> tuple[Ints, Any, Floats]:
    """Shares of events at some places, with room for `each` of them a place to begin with."""
    start, end, lixel, grid, lixels = near
    h, shape, cut = kernel
    count = len(middle)
    indptr = np.zeros(count + 1, np.int64)
    indices, data = np.empty(each * count + 64, np.int32), np.empty(each * count + 64)
    sums = np.zeros(lixels)
    touched = np.empty(lixels, np.int64)
    used = 0
    for n in range(count):
        seen, whole = 0, 0.0
        for shift in range(-1, 2):
            first, last = _column(grid, middle[n, 0], middle[n, 1], shift)
            for k in range(first, last):
                p = grid[1][k]
                mass = _piece_mass(middle[n, 0], middle[n, 1], start[p], end[p], h, shape, cut)
                if mass <= 0.0:
                    continue
                if sums[lixel[p]] == 0.0:
                    touched[seen] = lixel[p]
                    seen += 1
                sums[lixel[p]] += mass
                whole += mass
        while used + seen > len(data):
            indices = np.concatenate((indices, np.empty(len(data) // 4 + 64, np.int32)))
            data = np.concatenate((data, np.empty(len(data) // 4 + 64)))
        for i in np.sort(touched[:seen]):
            indices[used], data[used] = i, sums[i] / whole
            sums[i] = 0.0
            used += 1
        indptr[n + 1] = used
    return indptr, indices[:used].copy(), data[:used].copy()
