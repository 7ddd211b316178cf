"""The long line and its windows: by hand and by properties."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.strands import free_strands, lay_strands
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network
from tests.truth.worlds import country_roads


def test_every_used_lixel_is_on_the_line_once() -> None:
    network = country_roads()
    lixels = lay_lixels(network, 10.0)
    used = np.random.default_rng(1).random(len(lixels)) < 0.8
    strands = lay_strands(network, lixels, used, 2000.0)
    assert sorted(strands.order) == list(np.flatnonzero(used))
    assert np.isclose(strands.cut_m[-1], lixels.length_m[used].sum())
    assert np.isnan(strands.lixel_start_m[~used]).all()


def test_the_line_follows_a_name_through_a_junction() -> None:
    """By hand: High Road bends at its middle junction; the side road comes after its end."""
    network = make_network(
        [[(0, 0), (1000, 0)], [(1000, 0), (2000, 300)], [(1000, 0), (2000, 0)]],
        ["High Road", "High Road", "Side Road"],
    )
    lixels = lay_lixels(network, 100.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 10_000.0)
    roads = network.segments["road"].to_numpy()[lixels.segment[strands.order]]
    begins = np.flatnonzero(np.concatenate([[True], roads[1:] != roads[:-1]]))
    assert len(begins) == 2


def test_windows_are_about_as_long_as_asked_and_split_at_separate_pieces() -> None:
    """By hand: 5 km and 300 m apart from each other: windows of 2.5, 2.5 km (rounded) and 300 m."""
    network = make_network([[(0, 0), (5000, 0)], [(0, 900), (300, 900)]])
    lixels = lay_lixels(network, 10.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    assert sorted(np.round(np.diff(strands.window_m), 6)) == [300.0, 2500.0, 2500.0]


def test_positions_run_along_the_lixel_in_the_line_s_direction() -> None:
    network = country_roads()
    lixels = lay_lixels(network, 10.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    every = np.arange(len(lixels))
    third = strands.position_m(every, lixels.length_m / 3) - strands.lixel_start_m
    expected = np.where(strands.forward, 1 / 3, 2 / 3) * lixels.length_m
    assert np.allclose(third, expected)
    where = strands.order[np.searchsorted(strands.cut_m, strands.position_m(every), "right") - 1]
    assert (where == every).all()


def test_free_moves_have_one_window_of_all_roads() -> None:
    """By hand: two separate roads, one line of 3 km."""
    network = make_network([[(0, 0), (1000, 0)], [(0, 500), (2000, 500)]])
    lixels = lay_lixels(network, 10.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 500.0)
    free = free_strands(strands)
    assert free.window_m.tolist() == pytest.approx([0.0, 3000.0])
    assert free.cut_m is strands.cut_m
