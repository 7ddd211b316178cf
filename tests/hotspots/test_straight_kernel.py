"""The straight-line kernel: closed forms by hand, by quadrature, and its properties."""

from __future__ import annotations

from itertools import pairwise
from math import erf, exp, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from roadrisk.errors import InputError
from roadrisk.hotspots import straight_kernel
from roadrisk.hotspots.straight_kernel import straight_density_at, straight_lixel_kernel
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex, nearest
from tests.hotspots.test_kernel_kinds import HEIGHTS, random_network, shapes
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, Line, cut_elsewhere, road_lines

PROFILES = {
    "quartic": lambda t: (1 - t * t) ** 2 if t < 1 else 0.0,
    "epanechnikov": lambda t: 1 - t * t if t < 1 else 0.0,
    "gaussian": lambda t: exp(-8 * t * t) if t < 1 else 0.0,
}


def one(network: Network, event: tuple[int, float], place: tuple[int, float], bandwidth_m: float,
        shape: str = "quartic") -> float:  # fmt: skip
    return float(straight_density_at(
        network, np.array([event[0]]), np.array([event[1]]), np.ones(1), np.array([place[0]]),
        np.array([place[1]]), bandwidth_m=bandwidth_m, shape=shape,
    )[0])  # fmt: skip


def edge_along(network: Network, y: float) -> int:
    """The edge of a road due east at this northing."""
    ends = network.edge_xy[network.edge_first[:-1], 1]
    return int(np.flatnonzero(np.abs(ends - y) < 1e-9)[0])


@shapes
def test_on_a_lone_straight_road_it_is_the_plain_kernel(shape: str) -> None:
    """By hand."""
    road = make_network([[(0, 0), (1000, 0)]])
    for d in (0.0, 12.0, 40.0, 79.0, 80.0, 95.0):
        got = one(road, (0, 500.0), (0, 500.0 + d), 80.0, shape)
        assert got == pytest.approx(HEIGHTS[shape](d, 80.0), abs=1e-12)


@shapes
def test_at_a_dead_end_all_of_it_lies_on_the_road_there_is(shape: str) -> None:
    """By hand: an event right at the end of a road shows twice the kernel."""
    road = make_network([[(0, 0), (1000, 0)]])
    assert one(road, (0, 0.0), (0, 30.0), 80.0, shape) == pytest.approx(
        2 * HEIGHTS[shape](30.0, 80.0), abs=1e-12
    )


def test_two_parallel_roads_share_an_event() -> None:
    """By hand, quartic: along a road c from the event the profile is (1 - c^2/h^2 - u^2/h^2)^2,
    whose integral is 16/15 h (1 - c^2/h^2)^(5/2)."""
    roads = make_network([[(0, 0), (1000, 0)], [(0, 60), (1000, 60)]])
    own, other = edge_along(roads, 0), edge_along(roads, 60)
    left = 1 - (60 / 100) ** 2
    whole = 16 / 15 * 100 * (1 + left**2.5)
    assert one(roads, (own, 500.0), (own, 500.0), 100.0) == pytest.approx(1 / whole, abs=1e-12)
    assert one(roads, (own, 500.0), (other, 500.0), 100.0) == pytest.approx(
        left**2 / whole, abs=1e-12
    )
    rows = straight_lixel_kernel(roads, lay_lixels(roads, 10.0), 100.0)
    lixels = lay_lixels(roads, 10.0)
    there = rows[[int(lixels.first[own]) + 50]].toarray()[0][lixels.edge == other].sum()
    assert there == pytest.approx(left**2.5 / (1 + left**2.5), abs=1e-12)


def test_the_bands_of_a_dual_carriageway_can_be_one_road() -> None:
    """By hand: where only one of two parallel roads is counted, it takes all, and the row of an
    event far from any counted road is empty."""
    roads = make_network([[(0, 0), (1000, 0)], [(0, 20), (1000, 20)], [(0, 900), (9, 900)]])
    lixels = lay_lixels(roads, 10.0)
    counted = lixels.edge == edge_along(roads, 0)
    rows = straight_lixel_kernel(roads, lixels, 100.0, counted=counted)
    mass = np.asarray(rows.sum(axis=1))
    near = lixels.edge != edge_along(roads, 900)
    assert mass[near] == pytest.approx(1.0, abs=1e-12)
    assert (mass[~near] == 0).all()
    assert rows[:, ~counted].nnz == 0


def test_a_lone_gaussian_beside_the_event() -> None:
    """By hand: on a road c from the event the Gaussian's part is exp(-c^2 / 2 s^2) times erf of
    where the circle cuts the road."""
    roads = make_network([[(0, 0), (1000, 0)], [(0, 60), (1000, 60)]])
    own, other = edge_along(roads, 0), edge_along(roads, 60)
    s, half = 25.0, sqrt(100.0**2 - 60.0**2)
    whole = (
        s * sqrt(2 * pi) * (erf(4 / sqrt(2)) + exp(-(60**2) / 2 / s**2) * erf(half / s / 2**0.5))
    )
    got = one(roads, (own, 500.0), (other, 530.0), 100.0, "gaussian")
    assert got == pytest.approx(exp(-(60**2 + 30**2) / 2 / s**2) / whole, abs=1e-12)


@shapes
def test_mass_is_one_and_shares_are_the_integrated_density(shape: str) -> None:
    """By quadrature, on random networks with bends: every lixel's share is the density integrated
    over it, and shares add up to 1."""
    rng = np.random.default_rng(5)
    for _ in range(6):
        network = random_network(rng)
        lixels = lay_lixels(network, 25.0)
        rows = straight_lixel_kernel(network, lixels, 70.0, shape=shape)
        assert np.asarray(rows.sum(axis=1)) == pytest.approx(1.0, abs=1e-12)
        n = int(rng.integers(len(lixels)))
        event = np.array([lixels.edge[n]]), (lixels.start_m + lixels.end_m)[[n]] / 2
        steps = (np.arange(400) + 0.5) / 400
        offset = lixels.start_m[:, None] + lixels.length_m[:, None] * steps
        values = straight_density_at(
            network, *event, np.ones(1), np.repeat(lixels.edge, 400), offset.ravel(),
            bandwidth_m=70.0, shape=shape,
        )  # fmt: skip
        expected = values.reshape(-1, 400).mean(axis=1) * lixels.length_m
        assert rows[[n]].toarray()[0] == pytest.approx(expected, abs=2e-5)


@shapes
def test_equals_trying_every_pair(shape: str) -> None:
    """By trying: all distances of all events and places, whole masses by quadrature."""
    rng = np.random.default_rng(8)
    network = random_network(rng)
    edge = rng.integers(0, network.edges, 20)
    offset = rng.random(20) * network.edge_length_m[edge]
    weight = rng.uniform(0.5, 2.0, 6)
    got = straight_density_at(network, edge[:6], offset[:6], weight, edge, offset,
                              bandwidth_m=60.0, shape=shape)  # fmt: skip
    xy = places_xy(network, edge, offset)
    f = PROFILES[shape]
    expected = np.zeros(20)
    for i in range(6):
        whole = 0.0
        for e in range(network.edges):
            line = network.edge_xy[network.edge_first[e] : network.edge_first[e + 1]]
            for a, b in pairwise(line):
                length = float(np.hypot(*(b - a)))
                along = (xy[i] - a) @ (b - a) / length
                away = abs(float(np.cross(np.append(b - a, 0), np.append(xy[i] - a, 0))[2]))
                half = sqrt(max(60.0**2 - (away / length) ** 2, 0.0))
                low, high = max(along - half, 0.0), min(along + half, length)
                if high > low:
                    whole += integrate.quad(
                        lambda s, a=a, b=b, length=length, i=i: f(
                            float(np.hypot(*(a + s / length * (b - a) - xy[i]))) / 60.0
                        ), low, high, epsabs=1e-12,
                    )[0]  # fmt: skip
        expected += [weight[i] / whole * f(float(d) / 60) for d in np.hypot(*(xy - xy[i]).T)]
    assert got == pytest.approx(expected, abs=1e-9)


@STEADY
@given(road_lines(), st.data())
def test_where_the_map_cuts_its_lines_changes_no_value(
    lines: list[Line], data: st.DataObject
) -> None:
    """Property: lines cut inside, turned and shuffled give the same values at the same places, and
    the same share of every lixel."""
    one_way, other = make_network(lines), make_network(data.draw(cut_elsewhere(lines)))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32 - 1)))
    edge = rng.choice(one_way.edges, 12, p=one_way.edge_length_m / one_way.length_m)
    offset = rng.random(12) * one_way.edge_length_m[edge]
    there, then, _ = nearest(PieceIndex.build(other), places_xy(one_way, edge, offset))
    shape = data.draw(st.sampled_from(list(HEIGHTS)))
    a, b = (
        straight_density_at(network, e[:5], x[:5], np.arange(1.0, 6.0), e, x, bandwidth_m=90.0,
                            shape=shape)
        for network, e, x in ((one_way, edge, offset), (other, there, then))
    )  # fmt: skip
    assert a == pytest.approx(b, abs=1e-9)
    rows, again = (straight_lixel_kernel(network, lay_lixels(network, 10.0), 90.0, shape=shape)
                   for network in (one_way, other))  # fmt: skip
    assert abs(rows - again).max() < 1e-9


def test_a_matrix_too_large_for_the_memory_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: 100 lixels that each reach about 20 need 24 kB."""
    road = make_network([[(0, 0), (1000, 0)]])
    monkeypatch.setattr(straight_kernel, "MOST_BYTES", 30_000)
    assert straight_lixel_kernel(road, lay_lixels(road, 10.0), 100.0).nnz > 1900
    monkeypatch.setattr(straight_kernel, "MOST_BYTES", 20_000)
    with pytest.raises(InputError, match="smaller half-width"):
        straight_lixel_kernel(road, lay_lixels(road, 10.0), 100.0)
