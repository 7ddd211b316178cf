"""Network K and cross-K: by hand and by their properties."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.network_k import k_with_envelope, network_k
from roadrisk.hotspots.reach import pairs_within
from roadrisk.roads.distances import distances_between
from roadrisk.roads.network import Network
from tests.hotspots.test_kernel_kinds import random_network
from tests.roads.small import make_network

ROAD = make_network([[(0, 0), (1000, 0)]])


def on_road(*at: float) -> tuple[np.ndarray, np.ndarray]:
    return np.zeros(len(at), int), np.array(at, float)


def even(network: Network, rng: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    edge = rng.choice(network.edges, count, p=network.edge_length_m / network.length_m)
    return edge, rng.random(count) * network.edge_length_m[edge]


def test_cross_k_by_hand() -> None:
    """Events at 100 and 400 m, others at 110, 130 and 395 m of a kilometre."""
    got = network_k(ROAD, on_road(100, 400), np.array([4.0, 5, 10, 29.9, 30, 290, 1000]),
                    others=on_road(110, 130, 395))  # fmt: skip
    assert got == pytest.approx(1000 / 6 * np.array([0, 1, 2, 2, 3, 5, 6]))


def test_events_at_the_same_place_as_others_count_at_once() -> None:
    """By hand: distance 0 in cross-K and in K, itself never counted."""
    got = network_k(ROAD, on_road(100), np.array([0.0, 1.0]), others=on_road(100))
    assert got == pytest.approx([1000.0, 1000.0])
    assert network_k(ROAD, on_road(100, 100, 300), np.array([0.0, 1.0])) == pytest.approx(
        1000 / 6 * 2
    )


def test_per_road_within_by_hand() -> None:
    """Three arms of 100 m, events 30 m from the middle on two arms and in the middle of the third:
    within 50 m of them lie 120 m (50 out, 30 in, 2 x 20), 120 m and 100 m of road."""
    turn = 2 * np.pi * np.arange(3) / 3
    star = make_network([[(0, 0), (100 * np.cos(t), 100 * np.sin(t))] for t in turn])
    middle = int(np.argmin(np.hypot(*star.node_xy.T)))
    away = np.array([30.0, 30.0, 50.0])
    offset = np.where(star.edge_u == middle, away, star.edge_length_m - away)
    places = np.arange(3), offset
    t = np.array([50.0, 60.0])
    plain = network_k(star, places, t)
    assert plain == pytest.approx(300 / 6 * np.array([0, 2]))
    got = network_k(star, places, t, form="per road within")
    # Within 60 m: 60 + 30 + 2 x 30 = 150 twice; 50 + 50 + 2 x 10 = 120.
    assert got == pytest.approx([0.0, 100 / 140])
    assert network_k(star, places, t, form="geometric")[1] == pytest.approx(300 / 6 * 2 / 3)


def test_distances_equal_the_dense_ones() -> None:
    """Against the project's own dense distances, on random networks with rings."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        network = random_network(rng)
        edge, offset = even(network, rng, 30)
        dense = distances_between(network, edge, offset)
        near = pairs_within(network, edge, offset, 140.0)
        expected = np.where(dense <= 140.0, dense, -1.0)
        got = np.full(dense.shape, -1.0)
        rows = np.repeat(np.arange(30), np.diff(near.indptr))
        got[rows, near.indices] = near.data
        assert got == pytest.approx(expected, abs=1e-9)
        t = np.array([20.0, 75.0, 140.0])
        pairs = (dense[~np.eye(30, dtype=bool)][:, None] <= t).sum(axis=0)
        assert network_k(network, (edge, offset), t) == pytest.approx(
            network.length_m / (30 * 29) * pairs
        )


def test_even_events_have_the_geometric_k_of_their_distance() -> None:
    """Known truth: K(t) = t on average where no distance passes a dead end (here a ring road with
    two roads across it), and 1 per road within."""
    turn = np.linspace(0, 2 * np.pi, 41)[:-1]
    ring = [(1000 * np.cos(t), 1000 * np.sin(t)) for t in turn]
    ring += [ring[0]]
    lines = [ring[i : i + 11] for i in (0, 10, 20, 30)]
    lines += [[ring[0], (0.0, 30.0), ring[20]], [ring[10], (210.0, 400.0), ring[30]]]
    network = make_network(lines)
    rng = np.random.default_rng(2)
    t = np.array([100.0, 300.0, 600.0])
    geometric = np.mean(
        [network_k(network, even(network, rng, 100), t, form="geometric") for _ in range(60)],
        axis=0,
    )
    assert geometric == pytest.approx(t, rel=0.03)
    ratio = np.mean(
        [network_k(network, even(network, rng, 100), t, form="per road within")
         for _ in range(60)],
        axis=0,
    )  # fmt: skip
    assert ratio == pytest.approx(1.0, abs=0.03)


def test_envelope_is_exact_for_draws_alike_and_sees_gathering() -> None:
    """Known truth: p-values of even events among even draws are even; a gathering gets the
    smallest possible."""
    rng = np.random.default_rng(9)
    t = np.arange(25.0, 301.0, 25.0)

    def redraw(_: int) -> tuple[np.ndarray, np.ndarray]:
        return even(ROAD, rng, 25)

    p = [k_with_envelope(ROAD, even(ROAD, rng, 25), t, redraw, draws=19).p_value
         for _ in range(200)]  # fmt: skip
    assert np.mean(np.array(p) <= 0.1) == pytest.approx(0.1, abs=0.06)
    assert min(p) == pytest.approx(0.05)
    gathered = on_road(*np.concatenate([rng.uniform(0, 1000, 15), rng.uniform(400, 430, 10)]))
    found = k_with_envelope(ROAD, gathered, t, redraw, draws=99)
    assert found.p_value == pytest.approx(0.01)
    assert found.value[0] > found.high[0] > found.expected[0] > found.low[0]
    assert found.expected == pytest.approx(network_k(ROAD, even(ROAD, rng, 2000), t), rel=0.1)


def test_one_animal_s_own_crossings_are_no_gathering_when_they_move_together() -> None:
    """By hand: ten events of one animal; drawn one by one they seem to gather, moved as a whole
    K never changes and says nothing."""
    rng = np.random.default_rng(4)
    own = 500 + rng.normal(0, 10, 10)
    t = np.array([20.0, 50.0, 100.0])
    alone = k_with_envelope(ROAD, on_road(*own), t, lambda _: even(ROAD, rng, 10), draws=99)
    assert alone.p_value == pytest.approx(0.01)
    whole = k_with_envelope(
        ROAD, on_road(*own), t, lambda _: on_road(*(own + rng.uniform(-400, 400))), draws=99
    )
    assert whole.p_value == pytest.approx(1.0)


def test_nothing_to_count() -> None:
    t = np.array([10.0, 20.0])
    assert np.isnan(network_k(ROAD, on_road(5), t)).all()
    assert np.isnan(network_k(ROAD, on_road(5, 7), t, others=on_road())).all()
