"""The road network as arrays: nodes, edges between junctions, segments and lixels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Network:
    """Roads as an undirected graph.

    An *edge* runs between two nodes of degree other than 2 (a ring keeps one arbitrary
    node), so where the map's ways happened to be cut changes nothing. A *segment* is a piece
    of an edge along which name, class and level are constant; every edge is covered by its
    segments without gap or overlap.

    Attributes
    ----------
    crs : pyproj.CRS
        Projected, metres.
    node_xy : ndarray, shape (nodes, 2)
        [m].
    edge_u, edge_v : ndarray of int64, shape (edges,)
        Node at offset 0 and at offset `edge_length_m`.
    edge_length_m : ndarray, shape (edges,)
        Planar length [m], > 0.
    edge_xy : ndarray, shape (vertices, 2)
        Vertices of all edges, edge after edge, each from u to v [m].
    edge_first : ndarray of int64, shape (edges + 1,)
        Edge e has vertices ``edge_xy[edge_first[e]:edge_first[e + 1]]``.
    segments : geopandas.GeoDataFrame
        One row a segment, index 0..n-1, sorted by (edge, edge_from_m). Columns: segment_id,
        road, name, ref, road_class, level, bridge, tunnel, oneway (1 along the geometry, -1
        against it, 0 both ways), lanes, speed_limit_kmh, osm_ids, band_of, route,
        begin_measure, end_measure, direction, owner, aadt, aadt_year, layer_date, edge,
        edge_from_m, edge_to_m, length_m, geometry (LineString along the edge). Text columns
        are "" and numbers NaN where unknown.
    """

    crs: pyproj.CRS
    node_xy: Floats
    edge_u: Ints
    edge_v: Ints
    edge_length_m: Floats
    edge_xy: Floats
    edge_first: Ints
    segments: gpd.GeoDataFrame

    @property
    def edges(self) -> int:
        """Number of edges."""
        return len(self.edge_u)

    @property
    def length_m(self) -> float:
        """Total length of road [m]."""
        return float(self.edge_length_m.sum())

    @cached_property
    def vertex_offset_m(self) -> Floats:
        """Distance of every vertex from the first one of its edge [m], shape (vertices,)."""
        from roadrisk.roads.along import vertex_offsets

        return vertex_offsets(self.edge_xy, self.edge_first)

    @cached_property
    def segment_first(self) -> Ints:
        """Row of each edge's first segment, and one past the last, shape (edges + 1,)."""
        count = np.bincount(self.segments["edge"].to_numpy(np.int64), minlength=self.edges)
        return np.concatenate([[0], np.cumsum(count)]).astype(np.int64)

    @cached_property
    def segment_from_m(self) -> Floats:
        """Offset along its edge at which each segment begins [m], shape (segments,)."""
        return self.segments["edge_from_m"].to_numpy(np.float64)


@dataclass(frozen=True, eq=False)
class Lixels:
    """Pieces of the edges, about equally long: the unit of computation.

    Attributes
    ----------
    edge : ndarray of int64, shape (lixels,)
        Sorted; within an edge by `start_m`.
    start_m, end_m : ndarray, shape (lixels,)
        Offsets along the edge [m].
    first : ndarray of int64, shape (edges + 1,)
        Edge e has lixels ``first[e]:first[e + 1]``; at least one each, all of one length.
    segment : ndarray of int64, shape (lixels,)
        Row of `Network.segments` at the lixel's middle.
    """

    edge: Ints
    start_m: Floats
    end_m: Floats
    first: Ints
    segment: Ints

    def __len__(self) -> int:
        return len(self.edge)

    @property
    def length_m(self) -> Floats:
        """Length of each lixel [m]."""
        return self.end_m - self.start_m

    def at(self, edge: Ints, offset_m: Floats) -> Ints:
        """Return the lixel that holds each place on the network.

        Parameters
        ----------
        edge : ndarray of int64, shape (n,)
        offset_m : ndarray, shape (n,)
            Along the edge [m]; a place exactly between two lixels belongs to the later one.

        Returns
        -------
        ndarray of int64, shape (n,)
        """
        first = self.first[edge]
        count = self.first[edge + 1] - first
        inside = np.floor(offset_m / (self.end_m[first] - self.start_m[first])).astype(np.int64)
        return first + np.clip(inside, 0, count - 1)
