"""Lines to network: by hand, and properties that hold however the source is cut."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from roadrisk.errors import CoordinateSystemError, RoadSourceError
from roadrisk.roads.columns import SEGMENT_COLUMNS
from roadrisk.roads.edges import network_from_segments
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import spread
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, cut_elsewhere, road_lines

A, B, C, D = (0.0, 0.0), (100.0, 0.0), (250.0, 0.0), (100.0, 80.0)


def test_a_joint_of_two_lines_is_no_node() -> None:
    """By hand: two lines in a row are one edge with two segments if their names differ."""
    net = make_network([[A, B], [C, B]], names=["High Road", "Mill Lane"])
    assert net.edges == 1
    assert net.node_xy.tolist() == [list(A), list(C)]
    assert net.edge_length_m.tolist() == [250.0]
    table = net.segments
    assert list(table.columns) == list(SEGMENT_COLUMNS)
    assert table["road"].tolist() == ["High Road", "Mill Lane"]
    assert table["edge_from_m"].tolist() == [0.0, 100.0]
    assert table["edge_to_m"].tolist() == [100.0, 250.0]
    assert list(table.geometry.iloc[1].coords) == [B, C]


def test_lines_of_one_road_become_one_segment() -> None:
    """By hand: equal attributes merge, and the OSM ids of both are kept."""
    net = make_network([[A, B], [B, C]], osm_ids=["20", "3"])
    assert len(net.segments) == 1
    assert net.segments["osm_ids"].tolist() == ["3 20"]


def test_a_junction_parts_edges() -> None:
    """By hand: three lines at one place are three edges."""
    net = make_network([[A, B], [B, C], [B, D]])
    assert net.edges == 3
    assert sorted(net.edge_length_m.tolist()) == [80.0, 100.0, 150.0]
    assert net.edge_u.tolist() == [0, 1, 1]
    assert net.edge_v.tolist() == [1, 2, 3]


def test_a_ring_keeps_its_lowest_vertex() -> None:
    """By hand: a square cut at another corner begins at its lower left one."""
    square = [(10.0, 10.0), (0.0, 10.0), (0.0, 0.0), (10.0, 0.0), (10.0, 10.0)]
    net = make_network([square])
    assert net.edges == 1
    assert net.edge_u.tolist() == net.edge_v.tolist() == [0]
    assert net.node_xy.tolist() == [[0.0, 0.0]]
    assert net.edge_length_m.tolist() == [40.0]


def test_a_loop_at_a_junction() -> None:
    """By hand: a turning circle at the end of a road is an edge from a node to itself."""
    net = make_network([[A, B], [B, (110.0, 10.0), (120.0, 0.0), (110.0, -10.0), B]])
    assert net.edges == 2
    loop = net.edge_u == net.edge_v
    assert net.edge_length_m[loop].tolist() == [pytest.approx(4 * np.sqrt(200))]


def test_measures_follow_the_edge() -> None:
    """By hand: a line against the edge gets its measures turned, and running measures join."""
    net = make_network([[B, A], [B, C]], route=["R1", "R1"], begin_measure=[0.1, 0.1],
                       end_measure=[0.0, 0.25])  # fmt: skip
    assert net.segments[["begin_measure", "end_measure"]].to_numpy().tolist() == [[0.0, 0.25]]


def test_a_gap_in_the_measures_stays() -> None:
    """By hand: measures that jump keep their lines apart."""
    net = make_network([[A, B], [B, C]], route=["R1", "R1"], begin_measure=[0.0, 0.5],
                       end_measure=[0.1, 0.65])  # fmt: skip
    assert net.segments["end_measure"].tolist() == [0.1, 0.65]


def test_travel_turns_with_the_line() -> None:
    """By hand: oneway says along (1) or against (-1) the segment's own direction."""
    net = make_network([[B, A], [B, C], [B, D]], oneway=[1, 1, 0])
    assert net.segments["oneway"].tolist() == [-1, 0, 1]
    ends = [line.coords[-1] for line in net.segments.geometry]
    assert ends == [B, D, C]


def test_labels() -> None:
    """By hand: name, else ref, else the class in words."""
    net = make_network(
        [[A, B], [B, C], [B, D]],
        names=["High Road", "", ""],
        ref=["A 1", "B 2", ""],
        road_class=["primary", "secondary", "living_street"],
    )
    assert set(net.segments["road"]) == {"High Road", "B 2", "unnamed living street road"}


def test_ids_depend_on_place_alone() -> None:
    """By hand: other roads, other direction and other attributes leave an id as it is."""
    one = make_network([[A, B]]).segments["segment_id"].iloc[0]
    table = make_network([[B, A], [C, B], [B, D]], names=["Other", "x", "y"]).segments
    assert table["segment_id"].iloc[0] == one
    assert len(one) == 13
    assert one[0] == "s"
    assert table["segment_id"].is_unique


def test_equal_places_get_a_suffix() -> None:
    """By hand: two lines with the same ends and middle differ by a suffix."""
    bent = [A, (10.0, 30.0), (90.0, -30.0), B]
    table = make_network([[A, B], bent, [B, C], [(-50.0, 0.0), A]]).segments
    straight, other = table["segment_id"][table["length_m"].between(99, 180)].sort_values()[:2]
    assert other == straight + "-2"


def test_ends_a_hair_apart_are_one_node() -> None:
    """By hand: half a millimetre between ends is no gap."""
    net = make_network([[A, B], [(100.0004, 0.0), C], [B, D]])
    assert net.edges == 3
    assert len(net.node_xy) == 4


def test_known_nodes_beat_coordinates() -> None:
    """By hand: a bridge over a node's place does not join it where the source knows better."""
    lines = gpd.GeoDataFrame(
        {"name": ["over", "under"]}, geometry=[LineString([A, B]), LineString([B, C])], crs=32633
    )
    net = network_from_segments(lines, np.array([[0, 1], [2, 3]]))
    assert net.edges == 2
    assert len(net.node_xy) == 4


def test_lines_without_length() -> None:
    """By hand: no line with a length is an error in words; one among others is dropped."""
    with pytest.raises(RoadSourceError, match="no road is left"):
        make_network([[A, A]])
    assert make_network([[A, A], [A, B]]).length_m == 100.0


def test_degrees_are_refused() -> None:
    """By hand: a geographic system inside is an error."""
    lines = gpd.GeoDataFrame({"name": ["x"]}, geometry=[LineString([A, B])], crs=4326)
    with pytest.raises(CoordinateSystemError):
        network_from_segments(lines)


@STEADY
@given(st.data())
def test_cutting_turning_and_shuffling_change_nothing(data: st.DataObject) -> None:
    """Property: edges, segments, lixels and placements are the same however lines are cut."""
    lines = data.draw(road_lines())
    other = data.draw(cut_elsewhere(lines))
    a, b = make_network(lines), make_network(other)
    assert a.edges == b.edges
    np.testing.assert_allclose(b.edge_length_m, a.edge_length_m, rtol=1e-12)
    np.testing.assert_allclose(b.node_xy, a.node_xy, atol=1e-9)
    assert (a.edge_u.tolist(), a.edge_v.tolist()) == (b.edge_u.tolist(), b.edge_v.tolist())
    assert len(a.segments) == len(b.segments)
    la, lb = lay_lixels(a, 10.0), lay_lixels(b, 10.0)
    assert la.edge.tolist() == lb.edge.tolist()
    np.testing.assert_allclose(lb.end_m, la.end_m, rtol=1e-12, atol=1e-9)
    xy = np.array(data.draw(st.lists(st.tuples(st.floats(-20, 260), st.floats(-20, 260)),
                                     min_size=1, max_size=4)))  # fmt: skip
    dense = []
    for net, lixels in ((a, la), (b, lb)):
        found = spread(net, lixels, PieceIndex.build(net), xy, 12.0, 500.0)
        weights = np.zeros((len(xy), len(lixels)))
        weights[found.point, found.lixel] = found.weight
        dense.append(weights)
    # A lixel at the very edge of the cut (a thousandth of the heaviest) may fall either way.
    np.testing.assert_allclose(dense[0], dense[1], atol=2e-3)


@STEADY
@given(road_lines())
def test_edges_and_segments_cover_the_lines(lines: list[list[tuple[float, float]]]) -> None:
    """Property: no length is lost, segments tile their edges, no node has degree 2."""
    net = make_network(lines)
    total = sum(LineString(line).length for line in lines)
    assert net.length_m == pytest.approx(total)
    table = net.segments
    assert table["length_m"].sum() == pytest.approx(total)
    for edge, own in table.groupby("edge"):
        assert own["edge_from_m"].iloc[0] == 0.0
        assert own["edge_to_m"].iloc[-1] == net.edge_length_m[edge]
        assert (own["edge_to_m"].to_numpy()[:-1] == own["edge_from_m"].to_numpy()[1:]).all()
    degree = np.bincount(np.concatenate([net.edge_u, net.edge_v]))
    ring = np.zeros(len(degree), dtype=bool)
    ring[net.edge_u[net.edge_u == net.edge_v]] = True
    assert (degree[~ring] != 2).all()
