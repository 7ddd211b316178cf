"""Nearest place and placement by uncertainty: by hand, and against plain numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.nearest import nearest
from roadrisk.roads.placing import spread
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, road_lines

CROSS = [[(-100, 0), (0, 0)], [(0, 0), (100, 0)], [(0, 0), (0, 100)]]


def test_nearest_by_hand() -> None:
    """By hand: foot on a piece, beyond an end, far outside the grid, and no coordinates."""
    net = make_network([[(0, 0), (100, 0)]])
    xy = np.array([[30.0, 4.0], [103.0, 4.0], [-5000.0, 0.0], [np.nan, 0.0], [0.0, 1e11]])
    edge, offset, distance = nearest(PieceIndex.build(net), xy)
    assert edge.tolist() == [0, 0, 0, -1, 0]
    np.testing.assert_allclose(offset, [30.0, 100.0, 0.0, np.nan, 0.0])
    np.testing.assert_allclose(distance, [4.0, 5.0, 5000.0, np.nan, 1e11])


def test_ties_go_to_the_lowest_edge() -> None:
    """By hand: a point at a junction, and one midway between two roads."""
    net = make_network(CROSS)
    edge, offset, distance = nearest(PieceIndex.build(net), np.array([[0.0, 0.0], [-5.0, 5.0]]))
    assert edge.tolist() == [0, 0]
    assert offset.tolist() == [100.0, 95.0]
    assert distance.tolist() == [0.0, 5.0]


@STEADY
@given(road_lines(), st.lists(st.tuples(st.floats(-300, 500), st.floats(-300, 500)), min_size=1))
def test_nearest_is_nearest(
    lines: list[list[tuple[float, float]]], points: list[tuple[float, float]]
) -> None:
    """Property: no place on a fine sample of the network is nearer, and the place is real."""
    net = make_network(lines)
    edge, offset, distance = nearest(PieceIndex.build(net), np.array(points))
    place = places_xy(net, edge, offset)
    np.testing.assert_allclose(np.hypot(*(place - points).T), distance, atol=1e-6)
    fine = lay_lixels(net, 1.0)
    sample = places_xy(net, fine.edge, fine.start_m)
    gap = np.hypot(*(sample[:, None] - np.array(points)[None]).transpose(2, 0, 1)).min(axis=0)
    assert (distance <= gap + 1e-9).all()
    assert (gap <= distance + 1.0).all()


def test_zero_uncertainty_is_the_nearest_lixel() -> None:
    """By hand: as sd goes to 0 everything goes to one lixel, and the limit is smooth."""
    net = make_network(CROSS)
    lixels, index = lay_lixels(net, 10.0), PieceIndex.build(net)
    xy = np.array([[-33.0, 7.0]])
    for sd in (0.0, 0.005, 0.02, 0.3):
        found = spread(net, lixels, index, xy, sd, 30.0)
        assert found.lixel.tolist() == [6]
        assert found.weight.tolist() == [1.0]


@pytest.mark.parametrize("sd", [1.0, 8.0, 60.0])
def test_weights_are_the_integral(sd: float) -> None:
    """Against plain numerical integration of the density along the road (1,000 steps a lixel)."""
    net = make_network([[(-300, 0), (0, 0)], [(0, 0), (300, 40)], [(0, 0), (20, 300)]])
    lixels, index = lay_lixels(net, 10.0), PieceIndex.build(net)
    x, y = 12.0, 9.0
    found = spread(net, lixels, index, np.array([[x, y]]), sd, 30.0)
    share = (np.arange(1000) + 0.5) / 1000
    along = lixels.start_m[:, None] + share * lixels.length_m[:, None]
    at = places_xy(net, np.repeat(lixels.edge, 1000), along.ravel())
    d2 = (at[:, 0] - x) ** 2 + (at[:, 1] - y) ** 2
    density = np.exp(-(d2 - found.nearest_distance_m[0] ** 2) / (2 * sd**2))
    mass = density.reshape(-1, 1000).mean(axis=1) * lixels.length_m
    mass[mass < 1e-3 * mass.max()] = 0.0
    mass /= mass.sum()
    assert found.lixel.tolist() == np.flatnonzero(mass).tolist()
    np.testing.assert_allclose(found.weight, mass[found.lixel], rtol=1e-4)


def test_shares_by_symmetry() -> None:
    """By hand: a report between two parallel roads goes half to each."""
    net = make_network([[(0, 0), (100, 0)], [(0, 20), (100, 20)]])
    found = spread(
        net, lay_lixels(net, 10.0), PieceIndex.build(net), np.array([[50.0, 10.0]]), 5.0, 30.0
    )
    half = found.weight[found.lixel < 10].sum()
    assert half == pytest.approx(0.5, abs=1e-12)
    assert found.nearest_edge.tolist() == [0]


def test_too_far_is_not_placed() -> None:
    """By hand: the limit is near_m + 3 sd."""
    net = make_network([[(0, 0), (100, 0)]])
    lixels, index = lay_lixels(net, 10.0), PieceIndex.build(net)
    xy = np.array([[50.0, 59.9], [50.0, 60.1], [np.nan, np.nan]])
    found = spread(net, lixels, index, xy, np.array([10.0, 10.0, 10.0]), 30.0)
    assert found.placed.tolist() == [True, False, False]
    assert set(found.point.tolist()) == {0}
    assert found.nearest_distance_m[1] == pytest.approx(60.1)


@STEADY
@given(
    road_lines(),
    st.lists(st.tuples(st.floats(-50, 300), st.floats(-50, 300)), min_size=1),
    st.floats(0.0, 400.0),
)
def test_mass_is_kept(
    lines: list[list[tuple[float, float]]], points: list[tuple[float, float]], sd: float
) -> None:
    """Property: each placed report adds up to 1, each weight is positive, lixels are sorted."""
    net = make_network(lines)
    found = spread(net, lay_lixels(net, 10.0), PieceIndex.build(net), np.array(points), sd, 1000.0)
    total = np.bincount(found.point, found.weight, len(points))
    np.testing.assert_allclose(total, found.placed.astype(float), atol=1e-12)
    assert (found.weight > 0).all()
    order = np.lexsort((found.lixel, found.point))
    assert order.tolist() == list(range(len(order)))


def test_more_roads_at_a_junction_than_there_is_room_for() -> None:
    """By hand: where 100 roads meet and at 30 cm from it on one of them, from near and far."""
    angle = np.arange(100) * 2 * np.pi / 100
    net = make_network([[(0, 0), (100 * np.cos(a), 100 * np.sin(a))] for a in angle])
    index = PieceIndex.build(net)
    xy = np.array([[0.0, 0.0], [0.3, 0.0], [-4000.0, 0.0]])
    edge, offset, distance = nearest(index, xy)
    assert edge[0] == 0
    place = places_xy(net, edge, offset)
    np.testing.assert_allclose(place, np.array([[0.0, 0.0], [0.3, 0.0], [-100.0, 0.0]]), atol=1e-9)
    np.testing.assert_allclose(distance, [0.0, 0.0, 3900.0], atol=1e-12)


def test_many_at_once_are_as_one_by_one() -> None:
    """By hand: portions and their order change nothing, with coordinates missing in between."""
    rng = np.random.default_rng(5)
    places = rng.uniform(0, 2000, (60, 2))
    net = make_network(
        [[tuple(a), tuple(b)] for a, b in zip(places[::2], places[1::2], strict=True)]
    )
    index = PieceIndex.build(net)
    xy = rng.uniform(-500, 2500, (20_500, 2))
    xy[::100] = np.nan
    together = nearest(index, xy)
    apart = [nearest(index, part) for part in np.array_split(xy, 7)]
    for k in range(3):
        np.testing.assert_array_equal(together[k], np.concatenate([a[k] for a in apart]))
