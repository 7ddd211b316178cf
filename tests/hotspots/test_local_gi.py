"""Gi*: by hand and by its properties."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.local_gi import gi_star, neighbours_within
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network


def test_by_hand_on_a_road_of_five_pieces() -> None:
    """Values 0 0 5 0 0, neighbours next to each other: mean 1, s = 2. Piece 2: three neighbours
    with 5 together, z = (5 - 3) / (2 sqrt((15 - 9) / 4)); piece 0: two with 0, z = -2 / (2
    sqrt((10 - 4) / 4))."""
    road = make_network([[(0, 0), (50, 0)]])
    lixels = lay_lixels(road, 10.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(road, lixels.edge, middle, 10.0)
    assert np.diff(near.indptr).tolist() == [2, 3, 3, 3, 2]
    z = gi_star(np.array([0, 0, 5.0, 0, 0]), near)
    same, end = 2 / (2 * np.sqrt(1.5)), -2 / (2 * np.sqrt(1.5))
    assert z == pytest.approx([end, same, same, same, end])


def test_neighbours_go_round_corners_but_not_across_country() -> None:
    """By hand: two dead ends side by side, 10 m apart across country and 400 m by road."""
    network = make_network([
        [(0, 0), (0, 200)], [(0, 0), (10, 0), (10, 200)], [(0, 0), (-100, 0)],
    ])  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(network, lixels.edge, middle, 100.0)
    by_rows = [set(near.indices[near.indptr[i] : near.indptr[i + 1]]) for i in range(len(lixels))]
    assert all(i in row for i, row in enumerate(by_rows))
    u, v = network.node_xy[network.edge_u], network.node_xy[network.edge_v]
    (edge,) = np.flatnonzero((u[:, 0] == 0) & (v[:, 0] == 0))
    tip = lixels.first[edge] if u[edge, 1] == 200 else lixels.first[edge + 1] - 1
    assert {int(lixels.edge[i]) for i in by_rows[tip]} == {edge}
    assert len(by_rows[tip]) == 11


def test_scale_and_shift_change_nothing() -> None:
    """Property."""
    rng = np.random.default_rng(1)
    road = make_network([[(0, 0), (1000, 0)]])
    lixels = lay_lixels(road, 10.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(road, lixels.edge, middle, 60.0)
    x = rng.poisson(1.0, 100).astype(float)
    assert gi_star(7 * x + 3, near) == pytest.approx(gi_star(x, near), abs=1e-9)


def test_nothing_differs_nothing_said() -> None:
    road = make_network([[(0, 0), (50, 0)]])
    lixels = lay_lixels(road, 10.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(road, lixels.edge, middle, 10.0)
    assert np.isnan(gi_star(np.full(5, 0.1), near)).all()
    everything = neighbours_within(road, lixels.edge, middle, 1000.0)
    assert np.isnan(gi_star(np.arange(5.0), everything)).all()
