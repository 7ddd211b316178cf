"""Roads as a walking animal meets them: carriageways with a width, and how far they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from scipy import ndimage

from roadrisk.roads.along import segments_at
from roadrisk.roads.grid import cell_columns, cell_rows, place_on

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

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
    piece, edge, from_m, length_m, cell_m, shape, cell_first, cell_piece
        Of the grid index (`roads.grid.PieceIndex`).
    half_m : ndarray, shape (pieces,)
        Half the carriageway's width; negative for pieces off the ground.
    widest_m : float
        Largest half width.
    segment_first, segment_from_m : ndarray
        Edge e has segments ``segment_first[e]:segment_first[e + 1]``, each from this offset.
    segment_ground : ndarray of bool, shape (segments,)
    corner : ndarray, shape (2,)
        Lower left corner of the raster.
    raster_m : float
        Size of its cells.
    away : ndarray of float32, shape (rows, columns)
        Distance from each cell's middle to the nearest carriageway's middle on the ground,
        give or take 1.7 cells; no more than the distance to the raster's border.
    """

    piece: Floats
    edge: Ints
    from_m: Floats
    length_m: Floats
    cell_m: float
    shape: Ints
    cell_first: Ints
    cell_piece: Ints
    half_m: Floats
    widest_m: float
    segment_first: Ints
    segment_from_m: Floats
    segment_ground: NDArray[np.bool_]
    corner: Floats
    raster_m: float
    away: NDArray[np.float32]


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
    half = np.where(ground[segment], np.asarray(width_m)[segment] / 2, -1.0)
    first = np.searchsorted(table["edge"].to_numpy(np.int64), np.arange(network.edges + 1))
    return RoadField(
        index.piece, index.edge, index.from_m, index.length_m, float(index.cell_m), index.shape,
        index.cell_first, index.cell_piece, half, float(max(half.max(initial=0.0), 0.0)),
        first.astype(np.int64), table["edge_from_m"].to_numpy(np.float64), ground,
        np.zeros(2), 1.0, np.zeros((0, 0), dtype=np.float32),
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
    _mark(field, low, cell, free)
    if free.all():
        away = np.full((rows, columns), np.inf)
    else:
        away = ndimage.distance_transform_edt(free) * cell
    border = np.minimum.outer(
        np.minimum(np.arange(rows), np.arange(rows)[::-1]),
        np.minimum(np.arange(columns), np.arange(columns)[::-1]),
    )
    away = np.minimum(away, border * cell)
    return field._replace(corner=low.astype(np.float64), raster_m=cell, away=away.astype(np.float32))


@njit(cache=True, nogil=True)
def _mark(field: RoadField, low: Floats, cell: float, free: NDArray[np.bool_]) -> None:
    rows, columns = free.shape
    x1, y1 = low[0] + columns * cell, low[1] + rows * cell
    nx, ny = field.shape[0], field.shape[1]
    for row in range(
        max(int(np.floor(low[1] / field.cell_m)), 0),
        min(int(np.floor(y1 / field.cell_m)), ny - 1) + 1,
    ):
        for column in range(
            max(int(np.floor(low[0] / field.cell_m)), 0),
            min(int(np.floor(x1 / field.cell_m)), nx - 1) + 1,
        ):
            k = row * nx + column
            for j in range(field.cell_first[k], field.cell_first[k + 1]):
                p = field.cell_piece[j]
                if field.half_m[p] <= 0.0:
                    continue
                a = field.piece[p]
                steps = int(np.ceil(np.hypot(a[2] - a[0], a[3] - a[1]) / (cell / 2))) + 1
                for s in range(steps + 1):
                    x = a[0] + (a[2] - a[0]) * s / steps
                    y = a[1] + (a[3] - a[1]) * s / steps
                    c, r = int(np.floor((x - low[0]) / cell)), int(np.floor((y - low[1]) / cell))
                    if 0 <= c < columns and 0 <= r < rows:
                        free[r, c] = False


@njit(cache=True, nogil=True, inline="always")
def may_reach(field: RoadField, x: float, y: float, reach: float) -> bool:
    """Tell whether a carriageway may lie within a distance; True where it is costly to know."""
    rows, columns = field.away.shape
    c = int(np.floor((x - field.corner[0]) / field.raster_m))
    r = int(np.floor((y - field.corner[1]) / field.raster_m))
    whole = reach + field.widest_m
    if 0 <= c < columns and 0 <= r < rows:
        about = field.away[r, c]
        if about - 1.7 * field.raster_m > whole:
            return False
        if whole > 4.0 * field.raster_m and whole > 0.5 * field.cell_m:
            return True
    return _within(field, x, y, reach)


@njit(cache=True, nogil=True)
def _within(field: RoadField, x: float, y: float, reach: float) -> bool:
    """Whether the place lies nearer than `reach` to a carriageway's edge, or on it."""
    nx, ny = field.shape[0], field.shape[1]
    whole = reach + field.widest_m
    c0, c1 = cell_columns(x - whole, x + whole, field.cell_m)
    r0, r1 = cell_columns(y - whole, y + whole, field.cell_m)
    c0, c1, r0, r1 = max(c0, 0), min(c1, nx - 1), max(r0, 0), min(r1, ny - 1)
    if (c1 - c0 + 1) * (r1 - r0 + 1) > _MOST_CELLS:
        return True
    for row in range(r0, r1 + 1):
        for column in range(c0, c1 + 1):
            k = row * nx + column
            for j in range(field.cell_first[k], field.cell_first[k + 1]):
                p = field.cell_piece[j]
                if field.half_m[p] > 0.0:
                    a = field.piece[p]
                    if place_on(x, y, a[0], a[1], a[2], a[3])[1] <= field.half_m[p] + reach:
                        return True
    return False


@njit(cache=True, nogil=True)
def on_road(field: RoadField, x: float, y: float) -> bool:
    """Tell whether a place lies on a carriageway on the ground."""
    rows, columns = field.away.shape
    c = int(np.floor((x - field.corner[0]) / field.raster_m))
    r = int(np.floor((y - field.corner[1]) / field.raster_m))
    if (
        0 <= c < columns
        and 0 <= r < rows
        and field.away[r, c] - 1.7 * field.raster_m > field.widest_m
    ):
        return False
    return _within(field, x, y, 0.0)


@njit(cache=True, nogil=True)
def segment_of(field: RoadField, edge: int, offset: float) -> int:
    """Return the segment at a place on an edge."""
    low, high = field.segment_first[edge], field.segment_first[edge + 1]
    found = np.searchsorted(field.segment_from_m[low:high], offset, side="right") - 1
    return low + max(found, 0)


__all__ = [
    "CLASS_WIDTH_M", "LANE_M", "OTHER_WIDTH_M", "RoadField", "carriageway_widths", "cell_columns",
    "cell_rows", "may_reach", "on_road", "road_field", "segment_of", "with_raster",
]  # fmt: skip
