"""Where stretches start and end: by hand, and against the kernel's blur on a known truth."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.scan import Run
from roadrisk.hotspots.stretch_ends import ends_of, from_low_to_high, match_runs, scan_for_ends
from roadrisk.hotspots.stretches import describe_stretches, end_nodes, join_stretches
from roadrisk.roads.lixels import lay_lixels, lixel_geometry
from roadrisk.roads.network import Ints
from roadrisk.roads.places import Places
from tests.roads.small import make_network
from tests.truth.worlds import compared, events_of, ground


def run(lixel: list[int] | Ints, value: float = 1.0) -> Run:
    return Run(np.asarray(lixel), 10.0 * len(lixel), 5.0, 1.0, value, 0.01)


def test_best_run_that_shares_road_with_a_stretch() -> None:
    """By hand: the best run goes to the stretch it shares more road with; the next to the other;
    a stretch with no run of its own left has none."""
    stretch = np.zeros(40, np.int64)
    stretch[5:15], stretch[20:26], stretch[30:33] = 1, 2, 3
    first, second, elsewhere = run(range(12, 26)), run(range(4, 12)), run(range(34, 40))
    got = match_runs(stretch, (elsewhere, first, second), np.full(40, 10.0))
    assert got[0] is second
    assert got[1] is first
    assert got[2] is None


def test_ends_are_the_outer_ends_whichever_way_edges_run() -> None:
    """By hand: two roads that meet at x = 300, the second drawn towards the junction."""
    network = make_network([[(0, 0), (300, 0)], [(700, 0), (300, 0)], [(300, 0), (300, 200)]],
                           ["West", "East", "North"])  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    x = (lixels.start_m + lixels.end_m) / 2
    roads = network.segments["road"].to_numpy()[lixels.segment]
    at_node = int(np.argmin(np.hypot(*(network.node_xy - [300, 0]).T)))
    away = np.where(network.edge_u[lixels.edge] == at_node, x,
                    network.edge_length_m[lixels.edge] - x)  # fmt: skip
    west = np.flatnonzero((roads == "West") & (away < 50))
    east = np.flatnonzero((roads == "East") & (away < 100))
    through = np.concatenate([west[np.argsort(-away[west])], east[np.argsort(away[east])]])
    two = np.array([west[np.argmin(away[west])], east[np.argmin(away[east])]])
    for order in (through, through[::-1], two):
        ends = ends_of(order, lixels, *end_nodes(network, lixels))
        for (edge, offset), lixel in zip(ends, order[[0, -1]], strict=True):
            u = network.edge_u[edge] == at_node
            out = offset if u else network.edge_length_m[edge] - offset
            assert edge == lixels.edge[lixel]
            assert out == pytest.approx(away[lixel] + 5.0)
    one = ends_of(west[:1], lixels, *end_nodes(network, lixels))
    assert one[1][1] - one[0][1] == pytest.approx(10.0)
    assert from_low_to_high(np.array([7, 6, 5])).tolist() == [5, 6, 7]


def test_a_planted_stretch_with_its_ends() -> None:
    """Recovery: 40 observers once each on 300 m, 60 elsewhere on 10 km: both ends within 60 m,
    nearer than the kernel's, which are blurred by its half-width."""
    rng = np.random.default_rng(4)
    on = ground(make_network([[(0, 0), (10_000, 0)]]))
    where = np.concatenate([rng.integers(400, 430, 40), rng.integers(0, 1000, 60)])
    events = events_of(on, where, [(True, f"o{i}") for i in range(100)], rng)
    chance = compared(on, events, rng)
    stretch = join_stretches(on.network, on.lixels, chance.p_value, 0.05)
    scanned = scan_for_ends(
        on.network, on.lixels, events, on.strands, longest_m=1000.0, draws=99, rng=rng
    )
    runs = match_runs(stretch, scanned.scan.runs, on.lixels.length_m)
    table = describe_stretches(
        on.network, on.lixels, lixel_geometry(on.network, on.lixels), stretch, chance,
        events, runs, Places(on.network, None, "metric"),
    )  # fmt: skip
    assert len(table) == 1
    west, _, east, _ = table.geometry.iloc[0].bounds
    assert abs(west - 4000) <= 60
    assert abs(east - 4300) <= 60
    hot = np.flatnonzero(stretch == 1)
    assert abs(west - 4000) + abs(east - 4300) < abs(10 * hot.min() - 4000) + abs(
        10 * hot.max() + 10 - 4300
    )
    row = table.iloc[0]
    assert row["length_m"] == pytest.approx(east - west)
    assert row["observers"] == np.unique(events.unit[np.isin(events.lixel, runs[0].lixel)]).size
    assert row["ends_p_value"] == 0.01
    assert row["ends_note"] == ""
    assert row["begin_place"] != row["end_place"]
    assert "from" not in row["begin_place"]
