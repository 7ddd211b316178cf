"""Lines of road in columns, as a source gives them: what the network is built from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import require_metric
from roadrisk.errors import RoadSourceError

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

    from roadrisk.roads.network import Floats, Ints

# What is told of every line, not of a row of attributes: it turns and is cut with the line.
OF_LINES = ("oneway", "begin_measure", "end_measure")


@dataclass(frozen=True, eq=False)
class RoadLines:
    """Lines that meet at their ends only; lines of one road share a row of attributes.

    Attributes
    ----------
    crs : pyproj.CRS
        Projected, metres.
    xy : ndarray, shape (vertices, 2)
        Vertices of all lines, line after line [m].
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.
    ends : ndarray of int64, shape (lines, 2), or None
        Node at the first and at the last vertex, where the source knows them.
    attributes : pandas.DataFrame
        Any of the attribute columns of `Network.segments` but those in `OF_LINES`.
    source : ndarray of int64, shape (lines,)
        Row of `attributes` of each line.
    oneway : ndarray of int64, shape (lines,)
        1 along the line, -1 against it, 0 both ways.
    begin_measure, end_measure : ndarray, shape (lines,)
        Route measures at the first and at the last vertex; NaN where unknown.
    """

    crs: pyproj.CRS
    xy: Floats
    first: Ints
    ends: Ints | None
    attributes: pd.DataFrame
    source: Ints
    oneway: Ints
    begin_measure: Floats
    end_measure: Floats

    def __len__(self) -> int:
        return len(self.source)

    def take(self, rows: Ints) -> RoadLines:
        """Return the lines of some rows, in that order."""
        count = np.diff(self.first)[rows]
        first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        vertex = np.repeat(self.first[rows] - first[:-1], count) + np.arange(first[-1])
        return RoadLines(
            crs=self.crs,
            xy=self.xy[vertex],
            first=first,
            ends=None if self.ends is None else self.ends[rows],
            attributes=self.attributes,
            source=self.source[rows],
            oneway=self.oneway[rows],
            begin_measure=self.begin_measure[rows],
            end_measure=self.end_measure[rows],
        )


def road_lines(table: gpd.GeoDataFrame, ends: Ints | None = None) -> RoadLines:
    """Return the lines of a table, a row of attributes each.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        LineStrings in a projected CRS in metres, with any of the attribute columns of
        `Network.segments`.
    ends : ndarray of int64, shape (n, 2), optional
        Node at the first and at the last vertex of each line, where the source knows them.

    Returns
    -------
    RoadLines

    Raises
    ------
    RoadSourceError
        If a road is no LineString.
    CoordinateSystemError
        If the lines are not in a projected system in metres.
    """
    crs = require_metric(table.crs)
    shapes = np.asarray(table.geometry.array)
    if (shapely.get_type_id(shapes) != 1).any():
        raise RoadSourceError("a road is no LineString: split multi-part lines first")
    xy, of = shapely.get_coordinates(shapely.force_2d(shapes), return_index=True)
    count = np.bincount(of, minlength=len(table))
    attributes = pd.DataFrame(table.drop(columns=table.geometry.name)).reset_index(drop=True)
    return RoadLines(
        crs=crs,
        xy=xy,
        first=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        ends=ends,
        attributes=attributes.drop(columns=[c for c in OF_LINES if c in attributes]),
        source=np.arange(len(table), dtype=np.int64),
        oneway=_column(attributes, "oneway", 0.0).astype(np.int64),
        begin_measure=_column(attributes, "begin_measure", np.nan),
        end_measure=_column(attributes, "end_measure", np.nan),
    )


def _column(table: pd.DataFrame, name: str, missing: float) -> Floats:
    if name not in table:
        return np.full(len(table), missing)
    values = pd.to_numeric(table[name])
    return values.to_numpy(np.float64, na_value=np.nan)


def shapes_of(xy: Floats, first: Ints) -> np.ndarray:
    """Return lines given as vertices as shapely LineStrings.

    Parameters
    ----------
    xy : ndarray, shape (vertices, 2)
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.

    Returns
    -------
    ndarray of shapely LineStrings, shape (lines,)
    """
    of = np.repeat(np.arange(len(first) - 1), np.diff(first))
    return np.asarray(shapely.linestrings(xy, indices=of), dtype=object)


def without_repeats(lines: RoadLines) -> RoadLines:
    """Return the lines that have a length, no vertex twice in a row.

    Parameters
    ----------
    lines : RoadLines

    Returns
    -------
    RoadLines
    """
    of = np.repeat(np.arange(len(lines)), np.diff(lines.first))
    xy = lines.xy
    new = np.ones(len(xy), dtype=bool)
    new[1:] = (of[1:] != of[:-1]) | (xy[1:] != xy[:-1]).any(axis=1)
    count = np.bincount(of[new], minlength=len(lines))
    kept = np.flatnonzero(count >= 2)
    if new.all() and len(kept) == len(lines):
        return lines
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    bare = RoadLines(
        lines.crs, xy[new], first, lines.ends, lines.attributes, lines.source, lines.oneway,
        lines.begin_measure, lines.end_measure,
    )  # fmt: skip
    return bare.take(kept)


def cut_at_vertices(lines: RoadLines, line: Ints, vertex: Ints) -> RoadLines:
    """Return the lines with some cut in two; the second parts follow after all others.

    Parameters
    ----------
    lines : RoadLines
        With `ends`.
    line : ndarray of int64, shape (cuts,)
        Each at most once.
    vertex : ndarray of int64, shape (cuts,)
        Inner vertex of the line at which it is cut; a new node stands there. Measures at the
        cut are interpolated by length.

    Returns
    -------
    RoadLines
    """
    if lines.ends is None:
        raise RoadSourceError("lines can be cut only where their nodes are known")
    twice = lines.take(np.concatenate([np.arange(len(lines)), line]))
    begin, end = twice.first[:-1].copy(), twice.first[1:].copy()
    second = np.arange(len(lines), len(twice))
    end[line] = begin[line] + vertex + 1
    begin[second] += vertex
    ends = lines.ends[np.concatenate([np.arange(len(lines)), line])]
    node = lines.ends.max() + 1 + np.arange(len(line))
    ends[line, 1], ends[second, 0] = node, node
    from_m, to_m = twice.begin_measure.copy(), twice.end_measure.copy()
    for k, (first, other) in enumerate(zip(line.tolist(), second.tolist(), strict=True)):
        own = twice.xy[twice.first[first] : twice.first[first + 1]]
        step = np.hypot(*np.diff(own, axis=0).T)
        share = step[: vertex[k]].sum() / step.sum()
        middle = from_m[first] + share * (to_m[first] - from_m[first])
        to_m[first], from_m[other] = middle, middle
    count = end - begin
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    rows = np.repeat(begin - first[:-1], count) + np.arange(first[-1])
    return RoadLines(
        lines.crs, twice.xy[rows], first, ends, lines.attributes, twice.source, twice.oneway,
        from_m, to_m,
    )  # fmt: skip
