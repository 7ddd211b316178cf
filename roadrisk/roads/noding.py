"""Cutting centrelines where they meet, so that they join at end points only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import geopandas as gpd
import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.ops import substring

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

SNAP_M = 0.5


@dataclass
class _Cuts:
    """Places at which lines are to be cut: line, metres along it, coordinates."""

    line: list[int] = field(default_factory=list)
    along: list[float] = field(default_factory=list)
    xy: list[tuple[float, float]] = field(default_factory=list)

    def add(self, line: int, along: float, xy: tuple[float, float]) -> None:
        self.line.append(line)
        self.along.append(along)
        self.xy.append(xy)


def noded_lines(
    lines: gpd.GeoDataFrame, crossing_lines: Literal["join", "apart"], snap_m: float = SNAP_M
) -> tuple[gpd.GeoDataFrame, Ints, int]:
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
    pieces : geopandas.GeoDataFrame
        The same columns; measures at a cut are interpolated by length.
    ends : ndarray of int64, shape (pieces, 2)
        Node at each end.
    doubled : int
        Pieces dropped because another runs over the same place.
    """
    shapes = np.asarray(shapely.force_2d(lines.geometry.array), dtype=object)
    useful = np.flatnonzero(shapely.length(shapes) > snap_m)
    lines, shapes = lines.iloc[useful].reset_index(drop=True), shapes[useful]
    level = lines["level"].to_numpy()
    cuts = _Cuts()
    length = shapely.length(shapes)
    for line, shape in enumerate(shapes):
        cuts.add(line, 0.0, shape.coords[0])
        cuts.add(line, float(length[line]), shape.coords[-1])
    tree = shapely.STRtree(shapes)
    _touching_ends(cuts, shapes, tree, level, snap_m)
    if crossing_lines == "join":
        _crossings(cuts, shapes, tree, level)
    node, node_xy = _clusters(np.array(cuts.xy), snap_m)
    return _cut(lines, shapes, cuts, node, node_xy)


def _touching_ends(
    cuts: _Cuts, shapes: np.ndarray, tree: shapely.STRtree, level: Ints, snap_m: float
) -> None:
    """Cut a line where another one's end touches its inside."""
    ends = np.asarray(shapely.points(np.array(cuts.xy)), dtype=object)
    of = np.array(cuts.line)
    end, line = tree.query(ends, predicate="dwithin", distance=snap_m)
    keep = (of[end] != line) & (level[of[end]] == level[line])
    end, line = end[keep], line[keep]
    along = np.asarray(shapely.line_locate_point(shapes[line], ends[end]))
    inside = (along > snap_m) & (along < shapely.length(shapes[line]) - snap_m)
    for e, k, s in zip(end[inside], line[inside], along[inside], strict=True):
        # The cut takes the end's own place, so that both share one node.
        cuts.add(int(k), float(s), cuts.xy[e])


def _crossings(cuts: _Cuts, shapes: np.ndarray, tree: shapely.STRtree, level: Ints) -> None:
    """Cut both lines where they cross on the ground, and at the ends of a shared stretch."""
    ground = np.flatnonzero(level == 0)
    first, second = tree.query(shapes[ground], predicate="intersects")
    first = ground[first]
    keep = (first < second) & (level[second] == 0)
    first, second = first[keep], second[keep]
    shared = shapely.intersection(shapes[first], shapes[second])
    for a, b, shape in zip(first.tolist(), second.tolist(), shared, strict=True):
        for xy in _corner_points(shape):
            place = shapely.Point(xy)
            for line in (a, b):
                cuts.add(line, float(shapely.line_locate_point(shapes[line], place)), xy)


def _corner_points(shape: shapely.Geometry) -> list[tuple[float, float]]:
    """Return the points of an intersection, and the ends of its lines."""
    parts = shapely.get_parts(shape)
    points = parts[shapely.get_type_id(parts) == 0]
    pieces = parts[shapely.get_type_id(parts) == 1]
    joined = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(pieces)))
    ends = [line.coords[k] for line in joined for k in (0, -1)]
    return [(float(x), float(y)) for x, y in [*shapely.get_coordinates(points).tolist(), *ends]]


def _clusters(xy: Floats, snap_m: float) -> tuple[Ints, Floats]:
    """Node of every place: places within `snap_m` are one, at its lowest corner."""
    near = cKDTree(xy).query_pairs(snap_m, output_type="ndarray")
    links = coo_array((np.ones(len(near)), near.T), shape=(len(xy), len(xy)))
    label = connected_components(links, directed=False)[1].astype(np.int64)
    order = np.lexsort((xy[:, 1], xy[:, 0], label))
    head = np.concatenate([[True], np.diff(label[order]) > 0])
    return label, xy[order[head]]


def _cut(
    lines: gpd.GeoDataFrame, shapes: np.ndarray, cuts: _Cuts, node: Ints, node_xy: Floats
) -> tuple[gpd.GeoDataFrame, Ints, int]:
    line, along = np.array(cuts.line), np.array(cuts.along)
    order = np.lexsort((node, along, line))
    rows, pieces, ends, spans = [], [], [], []
    seen: set[tuple[float, ...]] = set()
    doubled = 0
    for a, b in zip(order[:-1].tolist(), order[1:].tolist(), strict=True):
        shape = shapes[line[a]]
        if line[a] != line[b]:
            continue
        if node[a] == node[b] and along[b] - along[a] < 2 * SNAP_M:
            continue  # two cuts that fell into one node
        piece = shapely.get_coordinates(substring(shape, along[a], along[b]))
        if len(piece) < 2:  # two nodes at one place of the line, on either side of it
            piece = np.repeat(piece, 2, axis=0)
        piece[0], piece[-1] = node_xy[node[a]], node_xy[node[b]]
        key = _place_key(piece, int(node[a]), int(node[b]))
        if key in seen:
            doubled += 1
            continue
        seen.add(key)
        rows.append(int(line[a]))
        pieces.append(shapely.LineString(piece))
        ends.append((node[a], node[b]))
        total = shapely.length(shape)
        spans.append((along[a] / total, along[b] / total))
    table = lines.iloc[rows].reset_index(drop=True)
    share = np.array(spans, dtype=np.float64).reshape(-1, 2)
    if {"begin_measure", "end_measure"} <= set(table.columns):
        begin = table["begin_measure"].to_numpy(np.float64)
        run = table["end_measure"].to_numpy(np.float64) - begin
        table["begin_measure"], table["end_measure"] = (
            begin + share[:, 0] * run,
            begin + share[:, 1] * run,
        )
    table = gpd.GeoDataFrame(
        table.drop(columns=lines.geometry.name), geometry=pieces, crs=lines.crs
    )
    return table, np.array(ends, dtype=np.int64).reshape(-1, 2), doubled


def _place_key(xy: Floats, a: int, b: int) -> tuple[float, ...]:
    """Return the same for pieces between the same nodes with the same middle to a metre."""
    middle = shapely.LineString(xy).interpolate(0.5, normalized=True)
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    return (min(a, b), max(a, b), round(middle.x), round(middle.y), round(length))
