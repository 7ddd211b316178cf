"""Lixels: by hand and by property."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given

from roadrisk.roads.lixels import lay_lixels, lixel_geometry, places_xy, run_geometry
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, road_lines


@pytest.mark.parametrize(
    ("length", "count"), [(3.0, 1), (14.9, 1), (15.0, 2), (25.0, 3), (25.1, 3), (100.0, 10)]
)
def test_count(length: float, count: int) -> None:
    """By hand: the number of pieces is the rounded quotient, a half up, at least one."""
    lixels = lay_lixels(make_network([[(0, 0), (length, 0)]]), 10.0)
    assert len(lixels) == count
    assert lixels.end_m[-1] == length


def test_places_and_segments() -> None:
    """By hand: 30 m around a corner in lixels of 10 m."""
    net = make_network([[(0, 0), (15, 0)], [(15, 0), (15, 15)]], names=["a", "b"])
    lixels = lay_lixels(net, 10.0)
    assert lixels.segment.tolist() == [0, 1, 1]
    lines = lixel_geometry(net, lixels)
    assert [list(line.coords) for line in lines] == [
        [(0, 0), (10, 0)],
        [(10, 0), (15, 0), (15, 5)],
        [(15, 5), (15, 15)],
    ]
    edge = np.zeros(4, dtype=np.int64)
    xy = places_xy(net, edge, np.array([-1.0, 15.0, 22.0, 99.0]))
    assert xy.tolist() == [[0, 0], [15, 0], [15, 7], [15, 15]]
    assert lixels.at(edge, np.array([0.0, 10.0, 29.9, 30.0])).tolist() == [0, 1, 2, 2]


@STEADY
@given(road_lines())
def test_lixels_tile_edges(lines: list[list[tuple[float, float]]]) -> None:
    """Property: lixels of an edge are equally long, meet, and their lines are as long as they."""
    net = make_network(lines)
    lixels = lay_lixels(net, 10.0)
    for e in range(net.edges):
        own = slice(lixels.first[e], lixels.first[e + 1])
        assert lixels.start_m[own][0] == 0.0
        assert lixels.end_m[own][-1] == net.edge_length_m[e]
        np.testing.assert_array_equal(lixels.end_m[own][:-1], lixels.start_m[own][1:])
        np.testing.assert_allclose(lixels.length_m[own], lixels.length_m[own][0], rtol=1e-9)
    np.testing.assert_allclose(shapely.length(lixel_geometry(net, lixels)), lixels.length_m)


@STEADY
@given(road_lines())
def test_runs_are_the_lines_of_their_lixels(lines: list[list[tuple[float, float]]]) -> None:
    """Property: the line of a run goes where those of its lixels go, one after the other."""
    net = make_network(lines)
    lixels = lay_lixels(net, 7.0)
    single = lixel_geometry(net, lixels)
    # Runs of up to three lixels, every fourth lixel in none.
    first, last = [], []
    for e in range(net.edges):
        for k in range(lixels.first[e], lixels.first[e + 1], 4):
            first.append(k)
            last.append(min(k + 2, lixels.first[e + 1] - 1))
    runs = run_geometry(net, lixels, np.array(first), np.array(last))
    for a, b, run in zip(first, last, runs, strict=True):
        assert run.length == pytest.approx(sum(line.length for line in single[a : b + 1]))
        ends = (single[a].coords[0], single[b].coords[-1])
        assert (run.coords[0], run.coords[-1]) == ends
        assert all(run.distance(shapely.Point(p)) < 1e-6 for line in single[a : b + 1]
                   for p in line.coords)  # fmt: skip
    assert len(run_geometry(net, lixels, np.zeros(0, int), np.zeros(0, int))) == 0
