"""Places on roads in words: distance from a named junction, route and measures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj
import shapely
from scipy.sparse.csgraph import dijkstra

from roadrisk.base.crs import WGS84
from roadrisk.base.units import length_words
from roadrisk.roads.along import places_xy, segments_at
from roadrisk.roads.distances import node_graph
from roadrisk.roads.osm_tags import class_rank

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.roads.network import Floats, Ints, Network

    Bools = NDArray[np.bool_]

OCTANTS = (
    "east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east",
)  # fmt: skip
# An agency line this near is taken to be the road itself.
_ON_LINE_M = 50.0


@dataclass(frozen=True)
class Place:
    """A stretch of road in words.

    Attributes
    ----------
    road : str
        Label of the road at the stretch's middle.
    route : str
        The agency's route there, or "".
    begin_measure, end_measure : float
        Route measures at both ends [the agency's unit]; NaN where unknown.
    text : str
        For example "from 120 m to 220 m north-east of the junction with Mill Lane, on High
        Road".
    """

    road: str
    route: str
    begin_measure: float
    end_measure: float
    text: str


@dataclass(frozen=True, eq=False)
class _Junctions:
    """Nodes of some part of the network, and the nearest junction along it for each."""

    node: Ints
    distance_m: Floats
    junction: Ints

    def of(self, node: int) -> tuple[float, int]:
        """Distance and nearest junction of one node; infinite where there is none."""
        row = int(np.searchsorted(self.node, node))
        if row == len(self.node) or self.node[row] != node:
            return np.inf, -1
        return float(self.distance_m[row]), int(self.junction[row])


class Places:
    """Describes stretches of one network.

    Parameters
    ----------
    network : Network
    agency_lines : geopandas.GeoDataFrame or None
        Columns of `records.schemas.AGENCY_LINES`, in the network's CRS; measures are read off
        these lines where one of the route lies within 50 m, else interpolated along the segment.
    units : {"metric", "us"}
        Of distances in the text.
    """

    def __init__(
        self, network: Network, agency_lines: gpd.GeoDataFrame | None, units: Units
    ) -> None:
        self._network = network
        self._units: Units = units
        self._agency = agency_lines
        table = network.segments
        self._named = ((table["name"] != "") | (table["ref"] != "")).to_numpy()
        self._road = table["road"].to_numpy(object)
        self._edge = table["edge"].to_numpy(np.int64)
        self._label, labels = pd.factorize(self._road, sort=True)
        self._labels = {str(label): code for code, label in enumerate(labels)}
        self._at_node_first, self._at_node = _roads_at_nodes(
            network, self._named, _ranks(table["road_class"]), self._label
        )
        named = np.flatnonzero(self._named)
        self._by_road = named[np.argsort(self._label[named], kind="stable")]
        self._nearest: dict[str, _Junctions] = {}
        self._lines_of_route = {} if agency_lines is None else _rows_of(agency_lines["route"])

    def describe(self, edge: int, from_m: float, to_m: float) -> Place:
        """Return a stretch of one edge in words.

        The junction is the nearest, along roads of the same name, at which a road of another
        name meets; on unnamed roads, and where a road meets no other name, the nearest
        junction with a named road along any road. With neither, coordinates stand there.

        Parameters
        ----------
        edge : int
        from_m, to_m : float
            Offsets along the edge [m]; the same twice for a single place.

        Returns
        -------
        Place
        """
        where = np.array([from_m, (from_m + to_m) / 2, to_m])
        edges = np.full(3, edge, dtype=np.int64)
        xy = places_xy(self._network, edges, where)
        row = int(segments_at(self._network, edges[1:2], where[1:2])[0])
        route, begin, end = self._measures(edge, row, from_m, to_m, xy)
        text = self._words(edge, row, from_m, to_m, xy)
        return Place(str(self._road[row]), route, begin, end, text)

    def words(self, edge: int, at_m: float) -> str:
        """Return one place in words, as `describe` does, without looking for route measures.

        Parameters
        ----------
        edge : int
        at_m : float
            Offset along the edge [m].

        Returns
        -------
        str
        """
        where = np.full(3, at_m)
        edges = np.full(3, edge, dtype=np.int64)
        row = int(segments_at(self._network, edges[:1], where[:1])[0])
        return self._words(edge, row, at_m, at_m, places_xy(self._network, edges, where))

    def _words(self, edge: int, row: int, from_m: float, to_m: float, xy: Floats) -> str:
        road = str(self._road[row])
        on = road if self._named[row] else "an " + road
        text = self._from_junction(edge, from_m, to_m, road if self._named[row] else "", xy[1])
        return f"{text or self._coordinates(xy)}, on {on}"

    def _others(self, node: int, road: str) -> list[str]:
        """Names of the other roads that meet at a node, the highest class first."""
        rows = self._at_node[self._at_node_first[node] : self._at_node_first[node + 1]]
        labels = dict.fromkeys(str(self._road[row]) for row in rows)
        return [label for label in labels if label != road]

    def _junctions(self, road: str) -> _Junctions:
        """Nearest junctions with another named road: along roads of this name, or any ("")."""
        if road not in self._nearest:
            net, label = self._network, self._labels.get(road, -1)
            if road:
                low, high = np.searchsorted(self._label[self._by_road], [label, label + 1])
                own = np.unique(self._edge[self._by_road[low:high]])
            else:
                own = np.arange(net.edges)
            node = np.unique([net.edge_u[own], net.edge_v[own]])
            count = self._at_node_first[node + 1] - self._at_node_first[node]
            of = np.repeat(np.arange(len(node)), count)
            within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
            rows = self._at_node[self._at_node_first[node][of] + within]
            ends = np.unique(of[self._label[rows] != label] if road else of)
            self._nearest[road] = _nearest_of(net, own, node, ends)
        return self._nearest[road]

    def _from_junction(
        self, edge: int, from_m: float, to_m: float, road: str, middle: Floats
    ) -> str:
        net = self._network
        u, v, length = int(net.edge_u[edge]), int(net.edge_v[edge]), net.edge_length_m[edge]
        for along in dict.fromkeys((road, "")):
            near = self._junctions(along)
            (from_u, at_u), (from_v, at_v) = near.of(u), near.of(v)
            by_u = from_u + from_m
            by_v = from_v + length - to_m
            if not np.isfinite(min(by_u, by_v)):
                continue
            node = at_u if by_u <= by_v else at_v
            begin = min(by_u, by_v)
            names = self._others(node, road)
            if not names:
                continue
            step = middle - net.node_xy[node]
            octant = OCTANTS[round(float(np.arctan2(step[1], step[0])) / (np.pi / 4)) % 8]
            far = length_words(begin, self._units)
            if to_m > from_m:
                far = f"from {far} to {length_words(begin + to_m - from_m, self._units)}"
            return f"{far} {octant} of the junction with {' and '.join(names[:2])}"
        return ""

    def _coordinates(self, xy: Floats) -> str:
        to_wgs84 = pyproj.Transformer.from_crs(self._network.crs, WGS84, always_xy=True)
        lon, lat = to_wgs84.transform(xy[[0, 2], 0], xy[[0, 2], 1])
        ends = [
            f"{abs(y):.5f}° {'N' if y >= 0 else 'S'} {abs(x):.5f}° {'E' if x >= 0 else 'W'}"
            for x, y in zip(lon, lat, strict=True)
        ]
        return f"from {ends[0]} to {ends[1]}" if ends[0] != ends[1] else f"at {ends[0]}"

    def _measures(
        self, edge: int, row: int, from_m: float, to_m: float, xy: Floats
    ) -> tuple[str, float, float]:
        table = self._network.segments
        route = str(table["route"].iloc[row])
        if not route:
            return "", np.nan, np.nan
        first = self._network.segment_first
        own = table.iloc[first[edge] : first[edge + 1]]
        own = own[(own["route"] == route).to_numpy()]
        more = 0.0 if to_m > from_m else 1e-6  # a single place may lie on a segment's end
        own = own[(own["edge_to_m"] > from_m - more) & (own["edge_from_m"] < to_m + more)]
        ends = []
        for place, offset, segment in ((xy[0], from_m, own.iloc[0]), (xy[2], to_m, own.iloc[-1])):
            inside = np.clip(offset, segment["edge_from_m"], segment["edge_to_m"])
            share = (inside - segment["edge_from_m"]) / segment["length_m"]
            run = segment["end_measure"] - segment["begin_measure"]
            by_line = self._by_line(route, place) if inside == offset else np.nan
            between = float(segment["begin_measure"] + share * run)
            ends.append(between if np.isnan(by_line) else by_line)
        return route, ends[0], ends[1]

    def _by_line(self, route: str, xy: Floats) -> float:
        if self._agency is None:
            return np.nan
        lines = self._agency.iloc[self._lines_of_route.get(route, np.empty(0, dtype=np.int64))]
        point = shapely.Point(xy)
        distance = shapely.distance(lines.geometry.to_numpy(), point)
        if not len(lines) or np.nanmin(distance) > _ON_LINE_M:
            return np.nan
        line = lines.iloc[int(np.nanargmin(distance))]
        share = line.geometry.project(point, normalized=True)
        return float(line["begin_measure"] + share * (line["end_measure"] - line["begin_measure"]))


def _ranks(road_class: pd.Series[Any]) -> Ints:
    code, words = pd.factorize(road_class)
    return np.array([class_rank(str(word)) for word in words], dtype=np.int64)[code]


def _roads_at_nodes(network: Network, named: Bools, rank: Ints, label: Ints) -> tuple[Ints, Ints]:
    """Segments that end at each node and have a name, the highest class first, then by label.

    Returns where each node's begin, and the segments' rows.
    """
    first = network.segment_first
    node = np.concatenate([network.edge_u, network.edge_v])
    row = np.concatenate([first[:-1], first[1:] - 1])
    node, row = node[named[row]], row[named[row]]
    order = np.lexsort((label[row], rank[row], node))
    count = np.bincount(node, minlength=len(network.node_xy))
    return np.concatenate([[0], np.cumsum(count)]).astype(np.int64), row[order]


def _rows_of(routes: pd.Series[Any]) -> dict[str, Ints]:
    code, words = pd.factorize(routes)
    order = np.argsort(code, kind="stable").astype(np.int64)
    cuts = np.flatnonzero(np.diff(code[order])) + 1
    return {str(words[code[rows[0]]]): rows for rows in np.split(order, cuts) if len(rows)}


def _nearest_of(network: Network, edges: Ints, node: Ints, junctions: Ints) -> _Junctions:
    """Nearest junctions (rows of `node`) along some edges."""
    if not len(junctions):
        return _Junctions(node, np.full(len(node), np.inf), np.full(len(node), -1, dtype=np.int64))
    distance, _, source = dijkstra(
        node_graph(network, edges, node), directed=False, indices=junctions, min_only=True,
        return_predecessors=True,
    )  # fmt: skip
    found = np.where(source >= 0, node[np.maximum(source, 0)], -1)
    return _Junctions(node, distance, found.astype(np.int64))
