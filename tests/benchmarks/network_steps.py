"""Reading and building roads beside osmnx, networkx and shapely."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import osmnx
import shapely

from roadrisk.base.crs import utm_crs
from roadrisk.base.seeds import generator
from roadrisk.osm_graph import OsmGraph
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.roads.distances import distances_between
from roadrisk.roads.edges import network_of_lines
from roadrisk.roads.network import Network
from roadrisk.roads.noding import noded_lines
from roadrisk.roads.osm_pieces import osm_pieces
from roadrisk.settings import OsmRoads
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.lattices import lattice
from tests.benchmarks.synthetic_state import _lanes, _write_roads

# osmnx takes minutes beyond.
BUILT = 50_000
LEAVE_OUT = OsmRoads(file="roads.osm").leave_out


@cache
def extract(segments: int) -> Path:
    """An invented extract, compressed XML as both read it."""
    folder = Path(tempfile.mkdtemp(prefix="roadrisk-benchmarks-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    file = folder / "roads.osm"
    _write_roads(file, _lanes(segments, generator(1, "roads")))
    return file


def _by_osmnx(file: Path) -> nx.MultiDiGraph[Any]:
    return osmnx.graph_from_xml(file, simplify=False, retain_all=True)


def reading(segments: int) -> Case:
    file = extract(segments)

    def same(ours: OsmGraph, theirs: nx.MultiDiGraph[Any]) -> None:
        # It keeps junctions whose roads are all missing.
        assert ours.node_id.tolist() == sorted(n for n in theirs.nodes if theirs.degree(n))
        begin, end, _ = ours.pieces
        pairs = {tuple(sorted(pair)) for pair in theirs.edges(keys=False)}
        ids = np.sort(np.stack([ours.node_id[begin], ours.node_id[end]], axis=1), axis=1)
        assert set(map(tuple, ids.tolist())) == pairs
        assert ours.lon.tolist() == [theirs.nodes[n]["x"] for n in ours.node_id.tolist()]

    return Case(lambda: read_osm_graph(file, LEAVE_OUT).graph, lambda: _by_osmnx(file), same)


def building(segments: int) -> Case:
    file = extract(segments)
    graph = read_osm_graph(file, LEAVE_OUT).graph
    other = _by_osmnx(file) if segments <= BUILT else nx.MultiDiGraph()
    crs = utm_crs(graph.lon[0], graph.lat[0])

    def theirs() -> nx.MultiGraph[Any]:
        simple = osmnx.simplify_graph(osmnx.project_graph(other, to_crs=crs))
        return osmnx.convert.to_undirected(simple)

    def same(network: Network, simple: nx.MultiGraph[Any]) -> None:
        assert network.edges == simple.number_of_edges()
        assert len(network.node_xy) == sum(1 for n in simple if simple.degree(n))
        lines = osmnx.convert.graph_to_gdfs(simple, nodes=False)
        assert abs(network.length_m / lines.length.sum() - 1) < 1e-6

    return Case(lambda: network_of_lines(osm_pieces(graph, crs)[0]), theirs, same)


def noding(lines: int) -> Case:
    """Long bent lines over the whole area, as an agency draws routes: crossings are to be cut."""
    rng = generator(1, "noding")
    side_m = 400.0 * np.sqrt(lines)
    begin = rng.uniform(0, side_m, (lines, 1, 2))
    turn = rng.uniform(0, 2 * np.pi, (lines, 1)) + rng.normal(0, 0.3, (lines, 8)).cumsum(axis=1)
    steps = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * 120.0
    xy = np.concatenate([begin, begin + steps.cumsum(axis=1)], axis=1)
    shapes = shapely.linestrings(xy)
    table = gpd.GeoDataFrame(
        {"level": 0, "begin_measure": np.nan, "end_measure": np.nan},
        geometry=shapes, crs=32633, index=range(lines),
    )  # fmt: skip

    def same(ours: Any, theirs: Any) -> None:
        pieces, parts = ours[0], shapely.get_parts(theirs)
        step = np.hypot(*np.diff(pieces.xy, axis=0).T)
        step[pieces.first[1:-1] - 1] = 0.0
        # Ends nearer than half a metre to another line are joined by ours alone.
        assert abs(len(pieces) - len(parts)) <= max(0.02 * len(parts), 2)
        assert abs(step.sum() / shapely.length(parts).sum() - 1) < 1e-3

    return Case(
        lambda: noded_lines(table, "join"),
        lambda: shapely.node(shapely.multilinestrings(shapes)),
        same,
    )


def distances(places: int) -> Case:
    network = lattice(20 * places, 150.0)
    rng = generator(1, "distances")
    edge = rng.integers(network.edges, size=places)
    offset = rng.random(places) * network.edge_length_m[edge]
    graph: nx.Graph[Any] = nx.Graph()
    u, v, long_m = network.edge_u.tolist(), network.edge_v.tolist(), network.edge_length_m.tolist()
    graph.add_weighted_edges_from(zip(u, v, long_m, strict=True))
    halved = graph.copy()
    for k, (e, at) in enumerate(zip(edge.tolist(), offset.tolist(), strict=True)):
        if len(np.flatnonzero(edge == e)) == 1:
            halved.remove_edge(u[e], v[e])
            halved.add_edge(u[e], ("p", k), weight=at)
            halved.add_edge(("p", k), v[e], weight=long_m[e] - at)
    alone = [k for k in range(places) if ("p", k) in halved]

    def theirs() -> np.ndarray:
        out = np.full((len(alone), len(alone)), np.inf)
        for i, k in enumerate(alone):
            found = nx.single_source_dijkstra_path_length(halved, ("p", k))
            out[i] = [found.get(("p", m), np.inf) for m in alone]
        return out

    def same(ours: np.ndarray, others: np.ndarray) -> None:
        np.testing.assert_allclose(ours[np.ix_(alone, alone)], others, rtol=1e-9, atol=1e-6)

    return Case(lambda: distances_between(network, edge, offset), theirs, same)


STEPS = (
    Step("reading OpenStreetMap", "osmnx graph_from_xml", reading, "segments", 110,
         "the same nodes, places and pieces", most=BUILT, big=1_000_000,
         why="under a thousand segments what both take is opening the file"),
    Step("building the network", "osmnx simplify_graph", building, "segments", 110,
         "the same nodes and edges, length 1e-6", most=BUILT, big=0),
    Step("cutting an agency's lines", "shapely node", noding, "lines", 30,
         "pieces 2 % (ours joins ends within 0.5 m), length 1e-3",
         why="ours keeps attributes, levels and measures of every piece and joins near ends, "
             "which GEOS's noder does not"),
    Step("distances along roads", "networkx Dijkstra", distances,
         "places, twenty times as many segments", 20, "1e-9", most=400),
)  # fmt: skip
