"""Paths on a grid of distances, against paths followed one by one (by hand and by property)."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots import paths
from roadrisk.hotspots.path_wave import SLOTS, wave_from
from roadrisk.hotspots.paths import junctions, path_table, room_for_paths
from roadrisk.roads.network import Network
from tests.benchmarks.lattices import lattice
from tests.roads.small import make_network


def waves(network: Network, exit_: int, reach_m: float, continuous: bool = True):
    rule = (reach_m, continuous, True)
    room = room_for_paths(network.edges, len(network.node_xy))
    return wave_from(exit_, junctions(network), rule, room)


def cumulated(network: Network, entry, at, share, x: np.ndarray, h: float) -> np.ndarray:
    """Mass of the quartic on the first x metres of each entry, from all paths."""
    out = np.zeros((2 * network.edges, len(x)))
    for e, d, w in zip(entry, at, share, strict=True):
        t = np.minimum((d + x) / h, 1.0)
        out[e] += w * (0.9375 * (t - 2 * t**3 / 3 + t**5 / 5))
    return out - out[:, :1]


@pytest.mark.parametrize("split", ["continuous", "discontinuous"])
def test_the_grid_agrees_with_exact_paths(split: str) -> None:
    """Streets of 80 m, half-width 300 m: within 1 in 5,000 of an event's mass everywhere."""
    network = lattice(60, 80.0)
    h, x = 300.0, np.linspace(0, 40, 5)
    table = path_table(network, h, split=split)
    for exit_ in (30, 31, 55):
        rows = slice(table.first[exit_], table.first[exit_ + 1])
        assert rows.stop - rows.start < 4 * paths.MOST_STATES
        exact = cumulated(
            network, table.entry[rows], table.distance_m[rows], table.weight[rows], x, h
        )
        grid = cumulated(network, *waves(network, exit_, h, split == "continuous"), x, h)
        assert np.abs(exact).max() > 0.03
        assert grid == pytest.approx(exact, abs=2e-4)


def test_an_arrival_between_two_steps_keeps_its_mean() -> None:
    """By hand: a road of 52.3 m, then 2/3 into each of two roads and -1/3 back."""
    network = make_network([[(0, 0), (52.3, 0)], [(52.3, 0), (300, 90)], [(52.3, 0), (300, -90)]])
    road = int(np.argmin(network.edge_length_m))
    at_dead_end = 2 * road + int(network.edge_v[road] == np.argmin(network.node_xy[:, 0]))
    entry, at, share = waves(network, at_dead_end, 200.0)
    others = entry // 2 != road
    first = others & (at < 60)
    assert share[first].sum() == pytest.approx(2 * 2 / 3, abs=1e-12)
    assert (share * at)[first].sum() == pytest.approx(52.3 * 4 / 3, abs=1e-9)


def test_weight_goes_on_through_edges_shorter_than_a_step() -> None:
    """By hand: ten pieces of 0.4 m, cut by side roads, cost no weight and shift no mean."""
    main = [[(0.4 * k, 0.0), (0.4 * (k + 1), 0.0)] for k in range(10)]
    sides = [[(0.4 * k, 0.0), (0.4 * k, 500.0 * (-1) ** k)] for k in range(1, 10)]
    network = make_network([[(-400, 0), (0, 0)], *main, *sides, [(4.0, 0), (404, 0)]])
    entry, at, share = waves(network, 0, 200.0, continuous=False)
    long = network.edge_length_m[entry // 2] > 100
    assert share[long].sum() == pytest.approx(1.0, abs=1e-6)
    table = path_table(network, 200.0, split="discontinuous")
    rows = slice(table.first[0], table.first[1])
    far = network.edge_length_m[table.entry[rows] // 2] > 100
    mean = (table.weight[rows] * table.distance_m[rows])[far].sum()
    assert (share * at)[long].sum() == pytest.approx(mean, abs=1e-3)


def test_the_number_of_rows_is_bounded() -> None:
    """Property: at most one row for each step and edge end in reach, however wide the kernel."""
    network = lattice(60, 5.0)
    table = path_table(network, 500.0)
    assert np.diff(table.first).max() <= SLOTS * 2 * network.edges
