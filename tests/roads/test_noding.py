"""Cutting an agency's lines where they meet: by hand."""

from __future__ import annotations

from typing import Literal

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import LineString

from roadrisk.roads import crossing_lines, noding
from roadrisk.roads.crossing_lines import crossing_points
from roadrisk.roads.edges import network_of_lines
from roadrisk.roads.lines import road_lines, shapes_of
from roadrisk.roads.network import Network
from roadrisk.roads.noding import noded_lines

Line = list[tuple[float, float]]


def layer(lines: list[Line], **columns: object) -> gpd.GeoDataFrame:
    table: dict[str, object] = {
        "name": [f"Road {n}" for n in range(len(lines))],
        "route": "",
        "begin_measure": np.nan,
        "end_measure": np.nan,
        "level": 0,
    }
    table.update(columns)
    return gpd.GeoDataFrame(table, geometry=[LineString(line) for line in lines], crs=32633)


def network_of(lines: gpd.GeoDataFrame, rule: Literal["join", "apart"] = "join") -> Network:
    return network_of_lines(noded_lines(lines, rule)[0])


def test_ends_within_half_a_metre_meet() -> None:
    """By hand: 0.4 m is the same place, 0.6 m is not."""
    lines = [[(0, 0), (100, 0)], [(100.4, 0), (200, 0)], [(200.6, 0), (300, 0)]]
    net = network_of(layer(lines))
    assert net.edges == 2
    assert len(net.node_xy) == 4


def test_an_end_on_a_line_cuts_it() -> None:
    """By hand: a T-junction drawn 0.3 m short; the measures are interpolated at the cut."""
    lines = [[(0, 0), (100, 0)], [(25, 0.3), (25, 80)]]
    net = network_of(layer(lines, route=["R1", ""], begin_measure=[2.0, np.nan],
                           end_measure=[3.0, np.nan]))  # fmt: skip
    assert net.edges == 3
    table = net.segments[net.segments["route"] == "R1"]
    measures = np.sort(table[["begin_measure", "end_measure"]].to_numpy().ravel())
    assert measures.tolist() == pytest.approx([2.0, 2.25, 2.25, 3.0])


@pytest.mark.parametrize(
    ("rule", "level", "edges"), [("join", 0, 4), ("apart", 0, 2), ("join", 1, 2)]
)
def test_crossings(rule: Literal["join", "apart"], level: int, edges: int) -> None:
    """By hand: lines that cross on the ground join if told so; a bridge does not."""
    lines = [[(0, 0), (100, 0)], [(50, -50), (50, 50)]]
    assert network_of(layer(lines, level=[0, level]), rule).edges == edges


def test_three_lines_through_one_place() -> None:
    """By hand: one node with six arms."""
    lines = [[(-50, 0), (50, 0)], [(0, -50), (0, 50)], [(-50, -50), (50, 50)]]
    net = network_of(layer(lines))
    assert net.edges == 6
    assert len(net.node_xy) == 7


def test_lines_over_each_other_become_one() -> None:
    """By hand: the same road drawn for both directions, and a partly shared stretch."""
    twice = layer([[(0, 0), (60, 0), (100, 10)], [(100, 10), (60, 0), (0, 0)]])
    pieces, doubled = noded_lines(twice, "join")
    assert (len(pieces), doubled) == (1, 1)
    partly = layer([[(0, 0), (100, 0)], [(60, 0), (160, 0)]])
    net = network_of(partly)
    assert net.length_m == pytest.approx(160.0)


def test_the_order_of_rows_does_not_matter() -> None:
    """By hand: the same segments from shuffled rows."""
    lines = [[(0, 0), (100, 0)], [(50, -50), (50, 50)], [(25, 0.2), (25, 80)], [(80, 0), (90, 60)]]
    one = network_of(layer(lines)).segments
    other = layer(lines).iloc[[2, 0, 3, 1]].reset_index(drop=True)
    two = network_of(other).segments
    assert one["segment_id"].tolist() == two["segment_id"].tolist()
    assert one["name"].tolist() == two["name"].tolist()


@pytest.mark.parametrize(
    ("lines", "places"),
    [
        pytest.param([[(0, 0), (9, 0)], [(9, 0), (9, 9)]], [], id="end to end"),
        pytest.param([[(0, 0), (9, 0), (9, 9)], [(9, 9), (0, 0)]], [], id="both ends"),
        pytest.param([[(0, 0), (9, 0)], [(4, 0), (4, 9)]], [(4, 0)], id="an end on a line"),
        pytest.param([[(0, 0), (4, 0), (9, 0)], [(4, 0), (4, 9)]], [(4, 0)], id="on a corner"),
        pytest.param([[(0, 0), (9, 0)], [(4, -3), (4, 9)]], [(4, 0)], id="across"),
        pytest.param([[(0, 0), (9, 0)], [(0, 0), (4, 0)]], [(0, 0), (4, 0)], id="from one end on"),
        pytest.param([[(0, 0), (9, 0)], [(2, 0), (4, 0)]], [(2, 0), (4, 0)], id="over the middle"),
        pytest.param([[(0, 0), (9, 0)], [(0, 0), (0, 5), (4, -5)]], [(0, 0), (2, 0)],
                     id="from one end and across"),
    ],
)  # fmt: skip
def test_crossing_points(lines: list[Line], places: list[tuple[float, float]]) -> None:
    """By hand: where two lines meet, but for an end of both; with it where they meet elsewhere."""
    given = road_lines(layer(lines))
    shapes = shapes_of(given.xy, given.first)
    line, xy = crossing_points(given, shapes, shapely.STRtree(shapes), np.arange(2))
    assert line.tolist() == [0, 1] * len(places)
    assert sorted(map(tuple, xy[::2].tolist())) == places


def test_many_lines_are_looked_up_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: the same pieces whether lines are looked up together or one after the other."""
    lines = [[(0, 0), (100, 0)], [(50, -50), (50, 50)], [(25, 0.2), (25, 80)], [(80, 0), (90, 60)]]
    one = network_of(layer(lines)).segments
    for module in (noding, crossing_lines):
        monkeypatch.setattr(module, "_AT_ONCE", 1)
    two = network_of(layer(lines)).segments
    assert len(one) == 8
    assert one["segment_id"].tolist() == two["segment_id"].tolist()


def test_lines_of_very_many_corners(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: lines too long for a look at every pair of pieces still cross where they do."""
    lines = [[(0, 0), (100, 0)], [(50, -50), (50, 50)], [(100, 0), (150, 0)]]
    monkeypatch.setattr(crossing_lines, "_MANY", 0)
    given = road_lines(layer(lines))
    shapes = shapes_of(given.xy, given.first)
    # Shared ends come with it, which noding joins as it does all ends.
    _, xy = crossing_points(given, shapes, shapely.STRtree(shapes), np.arange(3))
    assert sorted(map(tuple, xy[::2].tolist())) == [(50.0, 0.0), (100.0, 0.0)]
    assert network_of(layer(lines)).edges == 4
