"""Spreading along the roads: closed forms and properties."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.spreading import spread_along
from tests.roads.small import make_network
from tests.truth.worlds import country_roads


def test_mass_stays_and_has_the_variance_asked_for() -> None:
    """Closed form: on a long line heat keeps mass and mean, and its variance is sd squared."""
    network = make_network([[(0, 0), (20_000, 0)]])
    lixels = lay_lixels(network, 10.0)
    mass = np.zeros(len(lixels))
    mass[1000] = 2.0
    got = spread_along(network, lixels, mass, 500.0)
    at = (lixels.start_m + lixels.end_m) / 2
    mean = (got * at).sum() / got.sum()
    assert got.sum() == pytest.approx(2.0)
    assert mean == pytest.approx(at[1000])
    assert (got * (at - mean) ** 2).sum() / got.sum() == pytest.approx(500.0**2, rel=1e-6)


def test_even_mass_stays_even_and_nothing_is_0() -> None:
    """Property: on branching roads an even density is the state of rest; one mass reaches all."""
    network = country_roads()
    lixels = lay_lixels(network, 10.0)
    even = spread_along(network, lixels, lixels.length_m, 800.0)
    assert even == pytest.approx(lixels.length_m)
    one = np.zeros(len(lixels))
    one[17] = 1.0
    got = spread_along(network, lixels, one, 500.0)
    assert got.sum() == pytest.approx(1.0)
    assert got.min() > 0


def test_roads_that_meet_share_alike() -> None:
    """By hand: mass on the node's first lixel of one of three equal arms; the others are equal."""
    network = make_network([[(0, 0), (3000, 0)], [(0, 0), (0, 3000)], [(0, 0), (0, -3000)]])
    lixels = lay_lixels(network, 10.0)
    mass = np.zeros(len(lixels))
    xy = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    mass[np.abs(xy - [5.0, 0.0]).sum(axis=1).argmin()] = 1.0
    both = spread_along(network, lixels, np.column_stack([mass, 2 * mass]), 300.0)
    arms = [both[lixels.edge == e, 0].sum() for e in range(3)]
    assert min(arms) == pytest.approx(sorted(arms)[1])
    assert arms == pytest.approx([1 / 3] * 3, abs=0.02)
    assert both[:, 1] == pytest.approx(2 * both[:, 0])


def test_separate_roads_keep_their_own() -> None:
    network = make_network([[(0, 0), (1000, 0)], [(0, 500), (1000, 500)]])
    lixels = lay_lixels(network, 10.0)
    mass = (lixels.edge == 0).astype(float)
    got = spread_along(network, lixels, mass, 5000.0)
    assert got[lixels.edge == 1].max() == pytest.approx(0.0, abs=1e-15)
    assert got[lixels.edge == 0].sum() == pytest.approx(100.0)
