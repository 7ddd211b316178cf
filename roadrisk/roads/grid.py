"""A uniform grid over the straight pieces of all edges: what lies near a place, fast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.roads.along import vertex_offsets

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network

# Pieces are entered in every cell within this distance, so that rounding to a millimetre
# elsewhere never puts a meeting into a cell that lists only one of the two.
_SLACK_M = 2e-3
# Distances closer than this are equal: a micrometre, above the rounding of map coordinates.
TIE_M = 1e-6


@dataclass(frozen=True, eq=False)
class PieceIndex:
    """Straight pieces of the edges in grid cells.

    Attributes
    ----------
    origin : ndarray, shape (2,)
        Lower left corner of the grid [m]; piece coordinates count from here.
    piece : ndarray, shape (pieces, 4)
        x, y of the first and of the last point, relative to `origin` [m].
    edge : ndarray of int64, shape (pieces,)
    from_m, length_m : ndarray, shape (pieces,)
        Offset of the first point along the edge, and the piece's length [m].
    cell_m : float
    shape : ndarray of int64, shape (2,)
        Number of columns and of rows.
    cell_first : ndarray of int64, shape (cells + 1,)
    cell_piece : ndarray of int64
        Cell c (row times columns plus column) lists
        ``cell_piece[cell_first[c]:cell_first[c + 1]]``.
    """

    origin: Floats
    piece: Floats
    edge: Ints
    from_m: Floats
    length_m: Floats
    cell_m: float
    shape: Ints
    cell_first: Ints
    cell_piece: Ints

    @classmethod
    def build(cls, network: Network) -> PieceIndex:
        """Index the edges of `network`."""
        return cls.of_lines(network.edge_xy, network.edge_first)

    @classmethod
    def of_lines(cls, xy: Floats, first: Ints) -> PieceIndex:
        """Index lines: line i, an edge here, has vertices ``xy[first[i]:first[i + 1]]``."""
        heads = np.ones(len(xy), dtype=bool)
        heads[first[1:] - 1] = False
        head = np.flatnonzero(heads)
        # Column by column: along the short axis numpy takes ten times as long.
        origin = np.array([x.min() for x in xy.T])
        piece = _pieces(xy, head, origin)
        offsets = vertex_offsets(xy, first)
        edge = np.repeat(np.arange(len(first) - 1, dtype=np.int64), np.diff(first))[head]
        length = offsets[head + 1] - offsets[head]
        extent = np.array([x.max() for x in xy.T]) - origin
        cell = _cell_size(extent, length)
        shape = np.floor(extent / cell).astype(np.int64) + 1
        cell_first, cell_piece = _fill(piece, cell, shape)
        return cls(origin, piece, edge, offsets[head], length, cell, shape, cell_first, cell_piece)


def _cell_size(extent: Floats, length: Floats) -> float:
    pieces = len(length)
    area = max(extent[0], 1.0) * max(extent[1], 1.0)
    # About two cells a piece, and no piece of average length in more than a few cells.
    return float(max(np.sqrt(area / (2 * pieces)), length.mean() / 4, extent.max() / 20_000, 0.01))


@njit(cache=True)
def _pieces(xy: Floats, head: Ints, origin: Floats) -> Floats:
    out = np.empty((len(head), 4))
    for k in range(len(head)):
        for j in range(2):
            out[k, j] = xy[head[k], j] - origin[j]
            out[k, 2 + j] = xy[head[k] + 1, j] - origin[j]
    return out


@njit(cache=True)
def cell_rows(
    x0: float, y0: float, x1: float, y1: float, column: int, cell: float
) -> tuple[int, int]:
    """Return the first and last grid row in which a straight line may touch a column."""
    low_x, high_x = min(x0, x1), max(x0, x1)
    left = max(low_x, column * cell - _SLACK_M)
    right = min(high_x, (column + 1) * cell + _SLACK_M)
    if x1 == x0 or right <= left:
        ya, yb = y0, y1
    else:
        ya = y0 + (y1 - y0) * ((left - x0) / (x1 - x0))
        yb = y0 + (y1 - y0) * ((right - x0) / (x1 - x0))
    low = int(np.floor((min(ya, yb) - _SLACK_M) / cell))
    high = int(np.floor((max(ya, yb) + _SLACK_M) / cell))
    return low, high


@njit(cache=True)
def cell_columns(x0: float, x1: float, cell: float) -> tuple[int, int]:
    """Return the first and last grid column in which a straight line may lie."""
    low = int(np.floor((min(x0, x1) - _SLACK_M) / cell))
    high = int(np.floor((max(x0, x1) + _SLACK_M) / cell))
    return low, high


@njit(cache=True)
def _fill(piece: Floats, cell: float, shape: Ints) -> tuple[Ints, Ints]:
    nx, ny = shape[0], shape[1]
    first = np.zeros(nx * ny + 1, np.int64)
    listed = np.empty(0, np.int64)
    for turn in range(2):
        for p in range(len(piece)):
            x0, y0, x1, y1 = piece[p]
            low_c, high_c = cell_columns(x0, x1, cell)
            for c in range(max(low_c, 0), min(high_c, nx - 1) + 1):
                low_r, high_r = cell_rows(x0, y0, x1, y1, c, cell)
                for r in range(max(low_r, 0), min(high_r, ny - 1) + 1):
                    k = r * nx + c
                    if turn == 0:
                        first[k + 1] += 1
                    else:
                        listed[first[k]] = p
                        first[k] += 1
        if turn == 0:
            first = np.cumsum(first)
            listed = np.empty(first[-1], np.int64)
    # Filling moved every cell's start to its end.
    first[1:] = first[:-1].copy()
    first[0] = 0
    return first, listed


@njit(cache=True, nogil=True)
def place_on(x: float, y: float, x0: float, y0: float, x1: float, y1: float) -> tuple[float, float]:
    """Return the nearest place on a piece as a share of its length, and its distance [m]."""
    dx, dy = x1 - x0, y1 - y0
    t = ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy)
    if t <= 0.0:
        return 0.0, np.hypot(x - x0, y - y0)
    if t >= 1.0:
        return 1.0, np.hypot(x - x1, y - y1)
    return t, np.hypot(x - (x0 + t * dx), y - (y0 + t * dy))
