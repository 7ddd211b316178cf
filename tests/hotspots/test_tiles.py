"""Networks cut in tiles: what is worked out tile by tile equals what is worked out at once.

By hand for the margin; the rest holds tiles against the untiled computation.
"""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.hotspots import tiled_chance, tiled_kernel
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.kernel_choice import peak_of
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.moves import Rule, lay_out
from roadrisk.hotspots.path_kernel import part_of, spread_events
from roadrisk.hotspots.shares import ByWindow, Table
from roadrisk.hotspots.strands import lay_strands
from roadrisk.hotspots.tiled_chance import compare_in_tiles, pieces_of
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.roads.tiles import Surroundings, grouped, part_of_network, without_shapes
from tests.benchmarks.hot_stretches import gathered
from tests.benchmarks.lattices import lattice, lixels_of

H = 120.0


@pytest.fixture(scope="module")
def roads():
    network = lattice(500, 100.0)
    return network, lixels_of(network)


def _kernel(roads, split="continuous"):
    return TiledKernel(*roads, H, "quartic", split, Surroundings(roads[0]))


def test_the_margin_holds_all_edges_whose_nodes_are_near(roads):
    # By brute force over nodes.
    network, _ = roads
    nodes = len(network.node_xy)
    far = np.full((nodes, nodes), np.inf)
    np.fill_diagonal(far, 0.0)
    for u, v, length in zip(network.edge_u, network.edge_v, network.edge_length_m, strict=True):
        far[u, v] = far[v, u] = min(far[u, v], length)
    for k in range(nodes):
        far = np.minimum(far, far[:, k : k + 1] + far[k])
    edge = np.array([3, 250])
    ends = np.concatenate([network.edge_u[edge], network.edge_v[edge]])
    near = far[ends].min(axis=0) < H
    expected = np.flatnonzero(near[network.edge_u] | near[network.edge_v])
    assert Surroundings(network).around(edge, H).tolist() == expected.tolist()


def test_a_part_keeps_lixels_and_the_order_of_edges(roads):
    network, lixels = roads
    edge = np.array([2, 3, 77])
    part = part_of_network(network, lixels, edge)
    assert part.network.edge_length_m.tolist() == network.edge_length_m[edge].tolist()
    assert part.lixel.tolist() == [
        i for e in edge for i in range(lixels.first[e], lixels.first[e + 1])
    ]
    assert (edge[part.lixels.edge] == lixels.edge[part.lixel]).all()


def test_groups_of_neighbours_hold_every_place_once():
    xy = generator(1, "test.groups").random((1000, 2))
    groups = grouped(xy, 60)
    assert max(map(len, groups)) <= 60
    assert np.sort(np.concatenate(groups)).tolist() == list(range(1000))


@pytest.mark.parametrize("split", ["continuous", "discontinuous"])
def test_kernel_densities_equal_the_untiled(roads, split, monkeypatch):
    monkeypatch.setattr(tiled_kernel, "EDGES_A_TILE", 40)
    network, lixels = roads
    matrix, tiled = lixel_kernel(network, lixels, H, split=split), _kernel(roads, split)
    mass = generator(1, "test.mass").poisson(0.3, (2, len(lixels))).astype(np.float64)
    difference = np.abs(tiled.spread(mass) - (matrix.T @ mass.T).T).max()
    print(f"largest difference {difference:.1e}")
    assert difference <= 1e-12
    assert spread_events(tiled, mass[0]) == pytest.approx(matrix.T @ mass[0], abs=1e-12)
    some = np.arange(50, 400, 7)
    assert abs(part_of(tiled, some) - matrix[some][:, some]).max() <= 1e-12


def _study(roads):
    network, lixels = roads
    # A few roads off the long line, as following carriageways are.
    used = ~np.isin(lixels.edge, [5, 6, 200])
    strands = lay_strands(network, lixels, used, 1000.0)
    events = gathered(network, lixels, lay_strands(network, lixels, used | True, 1000.0), 700)
    on = used[events.lixel]
    some = replace(
        events, **{name: getattr(events, name)[on] for name in ("lixel", "weight", "event")},
        unit=np.unique(events.unit[on], return_inverse=True)[1], kind=events.kind[on],
        block=np.unique(events.block[on], return_inverse=True)[1],
        position_m=strands.position_m(events.lixel[on]),
        unit_is_observer=events.unit_is_observer[np.unique(events.unit[on])],
        unit_names=tuple(str(u) for u in np.unique(events.unit[on])),
    )  # fmt: skip
    return strands, some


def _compared(roads, strands, events, share):
    options = {"least_units": 3, "draws": len(share), "peak_per_m": peak_of(H, "quartic")}
    tiled = compare_in_tiles(events, strands, _kernel(roads), shares=Table(share), **options)
    whole = compare_with_chance(
        events, strands, lixel_kernel(*roads, H), roads[1].length_m, bandwidth_m=H,
        rng=_Given(share), by_window=True, **options,
    )  # fmt: skip
    return tiled, whole


def test_tiles_can_be_worked_out_by_another_process(roads):
    """What is handed over survives being written and read, and gives the same."""
    strands, events = _study(roads)
    options = {"least_units": 3, "draws": 19, "peak_per_m": peak_of(H, "quartic")}
    network = without_shapes(roads[0])
    kernel = TiledKernel(network, roads[1], H, "quartic", "continuous", Surroundings(network))
    share = Table(generator(1, "test.draws").random((19, events.blocks)))
    here, there = (
        compare_in_tiles(events, strands, kernel, shares=share, tasks=tasks, **options)
        for tasks in (None, _Written())
    )
    assert here.statistic.tolist() == there.statistic.tolist()
    assert here.largest.tolist() == there.largest.tolist()


class _Written:
    """Stands in for other processes."""

    at_once = 1

    def map(self, function, items, *, shared, tick=None, compiled=False):
        for item in items:
            yield pickle.loads(pickle.dumps(function(*pickle.loads(pickle.dumps((shared, item))))))


class _Given:
    """Stands in for a generator that draws these numbers."""

    def __init__(self, share):
        self._share = share

    def random(self, size):
        assert size == self._share.shape
        return self._share


@pytest.mark.parametrize("null", ["windows", "a rate within windows", "anywhere"])
def test_the_comparison_with_chance_equals_the_untiled(roads, null, monkeypatch):
    monkeypatch.setattr(tiled_chance, "TILE_BYTES", 8 * 29 * 700)
    strands, events = _study(roads)
    if null != "windows":
        chance = generator(1, "test.rate").random(len(roads[1])) + 0.2
        strands = replace(strands, rules=(Rule(), Rule(null == "anywhere", chance)))
        events = replace(events, rule=events.unit_is_observer[events.unit].astype(np.int64))
    share = generator(1, "test.draws").random((29, events.blocks))
    tiled, whole = _compared(roads, strands, events, share)
    difference = np.abs(tiled.statistic - whole.statistic).max() / whole.statistic.max()
    print(f"largest difference {difference:.1e} of the largest value")
    assert whole.statistic.max() > 0
    assert difference <= 1e-9
    assert tiled.largest == pytest.approx(whole.largest, rel=1e-9)
    assert tiled.p_value.tolist() == whole.p_value.tolist()
    assert tiled.by_window.p_value == pytest.approx(whole.by_window.p_value, rel=1e-9)
    assert tiled.by_window.q_value == pytest.approx(whole.by_window.q_value, rel=1e-9)


def test_numbers_of_groups_are_the_same_whichever_are_asked_for_together():
    home = np.array([2, 0, 2, 1, 0, 2])
    shares = ByWindow.of_groups(home, 3, generator(1, "test.shares"))
    every = shares.of(np.arange(6), home, 50)
    some = np.array([5, 1, 2])
    assert (shares.of(some, home[some], 50) == every[:, some]).all()
    # Uniform, and no two alike.
    assert 0 < every.min() < 0.1
    assert 0.9 < every.max() < 1
    assert len(np.unique(every)) == every.size


def test_pieces_that_lie_close_together_are_joined_at_their_mean(roads):
    strands, events = _study(roads)
    laid = lay_out(events, strands)
    joined = pieces_of(events, laid, 50.0)
    assert len(joined.weight) < len(events.weight)
    assert joined.weight.sum() == pytest.approx(events.weight.sum())
    assert (np.diff(joined.unit) >= 0).all()
    moment = np.bincount(events.block, events.weight * laid.offset)
    assert np.bincount(joined.block, joined.weight * joined.offset) == pytest.approx(moment)
    assert np.bincount(joined.unit, joined.weight) == pytest.approx(
        np.bincount(events.unit, events.weight)
    )
