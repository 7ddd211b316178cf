"""Roads as a walking animal meets them: carriageways with a width, and how far they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from scipy import ndimage

from roadrisk.roads.along import segments_at
from roadrisk.roads.grid import cell_columns, place_on

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Network

LANE_M = 3.25
"""Width of a lane where only their number is known (common practice: 2.75 to 3.75 m)."""

CLASS_WIDTH_M = {
    "motorway": 11.0, "trunk": 8.0, "primary": 7.5, "secondary": 7.0, "tertiary": 6.0,
    "residential": 5.5, "living_street": 5.0, "service": 4.0, "track": 3.0,
}  # fmt: skip
"""Width of a carriageway by class where lanes are unknown (common practice)."""

OTHER_WIDTH_M = 6.0
"""Width where nothing is known (common practice: a lane each way)."""

# A place is looked for in at most so many cells; farther out "may be near" is the answer.
_MOST_CELLS = 60
_RASTER = 384
# How far a cell's pieces are told: so many cells and so many half carriageways.
_NEAR_CELLS, _NEAR_WIDEST = 3.0, 3.0
# Pieces near a raster cell are told one by one if there are no more than these.
TOLD = 4
NONE, MANY = -1, -2
"""No further piece near a raster cell; more than are told one by one."""


def carriageway_widths(segments: gpd.GeoDataFrame) -> Floats:
    """Return the width of each segment's carriageway, edge to edge [m].

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of `Network.segments`. A column width_m is taken where it holds a number; else the
        number of lanes times `LANE_M`, else the class, else `OTHER_WIDTH_M`.

    Returns
    -------
    ndarray, shape (segments,)
    """
    road_class = segments["road_class"].astype(str).str.removesuffix("_link")
    width = road_class.map(CLASS_WIDTH_M).fillna(OTHER_WIDTH_M).to_numpy(np.float64)
    lanes = segments["lanes"].to_numpy(np.float64)
    width = np.where(lanes > 0, lanes * LANE_M, width)
    if "width_m" in segments:
        given = segments["width_m"].to_numpy(np.float64)
        width = np.where(given > 0, given, width)
    return np.asarray(width, dtype=np.float64)


class RoadField(NamedTuple):
    """Arrays that compiled loops read; places count from the grid's lower left corner [m].

    Attributes
    ----------
    piece : ndarray, shape (pieces, 8)
        x, y of the first and of the last point, edge, offset of the first point along it,
        length, and half the carriageway's width [m] (0 for pieces off the ground).
    cell_m, columns, rows, cell_first, cell_piece
        Of the grid index (`roads.grid.PieceIndex`).
    widest_m : float
        Largest half width.
    segment_first, segment_from_m : ndarray
        Edge e has segments ``segment_first[e]:segment_first[e + 1]``, each from this offset.
    segment_ground : ndarray of bool, shape (segments,)
    corner_x, corner_y, raster_m : float
        Lower left corner of the raster, and the size of its cells.
    away : ndarray of float32, shape (raster rows, raster columns)
        Distance from each cell's middle to the nearest carriageway's middle on the ground,
        give or take 1.7 cells; no more than the distance to the raster's border.
    near_m : float
        All pieces nearer than this to a place are told by `near` of its cell [m].
    near : ndarray of int32, shape (raster rows, raster columns, TOLD)
        Pieces, then `NONE`; or `MANY`.
    """

    piece: Floats
    cell_m: float
    columns: int
    rows: int
    cell_first: Ints
    cell_piece: Ints
    widest_m: float
    segment_first: Ints
    segment_from_m: Floats
    segment_ground: NDArray[np.bool_]
    corner_x: float
    corner_y: float
    raster_m: float
    away: NDArray[np.float32]
    near_m: float
    near: NDArray[np.int32]


def road_field(network: Network, index: PieceIndex, width_m: Floats) -> RoadField:
    """Lay out the roads, without a raster yet.

    Parameters
    ----------
    network : Network
    index : PieceIndex
        Of the same network.
    width_m : ndarray, shape (segments,)
        Carriageway, edge to edge [m], > 0.

    Returns
    -------
    RoadField
    """
    table = network.segments
    off = (table["level"] != 0) | table["bridge"] | table["tunnel"]
    ground = ~off.to_numpy(bool)
    segment = segments_at(network, index.edge, index.from_m + index.length_m / 2)
    half = np.where(ground[segment], np.asarray(width_m)[segment] / 2, 0.0)
    piece = np.column_stack([index.piece, index.edge, index.from_m, index.length_m, half])
    first = np.searchsorted(table["edge"].to_numpy(np.int64), np.arange(network.edges + 1))
    return RoadField(
        piece, float(index.cell_m), int(index.shape[0]), int(index.shape[1]), index.cell_first,
        index.cell_piece, float(half.max(initial=0.0)), first.astype(np.int64),
        table["edge_from_m"].to_numpy(np.float64), ground, 0.0, 0.0, 1.0,
        np.zeros((0, 0), dtype=np.float32), 0.0, np.zeros((0, 0, TOLD), dtype=np.int32),
    )  # fmt: skip


def with_raster(field: RoadField, low: Floats, high: Floats) -> RoadField:
    """Return the field with a raster of distances over a rectangle.

    Parameters
    ----------
    field : RoadField
    low, high : ndarray, shape (2,)
        Corners, counted from the grid's corner [m].

    Returns
    -------
    RoadField
    """
    cell = float(max((high - low).max() / _RASTER, 1.5))
    columns, rows = (np.ceil((high - low) / cell).astype(int) + 1).tolist()
    free = np.ones((rows, columns), dtype=bool)
    _mark(field, float(low[0]), float(low[1]), cell, free)
    if free.all():
        away = np.full((rows, columns), np.inf)
    else:
        away = ndimage.distance_transform_edt(free) * cell
    border = np.minimum.outer(
        np.minimum(np.arange(rows), np.arange(rows)[::-1]),
        np.minimum(np.arange(columns), np.arange(columns)[::-1]),
    )
    away = np.minimum(away, border * cell)
    near_m = _NEAR_CELLS * cell + _NEAR_WIDEST * field.widest_m
    near = np.full((rows, columns, TOLD), NONE, dtype=np.int32)
    # From anywhere in a cell its middle is at most 0.71 of its side away.
    _tell(field, float(low[0]), float(low[1]), cell, near_m + 0.71 * cell, near)
    return field._replace(
        corner_x=float(low[0]), corner_y=float(low[1]), raster_m=cell,
        away=away.astype(np.float32), near_m=near_m, near=near,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _mark(
    field: RoadField, low_x: float, low_y: float, cell: float, free: NDArray[np.bool_]
) -> None:
    rows, columns = free.shape
    c0, c1 = cell_columns(low_x, low_x + columns * cell, field.cell_m)
    r0, r1 = cell_columns(low_y, low_y + rows * cell, field.cell_m)
    for row in range(max(r0, 0), min(r1, field.rows - 1) + 1):
        for column in range(max(c0, 0), min(c1, field.columns - 1) + 1):
            k = row * field.columns + column
            for j in range(field.cell_first[k], field.cell_first[k + 1]):
                a = field.piece[field.cell_piece[j]]
                if a[7] > 0.0:
                    _mark_piece(a, low_x, low_y, cell, free)


@njit(cache=True, nogil=True)
def _mark_piece(
    a: Floats, low_x: float, low_y: float, cell: float, free: NDArray[np.bool_]
) -> None:
    rows, columns = free.shape
    # Only the part inside the raster is gone along: a piece may be kilometres long.
    dx, dy = a[2] - a[0], a[3] - a[1]
    s0, s1 = 0.0, 1.0
    for start, d, low, high in (
        (a[0], dx, low_x, low_x + columns * cell),
        (a[1], dy, low_y, low_y + rows * cell),
    ):
        if d == 0.0:
            if start < low or start > high:
                return
        else:
            e0, e1 = (low - start) / d, (high - start) / d
            s0, s1 = max(s0, min(e0, e1)), min(s1, max(e0, e1))
    if s1 < s0:
        return
    steps = int(np.ceil((s1 - s0) * np.hypot(dx, dy) / (cell / 2))) + 1
    for k in range(steps + 1):
        share = s0 + (s1 - s0) * k / steps
        c = int(np.floor((a[0] + dx * share - low_x) / cell))
        r = int(np.floor((a[1] + dy * share - low_y) / cell))
        if 0 <= c < columns and 0 <= r < rows:
            free[r, c] = False


@njit(cache=True, nogil=True)
def _tell(
    field: RoadField, low_x: float, low_y: float, cell: float, reach: float, near: NDArray[np.int32]
) -> None:
    """List at each raster cell the pieces within reach of its middle, those off the ground too."""
    rows, columns = near.shape[0], near.shape[1]
    c0, c1 = cell_columns(low_x - reach, low_x + columns * cell + reach, field.cell_m)
    r0, r1 = cell_columns(low_y - reach, low_y + rows * cell + reach, field.cell_m)
    listed = [np.int64(0) for _ in range(0)]
    for row in range(max(r0, 0), min(r1, field.rows - 1) + 1):
        for column in range(max(c0, 0), min(c1, field.columns - 1) + 1):
            k = row * field.columns + column
            listed.extend(field.cell_piece[field.cell_first[k] : field.cell_first[k + 1]])
    for p in np.unique(np.array(listed)):
        x0, y0 = field.piece[p, 0], field.piece[p, 1]
        dx, dy = field.piece[p, 2] - x0, field.piece[p, 3] - y0
        long2 = dx * dx + dy * dy
        below, above = min(y0, y0 + dy) - reach, max(y0, y0 + dy) + reach
        for r in range(
            max(int(np.floor((below - low_y) / cell)), 0),
            min(int(np.floor((above - low_y) / cell)), rows - 1) + 1,
        ):
            y = low_y + (r + 0.5) * cell
            # Only where the piece comes within reach of this row.
            s0, s1 = 0.0, 1.0
            if dy != 0.0:
                one, two = (y - reach - y0) / dy, (y + reach - y0) / dy
                s0, s1 = max(min(one, two), 0.0), min(max(one, two), 1.0)
            left, right = min(x0 + s0 * dx, x0 + s1 * dx), max(x0 + s0 * dx, x0 + s1 * dx)
            for c in range(
                max(int(np.floor((left - reach - low_x) / cell)), 0),
                min(int(np.floor((right + reach - low_x) / cell)), columns - 1) + 1,
            ):
                wx, wy = low_x + (c + 0.5) * cell - x0, y - y0
                share = min(max((wx * dx + wy * dy) / long2, 0.0), 1.0)
                if (wx - share * dx) ** 2 + (wy - share * dy) ** 2 > reach * reach:
                    continue
                k = 0
                while k < TOLD and near[r, c, k] != NONE:
                    k += 1
                if k < TOLD:
                    near[r, c, k] = p
                else:
                    near[r, c, 0] = MANY


FAR, NEAR, LOOK = 0, 1, 2
"""What a glance at the raster tells: out of reach, maybe within, look at the pieces."""


@njit(cache=True, nogil=True)
def large_reach(field: RoadField) -> float:
    """Return the distance from which on a look at the pieces costs more than it saves [m]."""
    return max(4.0 * field.raster_m, 0.5 * field.cell_m, 2.0 * field.widest_m)


@njit(cache=True, nogil=True)
def within_reach_of_road(
    piece: Floats,
    cell_first: Ints,
    cell_piece: Ints,
    cell_m: float,
    columns: int,
    rows: int,
    widest_m: float,
    x: float,
    y: float,
    reach: float,
) -> bool:
    """Whether a place lies nearer than `reach` to a carriageway on the ground, or on it.

    True where so many cells lie within reach that looking would cost too much.
    """
    whole = reach + widest_m
    c0, c1 = cell_columns(x - whole, x + whole, cell_m)
    r0, r1 = cell_columns(y - whole, y + whole, cell_m)
    c0, c1, r0, r1 = max(c0, 0), min(c1, columns - 1), max(r0, 0), min(r1, rows - 1)
    if (c1 - c0 + 1) * (r1 - r0 + 1) > _MOST_CELLS:
        return True
    for row in range(r0, r1 + 1):
        for column in range(c0, c1 + 1):
            k = row * columns + column
            for j in range(cell_first[k], cell_first[k + 1]):
                p = cell_piece[j]
                if piece[p, 7] > 0.0:
                    d = place_on(x, y, piece[p, 0], piece[p, 1], piece[p, 2], piece[p, 3])[1]
                    if d <= piece[p, 7] + reach:
                        return True
    return False


@njit(cache=True, nogil=True, inline="always")
def piece_within(piece: Floats, p: int, x: float, y: float, far: float) -> bool:
    """Whether a place lies nearer than `far` to the middle line of one piece."""
    dx, dy = piece[p, 2] - piece[p, 0], piece[p, 3] - piece[p, 1]
    wx, wy = x - piece[p, 0], y - piece[p, 1]
    dot, long2 = wx * dx + wy * dy, dx * dx + dy * dy
    if dot <= 0.0:
        return wx * wx + wy * wy <= far * far
    if dot >= long2:
        return (wx - dx) ** 2 + (wy - dy) ** 2 <= far * far
    return (wx * dy - wy * dx) ** 2 <= far * far * long2


@njit(cache=True, nogil=True)
def on_road(field: RoadField, x: float, y: float) -> bool:
    """Tell whether a place lies on a carriageway on the ground."""
    return within_reach_of_road(
        field.piece, field.cell_first, field.cell_piece, field.cell_m, field.columns, field.rows,
        field.widest_m, x, y, 0.0,
    )  # fmt: skip
