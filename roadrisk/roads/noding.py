"""Cutting centrelines where they meet, so that they join at end points only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from numba import njit
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from roadrisk.roads.crossing_lines import crossing_points
from roadrisk.roads.lines import RoadLines, road_lines, shapes_of
from roadrisk.roads.middles import lengths_of, shares_along

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Floats, Ints

SNAP_M = 0.5
# End points that are looked up together.
_AT_ONCE = 200_000


@dataclass(frozen=True, eq=False)
class _Cuts:
    """Places at which lines are to be cut: line, metres along it, coordinates."""

    line: Ints
    along: Floats
    xy: Floats


def noded_lines(
    lines: gpd.GeoDataFrame, crossing_lines: Literal["join", "apart"], snap_m: float = SNAP_M
) -> tuple[RoadLines, int]:
    """Cut centrelines at the places where they meet.

    Lines meet at end points within `snap_m` of each other, where an end comes within `snap_m`
    of another line of the same level, and, if `crossing_lines` is "join", where two lines on
    the ground cross. Lines that run over each other become one.

    Parameters
    ----------
    lines : geopandas.GeoDataFrame
        LineStrings in metres, with `level` and, where known, `begin_measure` and
        `end_measure` of the line's first and last vertex.
    crossing_lines : {"join", "apart"}
    snap_m : float
        [m].

    Returns
    -------
    pieces : RoadLines
        With nodes; measures at a cut are interpolated by length.
    doubled : int
        Pieces dropped because another runs over the same place.
    """
    whole = road_lines(lines)
    whole = whole.take(np.flatnonzero(lengths_of(whole.xy, whole.first) > snap_m))
    shapes = shapes_of(whole.xy, whole.first)
    level = whole.attributes["level"].to_numpy()[whole.source]
    tree = shapely.STRtree(shapes)
    ends = _ends(whole)
    found = [ends, _touching(ends, shapes, tree, level, snap_m)]
    if crossing_lines == "join":
        line, xy = crossing_points(whole, shapes, tree, np.flatnonzero(level == 0))
        found.append(_Cuts(line, _located(shapes, line, xy), xy))
    cuts = _Cuts(*(np.concatenate([getattr(c, part) for c in found])
                   for part in ("line", "along", "xy")))  # fmt: skip
    node, node_xy = _clusters(cuts.xy, snap_m)
    return _drawn_once(_cut(whole, cuts, node, node_xy))


def _ends(lines: RoadLines) -> _Cuts:
    line = np.repeat(np.arange(len(lines), dtype=np.int64), 2)
    along = np.zeros(len(line))
    along[1::2] = lengths_of(lines.xy, lines.first)
    vertex = np.empty(len(line), dtype=np.int64)
    vertex[0::2], vertex[1::2] = lines.first[:-1], lines.first[1:] - 1
    return _Cuts(line, along, lines.xy[vertex])


def _touching(
    ends: _Cuts, shapes: np.ndarray, tree: shapely.STRtree, level: Ints, snap_m: float
) -> _Cuts:
    """Cut a line where another one's end touches its inside."""
    length = ends.along[1::2]
    found = []
    for begin in range(0, len(ends.line), _AT_ONCE):
        points = np.asarray(shapely.points(ends.xy[begin : begin + _AT_ONCE]), dtype=object)
        at, line = tree.query(points, predicate="dwithin", distance=snap_m)
        of = ends.line[begin + at]
        keep = (of != line) & (level[of] == level[line])
        at, line = at[keep], line[keep].astype(np.int64)
        along = np.asarray(shapely.line_locate_point(shapes[line], points[at]))
        inside = (along > snap_m) & (along < length[line] - snap_m)
        # The cut takes the end's own place, so that both share one node.
        found.append(_Cuts(line[inside], along[inside], ends.xy[begin + at[inside]]))
    return _Cuts(*(np.concatenate([getattr(c, part) for c in found])
                   for part in ("line", "along", "xy")))  # fmt: skip


def _located(shapes: np.ndarray, line: Ints, xy: Floats) -> Floats:
    return np.asarray(shapely.line_locate_point(shapes[line], shapely.points(xy)))


def _clusters(xy: Floats, snap_m: float) -> tuple[Ints, Floats]:
    """Node of every place: places within `snap_m` are one, at its lowest corner."""
    unique, of = np.unique(xy[:, 0] + 1j * xy[:, 1], return_inverse=True)
    places = np.column_stack([unique.real, unique.imag])
    near = cKDTree(places).query_pairs(snap_m, output_type="ndarray")
    links = coo_array((np.ones(len(near)), near.T), shape=(len(places), len(places)))
    label = connected_components(links, directed=False)[1].astype(np.int64)
    _, lowest = np.unique(label, return_index=True)  # places are sorted by their coordinates
    return label[of], places[lowest]


def _cut(lines: RoadLines, cuts: _Cuts, node: Ints, node_xy: Floats) -> RoadLines:
    order = np.lexsort((node, cuts.along, cuts.line))
    a, b = order[:-1], order[1:]
    # Two cuts that fell into one node are one.
    one = (node[a] == node[b]) & (cuts.along[b] - cuts.along[a] < 2 * SNAP_M)
    kept = (cuts.line[a] == cuts.line[b]) & ~one
    a, b = a[kept], b[kept]
    line = cuts.line[a]
    first, xy = _parts(
        lines.xy, lines.first, line, cuts.along[a], cuts.along[b], node_xy[node[a]],
        node_xy[node[b]],
    )  # fmt: skip
    total = lengths_of(lines.xy, lines.first)[line]
    run = lines.end_measure[line] - lines.begin_measure[line]
    return RoadLines(
        crs=lines.crs,
        xy=xy,
        first=first,
        ends=np.column_stack([node[a], node[b]]),
        attributes=lines.attributes,
        source=lines.source[line],
        oneway=lines.oneway[line],
        begin_measure=lines.begin_measure[line] + cuts.along[a] / total * run,
        end_measure=lines.begin_measure[line] + cuts.along[b] / total * run,
    )


@njit(cache=True)
def _parts(
    xy: Floats,
    first: Ints,
    line: Ints,
    start: Floats,
    end: Floats,
    begin_xy: Floats,
    end_xy: Floats,
) -> tuple[Ints, Floats]:
    """Vertices of parts of lines, sorted by line and place: their ends and what lies between."""
    out_first = np.zeros(len(line) + 1, np.int64)
    out = np.empty((len(xy) + 2 * len(line), 2))
    used = 0
    vertex, offset = 0, 0.0
    for k in range(len(line)):
        if k == 0 or line[k] != line[k - 1]:
            vertex, offset = first[line[k]], 0.0
        out[used] = begin_xy[k]
        used += 1
        while vertex < first[line[k] + 1] and offset < end[k]:
            if offset > start[k]:
                out[used] = xy[vertex]
                used += 1
            vertex += 1
            if vertex < first[line[k] + 1]:
                dx, dy = xy[vertex, 0] - xy[vertex - 1, 0], xy[vertex, 1] - xy[vertex - 1, 1]
                offset += np.sqrt(dx * dx + dy * dy)
        out[used] = end_xy[k]
        used += 1
        out_first[k + 1] = used
    return out_first, out[:used].copy()


def _drawn_once(pieces: RoadLines) -> tuple[RoadLines, int]:
    """Keep one of the pieces between the same nodes with the same middle to a metre."""
    if pieces.ends is None or not len(pieces):
        return pieces, 0
    low, high = pieces.ends.min(axis=1), pieces.ends.max(axis=1)
    middle = np.round(shares_along(pieces.xy, pieces.first, 0.5))
    length = np.round(lengths_of(pieces.xy, pieces.first))
    keys = np.stack([length, middle[:, 1], middle[:, 0], high, low])
    order = np.lexsort(keys)
    again = (np.diff(keys[:, order], axis=1) == 0).all(axis=0)
    kept = np.ones(len(pieces), dtype=bool)
    kept[order[1:][again]] = False
    return pieces.take(np.flatnonzero(kept)), int((~kept).sum())
