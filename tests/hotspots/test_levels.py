"""Very large studies: longer lixels for the test, and the roads near stretches. By hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from roadrisk.base.seeds import generator
from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots import levels, lixel_table
from roadrisk.hotspots.by_lixel import ByLixel
from roadrisk.hotspots.drawn_masses import unit_weights
from roadrisk.hotspots.levels import Level, level_of
from roadrisk.hotspots.lixel_table import rows_to_write
from roadrisk.hotspots.near_stretches import near_stretches
from roadrisk.hotspots.ranking import MANY_UNITS, Windows, _resampled
from roadrisk.hotspots.strands import lay_strands
from roadrisk.roads.lixel_lines import LixelLines
from roadrisk.roads.lixels import lay_lixels, lixel_geometry
from tests.benchmarks.hot_stretches import gathered
from tests.benchmarks.lattices import lattice, lixels_of
from tests.roads.small import make_network


@pytest.fixture(scope="module")
def roads():
    network = make_network([[(0, 0), (300, 0)], [(300, 0), (300, 205), (320, 205)]])
    return network, lay_lixels(network, 10.0)


def _large(roads, monkeypatch) -> Level:
    monkeypatch.setattr(levels, "MOST_LIXELS", 10)
    network, lixels = roads
    return level_of(
        network, lixels, np.arange(len(lixels)), 5, settings=HotspotsSection(bandwidth_m=200.0)
    )


def test_small_studies_keep_their_lixels(roads):
    network, lixels = roads
    level = level_of(network, lixels, np.arange(len(lixels)), 5, settings=HotspotsSection())
    assert level.lixels is lixels
    assert not level.large
    assert level.on_shown(np.arange(3)).tolist() == [0, 1, 2]


def test_longer_lixels_hold_those_that_are_shown(roads, monkeypatch):
    level = _large(roads, monkeypatch)
    lixels = roads[1]
    assert level.large
    assert "about 50 m" in level.note
    assert level.lixels.length_m.max() == pytest.approx(50.0, rel=0.3)
    middle = (lixels.start_m + lixels.end_m) / 2
    assert (level.lixels.edge[level.of_shown] == lixels.edge).all()
    assert (level.lixels.start_m[level.of_shown] <= middle).all()
    assert (level.lixels.end_m[level.of_shown] >= middle).all()


def test_runs_are_shown_from_the_same_end_on(roads, monkeypatch):
    level = _large(roads, monkeypatch)
    run = np.arange(len(level.lixels))
    whole, back, one = level.spans_shown([run, run[::-1], np.array([2])])
    assert sorted(whole.tolist()) == list(range(len(level.shown)))
    assert whole.tolist() == back[::-1].tolist()
    assert one.tolist() == np.flatnonzero(level.of_shown == 2).tolist()


def test_lines_of_picked_lixels_are_those_of_all(roads):
    network, lixels = roads
    every, picked = lixel_geometry(network, lixels), np.array([3, 40, 7])
    assert shapely.equals_exact(LixelLines(network, lixels)[picked], every[picked]).all()
    assert shapely.equals_exact(LixelLines(network, lixels)[28:33], every[28:33]).all()


def test_rows_by_number_rise():
    number = np.array([4, 1, 4, 0, 1, 9])
    found = ByLixel.of(number)
    assert found.rows(np.array([4, 1, 7])).tolist() == [0, 1, 2, 4]
    assert found.rows(np.zeros(0, np.int64)).tolist() == []


def test_written_are_whole_roads_with_most_and_those_that_are_named(monkeypatch):
    network = lattice(60, 100.0)
    lixels = lixels_of(network)
    density = generator(1, "test.written").random(len(lixels))
    stretch = np.zeros(len(lixels), np.int64)
    stretch[lixels.first[7]] = 1
    windows = Windows(lixels.first[[11]], lixels.first[[11]] + 1, np.ones(1))
    assert len(rows_to_write(lixels, density, None, stretch, windows)[0]) == len(lixels)
    monkeypatch.setattr(lixel_table, "MOST_WRITTEN", 100)
    rows, words = rows_to_write(lixels, density, None, stretch, windows)
    edges = np.unique(lixels.edge[rows])
    assert {7, 11} <= set(edges.tolist())
    assert rows.tolist() == np.flatnonzero(np.isin(lixels.edge, edges)).tolist()
    assert len(rows) <= 100
    assert f"{len(rows):,}" in words
    # The best road by evidence is in.
    assert lixels.edge[density.argmax()] in edges


def test_the_roads_near_a_stretch_hold_its_groups():
    network = lattice(300, 100.0)
    lixels = lixels_of(network, 50.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 1000.0)
    events = gathered(network, lixels, strands, 400)
    stretch = np.zeros(len(lixels), np.int64)
    stretch[lixels.first[100] : lixels.first[101]] = 1
    near = near_stretches(network, lixels, events, strands, stretch, longest_m=300.0)
    own = near.part.lixel[near.events.lixel]
    assert (own == events.lixel[near.rows]).all()
    assert near.events.weight == pytest.approx(unit_weights(events)[near.rows])
    # A piece lies as far into its lixel as it did.
    into = near.events.position_m - near.strands.lixel_start_m[near.events.lixel]
    before = events.position_m - strands.lixel_start_m[events.lixel]
    assert into == pytest.approx(before[near.rows])
    # All pieces on the stretch whose group is at home there are in.
    assert np.isin(lixels.first[100], near.part.lixel)
    assert len(near.part.lixel) < len(lixels)
    assert (np.diff(near.strands.window_m) > 0).all()


def test_resamples_of_very_many_units_draw_the_few_that_are_here():
    """The same distribution as with all of them drawn one by one."""
    units, here = MANY_UNITS + 1, 40
    rng = generator(1, "test.few")
    by_unit, paths = np.zeros(units), np.zeros((units, 3))
    observer = np.ones(units, bool)
    observer[:10] = False
    by_unit[:here] = rng.random(here) + 0.5
    paths[:10] = by_unit[:10, None] * [0.5, 1.0, 1.5]
    low, high = _resampled(by_unit, paths, observer, 1.0, 0.9, rng, resamples=4000)
    # Poisson numbers of copies of each: mean and variance of the sum.
    squares = (by_unit[10:] ** 2).sum() + (paths[:10] ** 2).mean(axis=1).sum()
    spread = 1.645 * np.sqrt(squares)
    assert low == pytest.approx(by_unit.sum() - spread, abs=0.12 * spread)
    assert high == pytest.approx(by_unit.sum() + spread, abs=0.12 * spread)
