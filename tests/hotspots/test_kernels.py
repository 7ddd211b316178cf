"""Kernels along the network: by hand and by their properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.hotspots.kernels import density_at, lixel_kernel
from roadrisk.hotspots.path_wave import SLOTS
from roadrisk.hotspots.paths import path_table
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from tests.roads.small import make_network


def quartic(d: float, h: float) -> float:
    return 15 / 16 / h * (1 - (d / h) ** 2) ** 2 if d < h else 0.0


def on(network: Network, x: float, y: float) -> tuple[int, float]:
    """Edge and offset of a place that lies on a straight edge."""
    for e in range(network.edges):
        a, b = (
            network.edge_xy[network.edge_first[e]],
            network.edge_xy[network.edge_first[e + 1] - 1],
        )
        length = np.hypot(*(b - a))
        along = float((np.array([x, y]) - a) @ (b - a) / length)
        away = abs(float(np.cross(np.append(b - a, 0), np.append([x, y] - a, 0))[2])) / length
        if away < 1e-6 and -1e-9 <= along <= length + 1e-9:
            return e, min(max(along, 0.0), length)
    raise AssertionError((x, y))


def density(network: Network, event: tuple[float, float], place: tuple[float, float],
            **options: object) -> float:  # fmt: skip
    (e, s), (f, t) = on(network, *event), on(network, *place)
    return float(density_at(
        network, np.array([e]), np.array([s]), np.ones(1), np.array([f]), np.array([t]), **options,
    )[0])  # fmt: skip


def test_a_dead_end_throws_the_kernel_back() -> None:
    """By hand: 3 m before a dead end, the mirror image of the event is added."""
    road = make_network([[(0, 0), (100, 0)]])
    got = density(road, (3, 0), (1, 0), bandwidth_m=10)
    assert got == pytest.approx(quartic(2, 10) + quartic(4, 10), rel=1e-12)


def test_a_ring_is_gone_round() -> None:
    """By hand: on a ring of 40 m a kernel of 30 m reaches a place both ways."""
    ring = make_network([[(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]])
    got = density_at(ring, np.array([0]), np.array([12.0]), np.ones(1), np.array([0]),
                     np.array([27.0]), bandwidth_m=30)  # fmt: skip
    assert got[0] == pytest.approx(quartic(15, 30) + quartic(25, 30), rel=1e-12)


def test_discontinuous_mass_is_lost_at_dead_ends_unless_thrown_back() -> None:
    """By hand: 3 m before a dead end a third of a 10 m kernel's far half is cut off."""
    road = make_network([[(0, 0), (100, 0)]])
    lixels = lay_lixels(road, 1.0)
    for reflect in (True, False):
        rows = lixel_kernel(road, lixels, 10.0, split="discontinuous", reflect=reflect)
        t = 0.35  # the middle of lixel 3 lies 3.5 m from the end
        lost = 0.5 - 15 / 16 * (t - 2 * t**3 / 3 + t**5 / 5)
        assert rows[[3]].sum() == pytest.approx(1.0 if reflect else 1 - lost, abs=1e-12)


def test_weights_add_up() -> None:
    """By hand: a kernel sum is linear in the weights."""
    road = make_network([[(0, 0), (100, 0)]])
    places = np.array([0, 0]), np.array([48.0, 52.0])
    one = density_at(road, np.zeros(2, int), np.array([50.0, 55]), np.array([2.0, 3]), *places,
                     bandwidth_m=10)  # fmt: skip
    assert one == pytest.approx([
        2 * quartic(2, 10) + 3 * quartic(7, 10), 2 * quartic(2, 10) + 3 * quartic(3, 10)
    ])  # fmt: skip


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """Random planar-ish networks with dead ends, rings, parallel roads and short edges."""
    count = draw(st.integers(3, 8))
    xy = [
        (draw(st.integers(0, 300)) + i * 0.37, draw(st.integers(0, 300)) + i * 0.61)
        for i in range(count)
    ]
    lines = [[xy[i], xy[draw(st.integers(0, i - 1))]] for i in range(1, count)]
    for _ in range(draw(st.integers(0, 4))):
        a = draw(st.integers(0, count - 1))
        b = draw(st.integers(0, count - 1))
        bend = (draw(st.integers(0, 300)) + 0.13, draw(st.integers(0, 300)) + 0.29)
        lines.append([xy[a], bend, xy[b]])
    return make_network(lines)


@settings(max_examples=40, deadline=None)
@given(networks(), st.floats(20, 150), st.integers(0, 2**32 - 1))
def test_continuous_kernel_is_symmetric(network: Network, bandwidth: float, seed: int) -> None:
    """Property: the continuous kernel from x at y is that from y at x (it solves a symmetric
    problem), the quartic included."""
    rng = np.random.default_rng(seed)
    edge = rng.integers(0, network.edges, 2)
    offset = rng.random(2) * network.edge_length_m[edge]
    there = density_at(network, edge[:1], offset[:1], np.ones(1), edge[1:], offset[1:],
                       bandwidth_m=bandwidth)  # fmt: skip
    back = density_at(network, edge[1:], offset[1:], np.ones(1), edge[:1], offset[:1],
                      bandwidth_m=bandwidth)  # fmt: skip
    assert there == pytest.approx(back, abs=1e-9)


def test_lixel_shares_are_the_integrated_density() -> None:
    """By quadrature: each lixel's share is the density integrated over it."""
    network = make_network([[(0, 0), (60, 0)], [(60, 0), (90, 40)], [(60, 0), (80, -30)]])
    lixels = lay_lixels(network, 10.0)
    rows = lixel_kernel(network, lixels, 80.0)
    source = 2
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = lixels.length_m / 2
    total = np.zeros(len(lixels))
    event = np.array([lixels.edge[source]]), np.array([lixels.start_m[source] + half[source]])
    for node, weight in zip(nodes, weights, strict=True):
        at = lixels.start_m + half + half * node
        total += weight * half * density_at(network, *event, np.ones(1), lixels.edge, at,
                                            bandwidth_m=80.0)  # fmt: skip
    others = np.arange(len(lixels)) != source  # the kernel's own peak is no polynomial there
    assert rows[[source]].toarray()[0][others] == pytest.approx(total[others], abs=1e-6)


def test_paths_stay_bounded_where_edges_are_very_short() -> None:
    """A knot of 1 to 3 m edges: paths are merged, the mass stays 1, memory stays small."""
    rng = np.random.default_rng(4)
    xy = [(float(i % 4) * 2 + rng.random() * 0.4, float(i // 4) * 2 + rng.random() * 0.4)
          for i in range(16)]  # fmt: skip
    lines = [[xy[i], xy[j]] for i in range(16) for j in (i + 1, i + 4)
             if j < 16 and (j == i + 4 or j % 4)]  # fmt: skip
    lines.append([xy[15], (300.0, 8.0)])
    network = make_network(lines)
    table = path_table(network, 60.0)
    # Followed one by one they would be millions an end: each meeting splits every path in four.
    assert np.diff(table.first).max() <= SLOTS * 2 * network.edges
    rows = lixel_kernel(network, lay_lixels(network, 10.0), 60.0)
    assert np.asarray(rows.sum(axis=1)) == pytest.approx(1.0, abs=1e-12)
    density = rows.toarray() / lay_lixels(network, 10.0).length_m
    # Merging moves arrivals by decimetres: the kernel stays symmetric to a few per cent.
    assert np.abs(density - density.T).max() < 0.05 * density.max()
