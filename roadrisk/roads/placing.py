"""Placing reports on the network: spread over road within reach by their uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.grid import PieceIndex, cell_columns, place_on
from roadrisk.roads.nearest import nearest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

__all__ = ["PieceIndex", "Placement", "nearest", "spread"]

# Lixels with less than this share of the heaviest lixel's weight are cut.
CUT = 1e-3
# Below this standard deviation a report is a point for all purposes.
_POINT_M = 0.01


@dataclass(frozen=True, eq=False)
class Placement:
    """Where reports went.

    Attributes
    ----------
    point, lixel : ndarray of int64, shape (entries,)
        Sorted by point, then lixel.
    weight : ndarray, shape (entries,)
        Share of the report on that lixel; sums to 1 for each placed report.
    nearest_edge : ndarray of int64, shape (points,)
    nearest_offset_m, nearest_distance_m : ndarray, shape (points,)
        The nearest place on the network, whether or not the report was placed.
    placed : ndarray of bool, shape (points,)
    """

    point: Ints
    lixel: Ints
    weight: Floats
    nearest_edge: Ints
    nearest_offset_m: Floats
    nearest_distance_m: Floats
    placed: NDArray[np.bool_]


def spread(
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    xy: Floats,
    sd_m: Floats | float,
    near_m: float,
) -> Placement:
    """Spread every report over the road within its reach.

    The place of a report given its coordinates is a round normal distribution, and it
    happened on a road: so the density along the road is proportional to
    exp(-(d^2 - d_min^2) / (2 sd^2)), d the distance from the report to the place on the road.
    A lixel's weight is this density's integral over the lixel (exact on straight pieces);
    lixels below a thousandth of the heaviest are cut and the rest adds up to 1. As sd goes to
    0 all of it goes to the lixel of the nearest place.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of the same network.
    xy : ndarray, shape (n, 2)
        [m].
    sd_m : ndarray, shape (n,), or float
        Standard deviation of a report's position in each direction [m], 0 or more.
    near_m : float
        A report farther than near_m + 3 sd from any road [m] is not placed.

    Returns
    -------
    Placement
    """
    xy = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    sd = np.broadcast_to(np.asarray(sd_m, dtype=np.float64), (len(xy),)).copy()
    edge, offset, distance = nearest(index, xy)
    placed = distance <= near_m + 3 * sd
    at = np.full(len(xy), -1, dtype=np.int64)
    at[placed] = lixels.at(edge[placed], offset[placed])
    point, lixel, weight = _spread(
        xy - index.origin,
        sd,
        distance,
        at,
        index.piece,
        index.edge,
        index.from_m,
        index.length_m,
        index.cell_m,
        index.shape,
        index.cell_first,
        index.cell_piece,
        lixels.first,
        network.edge_length_m,
    )
    return Placement(point, lixel, weight, edge, offset, distance, placed)


@njit(cache=True)
def _scaled_erfc(x: float) -> float:
    """exp(x^2) erfc(x) for x >= 0; beyond 20 its asymptotic series (DLMF 7.12.1)."""
    if x < 20.0:
        return math.exp(x * x) * math.erfc(x)
    q = 1.0 / (2.0 * x * x)
    return (1.0 - q * (1.0 - 3.0 * q * (1.0 - 5.0 * q))) / (x * math.sqrt(math.pi))


@njit(cache=True)
def _along(s1: float, s2: float, h2: float, least2: float, sd: float) -> float:
    """Integral of exp(-(h2 + s^2 - least2) / (2 sd^2)) for s from s1 to s2, up to a factor."""
    if s1 < 0.0 < s2:
        both = math.erf(s2 / (sd * math.sqrt(2.0))) + math.erf(-s1 / (sd * math.sqrt(2.0)))
        return math.exp(-(h2 - least2) / (2 * sd * sd)) * both
    # Both on one side of the foot: take out the nearer end, so that nothing overflows.
    near, far = min(abs(s1), abs(s2)), max(abs(s1), abs(s2))
    a, b = near / (sd * math.sqrt(2.0)), far / (sd * math.sqrt(2.0))
    tail = _scaled_erfc(a) - math.exp(a * a - b * b) * _scaled_erfc(b)
    return math.exp(-(h2 + near * near - least2) / (2 * sd * sd)) * max(tail, 0.0)


@njit(cache=True)
def _spread(
    xy: Floats,
    sd: Floats,
    distance: Floats,
    at: Ints,
    piece: Floats,
    edge: Ints,
    from_m: Floats,
    length_m: Floats,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
    lixel_first: Ints,
    edge_length: Floats,
) -> tuple[Ints, Ints, Floats]:
    size, used = max(16, 8 * len(xy)), 0
    out_point, out_lixel = np.empty(size, np.int64), np.empty(size, np.int64)
    out_weight = np.empty(size)
    mass = np.zeros(lixel_first[-1])
    stamp = np.full(len(piece), -1, np.int64)
    for i in range(len(xy)):
        if at[i] < 0:
            continue
        touched = [at[i]]
        if sd[i] < _POINT_M:
            mass[at[i]] = 1.0
        else:
            _one(
                i, xy[i, 0], xy[i, 1], sd[i], distance[i], touched, mass, stamp, piece, edge,
                from_m, length_m, cell, shape, cell_first, cell_piece, lixel_first, edge_length,
            )  # fmt: skip
        hit = np.unique(np.array(touched))
        keep = hit[mass[hit] >= CUT * mass[hit].max()]
        total = mass[keep].sum()
        while used + len(keep) > size:
            size *= 2
            out_point = np.append(out_point, np.empty_like(out_point))
            out_lixel = np.append(out_lixel, np.empty_like(out_lixel))
            out_weight = np.append(out_weight, np.empty_like(out_weight))
        for j in keep:
            out_point[used], out_lixel[used], out_weight[used] = i, j, mass[j] / total
            used += 1
        for j in hit:
            mass[j] = 0.0
    return out_point[:used].copy(), out_lixel[:used].copy(), out_weight[:used].copy()


@njit(cache=True)
def _one(
    i: int,
    x: float,
    y: float,
    sd: float,
    least: float,
    touched: list[int],
    mass: Floats,
    stamp: Ints,
    piece: Floats,
    edge: Ints,
    from_m: Floats,
    length_m: Floats,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
    lixel_first: Ints,
    edge_length: Floats,
) -> None:
    """Add one report's density to `mass` over all pieces within reach."""
    # Beyond this the density is under 2e-7 of its largest, far below the cut.
    reach = math.sqrt(least * least + 32.0 * sd * sd)
    columns = cell_columns(x - reach, x + reach, cell)
    rows = cell_columns(y - reach, y + reach, cell)
    for row in range(max(rows[0], 0), min(rows[1], shape[1] - 1) + 1):
        for column in range(max(columns[0], 0), min(columns[1], shape[0] - 1) + 1):
            k = row * shape[0] + column
            for j in range(cell_first[k], cell_first[k + 1]):
                p = cell_piece[j]
                if stamp[p] == i:
                    continue
                stamp[p] = i
                x0, y0, x1, y1 = piece[p]
                if place_on(x, y, x0, y0, x1, y1)[1] > reach:
                    continue
                ux, uy = (x1 - x0) / length_m[p], (y1 - y0) / length_m[p]
                foot = (x - x0) * ux + (y - y0) * uy
                h = (x - x0) * uy - (y - y0) * ux
                # Only the part of the piece inside the reach.
                half = math.sqrt(max(reach * reach - h * h, 0.0))
                begin = from_m[p] + max(0.0, foot - half)
                end = from_m[p] + min(length_m[p], foot + half)
                first = lixel_first[edge[p]]
                count = lixel_first[edge[p] + 1] - first
                size = edge_length[edge[p]] / count
                low = min(int(begin / size), count - 1)
                high = min(int(end / size), count - 1)
                for n in range(low, high + 1):
                    s1 = max(begin, n * size) - from_m[p] - foot
                    s2 = (end if n == high else min(end, (n + 1) * size)) - from_m[p] - foot
                    if s2 > s1:
                        if mass[first + n] == 0.0:
                            touched.append(first + n)
                        mass[first + n] += _along(s1, s2, h * h, least * least, sd)
