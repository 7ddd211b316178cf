"""Which of many lines runs beside each place along other lines, in the same direction or back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.grid import PieceIndex, cell_columns
from roadrisk.roads.middles import lengths_of
from roadrisk.roads.portions import on_all_cores

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

SAMPLE_M = 10.0
BEARING_DEG = 30.0
# Directions are taken over so much to either side [m].
_HALF_M = 2.0


@dataclass(frozen=True, eq=False)
class Beside:
    """Places along lines and what runs there.

    Attributes
    ----------
    first : ndarray of int64, shape (lines + 1,)
        Line i has the places ``first[i]:first[i + 1]``, at least three, from end to end.
    at_m : ndarray, shape (places,)
        Along the line [m].
    other : ndarray of int64, shape (places,)
        The other line that runs there; -1 where none does.
    other_m : ndarray, shape (places,)
        Along the other line [m].
    """

    first: Ints
    at_m: Floats
    other: Ints
    other_m: Floats

    @property
    def hits(self) -> Ints:
        """Number of places with another line, shape (lines,)."""
        return np.add.reduceat((self.other >= 0).astype(np.int64), self.first[:-1])

    @property
    def places(self) -> Ints:
        """Number of places, shape (lines,)."""
        return np.diff(self.first)


def lines_beside(
    xy: Floats, first: Ints, others_xy: Floats, others_first: Ints, within_m: float
) -> Beside:
    """Find for both ends and about every 10 m of every line what runs there.

    That is the nearest other line (to a millimetre; of equals the first) within `within_m`
    whose direction at its nearest place, over 4 m, differs by at most 30 degrees from the
    line's own, either way round.

    Parameters
    ----------
    xy : ndarray, shape (vertices, 2)
        [m].
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.
    others_xy : ndarray, shape (vertices, 2)
        Vertices of the other lines [m].
    others_first : ndarray of int64, shape (lines + 1,)
        Where each of the other lines begins.
    within_m : float
        [m].

    Returns
    -------
    Beside
    """
    length = lengths_of(xy, first)
    count = np.maximum(3, np.ceil(length / SAMPLE_M).astype(np.int64) + 1)
    place_first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    at_m, other_m = np.empty(place_first[-1]), np.full(place_first[-1], np.nan)
    other = np.full(place_first[-1], -1, dtype=np.int64)
    index = PieceIndex.of_lines(others_xy, others_first)
    offset, others_offset = _offsets(xy, first), _offsets(others_xy, others_first)

    def search(rows: Ints) -> None:
        _search(
            rows, xy, first, offset, place_first, others_xy, others_first, others_offset, within_m,
            index.origin, index.edge, index.cell_m, index.shape, index.cell_first,
            index.cell_piece, at_m, other, other_m,
        )  # fmt: skip

    on_all_cores(search, np.arange(len(length), dtype=np.int64))
    return Beside(place_first, at_m, other, other_m)


@njit(cache=True)
def _offsets(xy: Floats, first: Ints) -> Floats:
    """Distance of every vertex from the first of its line, added up as GEOS does."""
    out = np.zeros(len(xy))
    for k in range(len(first) - 1):
        for i in range(first[k] + 1, first[k + 1]):
            dx, dy = xy[i, 0] - xy[i - 1, 0], xy[i, 1] - xy[i - 1, 1]
            out[i] = out[i - 1] + math.sqrt(dx * dx + dy * dy)
    return out


@njit(cache=True, nogil=True)
def _place(xy: Floats, offset: Floats, low: int, high: int, wanted: float) -> tuple[float, float]:
    """Return the place at a distance along the line with the vertices low to high - 1."""
    if wanted <= 0.0:
        return xy[low, 0], xy[low, 1]
    i = low + np.searchsorted(offset[low:high], wanted, side="right")
    if i >= high:
        return xy[high - 1, 0], xy[high - 1, 1]
    dx, dy = xy[i, 0] - xy[i - 1, 0], xy[i, 1] - xy[i - 1, 1]
    part = (wanted - offset[i - 1]) / math.sqrt(dx * dx + dy * dy)
    return xy[i - 1, 0] + part * dx, xy[i - 1, 1] + part * dy


@njit(cache=True, nogil=True)
def _heading(xy: Floats, offset: Floats, low: int, high: int, at: float) -> float:
    """Direction of a line at a place [degrees]."""
    length = offset[high - 1]
    ax, ay = _place(xy, offset, low, high, max(at - _HALF_M, 0.0))
    bx, by = _place(xy, offset, low, high, min(at + _HALF_M, length))
    return math.degrees(math.atan2(by - ay, bx - ax))


@njit(cache=True, nogil=True)
def _nearest_on(
    x: float, y: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float]:
    """Distance to a straight piece, and the nearest place on it as a share of its length."""
    dx, dy = bx - ax, by - ay
    size = dx * dx + dy * dy
    if size <= 0.0:
        return math.sqrt((x - ax) ** 2 + (y - ay) ** 2), 0.0
    share = ((x - ax) * dx + (y - ay) * dy) / size
    if share <= 0.0:
        return math.sqrt((x - ax) * (x - ax) + (y - ay) * (y - ay)), 0.0
    if share >= 1.0:
        return math.sqrt((x - bx) * (x - bx) + (y - by) * (y - by)), 1.0
    return abs(((ay - y) * dx - (ax - x) * dy) / size) * math.sqrt(size), share


@njit(cache=True, nogil=True)
def _search(
    rows: Ints,
    xy: Floats,
    first: Ints,
    offset: Floats,
    place_first: Ints,
    others_xy: Floats,
    others_first: Ints,
    others_offset: Floats,
    within: float,
    origin: Floats,
    line_of: Ints,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
    at_m: Floats,
    other: Ints,
    other_m: Floats,
) -> None:
    near, piece = np.empty(16), np.empty(16, np.int64)
    for line in rows:
        low, high = first[line], first[line + 1]
        begin, count = place_first[line], place_first[line + 1] - place_first[line]
        for k in range(count):
            at = k / (count - 1) * offset[high - 1]
            at_m[begin + k] = at
            x, y = _place(xy, offset, low, high, at)
            found, near, piece = _within(
                x, y, within, others_xy, origin, line_of, cell, shape, cell_first, cell_piece,
                near, piece,
            )  # fmt: skip
            if found == 0:
                continue
            heading = _heading(xy, offset, low, high, at)
            best = np.inf
            for m in range(found):
                their = line_of[piece[m]]
                d = np.rint(near[m] * 1000.0) / 1000.0
                if d > best or (d == best and their > other[begin + k]):
                    continue
                low_o, high_o = others_first[their], others_first[their + 1]
                v = piece[m] + their
                along = others_offset[v] + _part(x, y, others_xy[v], others_xy[v + 1])
                turn = _heading(others_xy, others_offset, low_o, high_o, along) - heading
                if abs((turn + 90.0) % 180.0 - 90.0) <= BEARING_DEG:
                    best = d
                    other[begin + k], other_m[begin + k] = their, along


@njit(cache=True, nogil=True)
def _within(
    x: float,
    y: float,
    within: float,
    xy: Floats,
    origin: Floats,
    line_of: Ints,
    cell: float,
    shape: Ints,
    cell_first: Ints,
    cell_piece: Ints,
    near: Floats,
    piece: Ints,
) -> tuple[int, Floats, Ints]:
    """Lines within reach: their number, distance and nearest piece of each, of equals the first."""
    found = 0
    columns = cell_columns(x - origin[0] - within, x - origin[0] + within, cell)
    rows = cell_columns(y - origin[1] - within, y - origin[1] + within, cell)
    for row in range(max(rows[0], 0), min(rows[1], shape[1] - 1) + 1):
        for column in range(max(columns[0], 0), min(columns[1], shape[0] - 1) + 1):
            c = row * shape[0] + column
            for p in cell_piece[cell_first[c] : cell_first[c + 1]]:
                v = p + line_of[p]
                d, _ = _nearest_on(x, y, xy[v, 0], xy[v, 1], xy[v + 1, 0], xy[v + 1, 1])
                if d > within:
                    continue
                m = 0
                while m < found and line_of[piece[m]] != line_of[p]:
                    m += 1
                if m < found and (d > near[m] or (d == near[m] and p >= piece[m])):
                    continue
                if m == len(near):
                    near = np.append(near, np.empty_like(near))
                    piece = np.append(piece, np.empty_like(piece))
                near[m], piece[m] = d, p
                found = max(found, m + 1)
    return found, near, piece


@njit(cache=True, nogil=True)
def _part(x: float, y: float, a: Floats, b: Floats) -> float:
    """How far along a straight piece its nearest place lies [m]."""
    _, share = _nearest_on(x, y, a[0], a[1], b[0], b[1])
    dx, dy = b[0] - a[0], b[1] - a[1]
    return share * math.sqrt(dx * dx + dy * dy)
